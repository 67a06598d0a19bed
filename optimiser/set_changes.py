"""Sets changed in one thing, and blends that keep every limit of them: what the ways out of an impossible set are made of."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .brief import Brief
from .build_log import BuildLog
from .easing import least_factor
from .giving import LetGo
from .impossible import WayOut
from .local import local_search
from .problem import Problem
from .search_space import SearchSpace
from .set_clash import MOST_STEPS
from .stack_parts import SEPARATOR, CoatSet, Part
from .stack_problem import StackProblem

Blend = dict[str, float]

SUPPORTS = 2  # choices of substances tried with each change
HALVINGS = 4  # to within a fifth of a factor of two
NEW_ONES = 3  # blends of one gel tried in the stack, those nearest to their limits on their own coat first


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NewBlend:
    """A blend of one gel with a substance it did not have, the brief and space that let it in, and what it is called."""

    name: str
    brief: Brief
    space: SearchSpace
    blend_wt_pct: Blend


class ChangedSets:
    """Blends for changed sets, with a count of the coats cured on the way.

    Parameters
    ----------
    coats : CoatSet
        The set as asked, with every usable substance.
    alone : sequence of Problem
        Each gel's coat on its own, in the order of the set.
    starts : sequence of dict of str to float
        Blends that come nearest, by coat and substance, the nearest first [wt%].
    workers : int or None
        Threads.
    log : BuildLog or None
        Keeps every build; None keeps none beyond the run.
    """

    def __init__(
        self,
        coats: CoatSet,
        alone: Sequence[Problem],
        starts: Sequence[Blend],
        workers: int | None,
        log: BuildLog | None = None,
    ) -> None:
        self.coats, self.alone, self.workers, self.log, self.cures = coats, alone, workers, log, 0
        distinct = {frozenset(blend): blend for blend in reversed(starts)}
        self.starts = list(reversed(distinct.values()))[:SUPPORTS]

    def problem(self, coats: CoatSet, blend: Blend) -> StackProblem:
        """The stacks with the substances of a blend alone."""
        keys = [
            [key for key in part.space.keys if f"{part.name}{SEPARATOR}{key}" in blend]
            for part in coats.parts
        ]
        log = None if self.log is None else self.log.of(self._change(coats))
        return StackProblem(coats=coats.narrowed(keys), workers=self.workers, log=log)

    def _change(self, coats: CoatSet) -> str:
        """Name in the log of what differs from the set as asked; a change is one of the briefs of its coats."""
        mine, asked = ([part.brief.digest for part in each.parts] for each in (coats, self.coats))
        return "" if mine == asked else hashlib.sha256(" ".join(mine).encode()).hexdigest()[:12]

    def cures_of(self, problem: StackProblem, builds: int) -> int:
        """Coats cured in some builds."""
        coats = problem.coats
        return builds * max(len(coats.layers(stack)) for stack in range(len(coats.stacks)))

    def possible(self, coats: CoatSet, starts: Sequence[Blend]) -> Blend | None:
        """Blends that keep every limit, from the first choice of substances that has some."""
        for blend in starts:
            problem = self.problem(coats, blend)
            low, nothing = problem.lowest_wt_pct, np.zeros(len(problem.constraints), dtype=bool)
            for begin in (np.maximum(problem.vector(blend), low), 2.0 * low):
                view: Any = LetGo(problem, nothing)
                found = local_search(view, begin, low, most_steps=MOST_STEPS)
                self.cures += self.cures_of(problem, found.simulations)
                if found.is_feasible:
                    return found.blend_wt_pct
        return None

    def asking(self, changes: dict[int, dict[str, Any]]) -> CoatSet:
        """The set with the briefs of some coats, by number, changed in the fields named."""
        parts = self.coats.parts
        return self.put(
            {i: replace(parts[i], brief=replace(parts[i].brief, **own)) for i, own in changes.items()}
        )

    def put(self, parts: dict[int, Part]) -> CoatSet:
        """The set with some of its parts, by number, exchanged."""
        return replace(self.coats, parts=tuple(parts.get(i, part) for i, part in enumerate(self.coats.parts)))

    def least(self, make: Callable[[float], CoatSet], furthest: float) -> tuple[float, Blend] | None:
        """The factor nearest to 1 whose set is possible, with blends that do; None if the furthest is not enough."""

        def possible(factor: float, last: Blend | None) -> Blend | None:
            return self.possible(make(factor), self.starts if last is None else [last])

        return least_factor(possible, furthest, HALVINGS)

    def way(self, kind: str, words: str, size: float, blend: Blend, part: int | None = None) -> WayOut:
        """A change that does; `part` is the number of the coat it concerns, None for the whole set."""
        coat = "" if part is None else self.coats.parts[part].name
        return WayOut(kind=kind, words=words, size=size, blend_wt_pct=blend, coat=coat)

    def own(self, i: int, blend: Blend) -> Blend:
        """What blends hold for one coat, by substance alone."""
        head = f"{self.coats.parts[i].name}{SEPARATOR}"
        return {key.removeprefix(head): load for key, load in blend.items() if key.startswith(head)}

    def swapped(self, i: int, own: Blend) -> Blend:
        """The nearest blends with that of one coat exchanged."""
        name = self.coats.parts[i].name
        others = {key: load for key, load in self.starts[0].items() if key.rpartition(SEPARATOR)[0] != name}
        return {**others, **{f"{name}{SEPARATOR}{key}": load for key, load in own.items()}}

    def promising(self, i: int, blends: Iterable[NewBlend]) -> list[NewBlend]:
        """Those blends that come nearest to the limits of their coat on its own, polished there."""
        found = []
        for new in blends:
            own = replace(self.alone[i], brief=new.brief, space=new.space)
            low, start = new.brief.smallest_loading_wt_pct, new.blend_wt_pct
            local = local_search(own, own.vector(start), low, tuple(start), most_steps=MOST_STEPS)
            self.cures += local.simulations
            found.append((local.rank, replace(new, blend_wt_pct=local.blend_wt_pct)))
        return [each for _, each in sorted(found, key=lambda pair: pair[0])[:NEW_ONES]]
