"""Other ways to search the same briefs: samplers of optuna, cmaes, scipy, and chance.

All see the same blends through the same simulator. A blend is drawn from the unit cube: per slot a choice (an initiator or
"none") and a loading, one choice and one loading for the amine that joins where a type II initiator asks for it. Loadings are
spaced by squares, as small ones matter most. Limits go to a method as constraints where it takes them; else a blend that breaks
limits ranks behind every blend that does not, by its violation.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gelwright.lamp_library.errors import SolverError
from gelwright.optimiser.problem import Point, Problem

Floats = NDArray[np.float64]
BROKEN = 1e6  # far above any objective
KEPT = 1e-9
BROKEN_LIMIT = 1e3  # scaled value of every limit of a blend that cannot be simulated


class Enough(Exception):
    """Raised when the budget is used up or the goal is reached."""


@dataclass(slots=True, kw_only=True)
class Watch:
    """Counts films, keeps the course of the best blend, and ends a run.

    Parameters
    ----------
    problem : Problem
        What is searched.
    most_films : int
        Budget.
    goal : float
        Objective, or violation of an impossible brief, at which the run may end.
    is_possible : bool
        Whether the goal is an objective.
    counted : callable
        Films simulated so far, those of a coarse first stage included.
    """

    problem: Problem
    most_films: int
    goal: float
    is_possible: bool
    counted: Callable[[], int]
    best: tuple[float, float] = (np.inf, np.inf)
    course: list[tuple[int, float, float, float]] = field(default_factory=list)
    first_films: int = 0
    began: float = field(default_factory=time.process_time)

    def __post_init__(self) -> None:
        self.first_films = self.counted()

    @property
    def films(self) -> int:
        return self.counted() - self.first_films

    def see(self, point: Point) -> None:
        """Keep a simulated blend if it is the best so far."""
        violation = max(point.violation, 0.0)
        rank = (0.0, point.objective) if violation <= KEPT else (1.0, violation)
        if rank < self.best:
            self.best = rank
            seconds = time.process_time() - self.began
            self.course.append((self.films, float(rank[0]), float(rank[1]), seconds))

    def _alone(self, row: Floats) -> Point:
        """One blend; the rare one whose film the coarse simulator cannot balance keeps no limit."""
        try:
            return self.problem.points(row[None, :])[0]
        except SolverError:
            values = np.full(len(self.problem.constraints), BROKEN_LIMIT)
            return Point(loadings_wt_pct=row, objective=np.inf, values=values, figures=())

    def judge(self, loadings_wt_pct: Floats) -> list[Point]:
        """Simulate blends, one row each, and end the run when it is time."""
        try:
            points = self.problem.points(loadings_wt_pct)
        except SolverError:
            points = [self._alone(row) for row in loadings_wt_pct]
        for point in points:
            self.see(point)
        reached = self.best <= ((0.0 if self.is_possible else 1.0), self.goal)
        if reached or self.films >= self.most_films:
            raise Enough
        return points


@dataclass(slots=True)
class Slots:
    """From the unit cube to blends."""

    problem: Problem
    slots: int = field(init=False)
    kinds: int = field(init=False)

    def __post_init__(self) -> None:
        self.slots = self.problem.brief.max_initiators
        self.kinds = len(self.problem.space.initiators) + 1  # the last one is "none"

    @property
    def choices(self) -> list[int]:
        """Number of choices of each discrete variable: one per slot, and the amine's where there are amines."""
        amines = len(self.problem.space.amines)
        return [self.kinds] * self.slots + ([amines] if amines else [])

    def loadings(self, choice: NDArray[np.intp], unit: Floats) -> Floats:
        """One blend [wt%] from choices and unit loadings, one of each per slot and for the amine."""
        space = self.problem.space
        low, high = self.problem.brief.smallest_loading_wt_pct, space.high_wt_pct
        blend = np.zeros(len(space.keys))
        for kind, u in zip(choice[: self.slots], unit[: self.slots], strict=True):
            if kind < self.kinds - 1 and blend[kind] == 0.0:
                blend[kind] = low + (high[kind] - low) * float(np.clip(u, 0.0, 1.0)) ** 2
        if not blend.any():  # at least one initiator
            blend[0] = low + (high[0] - low) * float(np.clip(unit[0], 0.0, 1.0)) ** 2
        if any(space.substances[kind].needs_amine for kind in np.flatnonzero(blend)):
            column = self.kinds - 1 + int(choice[-1])
            blend[column] = low + (high[column] - low) * float(np.clip(unit[-1], 0.0, 1.0)) ** 2
        return blend

    def from_cube(self, x: Floats) -> Floats:
        """One blend from one vector: discrete variables as floats first, then unit loadings."""
        counts = np.array(self.choices)
        choice = np.clip(np.floor(x[: len(counts)]), 0, counts - 1).astype(np.intp)
        return self.loadings(choice, x[len(counts) :])

    @property
    def bounds(self) -> list[tuple[float, float]]:
        return [(0.0, count - 1e-6) for count in self.choices] + [(0.0, 1.0)] * len(self.choices)


def merit(point: Point) -> float:
    """One number to make small: any kept blend before any broken one."""
    return point.objective if point.violation <= KEPT else BROKEN * (1.0 + point.violation)


def chance(watch: Watch, seed: int) -> None:
    """Uniform choices and square-spaced loadings."""
    slots, rng = Slots(watch.problem), np.random.default_rng(seed)
    counts = np.array(slots.choices)
    while True:
        rows = [slots.loadings(rng.integers(0, counts), rng.random(len(counts))) for _ in range(16)]
        watch.judge(np.array(rows))


def differential_evolution(watch: Watch, seed: int) -> None:
    """scipy, integer slots, vectorised, restarted when it has converged."""
    from scipy.optimize import differential_evolution as evolve

    slots = Slots(watch.problem)
    n = len(slots.choices)
    bounds = [(0, count - 1) for count in slots.choices] + [(0.0, 1.0)] * n

    def merits(x: Floats) -> Floats:
        columns = x.reshape(2 * n, -1)
        return np.array([merit(p) for p in watch.judge(np.array([slots.from_cube(c) for c in columns.T]))])

    for start in range(1000):
        evolve(
            merits, bounds, integrality=[True] * n + [False] * n, vectorized=True, updating="deferred",
            polish=False, rng=np.random.default_rng([seed, start]), maxiter=10_000,
        )  # fmt: skip


def dual_annealing(watch: Watch, seed: int) -> None:
    """scipy, without its local search (which takes differences across the jumps between slots)."""
    from scipy.optimize import dual_annealing as anneal

    slots = Slots(watch.problem)
    for start in range(1000):
        anneal(
            lambda x: merit(watch.judge(slots.from_cube(x)[np.newaxis, :])[0]), slots.bounds,
            no_local_search=True, rng=np.random.default_rng([seed, start]), maxiter=100_000,
        )  # fmt: skip


def cma_es(watch: Watch, seed: int) -> None:
    """CatCMA with margin of the package cmaes: categories for slots, normal loadings; restarted when it stops."""
    from cmaes import CatCMAwM

    slots = Slots(watch.problem)
    n = len(slots.choices)
    counts = [max(count, 2) for count in slots.choices]
    for start in range(1000):
        optimiser = CatCMAwM(x_space=[[0.0, 1.0]] * n, c_space=counts, seed=1000 * seed + start)
        while not optimiser.should_stop():
            drawn = [optimiser.ask() for _ in range(optimiser.population_size)]
            picks = [np.minimum(s.c.argmax(axis=1), np.array(slots.choices) - 1) for s in drawn]
            rows = [slots.loadings(pick, s.x) for pick, s in zip(picks, drawn, strict=True)]
            optimiser.tell([(s, merit(p)) for s, p in zip(drawn, watch.judge(np.array(rows)), strict=True)])


def _optuna(
    make_sampler: Callable[[int], object], *, constraint_of_all: bool = False
) -> Callable[[Watch, int], None]:
    """A sampler of optuna; `constraint_of_all` hands it the largest of the scaled limits in place of each."""

    def run(watch: Watch, seed: int) -> None:
        import optuna

        optuna.logging.set_verbosity(optuna.logging.WARNING)
        warnings.simplefilter("ignore", category=optuna.exceptions.ExperimentalWarning)
        slots = Slots(watch.problem)
        study = optuna.create_study(sampler=make_sampler(seed))  # type: ignore[arg-type]
        names = [row.name for row in watch.problem.constraints]
        while True:
            trial = study.ask()
            choice = [
                trial.suggest_categorical(f"choice {i}", list(range(count)))
                for i, count in enumerate(slots.choices)
            ]
            unit = [trial.suggest_float(f"loading {i}", 0.0, 1.0) for i in range(len(choice))]
            point = watch.judge(slots.loadings(np.array(choice), np.array(unit))[np.newaxis, :])[0]
            if constraint_of_all:
                trial.set_constraint("largest", float(np.max(point.values)))
            else:
                for name, value in zip(names, point.values, strict=True):
                    trial.set_constraint(name, float(value))
            study.tell(trial, point.objective)

    return run


def _tpe(seed: int) -> object:
    import optuna

    return optuna.samplers.TPESampler(seed=seed)


def _nsga(seed: int) -> object:
    import optuna

    return optuna.samplers.NSGAIISampler(seed=seed, population_size=30)


def _gp(seed: int) -> object:
    import optuna
    import torch  # noqa: F401  the sampler asks for it only at its first trial

    return optuna.samplers.GPSampler(seed=seed)


METHODS: dict[str, Callable[[Watch, int], None]] = {
    "differential evolution (scipy)": differential_evolution,
    "TPE (optuna)": _optuna(_tpe),
    "NSGA-II (optuna)": _optuna(_nsga),
    "CMA-ES (cmaes)": cma_es,
    "dual annealing (scipy)": dual_annealing,
    "chance": chance,
    # a Gaussian process for each of some thirty limits would take minutes per blend
    "GP (optuna)": _optuna(_gp, constraint_of_all=True),
}
