"""A model UV nail gel: Taki & Nakamura, J. Cosmet. Dermatol. Sci. Appl. 2011, 1, 111, doi 10.4236/jcdsa.2011.14017.

From the abstract: the uncured layer does not depend on the cast thickness and shrinks with irradiance and with initiator;
the highest temperature rises with irradiance, initiator and thickness; residual monomer falls with time, irradiance and
initiator; no film forms from casts below 21 um. Composition and lamp are not given there, so signs are asserted, on an
invented urethane methacrylate gel, and for the 21 um the rate of initiation that it takes: with D 1e-11 to 1e-10 m2/s and
1 mol/m3 of oxygen (both from memory) it must lie between 0.045 and 0.45 mol/m3/s. 160 cells, so that the grid is no part of
the answer.
"""

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.core_totals import depth_reaching
from gelwright.models.cure import cure
from gelwright.models.film import FilmModel, Kinetics, Oxygen
from gelwright.models.gel import Gel
from gelwright.models.grid import film_cells
from gelwright.models.results import CureResult
from gelwright.models.solver import Segment, SolverSettings, solve

CELLS = SolverSettings(cells=160)


def nail_gel(
    *, light_ratio: float = 1.0, tpo_wt_pct: float = 1.0, thickness_um: float = 100.0, seconds: float = 60.0
) -> CureResult:
    gel = Gel(
        name="model gel",
        coat="builder",
        resin_parts={"UDMA": 55.0, "UA-1500": 15.0, "HPMA": 20.0, "IBOMA": 10.0},
        initiators_wt_pct={"TPO": tpo_wt_pct},
        amines_wt_pct={},
        stabilisers_wt_pct={},
        thickness_m=thickness_um * 1e-6,
    )
    lamp = load_lamp("demo_narrow_405").with_output(light_ratio)
    return cure(gel, lamp, exposure_s=seconds, settings=CELLS)


def falls(values: list[float]) -> bool:
    return bool(np.all(np.diff(values) < 0.0))


def test_uncured_layer_does_not_depend_on_the_cast_thickness() -> None:
    """Their finding; 'does not depend' is read as less than 10 % between 100 and 500 um."""
    layers = [nail_gel(thickness_um=t).uncured_layer_m for t in (100.0, 200.0, 500.0)]
    assert max(layers) / min(layers) < 1.1


LIGHT = [{"light_ratio": r} for r in (0.25, 0.5, 1.0, 2.0)]
INITIATOR = [{"tpo_wt_pct": w} for w in (0.5, 1.0, 2.0)]
THICKNESS = [{"thickness_um": t} for t in (50.0, 100.0, 200.0, 500.0)]
TIME = [{"seconds": s} for s in (10.0, 30.0, 60.0, 120.0)]


@pytest.mark.parametrize("steps", [pytest.param(LIGHT, id="light"), pytest.param(INITIATOR, id="initiator")])
def test_uncured_layer_shrinks(steps: list[dict[str, float]]) -> None:
    assert falls([nail_gel(**step).uncured_layer_m for step in steps])


@pytest.mark.parametrize(
    "steps",
    [
        pytest.param(LIGHT, id="light"),
        pytest.param(INITIATOR, id="initiator"),
        pytest.param(THICKNESS, id="thickness"),
    ],
)
def test_temperature_rises(steps: list[dict[str, float]]) -> None:
    assert falls([-nail_gel(**step).film_peak_k for step in steps])


@pytest.mark.parametrize(
    "steps",
    [pytest.param(TIME, id="time"), pytest.param(LIGHT, id="light"), pytest.param(INITIATOR, id="initiator")],
)
def test_residual_monomer_falls(steps: list[dict[str, float]]) -> None:
    assert falls([1 - nail_gel(**step).mean_conversion_fraction for step in steps])


def test_no_film_from_a_cast_thinner_than_the_uncured_layer() -> None:
    layer_um = nail_gel().uncured_layer_m * 1e6
    assert nail_gel(thickness_um=0.8 * layer_um).mean_conversion_fraction < 0.02
    assert nail_gel(thickness_um=1.5 * layer_um).bottom_conversion_fraction > 0.2


def uncured_um(initiation: float, diffusivity: float) -> float:
    model = FilmModel(
        width_m=film_cells(200e-6, 160),
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(
            methacrylate_propagation_m3_mol_s=1.3, termination_m3_mol_s=2.0e3, termination_decay=10.0
        ),
        oxygen=Oxygen(surface_mol_m3=1.0, initial_mol_m3=1.0, diffusivity_m2_s=diffusivity),
        fixed_initiation_mol_m3_s=initiation,
    )
    end = solve(model, [Segment(duration_s=60.0)])
    return depth_reaching(end.film.width, end.conversion_fraction, 0.2) * 1e6


@pytest.mark.parametrize("diffusivity", [1.5e-11, 3e-11, 6e-11])
def test_initiation_that_gives_their_21_um(diffusivity: float) -> None:
    """Bisected rate of initiation; from the zero-order limit 2 D O_s/(21 um)^2 it is 0.068, 0.14 and 0.27 mol/m3/s."""
    low, high = 0.01, 2.0
    for _ in range(30):
        middle = np.sqrt(low * high)
        if uncured_um(middle, diffusivity) > 21.0:
            low = middle
        else:
            high = middle
    assert 0.045 < low < 0.45
