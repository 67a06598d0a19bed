"""Which initiators go together: subsets in order, the strongest few, what the best blend may be joined by or do without."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

from .local import Local
from .problem import Problem

IDLE = 1.01  # times the smallest loading, up to which a member may be there for nothing


def _best_with_amine(problem: Problem, polished: Mapping[tuple[str, ...], Local]) -> Local | None:
    helped = [each for keys, each in polished.items() if set(keys) & set(problem.space.amines)]
    return min(helped, key=lambda each: each.rank, default=None)


def best_helped(problem: Problem, polished: Mapping[tuple[str, ...], Local]) -> list[str]:
    """The initiators of the best blend that holds an amine; none while there is none."""
    best = _best_with_amine(problem, polished)
    return [] if best is None else initiators_in(problem, best.blend_wt_pct)


def amines_of(problem: Problem, polished: Mapping[tuple[str, ...], Local]) -> list[str]:
    """The amine of the best blend that holds one; every amine while there is none."""
    best = _best_with_amine(problem, polished)
    return [key for key in problem.space.amines if best is None or key in best.blend_wt_pct]


def strongest(problem: Problem, polished: Mapping[tuple[str, ...], Local], order: Sequence[str]) -> list[str]:
    """Initiators by the best blend each is part of, best first; those whose blends lean on them little come after others.

    Parameters
    ----------
    problem : Problem
        The problem.
    polished : mapping of tuple of str to Local
        What was found so far.
    order : sequence of str
        All of its initiators, as they stand without that.
    """

    def standing(key: str) -> tuple[float, float]:
        ranks = [each.rank for keys, each in polished.items() if key in keys]
        return min(ranks, default=(2.0, 0.0))

    return sorted(order, key=standing)


def initiators_in(problem: Problem, keys: Iterable[str]) -> list[str]:
    """Those of some substances that are initiators."""
    return [key for key in keys if key in problem.space.initiators]


def additions(
    problem: Problem, polished: Mapping[tuple[str, ...], Local], amines: Sequence[str]
) -> list[tuple[str, ...]]:
    """The best blend with each of the other initiators, if the brief allows one more."""
    best = min(polished.values(), key=lambda found: found.rank)
    members = initiators_in(problem, best.blend_wt_pct)
    if len(members) >= problem.brief.max_initiators:
        return []
    others = [key for key in problem.space.initiators if key not in members]
    grown = [subsets_of(problem, [*members, key], amines) for key in others]
    return [
        subsets[-1]
        for subsets in grown
        if subsets and len(initiators_in(problem, subsets[-1])) > len(members)
    ]


def subsets_of(
    problem: Problem, initiators: Sequence[str], amines: Sequence[str], most: int | None = None
) -> list[tuple[str, ...]]:
    """Every subset of up to `most` initiators, else the brief's number; one amine joins where a type II needs it."""
    listed = [key for key in problem.space.initiators if key in initiators]
    found: list[tuple[str, ...]] = []
    for size in range(1, min(most or problem.brief.max_initiators, len(listed)) + 1):
        for members in combinations(listed, size):
            if any(problem.space.substance(key).needs_amine for key in members):
                found += [(*members, partner) for partner in amines]
            else:
                found.append(members)
    return found


def leaner(problem: Problem, best: Local) -> list[tuple[str, ...]]:
    """A blend without each, and without all, of the initiators that sit at their smallest loading; its amine if needed."""
    members = initiators_in(problem, best.blend_wt_pct)
    most = IDLE * problem.brief.smallest_loading_wt_pct
    idle = [key for key in members if best.blend_wt_pct[key] <= most]
    amines = [key for key in best.blend_wt_pct if key not in members]
    rests = [[key for key in members if key not in out] for out in (*([key] for key in idle), idle)]
    found = [subsets_of(problem, rest, amines)[-1] for rest in rests if rest and len(rest) < len(members)]
    return list(dict.fromkeys(found))
