"""An impossible brief of a single coat answered: the smallest clash, and every single change that makes the brief possible.

"Impossible" means that no blend was found: the substances of the nearest blends and of the best single initiators are tried
with each change, from two starts each.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .brief import Brief
from .clashing import smallest_clash
from .constraints import Constraint
from .easing import (
    LONGEST,
    THINNER,
    eased_size,
    eased_words,
    factor_size,
    is_useless,
    least_factor,
    thinner_window,
    thinner_words,
    useless_words,
)
from .giving import least_giving_way, without
from .impossible import (
    INITIATOR_SIZE,
    MARKET_SIZE,
    PROGRAMME_SIZE,
    SUBSTANCE_SIZE,
    Impossible,
    WayOut,
)
from .local import FEASIBLE, Local, local_search
from .problem import Problem
from .search_space import SearchSpace
from .sequences import with_programme
from .wider_spaces import (
    alone_with_its_amine,
    of_other_markets,
    unknown_law_note,
    with_one_initiator_more,
    with_one_more,
)

if TYPE_CHECKING:
    from .search import Found, Progress

SUPPORTS = 4  # sets of substances tried with each change


def way_out(problem: Problem, found: Found, progress: Progress) -> Impossible:
    """Work out the clash and the single changes that make a brief possible.

    Parameters
    ----------
    problem : Problem
        The whole problem.
    found : Found
        Its search, without a feasible blend.
    progress : callable
        Told what is tried.

    Returns
    -------
    Impossible
    """
    starts = _supports(found)
    progress(0, 3, "smallest set of limits that clash")
    clash = _clash(problem, found, starts)
    progress(1, 3, "limits that would have to give way")
    ways, failed = _limits(problem, found, clash, starts)
    tries: dict[str, Callable[[], list[WayOut]]] = {
        "thinner coat": lambda: _thinner(problem, starts),
        "longer or shorter cure": lambda: _other_time(problem, starts),
        "another programme of the lamp": lambda: _programmes(problem, starts),
        "one more initiator in a blend": lambda: _more_initiators(problem, starts),
        "one more substance": lambda: _substances(problem, starts),
        "another market": lambda: _markets(problem),
    }
    for words, attempt in tries.items():
        progress(2, 3, words)
        more = attempt()
        ways += more
        failed += [] if more else [words]
    ways.sort(key=lambda way: way.size)
    return Impossible(clash=tuple(clash), ways=tuple(ways), failed=tuple(failed))


def _supports(found: Found) -> list[dict[str, float]]:
    """Nearest blends with different substances."""
    return [each.blend_wt_pct for each in found.ranked[:SUPPORTS]]


def _possible(problem: Problem, starts: Sequence[dict[str, float]]) -> Local | None:
    """A blend that keeps every limit, from the first set of substances that has one."""
    low = problem.brief.smallest_loading_wt_pct
    for blend in starts:
        keys = tuple(key for key in blend if key in problem.space.keys)
        if not any(key in problem.space.initiators for key in keys):
            continue
        for begin in ({key: max(blend[key], low) for key in keys}, dict.fromkeys(keys, 2.0 * low)):
            found = local_search(problem, problem.vector(begin), low, keys)
            if found.is_feasible:
                return found
    return None


def _clash(problem: Problem, found: Found, starts: Sequence[dict[str, float]]) -> list[Constraint]:
    return smallest_clash(
        problem.constraints, found.ranked[0].values, lambda names: _can_keep(problem, names, found, starts)
    )


def _can_keep(
    problem: Problem, names: Sequence[str], found: Found, starts: Sequence[dict[str, float]]
) -> bool:
    rows = [i for i, row in enumerate(problem.constraints) if row.limit_name in names]
    if any(max(each.values[i] for i in rows) <= FEASIBLE for each in found.tried):
        return True
    gone = {row.limit_name for row in problem.constraints} - set(names)
    return _possible(without(problem, tuple(gone)), starts) is not None


def _limits(
    problem: Problem, found: Found, clash: Sequence[Constraint], starts: Sequence[dict[str, float]]
) -> tuple[list[WayOut], list[str]]:
    """How far each limit of the clash would have to give way, alone."""
    ways, failed = [], []
    for row in clash:
        gives = np.array([each.limit_name == row.limit_name for each in problem.constraints])
        if gives.all():
            continue
        point = least_giving_way(problem, gives, [*_keeping_others(found, gives), *starts])
        if point is None:
            failed.append(f"easing {row.limit_name}")
            continue
        worst = int(np.flatnonzero(gives)[np.argmax(point.values[gives])])
        held, figure, excess = problem.constraints[worst], point.figures[worst], float(point.values[worst])
        if excess <= FEASIBLE:
            continue
        if is_useless(held, figure):
            failed.append(useless_words(held, figure))
            continue
        words, size = eased_words(held, figure), eased_size(held, figure, excess)
        ways.append(
            WayOut(kind="limit", words=words, size=size, blend_wt_pct=problem.blend(point.loadings_wt_pct))
        )
    return ways, failed


def _keeping_others(found: Found, gives: NDArray[np.bool_]) -> list[dict[str, float]]:
    """Blends of the search that keep all that may not give way, those nearest to the rest first."""
    kept = [
        (float(np.array(each.values)[gives].max()), each.blend_wt_pct)
        for each in found.tried
        if np.all(np.array(each.values)[~gives] <= FEASIBLE)
    ]
    return [blend for _, blend in sorted(kept, key=lambda each: each[0])[:2]]


def _changed(problem: Problem, space: SearchSpace | None = None, **changes: Any) -> Problem:
    """The problem of a brief that differs in the fields named."""
    brief: Brief = replace(problem.brief, **changes)
    gel = replace(problem.gel, thickness_m=brief.thickness_high_m)
    return replace(problem, brief=brief, gel=gel, space=space or problem.space)


def _least_change(
    make: Callable[[float], Problem], furthest: float, starts: Sequence[dict[str, float]]
) -> tuple[float, Local] | None:
    def possible(factor: float, last: Local | None) -> Local | None:
        return _possible(make(factor), [*([] if last is None else [last.blend_wt_pct]), *starts])

    return least_factor(possible, furthest)


def _thinner(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    brief = problem.brief
    for furthest in THINNER:
        found = _least_change(
            lambda factor: _changed(problem, None, **thinner_window(brief, factor)), furthest, starts
        )
        if found is not None:
            factor, best = found
            words = f"thinner coat: {thinner_words(brief, thinner_window(brief, factor))}"
            size = factor_size(factor)
            return [WayOut(kind="thickness", words=words, size=size, blend_wt_pct=best.blend_wt_pct)]
    return []


def _other_time(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    ways = []
    for furthest, words in ((LONGEST, "longer cure"), (1.0 / LONGEST, "shorter cure")):

        def make(factor: float) -> Problem:
            times = {name: each * factor for name, each in problem.brief.exposures_s.items()}
            return _changed(problem, exposure_s=problem.brief.exposure_s * factor, exposures_s=times)

        found = _least_change(make, furthest, starts)
        if found is not None:
            factor, best = found
            asked = problem.brief.exposure_s
            sentence = f"{words}: {asked * factor:.0f} s in place of {asked:.0f} s"
            ways.append(
                WayOut(kind="time", words=sentence, size=factor_size(factor), blend_wt_pct=best.blend_wt_pct)
            )
    return ways


def _programmes(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    ways, brief = [], problem.brief
    if len(problem.lamps) > 1:  # a programme belongs to one lamp
        return []
    for name in problem.lamp.programmes:
        if name == brief.programme:
            continue
        lamp = with_programme(problem.lamp, name, brief.exposure_s)
        found = _possible(
            replace(problem, brief=replace(brief, programme=name, programmes={}), lamp=lamp), starts
        )
        if found is not None:
            words = f"programme {name} of the lamp in place of {brief.programme}"
            ways.append(
                WayOut(kind="programme", words=words, size=PROGRAMME_SIZE, blend_wt_pct=found.blend_wt_pct)
            )
    return ways


def _more_initiators(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    most = problem.brief.max_initiators + 1
    grown = [blend for start in starts for _, blend in with_one_initiator_more(problem, start)]
    found = _possible(problem, grown[:SUPPORTS])
    if found is None:
        return []
    words = f"{most} initiators in a blend in place of {most - 1}"
    return [WayOut(kind="initiators", words=words, size=INITIATOR_SIZE, blend_wt_pct=found.blend_wt_pct)]


def _substances(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    ways, low = [], problem.brief.smallest_loading_wt_pct
    for key, _, space in with_one_more(problem):
        prices = {**dict.fromkeys(space.keys, 0.0), **problem.brief.prices_per_kg}
        other = _changed(problem, space, prices_per_kg=prices)
        alone = alone_with_its_amine(space, key, 2.0 * low)
        beside = [{**blend, **alone} for blend in starts[:1] if len(blend) < problem.brief.max_initiators]
        found = _possible(other, [alone, *beside])
        if found is not None:
            words = f"one more substance: {key}{unknown_law_note(space, key)}"
            ways.append(
                WayOut(kind="substance", words=words, size=SUBSTANCE_SIZE, blend_wt_pct=found.blend_wt_pct)
            )
    return ways


def _markets(problem: Problem) -> list[WayOut]:
    ways, brief, low = [], problem.brief, problem.brief.smallest_loading_wt_pct
    for market, changed, space, new in of_other_markets(problem):
        other = replace(problem, brief=changed, space=space)
        found = _possible(other, [alone_with_its_amine(space, key, 2.0 * low) for key in new])
        if found is not None:
            words = f"market {market} in place of {', '.join(brief.markets)}"
            ways.append(WayOut(kind="market", words=words, size=MARKET_SIZE, blend_wt_pct=found.blend_wt_pct))
    return ways
