"""An impossible set answered: which limit of which coat clashes, and every single change that makes the set possible.

Each change is searched again through the simulated stacks, from the nearest blends and from low loadings, until blends keep
every limit; they are blends that do, not the best ones. "Impossible" means that no blends were found. What is spent is
bounded by a number of cured coats, never by the clock, so that a run gives the same answer on any machine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from .brief import Brief
from .easing import LONGEST, THINNER, factor_size, least_factor, thinner_window, thinner_words
from .giving import LetGo
from .impossible import MARKET_SIZE, PROGRAMME_SIZE, SUBSTANCE_SIZE, Impossible, WayOut
from .local import local_search
from .problem import Problem
from .search_space import SearchSpace
from .set_clash import MOST_STEPS, Clash
from .stack_parts import SEPARATOR, CoatSet, Part
from .stack_problem import StackProblem
from .wider_spaces import alone_with_its_amine, of_market, of_other_markets, unknown_law_note, with_one_more

if TYPE_CHECKING:
    from .search import Progress

Blend = dict[str, float]

SUPPORTS = 2  # choices of substances tried with each change
HALVINGS = 4  # to within a fifth of a factor of two
NEW_ONES = 3  # further substances tried in the stack, those nearest to their limits on their own coat first
MOST_CURES = 20_000  # coats cured after which no further change is tried; some five minutes on one core


def set_ways_out(
    coats: CoatSet,
    alone: Sequence[Problem],
    starts: Sequence[Blend],
    *,
    workers: int | None,
    progress: Progress,
    most_cures: int = MOST_CURES,
) -> Impossible:
    """Work out the clash of a set and the single changes that make it possible.

    Parameters
    ----------
    coats : CoatSet
        The set with every usable substance.
    alone : sequence of Problem
        Each gel's coat on its own, in the order of the set.
    starts : sequence of dict of str to float
        Blends that come nearest, by coat and substance, the nearest first [wt%].
    workers : int or None
        Threads.
    progress : callable
        Told what is tried.
    most_cures : int
        Coats cured after which no further kind of change is begun.

    Returns
    -------
    Impossible
    """
    search = _Search(coats, alone, starts, workers)
    most = len(search.tries(range(len(coats.parts)))) + 2
    progress(0, most, "smallest set of limits that clash")
    problems = [search.problem(coats, blend) for blend in search.starts]
    nearest = [problem.vector(blend) for problem, blend in zip(problems, search.starts, strict=True)]
    clash = Clash(problems, nearest)
    progress(1, most, "limits that would have to give way")
    ways, failed = clash.eased()
    search.cures += sum(search.cures_of(problem, problem.simulations) for problem in problems)
    tries = search.tries(clash.parts)
    untried = []
    for number, (words, attempt) in enumerate(tries.items(), start=1):
        if search.cures >= most_cures:
            untried.append(words)
            continue
        progress(number + 1, len(tries) + 2, words)
        more = attempt()
        ways += more
        failed += [] if more else [words]
    ways.sort(key=lambda way: way.size)
    return Impossible(
        clash=tuple(clash.found), ways=tuple(ways), failed=tuple(failed), untried=tuple(untried)
    )


class _Search:
    """Blends for changed sets."""

    def __init__(
        self, coats: CoatSet, alone: Sequence[Problem], starts: Sequence[Blend], workers: int | None
    ) -> None:
        self.coats, self.alone, self.workers, self.cures = coats, alone, workers, 0
        distinct = {frozenset(blend): blend for blend in reversed(starts)}
        self.starts = list(reversed(distinct.values()))[:SUPPORTS]

    def tries(self, parts: Sequence[int]) -> dict[str, Callable[[], list[WayOut]]]:
        """Kinds of change, those of the coats concerned first."""
        found: dict[str, Callable[[], list[WayOut]]] = {}
        for i in parts:
            name = self.coats.parts[i].name
            found[f"thinner {name}"] = partial(self._thinner, i)
            found[f"longer or shorter cure of {name}"] = partial(self._other_time, i)
            found[f"another programme of the lamp for {name}"] = partial(self._programmes, i)
        for i in parts:
            name = self.coats.parts[i].name
            found[f"one more substance in {name}"] = partial(self._substances, i)
        found["another market"] = partial(self._markets, parts)
        return found

    def problem(self, coats: CoatSet, blend: Blend) -> StackProblem:
        """The stacks with the substances of a blend alone."""
        keys = [
            [key for key in part.space.keys if f"{part.name}{SEPARATOR}{key}" in blend]
            for part in coats.parts
        ]
        return StackProblem(coats=coats.narrowed(keys), workers=self.workers)

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

    def _with(self, i: int, **changes: Any) -> CoatSet:
        """The set with the brief of one coat changed in the fields named."""
        part = self.coats.parts[i]
        return self._put({i: replace(part, brief=replace(part.brief, **changes))})

    def _put(self, parts: dict[int, Part]) -> CoatSet:
        return replace(self.coats, parts=tuple(parts.get(i, part) for i, part in enumerate(self.coats.parts)))

    def _least(self, make: Callable[[float], CoatSet], furthest: float) -> tuple[float, Blend] | None:
        def possible(factor: float, last: Blend | None) -> Blend | None:
            return self.possible(make(factor), self.starts if last is None else [last])

        return least_factor(possible, furthest, HALVINGS)

    def _thinner(self, i: int) -> list[WayOut]:
        part = self.coats.parts[i]
        for furthest in THINNER:
            found = self._least(lambda factor: self._with(i, **thinner_window(part.brief, factor)), furthest)
            if found is not None:
                factor, blend = found
                words = (
                    f"thinner {part.name}: {thinner_words(part.brief, thinner_window(part.brief, factor))}"
                )
                return [
                    WayOut(
                        kind="thickness", words=words, size=factor_size(factor), blend_wt_pct=blend, coat=part.name
                    )
                ]  # fmt: skip
        return []

    def _other_time(self, i: int) -> list[WayOut]:
        part, ways = self.coats.parts[i], []
        asked = part.brief.exposure_in_s(0)
        for furthest, words, whole in ((LONGEST, "longer", np.ceil), (1.0 / LONGEST, "shorter", np.floor)):

            def make(factor: float, whole: np.ufunc = whole) -> CoatSet:
                return self._with(i, exposure_s=float(whole(asked * factor)), exposures_s={})

            found = self._least(make, furthest)
            if found is not None:
                factor, blend = found
                said = f"{words} cure of {part.name}: {whole(asked * factor):.0f} s in place of {asked:.0f} s"
                size = factor_size(factor)
                ways.append(WayOut(kind="time", words=said, size=size, blend_wt_pct=blend, coat=part.name))
        return ways

    def _programmes(self, i: int) -> list[WayOut]:
        part, ways = self.coats.parts[i], []
        asked = part.brief.programme_in(0)
        for name in self.alone[i].lamp.programmes:
            if name == asked:
                continue
            blend = self.possible(self._with(i, programme=name, programmes={}), self.starts)
            if blend is not None:
                words = f"programme {name} of the lamp for {part.name} in place of {asked}"
                ways.append(
                    WayOut(
                        kind="programme", words=words, size=PROGRAMME_SIZE, blend_wt_pct=blend, coat=part.name
                    )
                )  # fmt: skip
        return ways

    def _swapped(self, i: int, own: Blend) -> Blend:
        """The nearest blends with that of one coat exchanged."""
        name = self.coats.parts[i].name
        others = {key: load for key, load in self.starts[0].items() if key.rpartition(SEPARATOR)[0] != name}
        return {**others, **{f"{name}{SEPARATOR}{key}": load for key, load in own.items()}}

    def _promising(
        self, i: int, spaces: Iterator[tuple[str, Brief, SearchSpace]]
    ) -> list[tuple[str, Brief, SearchSpace, Blend]]:
        """Those substances that come nearest to the limits of their coat on its own, with a blend to begin with."""
        found = []
        for key, brief, space in spaces:
            own = replace(self.alone[i], brief=brief, space=space)
            start = alone_with_its_amine(space, key, 2.0 * brief.smallest_loading_wt_pct)
            low = brief.smallest_loading_wt_pct
            local = local_search(own, own.vector(start), low, tuple(start), most_steps=MOST_STEPS)
            self.cures += local.simulations
            found.append((local.rank, (key, brief, space, local.blend_wt_pct)))
        return [each for _, each in sorted(found, key=lambda pair: pair[0])[:NEW_ONES]]

    def _substances(self, i: int) -> list[WayOut]:
        part, ways = self.coats.parts[i], []
        for key, brief, space, own in self._promising(i, with_one_more(self.alone[i])):
            coats = self._put({i: replace(part, brief=brief, space=space)})
            blend = self.possible(coats, [self._swapped(i, own)])
            if blend is not None:
                words = f"one more substance in {part.name}: {key}{unknown_law_note(space, key)}"
                ways.append(
                    WayOut(
                        kind="substance", words=words, size=SUBSTANCE_SIZE, blend_wt_pct=blend, coat=part.name
                    )
                )  # fmt: skip
        return ways

    def _of_market(self, market: str) -> dict[int, Part] | None:
        """Every coat with the substances of another market; None where one cannot be made for it."""
        found: dict[int, Part] = {}
        for i, (part, problem) in enumerate(zip(self.coats.parts, self.alone, strict=True)):
            other = of_market(problem, market)
            if other is None:
                return None
            found[i] = replace(part, brief=other[0], space=other[1])
        return found

    def _markets(self, parts: Sequence[int]) -> list[WayOut]:
        """Another market for the whole set; its new substances in one coat of the clash at a time."""
        found: dict[str, Blend] = {}
        for i in parts:
            for market, brief, space, new in of_other_markets(self.alone[i]):
                if market in found:
                    continue
                others = self._of_market(market)
                if others is None:
                    continue
                coats = self._put(others)
                for _, _, _, own in self._promising(i, ((key, brief, space) for key in new)):
                    start = self._swapped(i, own)
                    blend = self.possible(coats, [start])
                    if blend is not None:
                        found[market] = blend
                        break
        asked = ", ".join(self.coats.brief.markets)
        return [
            WayOut(
                kind="market", words=f"market {market} in place of {asked}", size=MARKET_SIZE, blend_wt_pct=blend
            )
            for market, blend in found.items()
        ]  # fmt: skip
