"""Conservation in every run: photons, radicals, C=C, oxygen and heat (no publication; first principles).

Photons absorbed = in - out; initiator lost x radicals per molecule = radicals made; C=C lost = integral of k_p M R; oxygen
entered + initial = consumed + left; heat stored + lost = reaction + light. Each to 1e-4 at fine steps and, as promised to
the user, to 1e-3 at default settings, on the packaged demonstration lamps.
"""

import numpy as np
import pytest

from gelwright.lamp_library.lamp import list_lamps, load_lamp
from gelwright.models import layout as at
from gelwright.models.cure import CureCase, cure, film_model, schedule
from gelwright.models.gel import Gel
from gelwright.models.results import balances_of
from gelwright.models.solver import SolverSettings, solve

BALANCES = ("photons", "radicals", "double_bonds", "oxygen", "enthalpy")


def gel(thickness_um: float) -> Gel:
    return Gel(
        name="gel with both kinds of initiator",
        coat="builder",
        resin_parts={"UDMA": 50.0, "HPMA": 25.0, "HDDA": 25.0},
        initiators_wt_pct={"TPO-L": 1.0, "BAPO": 0.2, "ITX": 0.1},
        amines_wt_pct={"EDB": 1.0},
        stabilisers_wt_pct={"MEHQ": 0.02},
        thickness_m=thickness_um * 1e-6,
    )


@pytest.mark.parametrize("thickness_um", [20.0, 150.0, 600.0])
@pytest.mark.parametrize("lamp", list_lamps())
def test_default_settings(lamp: str, thickness_um: float) -> None:
    balances = cure(gel(thickness_um), load_lamp(lamp), exposure_s=30.0).balances
    for name in BALANCES:
        assert getattr(balances, name) < 1e-3, name


@pytest.mark.parametrize(
    "name",
    [
        "photons",
        "radicals",
        "double_bonds",
        "oxygen",
        "enthalpy",
    ],
)
def test_fine_steps(name: str) -> None:
    case = CureCase(gel=gel(150.0), lamp=load_lamp("demo_arch_365_405"), exposure_s=10.0, rest_s=5.0)
    settings = SolverSettings(
        tolerance_conversion=1e-4, light_tolerance=0.0, first_step_s=1e-3, largest_step_s=0.02
    )
    totals = solve(film_model(case, settings), schedule(case), settings=settings).totals
    assert getattr(balances_of(totals), name) < 1e-4


@pytest.mark.parametrize(
    ("turned_over", "missing", "error"),
    [
        # of much, the share that is missing; of next to nothing, what is missing as a share of the least that counts
        ((2.0, 1.0e4), (0.02, 50.0), (1e-2, 5e-3)),
        ((1e-8, 0.1), (1e-11, 1e-4), (1e-3, 1e-3)),
        ((2e-10, 1e-3), (1e-12, 1e-5), (1e-4, 1e-4)),
        ((2e-10, 1e-3), (1e-10, 9e-4), (1e-2, 9e-3)),
    ],
)
def test_what_is_missing_counts_against_what_turned_over(
    turned_over: tuple[float, float], missing: tuple[float, float], error: tuple[float, float]
) -> None:
    totals = np.zeros(at.N_TOTALS)
    totals[at.DOUBLE_BONDS_LOST], totals[at.DOUBLE_BONDS_INTEGRAL] = (
        turned_over[0],
        turned_over[0] - missing[0],
    )
    totals[at.HEAT_LIGHT], totals[at.HEAT_STORED] = turned_over[1], turned_over[1] - missing[1]
    totals[at.HEAT_OUT] = 0.0
    found = balances_of(totals)
    assert (found.double_bonds, found.enthalpy) == pytest.approx(error, rel=1e-9)


def test_photons_absorbed_are_what_does_not_come_out() -> None:
    case = CureCase(gel=gel(150.0), lamp=load_lamp("demo_narrow_385"), exposure_s=10.0)
    totals = solve(film_model(case, SolverSettings()), schedule(case)).totals
    taken = totals[at.PHOTONS_IN] - totals[at.PHOTONS_OUT]
    assert taken > 0.0
    assert totals[at.PHOTONS_ABSORBED] == pytest.approx(taken, rel=1e-4)
