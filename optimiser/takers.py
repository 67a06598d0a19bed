"""Someone who needs a blend (a gel of a set, a lamp of a list) with the search behind it and its blends so far."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from .evaluation_log import AFTER_THE_SEARCH, EvaluationLog
from .evaluators import EvaluatorMaker, blend_evaluator
from .ledger import Ledger, kept_unit, kept_units
from .local import Local, local_search
from .problem import Problem
from .search import Found, Progress, distinct, search
from .starts import moderate_start
from .tune import Inputs, fingerprint, ledger_of

Say = Callable[[str], None]


@dataclass(slots=True, kw_only=True, eq=False)
class SearchedTaker:
    """A taker with a finished search; blends of further substances are polished when asked for.

    Parameters
    ----------
    name : str
        Name in reports.
    problem : Problem
        What it needs.
    found : Found
        Outcome of its own search.
    digest : str
        Fingerprint of the search.
    ledger : Ledger or None
        Keeps what is polished later on.
    """

    name: str
    problem: Problem
    found: Found
    digest: str
    ledger: Ledger | None = None
    later: dict[frozenset[str], Local] = field(default_factory=dict)

    @property
    def blends(self) -> Sequence[Local]:
        """Feasible blends known so far."""
        return [each for each in (*self.found.ranked, *self.later.values()) if each.is_feasible]

    @property
    def simulations(self) -> int:
        """Films simulated for it."""
        return self.found.simulations + sum(each.simulations for each in self.later.values())

    def polished(self, keys: frozenset[str]) -> Local | None:
        """The best blend of these substances; None when none keeps the limits, or one is not allowed here."""
        if not keys <= set(self.problem.space.keys) or not keys & set(self.problem.space.initiators):
            return None
        known = [each for each in self.found.ranked if set(each.blend_wt_pct) == keys]
        if keys not in self.later and not known:
            unit = f"later {' + '.join(sorted(keys))}"
            self.later[keys] = (
                self._polish(keys)
                if self.ledger is None
                else kept_unit(self.ledger, unit, partial(self._polish, keys))
            )
        best = known[0] if known else self.later[keys]
        return best if best.is_feasible else None

    def _polish(self, keys: frozenset[str]) -> Local:
        part = self.problem.narrowed(tuple(keys))
        low = np.full(len(part.space.keys), self.problem.brief.smallest_loading_wt_pct)
        return local_search(part, np.maximum(moderate_start(part), low), low)


def searched(
    inputs: Inputs,
    folder: Path,
    *,
    name: str,
    workers: int | None,
    exhaustive: bool,
    progress: Progress,
    say: Say,
    make_evaluator: EvaluatorMaker = blend_evaluator,
    storage: str | None = None,
) -> SearchedTaker:
    """Search one brief; its journal lies in `folder`, so that a stopped run is taken up again.

    Parameters
    ----------
    inputs : Inputs
        Resolved brief.
    folder : Path
        Folder of this search alone, made when missing.
    name : str
        Name in reports and progress.
    workers, exhaustive, progress, say, make_evaluator, storage
        As for `tune`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    log = EvaluationLog(folder, inputs.space.keys)
    problem = problem_of(inputs, workers, log.watching(make_evaluator))
    digest = fingerprint(inputs, exhaustive)
    ledger = ledger_of(folder, digest, problem, say, storage)
    log.open(say)

    def told(done: int, total: int, words: str) -> None:
        log.unit = words
        progress(done, total, f"{name}, {words}")

    found = search(problem, ledger=ledger, progress=told, exhaustive=exhaustive)
    log.unit = AFTER_THE_SEARCH
    return SearchedTaker(name=name, problem=problem, found=found, digest=digest, ledger=ledger)


def warmed(
    inputs: Inputs,
    folder: Path,
    starts: Sequence[dict[str, float]],
    *,
    name: str,
    workers: int | None,
    progress: Progress,
    say: Say,
    make_evaluator: EvaluatorMaker = blend_evaluator,
    storage: str | None = None,
) -> SearchedTaker:
    """Polish blends known from a neighbouring brief in this one, instead of a search of its own.

    Parameters
    ----------
    starts : sequence of dict of str to float
        Blends to begin with [wt%]; those with a substance that is not allowed here are left out.
    inputs, folder, name, workers, progress, say, make_evaluator, storage
        As for `searched`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    log = EvaluationLog(folder, inputs.space.keys)
    problem = problem_of(inputs, workers, log.watching(make_evaluator))
    usable = {f"warm {' + '.join(start)}": start for start in starts if set(start) <= set(problem.space.keys)}
    # what is found depends on where it began, and a shared database may hold other beginnings
    begun = hashlib.sha256(json.dumps(usable).encode()).hexdigest()[:12]
    digest = fingerprint(inputs, False)
    ledger = ledger_of(folder, f"{digest} warm {begun}", problem, say, storage)
    log.open(say)

    def job(unit: str) -> Local:
        log.unit = unit
        progress(list(usable).index(unit), len(usable), f"{name}, {unit.removeprefix('warm ')}")
        part = problem.narrowed(tuple(usable[unit]))
        low = np.full(len(part.space.keys), problem.brief.smallest_loading_wt_pct)
        return local_search(part, np.maximum(part.vector(usable[unit]), low), low)

    found = kept_units(ledger, {unit: partial(job, unit) for unit in usable})
    log.unit = AFTER_THE_SEARCH
    ranked = tuple(distinct(found))
    method = f"{len(usable)} blends of a neighbouring choice polished"
    simulations = sum(each.simulations for each in found)
    return SearchedTaker(
        name=name,
        problem=problem,
        found=Found(ranked=ranked, simulations=simulations, units=len(found), reused=0, method=method),
        digest=digest,
        ledger=ledger,
    )


def problem_of(
    inputs: Inputs, workers: int | None, make_evaluator: EvaluatorMaker = blend_evaluator
) -> Problem:
    """The search problem of resolved inputs."""
    return Problem(
        brief=inputs.brief,
        lamp=inputs.lamp,
        gel=inputs.gel,
        space=inputs.space,
        more_lamps=inputs.more_lamps,
        make_evaluator=make_evaluator,
        workers=workers,
    )
