"""Local search: sequential quadratic programming in unit variables, with few films a step.

Variables run from 0 to 1; a loading is ``low + (high - low) (a u + (1 - a) u^2)``. The square spreads the small
loadings, where the answers lie; the small linear part keeps zero from being a stationary point of everything.

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

Floats = NDArray[np.float64]

LINEAR_PART = 0.1
STEP = 1e-3  # difference step in unit variables
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


class UnitView:
    """A problem seen through unit variables of some of its substances, with derivatives by the chain rule.

    Parameters
    ----------
    problem : Problem
        The problem, of these and perhaps more substances.
    low_wt_pct : ndarray, shape (n_key,)
        Loadings at 0 of the unit variables [wt%].
    keys : sequence of str, optional
        Substances that vary, the others stay out; all if left out.
    """

    def __init__(self, problem: Problem, low_wt_pct: Floats, keys: Sequence[str] | None = None) -> None:
        self.problem = problem
        self.size = len(problem.space.high_wt_pct)
        self.columns = list(range(self.size))
        if keys is not None:
            self.columns = [problem.space.keys.index(key) for key in keys]
        high = problem.space.high_wt_pct[self.columns]
        self.low = np.minimum(low_wt_pct, high)
        self.span = np.maximum(high - self.low, 1e-9)  # a cap may equal the least loading
        self.visited: list[Point] = []
        self._slopes: dict[bytes, tuple[set[int] | None, Floats, Floats]] = {}

    def loadings(self, unit: Floats) -> Floats:
        u = np.clip(unit, 0.0, 1.0)
        loadings = np.zeros(self.size)
        loadings[self.columns] = self.low + self.span * (LINEAR_PART * u + (1.0 - LINEAR_PART) * u**2)
        return loadings

    def unit(self, loadings_wt_pct: Floats) -> Floats:
        share = np.clip((loadings_wt_pct[self.columns] - self.low) / self.span, 0.0, 1.0)
        a, b = 1.0 - LINEAR_PART, LINEAR_PART
        return np.asarray((np.sqrt(b**2 + 4.0 * a * share) - b) / (2.0 * a))

    def at(self, unit: Floats) -> Point:
        point = self.problem.point(self.loadings(unit))
        self.visited.append(point)
        return point

    def stretch(self, unit: Floats) -> Floats:
        """Loading per unit variable."""
        return np.asarray(self.span * (LINEAR_PART + 2.0 * (1.0 - LINEAR_PART) * np.clip(unit, 0.0, 1.0)))

    def slopes(self, unit: Floats, scenarios: Sequence[int] | None = None) -> tuple[Floats, Floats]:
        """Slopes of objective and limits; limits of scenarios not named may have the slope 0.

        Parameters
        ----------
        unit : ndarray, shape (n_key,)
            Where.
        scenarios : sequence of int, optional
            Scenarios to simulate; all if left out.

        Returns
        -------
        tuple of ndarray
            Shapes (n_key,) and (n_constraint, n_key).
        """
        key, known = unit.tobytes(), self._slopes.get(unit.tobytes())
        wanted = None if scenarios is None else set(scenarios)
        if known is None or not (known[0] is None or (wanted is not None and wanted <= known[0])):
            if known is not None and known[0] is not None and wanted is not None:
                wanted |= known[0]
            stretch = self.stretch(unit)
            step = np.ones(self.size)
            step[self.columns] = STEP * stretch
            objective, values = self._differences(unit, step, wanted)
            known = (wanted, objective * stretch, values * stretch)
            self._slopes[key] = known
        return known[1], known[2]

    def _differences(
        self, unit: Floats, step_wt_pct: Floats, wanted: set[int] | None
    ) -> tuple[Floats, Floats]:
        if not hasattr(self.problem, "scenarios_behind"):
            return self.problem.slopes(self.loadings(unit), step_wt_pct)
        scenarios = None if wanted is None else sorted(wanted)
        return self.problem.slopes(
            self.loadings(unit), step_wt_pct, columns=self.columns, scenarios=scenarios
        )

    def behind(self, values: Floats, within: float) -> frozenset[int]:
        """Scenarios whose limits are broken or near, and those of the objective; none for problems that do not say."""
        if not hasattr(self.problem, "scenarios_behind"):
            return frozenset()
        return frozenset(self.problem.scenarios_behind(values, within))


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
    multipliers = multipliers_at(view, best) if is_kept(best) and not problem.is_screening else np.zeros(0)
    return local_of(problem, best, multipliers, problem.simulations - simulated)


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
        trial = _At.place(view, ahead, view.at(ahead))
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
        if not _is_accepted(filtered, at, trial, step):
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


def multipliers_at(view: UnitView, point: Point) -> Floats:
    """Multipliers of the limits at an optimum: the non-negative combination that best cancels the slope.

    Loadings at their ends may take up slope in the outward direction, as bounds do.
    """
    unit = view.unit(point.loadings_wt_pct)
    gradient, slopes = view.slopes(unit, sorted(view.behind(point.values, NEAR)))
    return multipliers_of(gradient, slopes, point.values, unit)
