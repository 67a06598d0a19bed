"""Beyond what a brief allows: one more initiator in a blend, one more substance, or the substances of another market."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from ..lamp_library.errors import GelwrightError
from ..models.market import MARKETS
from .brief import Brief
from .problem import Problem
from .search_space import SearchSpace, build_search_space

FIXED_REASONS = ("prohibited", "restricted", "absorbs no", "its highest loading")


def with_one_more(problem: Problem) -> Iterator[tuple[str, Brief, SearchSpace]]:
    """Each initiator that the law of the markets does not prohibit and the brief leaves out, with the brief that lets it in.

    Parameters
    ----------
    problem : Problem
        The problem as asked.

    Yields
    ------
    tuple of str, Brief, SearchSpace
        Key of the substance, the brief with it, and the space of that brief. A substance without a price is priced 0.
    """
    brief = problem.brief
    for out in problem.space.excluded:
        if out.reason.startswith(FIXED_REASONS):
            continue
        forbidden = tuple(key for key in brief.forbidden if key != out.key)
        allowed = (*(brief.allowed or problem.space.keys), out.key)
        changed = replace(
            brief,
            allowed=allowed,
            forbidden=forbidden,
            prices_per_kg={**dict.fromkeys(allowed, 0.0), **brief.prices_per_kg},
        )
        space = _space(problem, changed)
        if space is not None and out.key in space.keys and out.key in space.initiators:
            yield out.key, changed, space


def of_other_markets(problem: Problem) -> Iterator[tuple[str, Brief, SearchSpace, list[str]]]:
    """Each other market with initiators that are not usable now.

    Parameters
    ----------
    problem : Problem
        The problem as asked.

    Yields
    ------
    tuple of str, Brief, SearchSpace, list of str
        Market, the brief for it, the space of that brief, and the initiators that are new in it.
    """
    for market in MARKETS:
        if market in problem.brief.markets:
            continue
        other = of_market(problem, market)
        if other is None:
            continue
        changed, space = other
        new = [key for key in space.initiators if key not in problem.space.keys]
        if new:
            yield market, changed, space, new


def of_market(problem: Problem, market: str) -> tuple[Brief, SearchSpace] | None:
    """The brief for another market with its space; None where nothing can be made for it."""
    changed = replace(problem.brief, markets=(market,))
    space = _space(problem, changed)
    return None if space is None else (changed, space)


def _space(problem: Problem, brief: Brief) -> SearchSpace | None:
    try:
        return build_search_space(brief, problem.lamp, problem.gel, more_lamps=problem.more_lamps)
    except GelwrightError:
        return None


def with_one_initiator_more(
    problem: Problem, blend_wt_pct: Mapping[str, float]
) -> Iterator[tuple[str, dict[str, float]]]:
    """A blend of as many initiators as allowed with each usable one it lacks, and that one's key.

    Parameters
    ----------
    problem : Problem
        The problem as asked.
    blend_wt_pct : mapping of str to float
        A blend of it [wt%].

    Yields
    ------
    tuple of str, dict of str to float
        Key of the initiator, and the blend with it at the smallest loading [wt%], beside an amine where it needs one. Nothing
        for a blend of fewer initiators than allowed: the search has seen it with one more.
    """
    space, low = problem.space, problem.brief.smallest_loading_wt_pct
    if sum(key in space.initiators for key in blend_wt_pct) != problem.brief.max_initiators:
        return
    has_amine = any(key in space.amines for key in blend_wt_pct)
    for key in space.initiators:
        if key not in blend_wt_pct:
            more = {key: low} if has_amine else alone_with_its_amine(space, key, low)
            yield key, {**blend_wt_pct, **more}


def alone_with_its_amine(space: SearchSpace, key: str, loading_wt_pct: float) -> dict[str, float]:
    """A blend of one initiator, with the first amine where it needs one, each at the same loading [wt%]."""
    partner = list(space.amines[:1]) if space.substance(key).needs_amine else []
    return dict.fromkeys([key, *partner], loading_wt_pct)


def unknown_law_note(space: SearchSpace, key: str) -> str:
    """A warning where the legal status of a substance is not known."""
    unknown = space.substance(key).unknown_in
    return f" (legal status unknown in {', '.join(unknown)}: check before use)" if unknown else ""
