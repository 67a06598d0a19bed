"""A problem in which some limits may give way, or are to keep room: their worst value is the objective, the others hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .local import Local, local_search
from .problem import Point, Problem
from .stack_problem import StackProblem

Floats = NDArray[np.float64]

SOFTNESS = 0.02  # scaled distance within which two rows of one limit share the objective


class GivingProblem:
    """Stands in for a problem in a local search.

    Parameters
    ----------
    problem : Problem
        The problem as asked.
    gives : ndarray of bool, shape (n_constraint,)
        Limits that may give way.
    """

    def __init__(self, problem: Problem | StackProblem, gives: NDArray[np.bool_]) -> None:
        self.problem, self.gives = problem, gives
        self.space = problem.space
        self.constraints = tuple(
            row for row, each in zip(problem.constraints, gives, strict=True) if not each
        )
        self.is_screening = problem.is_screening

    @property
    def simulations(self) -> int:
        """Films simulated."""
        return self.problem.simulations

    def forget(self) -> None:
        """Drop everything remembered."""
        self.problem.forget()

    def blend(self, loadings_wt_pct: Floats) -> dict[str, float]:
        """Loadings by substance."""
        return self.problem.blend(loadings_wt_pct)

    def scenarios_behind(self, values: Floats, within: float) -> tuple[int, ...]:
        """As the problem's; limits that give way always count as near."""
        every = np.zeros(len(self.gives))
        every[~self.gives] = values
        return self.problem.scenarios_behind(every, within)

    def point(self, loadings_wt_pct: Floats) -> Point:
        """A blend with the worst excess of what may give way as its objective."""
        point = self.problem.point(loadings_wt_pct)
        kept = ~self.gives
        figures = tuple(each for each, keep in zip(point.figures, kept, strict=True) if keep)
        worst = _soft_worst(point.values[self.gives])[0]
        return replace(point, objective=worst, values=point.values[kept], figures=figures)

    def slopes(
        self, loadings_wt_pct: Floats, step_wt_pct: Floats, *, columns: Sequence[int], scenarios: Any = None
    ) -> tuple[Floats, Floats]:
        """Forward differences as the problem's."""
        weights = _soft_worst(self.problem.point(loadings_wt_pct).values[self.gives])[1]
        _, values = self.problem.slopes(loadings_wt_pct, step_wt_pct, columns=columns, scenarios=scenarios)
        return weights @ values[self.gives], values[~self.gives]


class RoomProblem(GivingProblem):
    """All limits hold, and the worst value of some is the objective: the search goes to where most room is left to them."""

    def __init__(self, problem: Problem | StackProblem, gives: NDArray[np.bool_]) -> None:
        super().__init__(problem, gives)
        self.constraints = problem.constraints

    @property
    def lowest_wt_pct(self) -> Floats:
        """Smallest loading of every variable [wt%]."""
        return np.asarray(self.problem.lowest_wt_pct)

    def vector(self, blend: Mapping[str, float]) -> Floats:
        """Loading vector of a blend [wt%]."""
        return self.problem.vector(blend)

    def scenarios_behind(self, values: Floats, within: float) -> tuple[int, ...]:
        """As the problem's; limits whose room counts are always near."""
        return self.problem.scenarios_behind(np.where(self.gives, 0.0, values), within)

    def point(self, loadings_wt_pct: Floats) -> Point:
        """A blend with the worst value of the limits whose room counts as its objective."""
        point = self.problem.point(loadings_wt_pct)
        return replace(point, objective=_soft_worst(point.values[self.gives])[0])

    def slopes(
        self, loadings_wt_pct: Floats, step_wt_pct: Floats, *, columns: Sequence[int], scenarios: Any = None
    ) -> tuple[Floats, Floats]:
        """Forward differences as the problem's."""
        weights = _soft_worst(self.problem.point(loadings_wt_pct).values[self.gives])[1]
        _, values = self.problem.slopes(loadings_wt_pct, step_wt_pct, columns=columns, scenarios=scenarios)
        return weights @ values[self.gives], values


class LetGo(GivingProblem):
    """A problem whose only wish is to keep its limits: what gives is let go, and a search ends at the first blend that does."""

    def __init__(self, problem: Problem | StackProblem, gives: NDArray[np.bool_]) -> None:
        super().__init__(problem, gives)
        self.seen: list[Point] = []

    def point(self, loadings_wt_pct: Floats) -> Point:
        """A blend with the limits that are kept; the whole point is remembered in `seen`."""
        point, kept = self.problem.point(loadings_wt_pct), ~self.gives
        self.seen.append(point)
        figures = tuple(each for each, keep in zip(point.figures, kept, strict=True) if keep)
        return replace(point, objective=0.0, values=point.values[kept], figures=figures)

    def slopes(
        self, loadings_wt_pct: Floats, step_wt_pct: Floats, *, columns: Sequence[int], scenarios: Any = None
    ) -> tuple[Floats, Floats]:
        """Forward differences of the limits that are kept."""
        _, values = self.problem.slopes(loadings_wt_pct, step_wt_pct, columns=columns, scenarios=scenarios)
        return np.zeros(len(columns)), values[~self.gives]


def _soft_worst(values: Floats) -> tuple[float, Floats]:
    """Smooth stand-in for the largest value, and its slope with each of them."""
    top = float(values.max())
    share = np.exp((values - top) / SOFTNESS)
    return top + SOFTNESS * float(np.log(share.sum())), share / share.sum()


def without(problem: Problem, names: Sequence[str]) -> Problem:
    """The same problem, simulator shared, without the limits named."""
    other = copy(problem)
    other.constraints = tuple(row for row in problem.constraints if row.limit_name not in names)
    other._seen = {}
    return other


def least_giving_way(
    problem: Problem | StackProblem, gives: NDArray[np.bool_], starts: Sequence[dict[str, float]]
) -> Point | None:
    """The blend with the least excess over what may give way and all else kept; None if none was found.

    Parameters
    ----------
    problem : Problem
        The problem as asked.
    gives : ndarray of bool, shape (n_constraint,)
        Limits that may give way.
    starts : sequence of dict of str to float
        Blends whose substances are tried, each from its own loadings.

    Returns
    -------
    Point or None
        With the values and figures of every limit of the problem.
    """
    giving: Any = GivingProblem(problem, gives)
    lowest = problem.lowest_wt_pct
    best: Local | None = None
    for blend in starts:
        low = lowest[[problem.space.keys.index(key) for key in blend]]
        found = local_search(giving, np.maximum(problem.vector(blend), lowest), low, tuple(blend))
        if found.is_feasible and (best is None or found.objective < best.objective):
            best = found
    return None if best is None else problem.point(problem.vector(best.blend_wt_pct))
