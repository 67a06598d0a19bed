"""Why a brief cannot be met: the least any single limit would have to give way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .constraints import Constraint
from .local import FEASIBLE, INSET, MOST_ITERATIONS, Floats, Local, UnitView, slsqp
from .problem import Point, Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """A limit the nearest blend breaks or rests on.

    Parameters
    ----------
    constraint : Constraint
        The limit in its worst scenario.
    figure : float
        What the nearest blend gives, in the limit's unit.
    broken : bool
        Whether it is broken; else it is kept with nothing to spare.
    enough : float or None
        Value of this limit alone that would make the brief possible with the nearest blend's substances; None when
        giving way here alone does not help.
    blend_wt_pct : dict of str to float
        The blend that would then do; empty when none.
    """

    constraint: Constraint
    figure: float
    broken: bool
    enough: float | None
    blend_wt_pct: dict[str, float]

    @property
    def sentence(self) -> str:
        """The conflict in one sentence."""
        row = self.constraint
        have = f"{row.name}: {row.shown(self.figure)} against {row.words}"
        if self.enough is None:
            return f"{have}; giving way here alone does not help."
        return f"{have}; with {row.shown(self.enough)} here and the rest unchanged the brief could be met."


def conflicts(problem: Problem, nearest: Local, tight: float) -> list[Conflict]:
    """Conflicting limits of a brief that cannot be met, each with the relaxation that would do.

    Parameters
    ----------
    problem : Problem
        The whole problem.
    nearest : Local
        The least-violating blend.
    tight : float
        Scaled distance below which a kept limit counts as part of the conflict.

    Returns
    -------
    list of Conflict
        Broken limits first, one entry per limit name.
    """
    part = problem.narrowed(tuple(nearest.blend_wt_pct))
    names = list(dict.fromkeys(row.limit_name for row in part.constraints))
    found = []
    for name in names:
        worst = max(
            (i for i, row in enumerate(part.constraints) if row.limit_name == name),
            key=lambda i: nearest.values[i],
        )
        if nearest.values[worst] <= -tight:
            continue
        enough, blend = _relaxed(part, nearest, name)
        found.append(
            Conflict(
                constraint=part.constraints[worst],
                figure=nearest.figures[worst],
                broken=nearest.values[worst] > FEASIBLE,
                enough=enough,
                blend_wt_pct=blend,
            )
        )
    return sorted(found, key=lambda each: not each.broken)


def _relaxed(problem: Problem, nearest: Local, limit_name: str) -> tuple[float | None, dict[str, float]]:
    """Least excess over one limit with all others kept."""
    view = UnitView(problem, np.zeros(len(problem.space.keys)))
    gives = np.array([row.limit_name == limit_name for row in problem.constraints])
    start = view.unit(problem.vector(nearest.blend_wt_pct))
    n = len(start)
    slack = max(float(view.at(start).values[gives].max()) + INSET, 0.0)
    view.begin(1.0)

    def given(x: Floats) -> float:
        values = view.at(x[:n]).values + INSET
        view.watch(float(np.maximum(values[gives], 0.0).max() + 10.0 * np.maximum(values[~gives], 0.0).sum()))
        return float(x[n])

    slsqp(
        given,
        lambda x: np.append(np.zeros(n), 1.0),
        lambda x: gives * x[n] - (view.at(x[:n]).values + INSET),
        lambda x: np.column_stack([-view.slopes(x[:n])[1], gives.astype(float)]),
        np.append(start, slack),
        [*[(0.0, 1.0)] * n, (0.0, None)],
        MOST_ITERATIONS,
    )

    def excess(point: Point) -> float:
        return float(point.values[gives].max())

    rest_kept = [point for point in view.visited if np.all(point.values[~gives] <= FEASIBLE)]
    if not rest_kept:
        return None, {}
    best = min(rest_kept, key=excess)
    rows: Any = [(i, row) for i, row in enumerate(problem.constraints) if gives[i]]
    worst = max(rows, key=lambda pair: best.values[pair[0]])[0]
    return best.figures[worst], problem.blend(best.loadings_wt_pct)
