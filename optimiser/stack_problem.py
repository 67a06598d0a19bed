"""Blends of several coats judged together: the finished stack, worked out event by event, in place of single films.

It has the interface of `Problem` that the local search needs, so the same search polishes it. A variable is one substance of
one gel; a gel that lies in several stacks (one base under every shade) or twice in one has the same loadings everywhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, SolverError
from ..models.schedule import Apply, Event, Expose, Rest, Schedule, Wipe
from ..models.solver import run_parallel
from ..models.stack import build_with_steps
from ..models.stack_results import StackResult
from .build_log import BuildLog
from .constraints import Constraint
from .problem import SOFT_K, Point, soft_maximum
from .search_space import SearchSpace
from .stack_limits import StackRow, rows_of_set
from .stack_parts import SEPARATOR, CoatSet, Corner

Floats = NDArray[np.float64]
Steps = tuple[Floats, ...]
Built = dict[int, tuple[StackResult, Steps]]


@dataclass(slots=True, kw_only=True, eq=False)
class StackProblem:
    """Loadings of all gels in, objective and limits of the finished stacks out.

    Parameters
    ----------
    coats : CoatSet
        Gels, stacks, lamp and limits.
    workers : int or None
        Threads; results do not depend on it.
    log : BuildLog or None
        Keeps every build; None keeps none beyond the run.
    """

    coats: CoatSet
    workers: int | None = None
    log: BuildLog | None = None
    is_screening: bool = False
    simulations: int = 0
    space: SearchSpace = field(init=False)
    constraints: tuple[Constraint, ...] = field(init=False)
    _rows: list[StackRow] = field(init=False)
    _slices: list[slice] = field(init=False)
    _points: dict[bytes, Point] = field(init=False, default_factory=dict)
    _builds: dict[bytes, Built] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        substances = [
            replace(each, key=f"{part.name}{SEPARATOR}{each.key}")
            for part in self.coats.parts
            for each in part.space.substances
        ]
        self.space = SearchSpace(substances=tuple(substances), excluded=(), law_notes=())
        sizes = [len(part.space.keys) for part in self.coats.parts]
        ends = [sum(sizes[: i + 1]) for i in range(len(sizes))]
        self._slices = [slice(end - size, end) for end, size in zip(ends, sizes, strict=True)]
        self._rows = rows_of_set(self.coats)
        self.constraints = tuple(row.constraint for row in self._rows)

    def vector(self, blend: Mapping[str, float]) -> Floats:
        """Loading vector of blends given by coat and substance, wt%."""
        return np.array([blend.get(key, 0.0) for key in self.space.keys])

    def blend(self, loadings_wt_pct: Floats) -> dict[str, float]:
        """Loadings by coat and substance, without the zeros."""
        pairs = zip(self.space.keys, loadings_wt_pct, strict=True)
        return {key: float(loading) for key, loading in pairs if loading > 0.0}

    def by_gel(self, loadings_wt_pct: Floats) -> list[Floats]:
        """The loadings of every gel."""
        return [loadings_wt_pct[own] for own in self._slices]

    def forget(self) -> None:
        """Drop remembered points."""
        self._points.clear()
        self._builds.clear()

    def schedule(
        self, stack: int, loadings_wt_pct: Floats, thickness_m: Mapping[int, float] | None = None
    ) -> Schedule:
        """The events of one stack; every coat at the thick end of its window unless thicknesses are given by part."""
        events: list[Event] = []
        for number in self.coats.stacks[stack]:
            part = self.coats.parts[number]
            gel = part.blended(loadings_wt_pct[self._slices[number]])
            thickness = part.brief.thickness_high_m if thickness_m is None else thickness_m[number]
            for _ in range(part.applications):
                events += [
                    Apply(gel=gel, thickness_m=thickness),
                    Expose(seconds=part.brief.exposure_in_s(0), programme=part.brief.programme_in(0)),
                    Rest(seconds=part.brief.rest_s),
                ]
            if part.is_wiped:
                events.append(Wipe())
        several = len(self.coats.stacks) > 1
        return Schedule(
            title=f"{self.coats.title}: {self.coats.stack_name(stack)}" if several else self.coats.title,
            events=tuple(events),
            hand=self.coats.hand,
            is_demonstration=self.coats.brief.is_demonstration,
        )

    def corner_schedule(self, corner: Corner, loadings_wt_pct: Floats) -> Schedule:
        """The events of one corner."""
        thickness = {
            number: part.brief.thickness_high_m if corner.is_thick else part.brief.thickness_low_m
            for number, part in enumerate(self.coats.parts)
        }
        return self.schedule(corner.stack, loadings_wt_pct, thickness)

    def point(self, loadings_wt_pct: Floats) -> Point:
        """Build every corner with one set of blends, or recall it."""
        key = _key(loadings_wt_pct)
        if key not in self._points:
            known = self.log.point(self.space.keys, loadings_wt_pct) if self.log is not None else None
            if known is not None:
                self._points[key] = known[0]
                self.simulations += known[1]
                return known[0]
            built = self._built_at(loadings_wt_pct)
            point = self._point(loadings_wt_pct, {i: each[0] for i, each in built.items()})
            self._points[key] = point
            self.simulations += len(built)
            if self.log is not None:
                self.log.keep_point(self.space.keys, point, len(built))
        return self._points[key]

    def points(self, loadings_wt_pct: Floats) -> list[Point]:
        """Build several sets of blends, shape (n_blend, n_substance)."""
        return [self.point(row) for row in loadings_wt_pct]

    def results(self, loadings_wt_pct: Floats) -> list[StackResult]:
        """The builds of every corner, in the order of the set's corners."""
        built = self._built_at(loadings_wt_pct)
        return [built[i][0] for i in range(len(built))]

    @property
    def lowest_wt_pct(self) -> Floats:
        """Smallest loading of every variable [wt%]."""
        sizes = [part.brief.smallest_loading_wt_pct for part in self.coats.parts]
        return np.repeat(sizes, [len(part.space.keys) for part in self.coats.parts])

    def scenarios_behind(self, values: Floats, within: float) -> tuple[int, ...]:
        """Every corner: a build is shared by limits near and far."""
        return tuple(range(len(self.coats.corners)))

    def slopes(
        self,
        loadings_wt_pct: Floats,
        step_wt_pct: Floats,
        *,
        columns: Sequence[int] | None = None,
        scenarios: Sequence[int] | None = None,
    ) -> tuple[Floats, Floats]:
        """Forward differences of objective and limits, as `Problem.slopes`; builds that a step cannot touch are kept."""
        chosen = list(range(len(step_wt_pct))) if columns is None else list(columns)
        log = self.log if chosen == list(range(len(step_wt_pct))) else None
        if log is not None:
            known = log.slopes(self.space.keys, loadings_wt_pct, step_wt_pct)
            if known is not None:
                self.simulations += known[2]
                return known[0], known[1]
        base, built = self.point(loadings_wt_pct), self._built_at(loadings_wt_pct)
        jobs = [
            (column, i)
            for number, own in enumerate(self._slices)
            for column in range(own.start, own.stop)
            if column in chosen
            for i, corner in enumerate(self.coats.corners)
            if number in self.coats.stacks[corner.stack]
        ]
        moved = loadings_wt_pct[np.newaxis, :] + np.diag(step_wt_pct)

        def run(k: int) -> StackResult:
            column, i = jobs[k]
            return self._build(i, moved[column], built[i][1])[0]

        runs = run_parallel(run, len(jobs), self.workers)
        self.simulations += len(jobs)
        beside = {column: {i: each[0] for i, each in built.items()} for column in chosen}
        for (column, i), result in zip(jobs, runs, strict=True):
            beside[column][i] = result
        neighbours = [self._point(moved[column], beside[column]) for column in chosen]
        width = step_wt_pct[chosen]
        objective = np.array([point.objective - base.objective for point in neighbours]) / width
        values = np.stack([point.values - base.values for point in neighbours], axis=1) / width
        if log is not None:
            log.keep_slopes(self.space.keys, loadings_wt_pct, step_wt_pct, (objective, values), len(jobs))
        return objective, values

    def _built_at(self, loadings_wt_pct: Floats) -> Built:
        """The builds of every corner with their time steps; a blend known from a file is built again, and not counted twice."""
        key = _key(loadings_wt_pct)
        if key not in self._builds:
            runs = run_parallel(
                lambda i: self._build(i, loadings_wt_pct, ()), len(self.coats.corners), self.workers
            )
            self._builds[key] = dict(enumerate(runs))
        return self._builds[key]

    def _build(self, corner: int, loadings_wt_pct: Floats, replay: Steps) -> tuple[StackResult, Steps]:
        at = self.coats.corners[corner]
        schedule = self.corner_schedule(at, loadings_wt_pct)
        try:
            return self._built(schedule, at.position, replay)
        except (
            InputError
        ):  # a blend so weak that a wipe would take the only coat off: leave it on, it breaks its limits
            events = tuple(event for event in schedule.events if not isinstance(event, Wipe))
            return self._built(replace(schedule, events=events), at.position, ())

    def _built(self, schedule: Schedule, position: str, replay: Steps) -> tuple[StackResult, Steps]:
        make = partial(build_with_steps, schedule, self.coats.lamp, position=position)
        try:
            return make(replay=replay)
        except SolverError:
            if not replay:
                raise
            return make()  # the neighbour's steps do not resolve it

    def _point(self, loadings_wt_pct: Floats, results: Mapping[int, StackResult]) -> Point:
        own = self.by_gel(loadings_wt_pct)
        figures = [row.read(results, own) for row in self._rows]
        values = [
            float(row.constraint.scaled(np.array(figure)))
            for row, figure in zip(self._rows, figures, strict=True)
        ]
        return Point(
            loadings_wt_pct=loadings_wt_pct.copy(),
            objective=self._objective(loadings_wt_pct, results),
            values=np.array(values),
            figures=tuple(figures),
        )

    def _objective(self, loadings_wt_pct: Floats, results: Mapping[int, StackResult]) -> float:
        if self.coats.brief.objective == "least_heat":
            rises = [result.nail_bed_peak_k - self.coats.brief.hand_start_k for result in results.values()]
            return float(soft_maximum(np.array([rises]), SOFT_K)[0, 0])
        each = [self.gel_objective(number, loadings_wt_pct) for number in range(len(self.coats.parts))]
        return float(np.mean(each))

    def gel_objective(self, part: int, loadings_wt_pct: Floats) -> float:
        """Initiator [wt%], or its cost per kg, in one gel; the set's objective is the mean over its gels."""
        own = loadings_wt_pct[self._slices[part]]
        if self.coats.brief.objective == "least_initiator":
            return float(own.sum())
        prices = self.coats.parts[part].brief.prices_per_kg
        return float(own @ np.array([prices[key] for key in self.coats.parts[part].space.keys])) / 100.0


def _key(loadings_wt_pct: Floats) -> bytes:
    return np.ascontiguousarray(loadings_wt_pct, dtype=float).tobytes()
