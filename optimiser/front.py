"""What one wish costs in terms of another: blends that nothing beats on two or three axes at once.

One axis is minimised while the others are held at one level after another (the epsilon-constraint method; Haimes, Lasdon &
Wismer, IEEE Trans. Syst. Man Cybern. 1971, 1, 296), each level begun from the blends of the level before.

More work between the ends does not pay (demonstration brief, cost against heat, against yellowness and against room): every
level polished again from the nearest blends of the front adds nothing to the hypervolume; every substance set met, polished at
every level from low loadings, at most 0.13 % for over twice the time (cost against heat); three full searches in between 0.03 %.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.units import c_from_k
from .brief import Brief
from .front_rounding import rounded_blend
from .hypervolume import apart, hypervolume, knee, normalised, unbeaten
from .ledger import Ledger
from .local import Local, local_search
from .problem import Problem
from .search import Progress, search
from .search_space import missing_prices

Floats = NDArray[np.float64]
LedgerMaker = Callable[[str, Problem], Ledger]

SUBSETS = 3  # substance sets followed along the front: the best of each end
MARGIN_STEPS = 6
MOST_MARGIN = 4.0
ITERATIONS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One thing to be small (the margin: to be large).

    Parameters
    ----------
    key, words, unit : str
        Name on the command line, in words, unit as shown.
    objective : str
        Objective of a brief that minimises it; "" = it can only be held at levels.
    sign : int
        +1 when small is good, -1 when large is.
    """

    key: str
    words: str
    unit: str
    objective: str
    sign: int = 1


AXES = {
    axis.key: axis
    for axis in (
        Axis(key="cost", words="cost of the initiators", unit="per kg gel", objective="least_cost"),
        Axis(key="heat", words="nail-bed peak", unit="°C", objective="least_heat"),
        Axis(key="yellowness", words="yellowness of the cured film", unit="YI", objective="least_yellowing"),
        Axis(key="initiator", words="initiator and amine", unit="wt%", objective="least_initiator"),
        Axis(key="margin", words="room to the nearest limit", unit="steps of 5 K or 0.05 of conversion", objective="", sign=-1),
    )
}  # fmt: skip


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


def axes_of(names: Sequence[str], problem: Problem) -> tuple[Axis, ...]:
    """Axes by name, the one to be minimised first.

    Raises
    ------
    UnknownNameError
        If a name is not known.
    InputError
        If there are not two or three, one is given twice, or a price is missing.
    """
    for name in names:
        if name not in AXES:
            raise unknown_name("axis", name, AXES)
    if len(set(names)) != len(names) or not 2 <= len(names) <= 3:
        raise InputError(
            f"--against {','.join(names)}: name two or three different ones of {', '.join(AXES)}."
        )
    missing = missing_prices(problem.space.keys, problem.brief) if "cost" in names else []
    if missing:
        raise InputError(
            f"prices.per_kg lacks {', '.join(missing)}; a front of cost needs a price "
            'for each. Add to the brief, for example: [prices], currency = "EUR", per_kg = { BAPO = 120 }, every one of them named.'
        )
    chosen = [AXES[name] for name in names]
    return tuple(sorted(chosen, key=lambda axis: not axis.objective))


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
        return replace_problem(problem, brief, dict.fromkeys(limits - _WHOLE_BLEND, room))

    def levels(self, axis: Axis, count: int) -> list[float]:
        """Values at which an axis is held, the loosest first."""
        column = self.axes.index(axis)
        values = [point.values[column] for point in self.found.values()]
        if axis.key == "margin":
            return [float(each) for each in np.linspace(0.0, self._most_margin(), count)]
        return [float(each) for each in np.linspace(max(values), min(values), count)]

    def _most_margin(self) -> float:
        """Largest room any followed substance set can keep, by halving."""
        low, high = 0.0, MOST_MARGIN
        for _ in range(MARGIN_STEPS):
            middle = 0.5 * (low + high)
            feasible = [each for each in self._polished({"margin": middle}) if each.is_feasible]
            low, high = (middle, high) if feasible else (low, middle)
        return low

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
        if self.record is None:
            self.record = self.make_ledger("levels", self.problem)
        done = []
        for keys, start in list(self.best.items()):
            unit = f"{' + '.join(keys)} at " + ", ".join(
                f"{name} {value:.9g}" for name, value in held.items()
            )
            found = self.record.get(unit)
            if found is None:
                part = self._aimed(self.problem.narrowed(keys), self.axes[0], held)
                low = np.full(len(keys), self.problem.brief.smallest_loading_wt_pct)
                begin = np.maximum(part.vector(start.blend_wt_pct), low)
                found = local_search(part, begin, low, most_steps=ITERATIONS)
                self.record.put(unit, found, 0.0)
            self.films += found.simulations
            self.tried += 1
            done.append(found)
        return done

    def keep(self, found: Local) -> None:
        """Work out a blend's value on every axis."""
        key = tuple(sorted(found.blend_wt_pct.items()))
        if key not in self.found:
            keys = tuple(found.blend_wt_pct)
            part = self._measuring_of(keys)
            self.found[key] = FrontPoint(
                blend_wt_pct=found.blend_wt_pct, values=axis_values(part, found.blend_wt_pct, self.axes)
            )

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


# limits of the whole blend are no matter of room: they are weighed, not predicted
_WHOLE_BLEND = {"total initiator", "cost", "yellowness"}


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


def axis_values(part: Problem, blend_wt_pct: dict[str, float], axes: Sequence[Axis]) -> tuple[float, ...]:
    """Value of a blend on every axis, in the axis's unit."""
    loadings = part.vector(blend_wt_pct)[np.newaxis, :]
    figures = part.evaluator(loadings)
    measures = part.measures(loadings, figures)
    hot = list(part.heat_scenarios)
    found = {
        "heat": lambda: float(c_from_k(measures["nail_bed_peak_k"][0, hot].max())),
        "cost": lambda: float(measures["cost_per_kg"][0, 0]),
        "initiator": lambda: float(measures["total_wt_pct"][0, 0]),
        "yellowness": lambda: float(measures["yellowness_ratio"][0].max()),
        "margin": lambda: _room(part, measures),
    }
    return tuple(found[axis.key]() for axis in axes)


def _room(part: Problem, measures: dict[str, Floats]) -> float:
    rows = [row for row in part.constraints if row.limit_name not in _WHOLE_BLEND]
    return -max(float(row.scaled(measures[row.figure][0, row.scenario])) for row in rows)
