"""Local search: SLSQP in unit variables, with a least-violation stage when the limits cannot all be kept.

Variables run from 0 to 1; a loading is ``low + (high - low) (a u + (1 - a) u^2)``. The square spreads the small
loadings, where the answers lie; the small linear part keeps zero from being a stationary point of everything.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .problem import Point, Problem

Floats = NDArray[np.float64]

LINEAR_PART = 0.1
STEP = 1e-3  # difference step in unit variables
INSET = 1e-4  # aim this far inside every limit, in scaled values, so that a reported blend really passes
FEASIBLE = 1e-9
OBJECTIVE_TOLERANCE = 1e-6
MOST_ITERATIONS = 40
PATIENCE = 20  # simulated points without progress after which a run is over
PROGRESS = 1e-6  # least fall of the merit that counts as progress
VIOLATION_PROGRESS = 1e-3  # the same while feasibility is sought, where 1e-3 is 5 mK or 5e-5 of conversion
REACH = 0.3  # furthest a variable may move in one run; objectives are so straight that SLSQP would leap
MOST_RUNS, SCREENING_RUNS = 6, 3
WORTH_A_RESTART = 1e-4  # least relative gain for which another run is begun
SCREENING_RESTART = 1e-2
FIRST_STEP = (
    0.2  # longest first step in unit variables; a longer one lands among blends that do not cure at all
)
NEAR = 0.02  # scaled distance within which a limit may carry a multiplier


@dataclass(frozen=True, slots=True, kw_only=True)
class Local:
    """What one local search found.

    Parameters
    ----------
    blend_wt_pct : dict of str to float
        Loadings by substance.
    objective : float
        Objective in its own unit.
    limits : tuple of str
        Names of the limits judged.
    values, figures : tuple of float
        Scaled values of the limits and the unscaled figures behind them.
    multipliers : tuple of float
        Fall of the objective per scaled unit each limit is relaxed; empty when the blend is not feasible.
    simulations : int
        Films simulated.
    is_screening : bool
        Whether the figures are those of the coarse screening stage.
    """

    blend_wt_pct: dict[str, float]
    objective: float
    limits: tuple[str, ...]
    values: tuple[float, ...]
    figures: tuple[float, ...]
    multipliers: tuple[float, ...]
    simulations: int
    is_screening: bool = False

    @property
    def is_feasible(self) -> bool:
        """Whether every limit is kept."""
        return max(self.values) <= FEASIBLE

    @property
    def violation(self) -> float:
        """Summed scaled excess over the limits; 0 when feasible."""
        return float(sum(max(value, 0.0) for value in self.values))

    @property
    def rank(self) -> tuple[float, float]:
        """Sorting key: feasible ones by objective, then the others by violation."""
        return (0.0, self.objective) if self.is_feasible else (1.0, self.violation)


class _NoProgress(Exception):
    """Raised to leave SLSQP when it idles."""


class UnitView:
    """A problem seen through unit variables, with derivatives by the chain rule."""

    def __init__(self, problem: Problem, low_wt_pct: Floats) -> None:
        self.problem = problem
        self.low = low_wt_pct
        self.span = np.maximum(
            problem.space.high_wt_pct - low_wt_pct, 1e-9
        )  # a cap may equal the least loading
        self.visited: list[Point] = []
        self.begin()
        self._slopes: dict[bytes, tuple[Floats, Floats]] = {}

    def loadings(self, unit: Floats) -> Floats:
        u = np.clip(unit, 0.0, 1.0)  # SLSQP oversteps bounds by rounding errors only
        return np.asarray(self.low + self.span * (LINEAR_PART * u + (1.0 - LINEAR_PART) * u**2))

    def unit(self, loadings_wt_pct: Floats) -> Floats:
        share = np.clip((loadings_wt_pct - self.low) / self.span, 0.0, 1.0)
        a, b = 1.0 - LINEAR_PART, LINEAR_PART
        return np.asarray((np.sqrt(b**2 + 4.0 * a * share) - b) / (2.0 * a))

    def at(self, unit: Floats) -> Point:
        point = self.problem.point(self.loadings(unit))
        self.visited.append(point)
        self.evaluations += 1
        return point

    def begin(self, progress: float = PROGRESS) -> None:
        """Start counting points and progress afresh."""
        self.evaluations = 0
        screening = self.problem.is_screening
        self._best, self._idle = np.inf, 0
        self._progress = max(progress, VIOLATION_PROGRESS) if screening else progress
        self._patience = (2 * PATIENCE) // 3 if screening else PATIENCE

    def watch(self, merit: float) -> None:
        """End a run that no longer gets anywhere: differences limit how sharply an optimum can be hit."""
        self._idle += 1
        if merit < self._best - self._progress * max(1.0, abs(merit)):
            self._best, self._idle = merit, 0
        if self._idle > self._patience:
            raise _NoProgress

    def slopes(self, unit: Floats) -> tuple[Floats, Floats]:
        key = unit.tobytes()
        if key not in self._slopes:
            u = np.clip(unit, 0.0, 1.0)
            stretch = self.span * (LINEAR_PART + 2.0 * (1.0 - LINEAR_PART) * u)
            objective, values = self.problem.slopes(self.loadings(unit), STEP * stretch)
            self._slopes[key] = (objective * stretch, values * stretch)
        return self._slopes[key]


def local_search(
    problem: Problem, start_wt_pct: Floats, low_wt_pct: Floats, *, most_iterations: int = MOST_ITERATIONS
) -> Local:
    """Polish one start; when the limits cannot be met from it, go to the least violation first.

    Parameters
    ----------
    problem : Problem
        The substances and limits.
    start_wt_pct, low_wt_pct : ndarray, shape (n_substance,)
        Start and lowest loadings [wt%].
    most_iterations : int
        Iterations of each SLSQP run.

    Returns
    -------
    Local
        The best feasible blend met on the way, else the one with the least violation.
    """
    simulated = problem.simulations
    view = UnitView(problem, np.minimum(low_wt_pct, problem.space.high_wt_pct))
    unit = _constrained(view, view.unit(start_wt_pct), most_iterations)
    if not _is_kept(view.at(unit)):
        unit = _least_violation(view, unit, most_iterations)
        if _is_kept(view.at(unit)):
            _constrained(view, unit, most_iterations)
    best = _best(view.visited)
    multipliers = _multipliers(view, best) if _is_kept(best) else np.zeros(0)
    return _local(problem, best, multipliers, problem.simulations - simulated)


def evaluated(problem: Problem, loadings_wt_pct: Floats, simulations: int) -> Local:
    """A blend taken as it is; `simulations` is what was spent on it before."""
    simulated = problem.simulations
    point = problem.point(loadings_wt_pct)
    return _local(problem, point, np.zeros(0), simulations + problem.simulations - simulated)


def _local(problem: Problem, point: Point, multipliers: Floats, simulations: int) -> Local:
    return Local(
        blend_wt_pct=problem.blend(point.loadings_wt_pct),
        objective=point.objective,
        limits=tuple(row.name for row in problem.constraints),
        values=tuple(float(value) for value in point.values),
        figures=point.figures,
        multipliers=tuple(float(value) for value in multipliers),
        simulations=simulations,
        is_screening=problem.is_screening,
    )


def _is_kept(point: Point) -> bool:
    return float(point.values.max()) <= FEASIBLE


def _constrained(view: UnitView, unit: Floats, most_iterations: int) -> Floats:
    """SLSQP on the objective within move limits, again from the best point while that helps."""
    best = view.at(unit)
    for _ in range(SCREENING_RUNS if view.problem.is_screening else MOST_RUNS):
        ended = _within_reach(view, unit, most_iterations)
        better = _best([best, *view.visited[-view.evaluations :]])
        gained = _merit(best) - _merit(better)
        best, unit = better, view.unit(better.loadings_wt_pct)
        worth = SCREENING_RESTART if view.problem.is_screening else WORTH_A_RESTART
        if ended or not _is_kept(best) or gained <= worth * max(abs(_merit(best)), 1e-9):
            break
    return unit


def _merit(point: Point) -> float:
    """Objective of a point that keeps the limits; far above any objective otherwise."""
    return point.objective if _is_kept(point) else 1e6 * (1.0 + point.violation)


def _within_reach(view: UnitView, unit: Floats, most_iterations: int) -> bool:
    """One SLSQP run that moves no variable further than `REACH`; whether it ended at an optimum inside."""
    steepest = float(np.abs(view.slopes(unit)[0]).max())
    scale = max(abs(view.at(unit).objective), steepest / FIRST_STEP, 1e-6)
    view.begin()

    def objective(u: Floats) -> float:
        point = view.at(u)
        view.watch(point.objective / scale + 10.0 * float(np.maximum(point.values + INSET, 0.0).sum()))
        return point.objective / scale

    low, high = np.maximum(unit - REACH, 0.0), np.minimum(unit + REACH, 1.0)
    end = slsqp(
        objective,
        lambda u: view.slopes(u)[0] / scale,
        lambda u: -(view.at(u).values + INSET),
        lambda u: -view.slopes(u)[1],
        unit,
        list(zip(low.tolist(), high.tolist(), strict=True)),
        most_iterations,
    )
    if end is None:
        return False
    stopped = ((end <= low + 1e-9) & (low > 0.0)) | ((end >= high - 1e-9) & (high < 1.0))
    return not bool(np.any(stopped))


def _least_violation(view: UnitView, unit: Floats, most_iterations: int) -> Floats:
    """SLSQP on the summed excess, made smooth by one slack variable per limit."""
    n = len(unit)
    excess = np.maximum(view.at(unit).values + INSET, 0.0)
    m = len(excess)
    view.begin(VIOLATION_PROGRESS)

    def summed(x: Floats) -> float:
        broken = float(np.maximum(view.at(x[:n]).values + INSET, 0.0).sum())
        view.watch(broken)
        if broken == 0.0:
            raise _NoProgress  # feasible: there is nothing more to gain here
        return float(x[n:].sum())

    slsqp(
        summed,
        lambda x: np.concatenate([np.zeros(n), np.ones(m)]),
        lambda x: x[n:] - (view.at(x[:n]).values + INSET),
        lambda x: np.hstack([-view.slopes(x[:n])[1], np.eye(m)]),
        np.concatenate([unit, excess]),
        [*[(0.0, 1.0)] * n, *[(0.0, None)] * m],
        most_iterations,
    )
    return view.unit(_best(view.visited[-view.evaluations - 1 :]).loadings_wt_pct)


def _best(points: Sequence[Point]) -> Point:
    """The best point that keeps every limit, else the one with the least violation."""
    return min(
        points, key=lambda point: (0.0, point.objective) if _is_kept(point) else (1.0, point.violation)
    )


def slsqp(
    objective: Callable[[Floats], float],
    gradient: Callable[[Floats], Floats],
    room: Callable[[Floats], Floats],
    room_slopes: Callable[[Floats], Floats],
    start: Floats,
    bounds: Sequence[tuple[float, float | None]],
    most_iterations: int,
) -> Floats | None:
    """One SLSQP run; what it met is remembered by the functions given. Its end point if it found an optimum."""
    from scipy.optimize import minimize

    limits: Any = {"type": "ineq", "fun": room, "jac": room_slopes}
    options: Any = {"maxiter": most_iterations, "ftol": OBJECTIVE_TOLERANCE}
    with suppress(_NoProgress):
        result = minimize(
            objective, start, jac=gradient, method="SLSQP", bounds=bounds, constraints=limits, options=options
        )
        if result.success:
            return np.asarray(result.x)
    return None


def _multipliers(view: UnitView, point: Point) -> Floats:
    """Multipliers of the limits at an optimum: the non-negative combination that best cancels the slope.

    Loadings at their ends may take up slope in the outward direction, as bounds do.
    """
    from scipy.optimize import nnls

    unit = view.unit(point.loadings_wt_pct)
    gradient, slopes = view.slopes(unit)
    active = np.flatnonzero(point.values > -NEAR)
    low, high = np.flatnonzero(unit < 1e-6), np.flatnonzero(unit > 1.0 - 1e-6)
    identity = np.eye(len(unit))
    columns = np.hstack([slopes[active].T, -identity[:, low], identity[:, high]])
    found = np.zeros(len(point.values))
    if columns.shape[1]:
        found[active] = nnls(columns, -gradient)[0][: len(active)]
    return found
