"""The search against a brute-force grid on the real model: three initiators, one thin film."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np
import pytest

from gelwright.optimiser.brief import Brief, Limits
from gelwright.optimiser.local import Local
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.search import search
from gelwright.optimiser.tune import resolve

POINTS, ROUNDS, REACH = 9, 4, 2


class Nowhere:
    """A ledger that keeps nothing."""

    def get(self, unit: str) -> Local | None:
        return None

    def put(self, unit: str, found: Local, seconds: float) -> None:
        assert found.simulations > 0


def grid_best(problem: Problem) -> float:
    """Lowest objective on a grid that is refined around its best point."""
    n = len(problem.space.keys)
    low, high = np.full(n, 0.002), problem.space.high_wt_pct * np.array([0.4, 0.4, 0.4])
    best = np.inf
    for _ in range(ROUNDS):
        # square spacing: the answers lie among the small loadings
        axes = [a + (b - a) * np.linspace(0.0, 1.0, POINTS) ** 2 for a, b in zip(low, high, strict=True)]
        blends = np.array([blend for blend in product(*axes)])
        points = [point for point in problem.points(blends) if point.violation == 0.0]
        winner = min(points, key=lambda point: point.objective)
        best = min(best, winner.objective)
        places = [
            int(np.argmin(np.abs(axis - x))) for axis, x in zip(axes, winner.loadings_wt_pct, strict=True)
        ]
        low = np.array([axis[max(i - REACH, 0)] for axis, i in zip(axes, places, strict=True)])
        high = np.array([axis[min(i + REACH, POINTS - 1)] for axis, i in zip(axes, places, strict=True)])
    return float(best)


@pytest.mark.slow
def test_no_grid_point_beats_the_search_by_more_than_1_percent(make_brief: Callable[..., Brief]) -> None:
    brief = make_brief(
        lamps=("demo_arch_365_405",),
        exposure_s=20.0,
        thickness_low_m=120e-6,
        thickness_high_m=120e-6,
        allowed=("BAPO", "DMPA", "HMPP"),
        objective="least_cost",
        prices_per_kg={"BAPO": 120.0, "DMPA": 24.0, "HMPP": 20.0},
        smallest_loading_wt_pct=0.002,
        limits=Limits(
            second_cycle_heat_max_ratio=None,
            bottom_conversion_min_share=0.85,
            surface_conversion_min_share=0.5,
        ),
    )
    inputs = resolve(brief)
    problem = Problem(brief=brief, lamp=inputs.lamp, gel=inputs.gel, space=inputs.space)
    found = search(problem, ledger=Nowhere(), progress=lambda done, total, words: None)
    brute = grid_best(problem)
    assert found.is_feasible
    assert found.ranked[0].objective <= 1.01 * brute
    assert brute <= 1.05 * found.ranked[0].objective  # the grid came near, so the comparison means something
