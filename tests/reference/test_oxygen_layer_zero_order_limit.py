"""Depth to which oxygen from the air keeps up with all radicals formed: delta = sqrt(2 D O_s/R_i) (closed form).

The steady limit of a sink that takes every radical, where O(z) = O_s (1 - z/delta)^2. D 1e-10 m2/s, O_s 1 mol/m3 (both from
memory), R_i 0.01, 0.1, 1, 10 mol/m3/s: 141.42, 44.72, 14.14, 4.472 um; slope -1/2 in logarithms. Tolerance 3 % with
k_O 5e5 m3/mol/s: the reaction zone is not infinitely sharp.
"""

import numpy as np
import pytest

from gelwright.models.film import FilmModel, Kinetics, Oxygen
from gelwright.models.oxygen import surface_layer_limit_m
from gelwright.models.solver import Segment, SolverSettings, solve

TABLE_UM = {0.01: 141.42, 0.1: 44.72, 1.0: 14.14, 10.0: 4.472}


def layer_um(initiation: float) -> float:
    """Delta from the parabola: the square root of O falls as a straight line that meets zero at delta."""
    limit = np.sqrt(2e-10 / initiation)
    model = FilmModel(
        width_m=np.full(150, 3 * limit / 150),
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(termination_m3_mol_s=2.0e3),
        oxygen=Oxygen(surface_mol_m3=1.0, initial_mol_m3=1.0, diffusivity_m2_s=1e-10, rate_m3_mol_s=5.0e5),
        fixed_initiation_mol_m3_s=initiation,
    )
    # the time to use up what is dissolved is O_s/R_i; twenty times that is steady
    seconds = 20.0 / initiation
    settings = SolverSettings(largest_step_s=seconds / 500, first_step_s=seconds / 1e5)
    solution = solve(model, [Segment(duration_s=seconds)], settings=settings)
    root = np.sqrt(solution.state.oxygen)
    upper = root > 0.3
    slope, start = np.polyfit(solution.depth_m[upper], root[upper], 1)
    return float(-start / slope * 1e6)


@pytest.mark.parametrize(("initiation", "expected_um"), TABLE_UM.items())
def test_layer(initiation: float, expected_um: float) -> None:
    assert layer_um(initiation) == pytest.approx(expected_um, rel=3e-2)


def test_slope_is_minus_one_half() -> None:
    slope, _ = np.polyfit(np.log(list(TABLE_UM)), np.log([layer_um(r) for r in TABLE_UM]), 1)
    # two ends each within 3 % over three decades: 0.06/6.9
    assert slope == pytest.approx(-0.5, abs=0.009)


@pytest.mark.parametrize(("initiation", "expected_um"), TABLE_UM.items())
def test_formula(initiation: float, expected_um: float) -> None:
    # the table has four digits: half a unit of the last is 3.5e-4 of 14.14
    assert surface_layer_limit_m(1e-10, 1.0, initiation) * 1e6 == pytest.approx(expected_um, rel=4e-4)
