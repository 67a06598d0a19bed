"""Dissolved oxygen in a closed, optically thin film (closed forms).

(i) M/M0 = (O/O0)^(k_p/k_O) until oxygen is gone, for any light and any k_t; (ii) with k_O O much larger than sqrt(k_t R_i),
O = O0 - R_i t, so the induction time is O0/R_i, times the radicals lost per O2. O0 1e-3 mol/L, R_i 1e-4 mol/L/s, k_O 5e8
L/mol/s; acrylate-like k_p 1.3e4, k_t 2e7 and methacrylate-like k_p 1.3e3, k_t 2e6 L/mol/s. k_O is from memory.
Tolerance 0.2 % on times.
"""

import numpy as np
import pytest

from gelwright.models.film import FilmModel, Kinetics, Oxygen
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

INITIATION, OXYGEN, M0 = 0.1, 1.0, 5000.0
ACRYLATE, METHACRYLATE = (13.0, 2.0e4), (1.3, 2.0e3)


def closed_film(
    seconds: float, resin: tuple[float, float], settings: SolverSettings, radicals_per_oxygen: float = 1.0
) -> Solution:
    k_p, k_t = resin
    model = FilmModel(
        width_m=np.full(4, 5e-6),
        methacrylate_mol_m3=M0,
        kinetics=Kinetics(methacrylate_propagation_m3_mol_s=k_p, termination_m3_mol_s=k_t),
        oxygen=Oxygen(
            atmosphere="closed",
            initial_mol_m3=OXYGEN,
            rate_m3_mol_s=5.0e5,
            radicals_per_oxygen=radicals_per_oxygen,
        ),
        fixed_initiation_mol_m3_s=INITIATION,
    )
    return solve(model, [Segment(duration_s=seconds)], settings=settings)


def time_of_half_radicals(resin: tuple[float, float], settings: SolverSettings) -> float:
    """Time at which R reaches half of sqrt(R_i/k_t), by bisection over runs of different length."""
    half = 0.5 * np.sqrt(INITIATION / resin[1])
    low, high = 9.5, 10.5
    for _ in range(24):
        middle = 0.5 * (low + high)
        if closed_film(middle, resin, settings).state.radical[0] < half:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@pytest.mark.parametrize(
    ("seconds", "oxygen_left", "bonds_left"), [(5.0, 0.50000, 0.99998198), (9.9, 0.010021, 0.99988033)]
)
def test_course_before_the_end(
    seconds: float, oxygen_left: float, bonds_left: float, fine: SolverSettings
) -> None:
    solution = closed_film(seconds, ACRYLATE, fine)
    assert solution.state.oxygen == pytest.approx(np.full(4, oxygen_left), rel=2e-3)
    # 0.2 % of the 10 s, at the rate k_p R with R = R_i/(k_O O) that holds at that moment
    allowed = 2e-3 * 10.0 * 13.0 * INITIATION / (5.0e5 * oxygen_left)
    assert solution.conversion_fraction == pytest.approx(np.full(4, 1 - bonds_left), abs=allowed)


def test_conversion_follows_oxygen_whatever_the_light(fine: SolverSettings) -> None:
    solution = closed_film(8.0, ACRYLATE, fine)
    share = solution.state.oxygen / OXYGEN
    assert solution.conversion_fraction == pytest.approx(1 - share ** (13.0 / 5.0e5), rel=1e-2)


@pytest.mark.parametrize(
    ("resin", "expected_s"), [(ACRYLATE, 10.0126), (METHACRYLATE, 10.0389)], ids=["acrylate", "methacrylate"]
)
def test_radicals_return_after_the_induction_time(
    resin: tuple[float, float], expected_s: float, fine: SolverSettings
) -> None:
    assert time_of_half_radicals(resin, fine) == pytest.approx(expected_s, rel=2e-3)


def test_induction_time_in_proportion_to_radicals_lost_per_oxygen(fine: SolverSettings) -> None:
    """With 0.5 radicals per O2 half the time is needed: at 4.95 s the oxygen left is that of 9.9 s."""
    solution = closed_film(4.95, ACRYLATE, fine, radicals_per_oxygen=0.5)
    assert solution.state.oxygen == pytest.approx(np.full(4, 0.010021), rel=1e-2)
