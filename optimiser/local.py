"""Local search: sequential quadratic programming in unit variables, with few films a step.
A film costs milliseconds, so a step is made to need few of them: differences are taken only in those scenarios whose limits
are near, the blend itself is not simulated again beside its neighbours, and a run ends as soon as the model promises no
gain worth having. Limits enter with slack, so that the same run goes to the least violation where they cannot all be kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .problem import Point, Problem
from .step_model import NEAR, ModelStep, StepModel, best_step, multipliers_of
from .unit_view import UnitView

Floats = NDArray[np.float64]

INSET = 1e-4  # aim this far inside every limit, in scaled values, so that a reported blend really passes
FEASIBLE = 1e-9
MOST_STEPS = 25
NEARBY = 0.3  # scaled distance (1.5 K, 0.015 of conversion) from which on a limit's slopes are worked out
FIRST_RADIUS, LARGEST_RADIUS, SMALLEST_RADIUS = 0.25, 0.6, 1e-3
WORTH = 4e-4  # relative gain of the objective, or fall of the violation, for which another step is taken
SCREENING_WORTH = 2e-3
GOOD, POOR = 0.75, 0.1  # share of the promised gain that widens and that rejects a step
POOR_MENDING = 0.3  # share of the promised fall of the excess below which its curvature is modelled
SHARE_WORTH = 0.1  # of the excess, promised in a wide region, for which a narrow one is not given up
MOST_EXCESS = 0.5  # a step from limits nearly kept may not break them by more
NEARLY = 0.02  # excess up to which limits count as nearly kept
PATIENCE = 5  # steps without a gain, once limits are kept: the simulator's own steps blur the last digits
LEAST_GAIN = 1e-3  # of the filter
CLOSINGS = 8  # most points looked at between both sides of an edge
CLOSE = 5e-3  # relative difference of the objective between them at which that ends
SHARES = (0.15, 0.85)  # of the way, between which the next point lies
HALVINGS = 12  # on the way to a limit that jumps


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
    def total_wt_pct(self) -> float:
        """Everything weighed in [wt%]."""
        return sum(self.blend_wt_pct.values())

    @property
    def rank(self) -> tuple[float, float]:
        """Sorting key: feasible ones by objective, then the others by violation."""
        return (0.0, self.objective) if self.is_feasible else (1.0, self.violation)


def local_search(
    problem: Problem,
    start_wt_pct: Floats,
    low_wt_pct: Floats | float,
    keys: Sequence[str] | None = None,
    *,
    most_steps: int = MOST_STEPS,
) -> Local:
    """Polish one start; when the limits cannot be met from it, the least violation is what it goes to.

    Parameters
    ----------
    problem : Problem
        Substances and limits.
    start_wt_pct : ndarray, shape (n_substance,)
        Where to begin, over all substances of the problem [wt%].
    low_wt_pct : float or ndarray, shape (n_key,)
        Lowest loadings of those that vary [wt%].
    keys : sequence of str, optional
        Substances that vary, the others stay out; all if left out.
    most_steps : int
        Most steps, rejected ones included.

    Returns
    -------
    Local
        The best feasible blend met on the way, else the one with the least violation.
    """
    if hasattr(problem, "forget"):
        problem.forget()
    simulated = problem.simulations
    count = len(problem.space.high_wt_pct) if keys is None else len(keys)
    view = UnitView(problem, np.broadcast_to(low_wt_pct, (count,)), keys)
    descend(view, view.unit(start_wt_pct), most_steps)
    best = best_of(view.visited)
    if not is_kept(best) or problem.is_screening:
        return local_of(problem, best, np.zeros(0), problem.simulations - simulated)
    best = close_in(view, best)
    return local_of(problem, best, multipliers_at(view, best), problem.simulations - simulated)


def evaluated(problem: Problem, loadings_wt_pct: Floats, simulations: int) -> Local:
    """A blend taken as it is; `simulations` is what was spent on it before."""
    simulated = problem.simulations
    point = problem.point(loadings_wt_pct)
    return local_of(problem, point, np.zeros(0), simulations + problem.simulations - simulated)


def local_of(problem: Problem, point: Point, multipliers: Floats, simulations: int) -> Local:
    """A point as the outcome of a local search."""
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


def is_kept(point: Point) -> bool:
    """Whether a point keeps every limit."""
    return float(point.values.max()) <= FEASIBLE


def best_of(points: Sequence[Point]) -> Point:
    """The best point that keeps every limit, else the one with the least violation."""
    return min(points, key=lambda point: (0.0, point.objective) if is_kept(point) else (1.0, point.violation))


def descend(view: UnitView, unit: Floats, most_steps: int) -> None:
    """Steps of quadratic models in a region that shrinks where the model errs; every point met is kept in the view.

    From a blend that keeps the limits, or nearly, a step is taken if it lowers the objective or the excess beyond what any
    earlier point had of both (a filter: Fletcher and Leyffer, Math. Program. 2002, 91, 239). From others the excess has to
    fall; once it falls far less than promised, the excess alone is modelled, with its curvature, until it is gone.
    """
    worth = SCREENING_WORTH if view.problem.is_screening else WORTH
    radius, filtered = FIRST_RADIUS, list[tuple[float, float]]()
    at = _At.place(view, unit, view.at(unit))
    model = StepModel.begun(view, unit, *at.slopes(view))
    best, idle = np.inf, 0
    for _ in range(most_steps):
        step = best_step(model, at.point.values + INSET, at.unit, radius)
        scale = max(abs(at.point.objective), 1e-9)
        mends = not is_kept(at.point) and step.fall_of_excess > 0.5 * at.excess
        gains = step.fall_of_objective >= worth * scale and not model.is_mending
        if not gains and not mends and step.fall_of_excess < worth:
            if model.is_fresh and not _is_cramped(model, at, radius):
                return
            if not model.is_fresh:
                model = model.forgotten(view, at.unit)  # curvature learnt far away may hide a way on
                continue
        ahead = np.clip(at.unit + step.move, 0.0, 1.0)
        leap = _At.place(view, ahead, view.at(ahead))
        trial = _bracketed(view, at, leap)
        if trial is not leap:
            step = step.cut(trial.unit - at.unit)
            radius = min(radius, max(float(np.abs(step.move).max()), SMALLEST_RADIUS))
        scale_of_best = worth * max(abs(best), 1e-9) if np.isfinite(best) else 0.0
        if is_kept(trial.point) and not trial.point.objective >= best - scale_of_best:
            best, idle = trial.point.objective, 0
        elif np.isfinite(best):
            idle += 1
        if idle >= PATIENCE:
            return
        if _begins_to_mend(model, at, trial, step):
            both = sorted(at.scenarios | trial.scenarios)
            there = view.slopes(trial.unit, both)[1], trial.point.values + INSET
            model = model.at(*view.slopes(at.unit, both)).mending(at.unit, trial.unit, *there)
            if trial.excess >= at.excess:
                continue
        is_edge = trial is not leap and is_kept(at.point) and trial.excess > NEARLY
        if is_edge or not _is_accepted(filtered, at, trial, step):
            unseen = trial.broken_in(view) - at.scenarios
            if unseen:  # a limit thought far away stood in the way
                at = replace(at, scenarios=at.scenarios | unseen)
                model = model.at(*at.slopes(view))
            radius = 0.4 * min(radius, float(np.abs(step.move).max()))
            if radius < SMALLEST_RADIUS:
                return
            continue
        filtered.append((at.excess, at.point.objective))
        weight = 0.0 if model.is_mending else 1.0
        came_true = weight * (at.point.objective - trial.point.objective) + scale * (at.excess - trial.excess)
        promised = weight * step.fall_of_objective + scale * step.fall_of_excess
        if came_true > GOOD * promised and np.abs(step.move).max() > 0.9 * radius:
            radius = min(2.0 * radius, LARGEST_RADIUS)
        model = model.moved(at.unit, trial.unit, trial.point.values + INSET, *trial.slopes(view))
        if model.is_mending and trial.excess <= NEARLY:
            model, radius = model.forgotten(view, trial.unit), FIRST_RADIUS
        at = trial


def _bracketed(view: UnitView, at: _At, trial: _At) -> _At:
    """Where a step leaps over the edge of what is allowed, a point near the edge on the way in place of its end.

    Slopes far off say little of where the edge is, and cost more films than to look.
    """
    if is_kept(at.point) == is_kept(trial.point):
        return trial
    inside, outside = (at, trial) if is_kept(at.point) else (trial, at)
    for _ in range(CLOSINGS):
        gap = inside.point.objective - outside.point.objective
        if gap <= CLOSE * max(abs(inside.point.objective), 1e-9):
            break
        rows = outside.point.values > FEASIBLE
        far, near = (_squashed(float(each.point.values[rows].max())) for each in (outside, inside))
        share = float(np.clip(far / (far - near), *SHARES))
        unit = outside.unit + share * (inside.unit - outside.unit)
        between = _At.place(view, unit, view.at(unit))
        if is_kept(between.point):
            inside = between
        else:
            outside = between
    if inside is at:
        return outside
    return replace(inside, scenarios=inside.scenarios | outside.broken_in(view))


def _squashed(value: float) -> float:
    """A limit's scaled value between -1 and 1, straight near 0: beyond the edge some rise a hundredfold."""
    return value / (abs(value) + NEARBY)


def _begins_to_mend(model: StepModel, at: _At, trial: _At, step: ModelStep) -> bool:
    """Whether the excess falls so much less than promised that it needs a model of its own."""
    poor = at.excess - trial.excess < POOR_MENDING * step.fall_of_excess
    return at.excess > NEARLY and poor and not model.is_mending


def _is_cramped(model: StepModel, at: _At, radius: float) -> bool:
    """Whether only a small region keeps broken limits from being mended."""
    if is_kept(at.point) or radius >= FIRST_RADIUS:
        return False
    wide = best_step(model, at.point.values + INSET, at.unit, FIRST_RADIUS)
    return wide.fall_of_excess > SHARE_WORTH * at.excess


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _At:
    """A point of the descent with the scenarios whose limits are near."""

    unit: Floats
    point: Point
    excess: float
    scenarios: frozenset[int]

    @classmethod
    def place(cls, view: UnitView, unit: Floats, point: Point) -> _At:
        near = view.behind(point.values, NEARBY)
        excess = float(np.maximum(point.values + INSET, 0.0).sum())
        return cls(unit=unit, point=point, excess=excess, scenarios=near)

    def slopes(self, view: UnitView) -> tuple[Floats, Floats]:
        return view.slopes(self.unit, sorted(self.scenarios))

    def broken_in(self, view: UnitView) -> frozenset[int]:
        return view.behind(self.point.values, 0.0)


def _is_accepted(filtered: Sequence[tuple[float, float]], at: _At, trial: _At, step: ModelStep) -> bool:
    fall, fall_of_excess = at.point.objective - trial.point.objective, at.excess - trial.excess
    if at.excess > NEARLY:
        return fall_of_excess >= POOR * step.fall_of_excess
    if at.excess <= FEASIBLE and trial.excess <= FEASIBLE:
        return fall >= POOR * step.fall_of_objective
    return trial.excess <= MOST_EXCESS and all(
        trial.excess <= (1.0 - LEAST_GAIN) * h or trial.point.objective <= f - LEAST_GAIN * h
        for h, f in [*filtered, (at.excess, at.point.objective)]
    )


def close_in(view: UnitView, best: Point) -> Point:
    """Where no limit is near that would end the search, halve the way to the nearest better blend that broke one.

    A limit can jump, as that on a layer which is there or not; its slope beyond the jump says nothing of where that is.

    Parameters
    ----------
    view : UnitView
        With every point the search has met.
    best : Point
        The best of those that keep every limit.

    Returns
    -------
    Point
        One that keeps every limit, `best` where a limit explains it.
    """
    broken = [point for point in view.visited if point.objective < best.objective]
    if not broken or float(best.values.max()) > -NEAR:
        return best
    inside = view.unit(best.loadings_wt_pct)

    def distance(point: Point) -> float:
        return float(np.abs(view.unit(point.loadings_wt_pct) - inside).max())

    beyond = min(broken, key=distance)
    outside = view.unit(beyond.loadings_wt_pct)
    for _ in range(HALVINGS):
        if best.objective - beyond.objective <= WORTH * max(abs(best.objective), 1e-9):
            break
        middle = 0.5 * (inside + outside)
        point = view.at(middle)
        if is_kept(point) and point.objective < best.objective:
            best, inside = point, middle
        else:
            beyond, outside = point, middle
    return best


def multipliers_at(view: UnitView, point: Point) -> Floats:
    """Multipliers of the limits at an optimum: the non-negative combination that best cancels the slope.

    Loadings at their ends may take up slope in the outward direction, as bounds do.
    """
    unit = view.unit(point.loadings_wt_pct)
    gradient, slopes = view.slopes(unit, sorted(view.behind(point.values, NEAR)))
    return multipliers_of(gradient, slopes, point.values, unit)
