"""The fast path of the search: cycles that go on from one another, and nothing compiled twice."""

from __future__ import annotations

from dataclasses import replace

import numba
import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.batch import BlendEvaluator, Scenario
from gelwright.models.blend_figures import runs_of
from gelwright.models.cure import CureCase, cure_many
from gelwright.models.gel import Gel
from gelwright.models.solver import SolverSettings

SETTINGS = SolverSettings(cells=24, light_bins=8)
BLEND = {"BAPO": 0.2, "HMPP": 0.1}
LOADINGS = np.array([[0.2, 0.1]])


def gel() -> Gel:
    return Gel(
        name="test", coat="builder", resin_parts={"UDMA": 70.0, "HPMA": 30.0}, initiators_wt_pct={}, amines_wt_pct={},
        stabilisers_wt_pct={}, thickness_m=300e-6,
    )  # fmt: skip


def scenario(cycles: int, thickness_m: float = 300e-6) -> Scenario:
    lamp = load_lamp("demo_arch_365_405")
    return Scenario(lamp=lamp, position=lamp.weakest, thickness_m=thickness_m, exposure_s=30.0, cycles=cycles)


@pytest.fixture(scope="module")
def pair() -> BlendEvaluator:
    """One film for one cycle and for two, the lamp object shared as in a search."""
    one = scenario(1)
    return BlendEvaluator(gel(), list(BLEND), [], [one, replace(one, cycles=2)], settings=SETTINGS)


def test_one_run_serves_one_cycle_and_two(pair: BlendEvaluator) -> None:
    assert pair._runs == [(0, 1)]
    figures = pair(LOADINGS)
    for number, cycles in enumerate((1, 2)):
        case = CureCase(
            gel=gel().with_initiators(BLEND, {}), lamp=scenario(1).lamp, exposure_s=30.0, position=scenario(1).position,
            thickness_m=300e-6, cycles=cycles,
        )  # fmt: skip
        alone = cure_many([case], settings=SETTINGS)[0]
        # the second cycle starts with a first step of its own, so the steps of the whole run are not repeated exactly
        assert figures.bottom_conversion_fraction[0, number] == pytest.approx(
            alone.bottom_conversion_fraction, abs=5e-4
        )
        assert figures.nail_bed_peak_k[0, number] == pytest.approx(alone.nail_bed_peak_k, abs=0.02)
        assert figures.cem43_min[0, number] == pytest.approx(alone.cem43_min, rel=0.01, abs=1e-4)
        if cycles == 2:
            assert figures.second_cycle_heat_ratio[0, number] == pytest.approx(
                alone.second_cycle_heat_ratio, rel=0.02
            )


def test_neighbours_repeat_the_steps_of_both_cycles(pair: BlendEvaluator) -> None:
    """A difference taken over a step and over a tenth of it agree only if the time steps are repeated."""
    slopes = []
    for step in (1e-3, 1e-4):
        at, beside = pair.with_jacobian(LOADINGS[0], step, columns=[0], scenarios=[1])
        rise = beside.second_cycle_heat_ratio[0, 1] - at.second_cycle_heat_ratio[0, 1]
        slopes.append(rise / step)
        assert beside.bottom_conversion_fraction[0, 0] == at.bottom_conversion_fraction[0, 0]  # not asked for
    assert slopes[0] == pytest.approx(slopes[1], rel=0.02)
    assert slopes[0] != 0.0


def test_only_the_same_film_is_shared() -> None:
    one = scenario(1)
    others = [one, replace(one, cycles=2, thickness_m=200e-6), replace(one, cycles=2, exposure_s=31.0)]
    rows = [np.array([[30.0, 0.0], [60.0, 0.0]])] + [
        np.tile(np.array([[30.0, 0.0], [60.0, 0.0]]), (2, 1))
    ] * 2
    assert runs_of(others, rows) == [(0,), (1,), (2,)]
    assert runs_of([replace(one, cycles=2), one], rows[1::-1]) == [(1, 0)]


def test_a_changed_film_is_of_the_types_the_core_is_compiled_for(pair: BlendEvaluator) -> None:
    """Another type would have the whole core compiled a second time."""
    from gelwright.models.perturbed import changed

    packed = pair._packed[0]
    knobs = {
        "film_thickness_m": 250e-6,
        "lamp_output_ratio": 0.9,
        "nail_thickness_ratio": 1.1,
        "placement_fraction": 0.1,
    }
    film, state, _ = changed(packed.film, packed.state, pair._surroundings()[0], knobs)
    assert numba.typeof(film) == numba.typeof(packed.film)
    assert numba.typeof(state) == numba.typeof(packed.state)


def test_a_second_cycle_that_needs_much_finer_steps_does_not_end_a_search() -> None:
    """Radicals kept in the glass meet the oxygen that comes back: 25 times finer steps left the balance of radicals at 0.0022."""
    lamp = load_lamp("demo_strong_395")
    top = Gel(
        name="test", coat="top", resin_parts={"UDMA": 45.0, "UTMA-1480": 15.0, "TPGDA": 20.0, "IBOA": 20.0}, initiators_wt_pct={}, amines_wt_pct={},
        stabilisers_wt_pct={"MEHQ": 0.02}, thickness_m=50e-6,
    )  # fmt: skip
    one = Scenario(lamp=lamp, position=lamp.weakest, thickness_m=60e-6, exposure_s=30.0)
    coarse = SolverSettings(
        tolerance_conversion=4e-3, tolerance_temperature_k=0.2, light_tolerance=4e-3, cells=16, light_bins=6
    )
    evaluator = BlendEvaluator(
        top, ["BAPO", "TPO-L", "HMPP"], [], [one, replace(one, cycles=2)], settings=coarse
    )
    figures = evaluator(np.array([[0.65008201, 0.28727003, 0.1]]))
    assert 0.0 < figures.second_cycle_heat_ratio[0, 1] < 0.1
