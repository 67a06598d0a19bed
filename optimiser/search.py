"""The search: every initiator by itself, each beside the best of them, then every small subset of the strongest few.

Those that start most chains for their weight or price come first, those that need an amine after the others and with one amine
until the best of them is known.
A subset grows from the polished blends of some of its members. Before it is polished a test says whether that can pay: the
new member is probed at its smallest loading, at much of it and in place of part of the others, and what the room it makes at
the limits is worth (by the multipliers of the blend it joins) is set against what it costs. A subset whose smallest loadings
alone cost more than twice the best blend is left out. Last, the best blend is polished without members that sit at their
smallest loading. `exhaustive` polishes every subset of every allowed initiator from several starts instead and is the audit path.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .ledger import Ledger, SharedLedger, kept_unit
from .local import MOST_STEPS, Local, local_of, local_search
from .problem import Point, Problem
from .starts import by_strength, moderate_start
from .subsets import additions, amines_of, best_helped, initiators_in, leaner, strongest, subsets_of

Floats = NDArray[np.float64]

KEPT_INITIATORS = 5
SAME_OBJECTIVE = 1e-3  # a blend whose extra member changes the objective by less is not a blend of its own
MUCH = 0.6  # of what a new member may have, for the second probe
LESS = 0.75  # of what the others have, for the third
FAR = 0.1  # violation from which a second start is tried
WEIGHT_OF_BROKEN = 5.0  # per scaled unit, when a start is chosen
# A subset whose smallest loadings alone cost this many times the best blend is left out; nor is one polished that does not
# promise to come below that.
HOPELESS = 2.0


class Progress(Protocol):
    """Told before each unit: how many are done, how many there are, what comes next."""

    def __call__(self, done: int, total: int, words: str) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Outcome of a search.

    Parameters
    ----------
    ranked : tuple of Local
        Distinct blends, best first; feasible ones by objective, else by violation.
    simulations : int
        Films simulated by the units, those read back from the record included.
    units : int
        Local searches behind the answer.
    reused : int
        Units read back from the record.
    method : str
        One sentence for the report.
    tried : tuple of Local
        Every subset looked at, those included that a plainer blend matches.
    hopeless : tuple of tuple of str
        Subsets left out because their smallest loadings alone cost more than twice the best blend.
    """

    ranked: tuple[Local, ...]
    simulations: int
    units: int
    reused: int
    method: str
    tried: tuple[Local, ...] = field(default=(), repr=False)
    hopeless: tuple[tuple[str, ...], ...] = ()

    @property
    def is_feasible(self) -> bool:
        """Whether at least one blend keeps every limit."""
        return self.ranked[0].is_feasible


def search(problem: Problem, *, ledger: Ledger, progress: Progress, exhaustive: bool = False) -> Found:
    """Find the best blends of a problem.

    Parameters
    ----------
    problem : Problem
        What to search.
    ledger : Ledger
        Keeps every finished unit; units found in it are not run again.
    progress : callable
        Told about each unit.
    exhaustive : bool
        Polish every subset of all initiators instead of those of the strongest five.

    Returns
    -------
    Found
        Deterministic for a given brief, however often it was interrupted.
    """
    desk = _Desk(problem, ledger, progress)
    hunt = _Hunt(problem, desk, exhaustive)
    names, amines = problem.space.initiators, list(problem.space.amines)
    if exhaustive:
        hunt.go_through(subsets_of(problem, names, amines))
    else:
        hunt.go_through(subsets_of(problem, names, amines[:1], 1))
        hunt.go_through(subsets_of(problem, best_helped(problem, hunt.polished), amines, 1))
        amines = amines_of(problem, hunt.polished)
        hunt.go_through(additions(problem, hunt.polished, amines))
        kept = strongest(problem, hunt.polished, hunt.by_strength)[:KEPT_INITIATORS]
        hunt.go_through(subsets_of(problem, kept, amines))
        hunt.go_through(additions(problem, hunt.polished, amines))
        hunt.go_leaner()
    most = problem.brief.max_initiators
    method = (
        f"every blend of up to {most} of all {len(names)} initiators polished"
        if exhaustive
        else f"each of {len(names)} initiators by itself and beside the best, then every blend of up to {most} of the "
        f"{len(kept)} strongest"
    )
    return Found(
        ranked=tuple(distinct(hunt.polished.values())),
        simulations=sum(found.simulations for found in hunt.polished.values()),
        units=desk.done,
        reused=desk.reused,
        method=method,
        tried=tuple(hunt.polished.values()),
        hopeless=tuple(hunt.hopeless),
    )


class _Desk:
    """Runs units or takes them from the ledger, and keeps count."""

    def __init__(self, problem: Problem, ledger: Ledger, progress: Progress) -> None:
        self.problem, self.ledger, self.progress = problem, ledger, progress
        self.done = self.reused = 0
        self.total = 1

    def run_all(self, jobs: Mapping[str, Callable[[], Local]]) -> list[Local]:
        """Outcomes of units that do not depend on one another, in their order."""
        if not isinstance(self.ledger, SharedLedger):
            return [self.run(unit, job) for unit, job in jobs.items()]
        found: dict[str, Local] = {}

        def announced(unit: str) -> Local:
            self.progress(self.done, self.total, unit)
            return jobs[unit]()

        for unit, outcome, is_reused in self.ledger.results(
            {unit: partial(announced, unit) for unit in jobs}
        ):
            found[unit] = outcome
            self.done += 1
            self.reused += is_reused
        return [found[unit] for unit in jobs]

    def run(self, unit: str, job: Callable[[], Local]) -> Local:
        self.progress(self.done, self.total, unit)
        self.reused += self.ledger.get(unit) is not None
        found = kept_unit(self.ledger, unit, job)
        self.done += 1
        return found


class _Hunt:
    """Goes through subsets in order and keeps what was found for each."""

    def __init__(self, problem: Problem, desk: _Desk, exhaustive: bool) -> None:
        self.problem, self.desk, self.exhaustive = problem, desk, exhaustive
        self.polished: dict[tuple[str, ...], Local] = {}
        self.hopeless: list[tuple[str, ...]] = []
        self.low = problem.brief.smallest_loading_wt_pct
        self.by_strength = by_strength(problem)

    @property
    def best(self) -> Local:
        """The best blend so far."""
        return min(self.polished.values(), key=lambda each: each.rank)

    def go_through(self, subsets: Iterable[tuple[str, ...]]) -> None:
        """Work through subsets, the smaller ones first; one builds on smaller ones only, so a level can be shared out."""
        listed = [keys for keys in subsets if keys not in self.polished and keys not in self.hopeless]
        self.desk.total = max(self.desk.total, self.desk.done + len(listed))
        for size in sorted({len(initiators_in(self.problem, keys)) for keys in listed}):
            level = [keys for keys in listed if len(initiators_in(self.problem, keys)) == size]
            level.sort(key=self._promising_first())
            self.hopeless += [keys for keys in level if self._is_hopeless(keys)]
            worth = [keys for keys in level if keys not in self.hopeless]
            known = dict(self.polished)
            jobs = {f"subset {' + '.join(keys)}": partial(self._job, keys, known) for keys in worth}
            self.polished |= zip(worth, self.desk.run_all(jobs), strict=True)

    def _promising_first(self) -> Callable[[Sequence[str]], list[int]]:
        """Sorting key of subsets: those of the initiators that stand best so far, else that start most chains, first."""
        order = strongest(self.problem, self.polished, self.by_strength)
        return lambda keys: sorted(order.index(key) for key in initiators_in(self.problem, keys))

    def go_leaner(self) -> None:
        """Polish the best blend again without members at their smallest loading, as long as one with fewer becomes best.

        A polish that got stuck with fewer members may get on from where it arrived with more.
        """
        before = None
        while (best := self.best).blend_wt_pct.keys() != before:
            before = best.blend_wt_pct.keys()
            subsets = leaner(self.problem, best)
            units = [f"subset {' + '.join(keys)} out of {' + '.join(before)}" for keys in subsets]
            jobs = [partial(self._polished, keys, self._raised(keys, best.blend_wt_pct)) for keys in subsets]
            self.desk.total = max(self.desk.total, self.desk.done + len(units))
            found = self.desk.run_all(dict(zip(units, jobs, strict=True)))
            for keys, each in zip(subsets, found, strict=True):
                self.polished[keys] = _better(each, self.polished[keys]) if keys in self.polished else each

    def _is_hopeless(self, keys: Sequence[str]) -> bool:
        """Whether the smallest loadings alone cost far more than the best blend; only for objectives that are sums."""
        problem, feasible = self.problem, [each for each in self.polished.values() if each.is_feasible]
        if self.exhaustive or not feasible:
            return False
        least = problem.vector(dict.fromkeys(keys, self.low))[np.newaxis, :]
        match problem.brief.objective:
            case "least_cost":
                bound = float(problem.cost_per_kg(least)[0])
            case "least_initiator":
                bound = float(least.sum())
            case _:
                return False
        return bound > HOPELESS * min(each.objective for each in feasible)

    def _job(self, keys: Sequence[str], known: Mapping[tuple[str, ...], Local]) -> Local:
        parents = [each for others, each in known.items() if set(others) < set(keys)]
        if parents:  # those with most of the members
            size = max(len(each.blend_wt_pct) for each in parents)
            parents = [each for each in parents if len(each.blend_wt_pct) == size]
        if self.exhaustive:
            starts = [self._raised(keys, each.blend_wt_pct) for each in parents]
            found = self._best_of(keys, [*starts, self._moderate(keys), self._little(keys)])
        elif parents:
            subsets = [each for others, each in known.items() if set(others) < set(keys)]
            found = self._grown(keys, parents, self._worth(subsets, known.values()))
        else:
            found = self._polished(keys, self._moderate(keys))
        is_needed = not any(each.is_feasible for each in known.values())
        if found.violation > FAR and (is_needed or not parents) and not self.exhaustive:
            # a second chance: a film can be too opaque as easily as too poor in initiator
            found = _better(found, self._polished(keys, self._little(keys)))
        return found

    def _best_of(self, keys: Sequence[str], starts: Iterable[Floats]) -> Local:
        found = [self._polished(keys, start) for start in starts]
        best = min(found, key=lambda each: each.rank)
        return replace(best, simulations=sum(each.simulations for each in found))

    def _polished(self, keys: Sequence[str], start: Floats) -> Local:
        return local_search(self.problem, start, self.low, keys, most_steps=MOST_STEPS)

    def _worth(self, subsets: Sequence[Local], known: Iterable[Local]) -> float:
        """Objective that a blend has to come below to be worth polishing: its plainer ones', or many times the best of all."""
        best = min((each.objective for each in known if each.is_feasible), default=np.inf)
        return min([HOPELESS * best, *(each.objective for each in subsets if each.is_feasible)])

    def _grown(self, keys: Sequence[str], parents: Sequence[Local], worth: float) -> Local:
        """Polished from the most promising of the probes beside the parents, if that may pay."""
        problem = self.problem
        problem.forget()
        before = problem.simulations
        probes = [(each, start) for each in parents for start in self._probes(keys, each)]
        points = [problem.point(start) for _, start in probes]
        promises = [_promise(each, point, worth) for (each, _), point in zip(probes, points, strict=True)]
        first = min(range(len(points)), key=lambda i: promises[i])
        beside = min(
            (local_of(problem, point, np.zeros(0), 0) for point in points), key=lambda each: each.rank
        )
        spent = problem.simulations - before
        if beside.is_feasible and promises[first][1] >= worth:
            return replace(beside, simulations=spent)
        found = self._polished(keys, probes[first][1])
        return replace(min(found, beside, key=lambda each: each.rank), simulations=found.simulations + spent)

    def _probes(self, keys: Sequence[str], parent: Local) -> list[Floats]:
        """A parent with the least, and with much, of what it lacks, and with the least in place of part of its own."""
        space, total = self.problem.space, self.problem.brief.limits.total_initiator_max_wt_pct
        lacking = [key for key in keys if key not in parent.blend_wt_pct]
        much = dict(parent.blend_wt_pct)
        room = np.inf if total is None else (total - parent.total_wt_pct) / max(len(lacking), 1)
        for key in lacking:
            much[key] = MUCH * min(space.substance(key).high_wt_pct, room)
        less = {key: LESS * loading for key, loading in parent.blend_wt_pct.items()}
        found = [self._raised(keys, blend) for blend in (parent.blend_wt_pct, much, less)]
        return [each for i, each in enumerate(found) if not any(np.allclose(each, one) for one in found[:i])]

    def _raised(self, keys: Sequence[str], blend_wt_pct: Mapping[str, float]) -> Floats:
        """A blend with every member at its smallest loading at least."""
        return self.problem.vector({key: max(blend_wt_pct.get(key, 0.0), self.low) for key in keys})

    def _little(self, keys: Sequence[str]) -> Floats:
        return self.problem.vector(dict.fromkeys(keys, 2.0 * self.low))

    def _moderate(self, keys: Sequence[str]) -> Floats:
        part = self.problem.space.subset(keys)
        return self._raised(keys, dict(zip(part.keys, moderate_start(self.problem, part), strict=True)))


def _promise(parent: Local, point: Point, scale: float) -> tuple[float, float]:
    """What a start promises, small is good: summed excess first where nothing feasible is near, then an objective.

    Beside a polished parent the room won or lost at the limits is weighed with the parent's multipliers; else what is broken
    is added on, by a scale of the objective, infinite where no parent is feasible.
    """
    if parent.multipliers:
        room = np.array(parent.values) - point.values
        return 0.0, point.objective - float(np.array(parent.multipliers) @ room)
    if np.isinf(scale):
        return point.violation, point.objective
    return 0.0, point.objective + WEIGHT_OF_BROKEN * point.violation * abs(scale)


def _better(one: Local, other: Local) -> Local:
    """The better of two, with the films of both."""
    best = min(one, other, key=lambda each: each.rank)
    return replace(best, simulations=one.simulations + other.simulations)


def distinct(polished: Iterable[Local]) -> list[Local]:
    """Polished blends, best first, without those that a plainer blend of some of their members matches.

    Parameters
    ----------
    polished : iterable of Local
        Polished subsets.

    Returns
    -------
    list of Local
        At least one blend.
    """
    ranked = sorted(polished, key=lambda found: found.rank)

    def is_matched(found: Local) -> bool:
        mine = set(found.blend_wt_pct)
        return any(set(other.blend_wt_pct) < mine and _as_good(other, found) for other in ranked)

    return [found for found in ranked if not is_matched(found)]


def _as_good(other: Local, found: Local) -> bool:
    if other.is_feasible != found.is_feasible:
        return other.is_feasible
    mine, its = found.rank[1], other.rank[1]
    return its <= mine + SAME_OBJECTIVE * max(abs(mine), 1e-9)
