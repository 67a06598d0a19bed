"""What one wish costs in terms of another: blends that nothing beats on two or three axes at once.

One axis is minimised while the others are held at one level after another (the epsilon-constraint method; Haimes, Lasdon &
Wismer, IEEE Trans. Syst. Man Cybern. 1971, 1, 296), each level begun from the blends of the level before.

The end of most room is searched for itself. More work between the ends does not pay (demonstration brief): every level polished
again from the nearest blends of the front adds nothing to the hypervolume of cost against heat, yellowness or room; every
substance set met, polished at every level of heat from low loadings, 0.13 % for over twice the time; three full searches 0.03 %.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .brief import Brief
from .front_axes import WHOLE_BLEND, Axis, axis_values, has_room
from .front_rounding import rounded_blend
from .giving import RoomProblem
from .hypervolume import apart, hypervolume, knee, normalised, unbeaten
from .ledger import Ledger, kept_unit
from .local import Local, evaluated, local_search
from .problem import Problem
from .search import Progress, search

Floats = NDArray[np.float64]
LedgerMaker = Callable[[str, Problem], Ledger]

SUBSETS = 3  # substance sets followed along the front: the best of each end
ITERATIONS = 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrontPoint:
    """A blend on the front with its value on every axis asked for, in the axis's unit, and whether it is rounded for weighing."""

    blend_wt_pct: dict[str, float]
    values: tuple[float, ...]
    is_rounded: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Front:
    """What was found.

    Parameters
    ----------
    axes : tuple of Axis
        What was asked for; the first was minimised.
    points : tuple of FrontPoint
        Blends that nothing found beats, by the first axis.
    knee : int
        The point furthest from the straight line between the ends.
    hypervolume_ratio : float
        Share of the box between the best and the worst value of every axis that the points shown dominate [-].
    tried : int
        Blends polished.
    films : int
        Films simulated.
    dropped : int
        Blends that nothing beat before their loadings were rounded for weighing.
    """

    axes: tuple[Axis, ...]
    points: tuple[FrontPoint, ...]
    knee: int
    hypervolume_ratio: float
    tried: int
    films: int
    dropped: int = 0

    @property
    def unrounded(self) -> list[int]:
        """Numbers, from 1, of the points that could not be rounded for weighing."""
        return [number for number, point in enumerate(self.points, start=1) if not point.is_rounded]


def front_of(
    problem: Problem, axes: Sequence[Axis], *, levels: int, ledger: LedgerMaker, progress: Progress
) -> Front:
    """Trace a front.

    Parameters
    ----------
    problem : Problem
        The brief's problem; its limits hold everywhere on the front.
    axes : sequence of Axis
        From `axes_of`.
    levels : int
        Levels of each axis that is held.
    ledger : callable
        Gives a record for each part of the work, so that a stopped run is taken up again.
    progress : callable
        Told about the parts of the work.

    Returns
    -------
    Front
        No point when no blend meets the brief.
    """
    tracer = _Tracer(problem, tuple(axes), ledger, progress)
    ends = tracer.ends()
    if not ends:
        return Front(axes=tuple(axes), points=(), knee=0, hypervolume_ratio=0.0, tried=0, films=tracer.films)
    ranges = [tracer.levels(axis, levels) for axis in axes[1:]]
    combinations = list(product(*ranges))
    for number, held in enumerate(combinations):
        progress(number, len(combinations), tracer.words(held))
        tracer.trace(held)
    return tracer.front()


class _Tracer:
    def __init__(
        self, problem: Problem, axes: tuple[Axis, ...], ledger: LedgerMaker, progress: Progress
    ) -> None:
        self.problem, self.axes, self.make_ledger, self.progress = problem, axes, ledger, progress
        self.found: dict[tuple[tuple[str, float], ...], FrontPoint] = {}
        self.best: dict[tuple[str, ...], Local] = {}
        self.films = self.tried = 0
        self.record: Ledger | None = None
        self.parts: dict[tuple[str, ...], Problem] = {}
        self.aims: dict[tuple[str, ...], Problem] = {}

    def ends(self) -> list[FrontPoint]:
        """The best blend of each axis that can be minimised; their substance sets are followed from there."""
        for axis in self.axes:
            if not axis.objective:
                continue
            goal = self._aimed(self.problem, axis, {})
            found = search(goal, ledger=self.make_ledger(axis.key, goal), progress=self.progress)
            self.films += found.simulations
            for each in [one for one in found.ranked if one.is_feasible][:SUBSETS]:
                self.keep(each)
                self.best.setdefault(tuple(each.blend_wt_pct), each)
        return list(self.found.values())

    def _aimed(self, problem: Problem, axis: Axis, held: dict[str, float]) -> Problem:
        """The problem with one axis to be minimised and others held."""
        brief = replace(problem.brief, objective=axis.objective or problem.brief.objective)
        brief, room = _held(brief, held)
        limits = {row.limit_name for row in problem.constraints} if room else set()
        return replace_problem(problem, brief, dict.fromkeys(limits - WHOLE_BLEND, room))

    def levels(self, axis: Axis, count: int) -> list[float]:
        """Values at which an axis is held, the loosest first."""
        column = self.axes.index(axis)
        values = [point.values[column] for point in self.found.values()]
        if axis.key == "margin":
            # from none, one level more than of another axis, whose loosest end the search of the first axis has reached
            return [float(each) for each in np.linspace(0.0, self._most_margin(column), count + 1)]
        return [float(each) for each in np.linspace(max(values), min(values), count)]

    def _most_margin(self, column: int) -> float:
        """Largest room any followed substance set was found to keep; the blend that does is on the front as well."""
        most = 0.0
        for keys, start in list(self.best.items()):
            part = self.problem.narrowed(keys)
            found = self._kept(f"{' + '.join(keys)} with most room", partial(_roomiest, part, start))
            if found.is_feasible:
                most = max(most, self.keep(found).values[column])
        return most

    def words(self, held: tuple[float, ...]) -> str:
        pairs = zip(self.axes[1:], held, strict=True)
        return ", ".join(f"{axis.words} at {value:.4g} {axis.unit}" for axis, value in pairs)

    def trace(self, held: tuple[float, ...]) -> None:
        """Minimise the first axis with the others held, for every substance set followed."""
        names = {axis.key: value for axis, value in zip(self.axes[1:], held, strict=True)}
        for each in self._polished(names):
            if each.is_feasible:
                self.keep(each)
                self.best[tuple(each.blend_wt_pct)] = each
            elif len(self.axes) == 2:  # what fails at one level fails at every tighter one
                self.best.pop(tuple(each.blend_wt_pct), None)

    def _polished(self, held: dict[str, float]) -> list[Local]:
        done = []
        for keys, start in list(self.best.items()):
            unit = f"{' + '.join(keys)} at " + ", ".join(
                f"{name} {value:.9g}" for name, value in held.items()
            )
            part = self._aimed(self.problem.narrowed(keys), self.axes[0], held)
            done.append(self._kept(unit, partial(_begun_at, part, start)))
        return done

    def _kept(self, unit: str, job: Callable[[], Local]) -> Local:
        """A polished blend from the record, or worked out now."""
        if self.record is None:
            self.record = self.make_ledger("levels", self.problem)
        found = kept_unit(self.record, unit, job)
        self.films += found.simulations
        self.tried += 1
        return found

    def keep(self, found: Local) -> FrontPoint:
        """A blend with its value on every axis, worked out once."""
        key = tuple(sorted(found.blend_wt_pct.items()))
        if key not in self.found:
            keys = tuple(found.blend_wt_pct)
            part = self._measuring_of(keys)
            self.found[key] = FrontPoint(
                blend_wt_pct=found.blend_wt_pct, values=axis_values(part, found.blend_wt_pct, self.axes)
            )
        return self.found[key]

    def _measuring_of(self, keys: tuple[str, ...]) -> Problem:
        if keys not in self.parts:
            self.parts[keys] = self._measuring(keys)
        return self.parts[keys]

    def _measuring(self, keys: tuple[str, ...]) -> Problem:
        part = self.problem.narrowed(keys)
        if any(axis.key == "yellowness" for axis in self.axes):
            part = replace_problem(part, replace(part.brief, objective="least_yellowing"), {})
        return part

    def front(self) -> Front:
        """What nothing beats, rounded for weighing; what rounding has beaten drops out."""
        exact = list(self.found.values())
        hopeful = [exact[i] for i in unbeaten(self._signed(exact))]
        every = []
        for number, point in enumerate(hopeful):
            self.progress(number, len(hopeful), "loadings rounded for weighing")
            every.append(self._rounded(point))
        signed = self._signed(every)
        order = unbeaten(signed)
        shown = order[apart(signed[order])]
        volume = hypervolume(normalised(signed[shown]), np.ones(len(self.axes)))
        return Front(
            axes=self.axes, points=tuple(every[i] for i in shown), knee=knee(signed[shown]), hypervolume_ratio=volume,
            tried=self.tried, films=self.films, dropped=len(every) - len(order),
        )  # fmt: skip

    def _signed(self, points: Sequence[FrontPoint]) -> Floats:
        return np.array(
            [[axis.sign * v for axis, v in zip(self.axes, p.values, strict=True)] for p in points]
        )

    def _rounded(self, point: FrontPoint) -> FrontPoint:
        keys = tuple(point.blend_wt_pct)
        if keys not in self.aims:
            self.aims[keys] = self._aimed(self.problem.narrowed(keys), self.axes[0], {})
        part = self.aims[keys]
        before = part.simulations
        blend, is_rounded = rounded_blend(part, point.blend_wt_pct)
        self.films += part.simulations - before
        values = axis_values(self._measuring_of(keys), blend, self.axes)
        return FrontPoint(blend_wt_pct=blend, values=values, is_rounded=is_rounded)


def _begun_at(part: Problem, start: Local) -> Local:
    """A problem of few substances polished from a blend of them."""
    low = part.lowest_wt_pct
    return local_search(part, np.maximum(part.vector(start.blend_wt_pct), low), low, most_steps=ITERATIONS)


def _roomiest(part: Problem, start: Local) -> Local:
    """The blend with most room to the nearest limit, as the problem itself judges it."""
    view: Any = RoomProblem(part, has_room(part))
    found = _begun_at(view, start)
    return evaluated(part, part.vector(found.blend_wt_pct), found.simulations)


def _held(brief: Brief, held: dict[str, float]) -> tuple[Brief, float]:
    """The brief with some axes held at a level, and the room to be kept from every limit."""
    limits = brief.limits
    for name, value in held.items():
        match name:
            case "cost":
                limits = replace(limits, cost_max_per_kg=_least(value, limits.cost_max_per_kg))
            case "heat":
                # the brief's margin is taken off again when the limit is built
                level = value + 273.15 + brief.margins.temperature_k
                limits = replace(limits, nail_bed_max_k=min(level, limits.nail_bed_max_k))
            case "yellowness":
                limits = replace(limits, yellowness_max_ratio=_least(value, limits.yellowness_max_ratio))
            case "initiator":
                limits = replace(
                    limits, total_initiator_max_wt_pct=_least(value, limits.total_initiator_max_wt_pct)
                )
    return replace(brief, limits=limits), held.get("margin", 0.0)


def _least(value: float, limit: float | None) -> float:
    return value if limit is None else min(value, limit)


def replace_problem(problem: Problem, brief: Brief, tightened: dict[str, float]) -> Problem:
    """A problem with another brief for the same lamp, gel and substances."""
    return Problem(
        brief=brief, lamp=problem.lamp, gel=problem.gel, space=problem.space, more_lamps=problem.more_lamps,
        tightened=tightened, make_evaluator=problem.make_evaluator, workers=problem.workers,
    )  # fmt: skip
