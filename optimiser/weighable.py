"""From a polished blend to one that can be weighed and keeps the limits at every position of every lamp."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from .local import FEASIBLE, Local, local_search
from .problem import SCENARIO_FIGURES, Problem

Floats = NDArray[np.float64]

LOADING_STEPS_WT_PCT = (0.001, 0.0001)  # 10 mg and 1 mg in a kilogram of gel, tried in this order
_ROUNDS = 3


def held_everywhere(problem: Problem, found: Local) -> tuple[Problem, Local]:
    """Round a blend for weighing; where that breaks a limit between the weakest and the strongest position, polish it again.

    The search judges every lamp at its weakest and at its strongest position. Between them the light may be of another mix, so
    that a blend which rests on a limit there can miss it by a little.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.
    found : Local
        The unrounded blend.

    Returns
    -------
    tuple of Problem and Local
        The problem, with the positions that had to be added, and the blend as that judges it. Blends that break limits anyway,
        and those made sure in use, which keep far more room, are only rounded.
    """
    best = weighable(problem, found)
    if problem.brief.is_robust:
        return problem, best
    everywhere = replace(problem, also_at=_between(problem))
    for _ in range(_ROUNDS):
        if not best.is_feasible:
            break
        missed = _missed(everywhere, best)
        if not missed:
            break
        problem = replace(problem, also_at=(*problem.also_at, *missed))
        low = problem.brief.smallest_loading_wt_pct
        again = local_search(problem, problem.vector(best.blend_wt_pct), low, tuple(best.blend_wt_pct))
        best = weighable(problem, again)
    return problem, best


def _between(problem: Problem) -> tuple[tuple[int, str], ...]:
    """Positions of every lamp at which the search does not judge."""
    return tuple(
        (i, place)
        for i, lamp in enumerate(problem.lamps)
        for place in lamp.positions
        if place not in (lamp.weakest, lamp.strongest)
    )


def _missed(everywhere: Problem, blend: Local) -> tuple[tuple[int, str], ...]:
    """Of those positions the ones where a blend breaks a limit."""
    values = everywhere.point(everywhere.vector(blend.blend_wt_pct)).values
    first = len(everywhere.scenarios) - len(everywhere.brief.thicknesses_m) * len(everywhere.also_at)
    ids = [lamp.lamp_id for lamp in everywhere.lamps]
    broken = [
        everywhere.scenarios[row.scenario]
        for row, value in zip(everywhere.constraints, values, strict=True)
        if value > FEASIBLE
        and row.scenario >= first
        and (row.figure in SCENARIO_FIGURES or row.figure == "residual_wt_pct")
    ]
    return tuple(dict.fromkeys((ids.index(each.lamp.lamp_id), each.position) for each in broken))


def weighable(problem: Problem, found: Local) -> Local:
    """Round the loadings to what can be weighed, to the side that keeps the limits.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.
    found : Local
        The unrounded blend.

    Returns
    -------
    Local
        The best rounded blend that is no less feasible, else the blend unrounded. Multipliers are kept.
    """
    exact = problem.vector(found.blend_wt_pct)
    for step in LOADING_STEPS_WT_PCT:
        best = _best_rounded(problem, found, exact, step)
        if best is not None and (best.is_feasible or not found.is_feasible):
            return best
    return found


def _best_rounded(problem: Problem, found: Local, exact: Floats, step_wt_pct: float) -> Local | None:
    """The best of all ways to round up or down; None when every way leaves the allowed range."""
    ways = [sorted({np.floor(x), np.ceil(x)}) for x in np.round(exact / step_wt_pct, 6)]
    rounded = np.round(step_wt_pct * np.array(list(product(*ways))), 6)
    rounded = rounded[
        np.all(rounded <= problem.space.high_wt_pct + 1e-9, axis=1) & np.all(rounded > 0.0, axis=1)
    ]
    if not len(rounded):
        return None
    options = [
        replace(
            found,
            blend_wt_pct=problem.blend(point.loadings_wt_pct),
            objective=point.objective,
            values=tuple(float(value) for value in point.values),
            figures=point.figures,
        )
        for point in problem.points(rounded)
    ]
    return min(options, key=lambda each: each.rank)
