"""Kinds of single change that may make an impossible set possible, each searched again through the changed stacks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from .brief import Brief
from .easing import LONGEST, LONGEST_REST_S, THINNER, factor_size, thinner_window, thinner_words
from .impossible import INITIATOR_SIZE, MARKET_SIZE, PROGRAMME_SIZE, SUBSTANCE_SIZE, WayOut
from .search_space import SearchSpace
from .set_changes import Blend, ChangedSets, NewBlend
from .stack_parts import CoatSet, Part
from .wider_spaces import (
    alone_with_its_amine,
    of_market,
    of_other_markets,
    unknown_law_note,
    with_one_initiator_more,
    with_one_more,
)

Tries = dict[str, Callable[[], list[WayOut]]]


def tries(sets: ChangedSets, parts: Sequence[int], *, is_heat: bool) -> Tries:
    """Kinds of change for the coats concerned, in the order to be tried.

    Parameters
    ----------
    sets : ChangedSets
        The set as asked with its nearest blends.
    parts : sequence of int
        Numbers of the gels concerned.
    is_heat : bool
        Whether heat is part of the clash; only then a longer rest, which lets warmth go, is tried.

    Returns
    -------
    dict of str to callable
        What is tried in words, and what gives the ways out found by it.
    """
    found: Tries = {}
    for i in parts:
        name = sets.coats.parts[i].name
        found[f"thinner {name}"] = partial(_thinner, sets, i)
        found[f"longer or shorter cure of {name}"] = partial(_other_time, sets, i)
        if is_heat and _rests_before(sets.coats, i):
            found[f"longer rest before {name}"] = partial(_longer_rest, sets, i)
        found[f"another programme of the lamp for {name}"] = partial(_programmes, sets, i)
    for i in parts:
        name = sets.coats.parts[i].name
        if _grown(sets, i):
            found[f"one more initiator in the blend of {name}"] = partial(_more_initiators, sets, i)
        found[f"one more substance in {name}"] = partial(_substances, sets, i)
    found["another market"] = partial(_markets, sets, parts)
    return found


def _thinner(sets: ChangedSets, i: int) -> list[WayOut]:
    part = sets.coats.parts[i]
    for furthest in THINNER:
        found = sets.least(lambda factor: sets.asking({i: thinner_window(part.brief, factor)}), furthest)
        if found is not None:
            factor, blend = found
            words = f"thinner {part.name}: {thinner_words(part.brief, thinner_window(part.brief, factor))}"
            return [sets.way("thickness", words, factor_size(factor), blend, i)]
    return []


def _other_time(sets: ChangedSets, i: int) -> list[WayOut]:
    part, ways = sets.coats.parts[i], []
    asked = part.brief.exposure_in_s(0)
    for furthest, words, whole in ((LONGEST, "longer", np.ceil), (1.0 / LONGEST, "shorter", np.floor)):

        def make(factor: float, whole: np.ufunc = whole) -> CoatSet:
            return sets.asking({i: {"exposure_s": float(whole(asked * factor)), "exposures_s": {}}})

        found = sets.least(make, furthest)
        if found is not None:
            factor, blend = found
            said = f"{words} cure of {part.name}: {whole(asked * factor):.0f} s in place of {asked:.0f} s"
            ways.append(sets.way("time", said, factor_size(factor), blend, i))
    return ways


def _rests_before(coats: CoatSet, i: int) -> list[int]:
    """Parts after whose exposure the hand rests right before a coat of this part goes on."""
    below = {stack[k - 1] for stack in coats.stacks for k in range(1, len(stack)) if stack[k] == i}
    return sorted(below | ({i} if coats.parts[i].applications > 1 else set()))


def _longer_rest(sets: ChangedSets, i: int) -> list[WayOut]:
    """All rests before the coat raised to one length, so that the warmth left of earlier coats goes first."""
    coats = sets.coats
    asked = {j: coats.parts[j].brief.rest_s for j in _rests_before(coats, i)}
    shortest = min(asked.values())
    if shortest >= LONGEST_REST_S:
        return []

    def seconds(factor: float) -> float:
        return float(np.ceil(np.round(shortest * factor, 6)))

    def make(factor: float) -> CoatSet:
        return sets.asking({j: {"rest_s": max(rest, seconds(factor))} for j, rest in asked.items()})

    found = sets.least(make, LONGEST_REST_S / shortest)
    if found is None:
        return []
    rest, blend = seconds(found[0]), found[1]
    raised = {j: was for j, was in asked.items() if was < rest}
    before = " and ".join(f"{was:g} s after {coats.parts[j].name}" for j, was in raised.items())
    longest = max(
        (coats.parts[j].brief.exposure_in_s(0) + rest) / (coats.parts[j].brief.exposure_in_s(0) + was)
        for j, was in raised.items()
    )
    every = "every coat of " if coats.parts[i].applications > 1 else ""
    words = f"longer rest before {every}{coats.parts[i].name}: {rest:g} s in place of {before}"
    return [sets.way("rest", words, factor_size(longest), blend, i)]


def _programmes(sets: ChangedSets, i: int) -> list[WayOut]:
    part, ways = sets.coats.parts[i], []
    asked = part.brief.programme_in(0)
    for name in sets.alone[i].lamp.programmes:
        if name == asked:
            continue
        blend = sets.possible(sets.asking({i: {"programme": name, "programmes": {}}}), sets.starts)
        if blend is not None:
            words = f"programme {name} of the lamp for {part.name} in place of {asked}"
            ways.append(sets.way("programme", words, PROGRAMME_SIZE, blend, i))
    return ways


def _grown(sets: ChangedSets, i: int) -> list[NewBlend]:
    """The nearest blends of a coat, where they are as many as allowed, each with one initiator more."""
    part = sets.coats.parts[i]
    brief = replace(part.brief, max_initiators=part.brief.max_initiators + 1)
    found = {
        frozenset(blend): NewBlend(name=key, brief=brief, space=part.space, blend_wt_pct=blend)
        for start in sets.starts
        for key, blend in with_one_initiator_more(sets.alone[i], sets.own(i, start))
    }
    return list(found.values())


def _more_initiators(sets: ChangedSets, i: int) -> list[WayOut]:
    part, most = sets.coats.parts[i], sets.coats.parts[i].brief.max_initiators
    changed = sets.asking({i: {"max_initiators": most + 1}})
    for new in sets.promising(i, _grown(sets, i)):
        found = sets.possible(changed, [sets.swapped(i, new.blend_wt_pct)])
        if found is not None:
            words = f"{most + 1} initiators in the blend of {part.name} in place of {most}"
            return [sets.way("initiators", words, INITIATOR_SIZE, found, i)]
    return []


def _substances(sets: ChangedSets, i: int) -> list[WayOut]:
    part, ways = sets.coats.parts[i], []
    wider = (_alone(key, brief, space) for key, brief, space in with_one_more(sets.alone[i]))
    for new in sets.promising(i, wider):
        coats = sets.put({i: replace(part, brief=new.brief, space=new.space)})
        blend = sets.possible(coats, [sets.swapped(i, new.blend_wt_pct)])
        if blend is not None:
            words = f"one more substance in {part.name}: {new.name}{unknown_law_note(new.space, new.name)}"
            ways.append(sets.way("substance", words, SUBSTANCE_SIZE, blend, i))
    return ways


def _alone(key: str, brief: Brief, space: SearchSpace) -> NewBlend:
    """A new substance by itself, moderately loaded."""
    blend = alone_with_its_amine(space, key, 2.0 * brief.smallest_loading_wt_pct)
    return NewBlend(name=key, brief=brief, space=space, blend_wt_pct=blend)


def _of_market(sets: ChangedSets, market: str) -> dict[int, Part] | None:
    """Every coat with the substances of another market; None where one cannot be made for it."""
    found: dict[int, Part] = {}
    for i, (part, problem) in enumerate(zip(sets.coats.parts, sets.alone, strict=True)):
        other = of_market(problem, market)
        if other is None:
            return None
        found[i] = replace(part, brief=other[0], space=other[1])
    return found


def _markets(sets: ChangedSets, parts: Sequence[int]) -> list[WayOut]:
    """Another market for the whole set; its new substances in one coat of the clash at a time."""
    found: dict[str, Blend] = {}
    for i in parts:
        for market, brief, space, new in of_other_markets(sets.alone[i]):
            others = None if market in found else _of_market(sets, market)
            if others is None:
                continue
            for each in sets.promising(i, [_alone(key, brief, space) for key in new]):
                blend = sets.possible(sets.put(others), [sets.swapped(i, each.blend_wt_pct)])
                if blend is not None:
                    found[market] = blend
                    break
    asked = ", ".join(sets.coats.brief.markets)
    return [
        sets.way("market", f"market {market} in place of {asked}", MARKET_SIZE, blend)
        for market, blend in found.items()
    ]
