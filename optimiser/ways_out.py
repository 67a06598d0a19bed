"""An impossible brief answered: the smallest set of limits that clash, and every single change that makes it possible.

"Impossible" means that no blend was found: the substances of the nearest blends and of the best single initiators are tried
with each change, from two starts each. The changes of different kinds are compared by a size that `SIZE_WORDS` states.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import GelwrightError
from ..lamp_library.units import um_from_m
from ..models.market import MARKETS
from .brief import NAIL_BED_HIGHEST_K, Brief
from .constraints import Constraint
from .giving import least_giving_way, without
from .local import FEASIBLE, Local, local_search
from .problem import Problem
from .search_space import SearchSpace, build_search_space
from .sequences import with_programme

if TYPE_CHECKING:
    from .search import Found, Progress

SUPPORTS = 4  # sets of substances tried with each change
HALVINGS = 5  # of the interval between a change that does not do and one that does
THINNEST, LONGEST = 0.1, 4.0  # furthest changes of thickness and of cure time
LIMIT_SIZE = 0.5  # of one scaled unit: 5 K, 0.05 of conversion, a factor e of the others
PROGRAMME_SIZE, INITIATOR_SIZE, SUBSTANCE_SIZE, MARKET_SIZE = 0.2, 0.3, 0.4, 1.5
USELESS_SHARE = 0.5  # a cure limit lowered below this share of what was asked for is no cure

SIZE_WORDS = (
    "Sizes compare changes of different kinds: thickness and time by the logarithm of the factor (halving is 0.69); 5 K, 0.05 "
    "of conversion, or a factor e of another limit count 0.5; another programme of the lamp 0.2, one more initiator in the "
    "blend 0.3, one more substance 0.4, another market 1.5. The weights are a choice, not a measurement."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """One single change that makes the brief possible, and the blend that then does.

    Parameters
    ----------
    kind : str
        ``thickness``, ``time``, ``programme``, ``limit``, ``market``, ``substance`` or ``initiators``.
    words : str
        The change in one sentence.
    size : float
        See `SIZE_WORDS`.
    blend_wt_pct : dict of str to float
        A blend that keeps every limit of the changed brief.
    """

    kind: str
    words: str
    size: float
    blend_wt_pct: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Impossible:
    """Why no blend was found and what would help.

    Parameters
    ----------
    clash : tuple of Constraint
        Limits that cannot be kept together, one row each; of these, without any one, the others can be. Loading ranges and
        the choice of substances hold besides.
    ways : tuple of WayOut
        Single changes that do, the least first; each found by solving the changed brief.
    failed : tuple of str
        Kinds of change that were tried and do not help alone.
    """

    clash: tuple[Constraint, ...]
    ways: tuple[WayOut, ...]
    failed: tuple[str, ...]

    @property
    def clash_words(self) -> str:
        """The clash in one sentence."""
        asked = "; ".join(row.words for row in self.clash)
        if not self.clash:
            return "Even without any limit no blend was found: nothing here starts the cure."
        if len(self.clash) == 1:
            return f"One limit alone cannot be kept with these substances: {asked}."
        told = (
            f"These {len(self.clash)} limits cannot be kept together, even if no other limit held: {asked}."
        )
        if {f"easing {row.limit_name}" for row in self.clash} <= set(self.failed):
            told += " Letting one of them go is not enough: the limits not named here clash with the rest as well."
        return told


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
        "another market": lambda: _markets(problem, starts),
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
    """Deletion filter: a limit is let go for good if the others cannot be kept without it either."""
    nearest = found.ranked[0]
    names = list(dict.fromkeys(row.limit_name for row in problem.constraints))
    worst = {
        name: max(
            (i for i, row in enumerate(problem.constraints) if row.limit_name == name),
            key=lambda i: nearest.values[i],
        )
        for name in names
    }
    kept = sorted(names, key=lambda name: nearest.values[worst[name]])  # those far from broken first
    for name in list(kept):
        others = [each for each in kept if each != name]
        if not others:
            break
        if not _can_keep(problem, others, found, starts):
            kept = others
    return [problem.constraints[worst[name]] for name in kept]


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
        if held.sense < 0 and figure < USELESS_SHARE * held.limit:
            failed.append(
                f"easing {row.limit_name} (it would fall to {held.shown(figure)}, which is no cure)"
            )
            continue
        note = ""
        if held.figure == "nail_bed_peak_k" and figure > NAIL_BED_HIGHEST_K:
            note = "; above 48 °C the brief would be refused"
        way = "raise to" if held.sense > 0 else "lower to"
        words = f"{held.limit_name}: {way} {held.shown(figure)} (asked for: {held.shown(held.limit)}){note}"
        size = LIMIT_SIZE * excess
        if held.logarithmic or held.unit not in ("k", "fraction"):
            size = LIMIT_SIZE * abs(float(np.log(max(figure, 1e-12) / held.limit)))
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
    """The factor nearest to 1 with which a brief is possible, to within the halvings; None if even the furthest is not."""
    best = _possible(make(furthest), starts)
    if best is None:
        return None
    fails, does = 0.0, float(np.log(furthest))
    for _ in range(HALVINGS):
        middle = 0.5 * (fails + does)
        found = _possible(make(float(np.exp(middle))), [best.blend_wt_pct, *starts])
        if found is None:
            fails = middle
        else:
            does, best = middle, found
    return float(np.exp(does)), best


def _thinner(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    brief = problem.brief

    def window(factor: float) -> dict[str, float]:
        high = 1e-6 * np.floor(um_from_m(brief.thickness_high_m * factor))
        low = min(brief.thickness_low_m, high * brief.thickness_low_m / brief.thickness_high_m)
        return {"thickness_low_m": float(low), "thickness_high_m": float(high)}

    for furthest in (0.5, THINNEST):
        found = _least_change(lambda factor: _changed(problem, None, **window(factor)), furthest, starts)
        if found is not None:
            factor, best = found
            new = window(factor)
            words = (
                f"thinner coat: {um_from_m(new['thickness_low_m']):.0f}-{um_from_m(new['thickness_high_m']):.0f} µm "
                f"in place of {um_from_m(brief.thickness_low_m):.0f}-{um_from_m(brief.thickness_high_m):.0f} µm"
            )
            size = abs(float(np.log(factor)))
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
            size = abs(float(np.log(factor)))
            ways.append(WayOut(kind="time", words=sentence, size=size, blend_wt_pct=best.blend_wt_pct))
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
    most, low = problem.brief.max_initiators + 1, problem.brief.smallest_loading_wt_pct
    grown = [
        {**blend, key: low}
        for blend in starts
        for key in problem.space.initiators
        if key not in blend and sum(each in problem.space.initiators for each in blend) == most - 1
    ]
    found = _possible(problem, grown[:SUPPORTS])
    if found is None:
        return []
    words = f"{most} initiators in a blend in place of {most - 1}"
    return [WayOut(kind="initiators", words=words, size=INITIATOR_SIZE, blend_wt_pct=found.blend_wt_pct)]


def _spaces(problem: Problem) -> Iterator[tuple[str, SearchSpace]]:
    """Search spaces with one more substance that the law of the markets does not prohibit."""
    brief = problem.brief
    for out in problem.space.excluded:
        if out.reason.startswith(("prohibited", "restricted", "absorbs no", "its highest loading")):
            continue
        forbidden = tuple(key for key in brief.forbidden if key != out.key)
        allowed = (*(brief.allowed or problem.space.keys), out.key)
        changed = replace(
            brief,
            allowed=allowed,
            forbidden=forbidden,
            prices_per_kg={**dict.fromkeys(allowed, 0.0), **brief.prices_per_kg},
        )
        try:
            space = build_search_space(changed, problem.lamp, problem.gel, more_lamps=problem.more_lamps)
        except GelwrightError:
            continue
        if out.key in space.keys and out.key in space.initiators:
            yield out.key, space


def _substances(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    ways, low = [], problem.brief.smallest_loading_wt_pct
    for key, space in _spaces(problem):
        prices = {**dict.fromkeys(space.keys, 0.0), **problem.brief.prices_per_kg}
        other = _changed(problem, space, prices_per_kg=prices)
        partner = list(space.amines[:1]) if space.substance(key).needs_amine else []
        alone = dict.fromkeys([key, *partner], 2.0 * low)
        beside = [{**blend, **alone} for blend in starts[:1] if len(blend) < problem.brief.max_initiators]
        found = _possible(other, [alone, *beside])
        if found is not None:
            unknown = space.substance(key).unknown_in
            note = f" (legal status unknown in {', '.join(unknown)}: check before use)" if unknown else ""
            words = f"one more substance: {key}{note}"
            ways.append(
                WayOut(kind="substance", words=words, size=SUBSTANCE_SIZE, blend_wt_pct=found.blend_wt_pct)
            )
    return ways


def _markets(problem: Problem, starts: Sequence[dict[str, float]]) -> list[WayOut]:
    ways, brief, low = [], problem.brief, problem.brief.smallest_loading_wt_pct
    for market in MARKETS:
        if market in brief.markets:
            continue
        changed = replace(brief, markets=(market,))
        try:
            space = build_search_space(changed, problem.lamp, problem.gel, more_lamps=problem.more_lamps)
        except GelwrightError:
            continue
        new = [key for key in space.initiators if key not in problem.space.keys]
        if not new:
            continue
        other = replace(problem, brief=changed, space=space)
        partner = list(space.amines[:1])
        tried = [
            dict.fromkeys([key, *(partner if space.substance(key).needs_amine else [])], 2.0 * low)
            for key in new
        ]
        found = _possible(other, tried)
        if found is not None:
            words = f"market {market} in place of {', '.join(brief.markets)}"
            ways.append(WayOut(kind="market", words=words, size=MARKET_SIZE, blend_wt_pct=found.blend_wt_pct))
    return ways


def way_out_lines(impossible: Impossible, head: str = "") -> list[str]:
    """The answer to an impossible brief as lines of text.

    Parameters
    ----------
    impossible : Impossible
        The answer.
    head : str
        What stands before a heading.
    """
    lines = [f"{head}Smallest set of limits that clash", "", impossible.clash_words, ""]
    lines += [f"{head}Single changes that make it possible, the least first", ""]
    for way in impossible.ways:
        blend = " + ".join(f"{key} {load:.3g} %" for key, load in way.blend_wt_pct.items())
        lines.append(f"- {way.words}: {blend} (size {way.size:.2f})")
    if not impossible.ways:
        lines.append("- none was found")
    if impossible.failed:
        lines.append(f"- no help alone: {', '.join(impossible.failed)}")
    return [*lines, "", f"Each was searched again with the change. {SIZE_WORDS}"]


def way_out_data(impossible: Impossible) -> dict[str, object]:
    """The same as plain data."""
    return {
        "clash": [{"limit": row.name, "words": row.words} for row in impossible.clash],
        "clash_words": impossible.clash_words,
        "ways": [
            {"kind": way.kind, "words": way.words, "size_ratio": way.size, "blend_wt_pct": way.blend_wt_pct}
            for way in impossible.ways
        ],
        "no_help_alone": list(impossible.failed),
        "size_words": SIZE_WORDS,
    }
