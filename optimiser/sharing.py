"""Blends for several gels or lamps that share raw materials.

Each taker (a gel of a set, or a lamp) has its polished blends, one for every set of substances tried. Which one each takes
is decided over all unions of substances, so the choice is exact among the blends tried; what was not tried is not seen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Protocol

from .local import Local

MOST_POOLED = 12  # substances whose unions are gone through: 4096 at most
MOST_FILLED = 6  # substances among which blends not yet tried are polished


class Taker(Protocol):
    """Someone who needs a blend."""

    @property
    def blends(self) -> Sequence[Local]:
        """Feasible blends known so far."""
        ...

    def polished(self, keys: frozenset[str]) -> Local | None:
        """The best blend of exactly these substances, searched if it was not yet; None when none keeps the limits."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """A blend for every taker.

    Parameters
    ----------
    blends : tuple of Local
        In the order of the takers.
    materials : tuple of str
        Different substances in them, in alphabetical order.
    objective : float
        Mean of the takers' objectives.
    """

    blends: tuple[Local, ...]
    materials: tuple[str, ...]
    objective: float


def free(takers: Sequence[Taker]) -> Shared:
    """Everyone's own best blend."""
    return _shared([min(taker.blends, key=lambda each: each.objective) for taker in takers])


def fewest(takers: Sequence[Taker], most_in_blend: int) -> Shared:
    """As few different substances as any choice needs; among those the best mean objective.

    Parameters
    ----------
    takers : sequence of Taker
        Each with at least one feasible blend.
    most_in_blend : int
        Most substances in a blend.

    Returns
    -------
    Shared
        Exact over the known blends and, for the `MOST_FILLED` substances used most, over all their blends.
    """
    pool = _pool(takers)
    found: Shared | None = None
    for size in range(1, len(pool) + 1):
        for union in combinations(pool, size):
            choice = _within(takers, frozenset(union), _known)
            if choice is None and set(union) <= set(pool[:MOST_FILLED]):
                choice = _within(takers, frozenset(union), _filled(most_in_blend))
            if choice is not None and (found is None or choice.objective < found.objective):
                found = choice
        if found is not None:
            return found
    return free(takers)


def penalised(takers: Sequence[Taker], penalty: float) -> Shared:
    """The best mean objective plus a penalty for every different substance, over the known blends."""
    best = free(takers)
    pool = _pool(takers)
    for size in range(1, len(pool) + 1):
        for union in combinations(pool, size):
            choice = _within(takers, frozenset(union), _known)
            if choice is not None and _cost(choice, penalty) < _cost(best, penalty) - 1e-12:
                best = choice
    return best


def _cost(choice: Shared, penalty: float) -> float:
    return choice.objective + penalty * len(choice.materials)


def _pool(takers: Sequence[Taker]) -> list[str]:
    """Substances of the known blends, those of the best blends and of most takers first."""
    weight: dict[str, float] = {}
    for taker in takers:
        for rank, blend in enumerate(sorted(taker.blends, key=lambda each: each.objective)):
            for key in blend.blend_wt_pct:
                weight[key] = weight.get(key, 0.0) + 1.0 / (1.0 + rank)
    return sorted(weight, key=lambda key: (-weight[key], key))[:MOST_POOLED]


def _shared(blends: Iterable[Local]) -> Shared:
    taken = tuple(blends)
    return Shared(
        blends=taken,
        materials=tuple(sorted({key for blend in taken for key in blend.blend_wt_pct})),
        objective=sum(blend.objective for blend in taken) / len(taken),
    )


Finder = Callable[[Taker, frozenset[str]], Local | None]


def _within(takers: Sequence[Taker], union: frozenset[str], find: Finder) -> Shared | None:
    """Everyone's best blend out of a union of substances; None when somebody has none."""
    taken = []
    for taker in takers:
        blend = find(taker, union)
        if blend is None:
            return None
        taken.append(blend)
    return _shared(taken)


def _known(taker: Taker, union: frozenset[str]) -> Local | None:
    inside = [blend for blend in taker.blends if set(blend.blend_wt_pct) <= union]
    return min(inside, key=lambda each: each.objective) if inside else None


def _filled(most_in_blend: int) -> Finder:
    def find(taker: Taker, union: frozenset[str]) -> Local | None:
        known = _known(taker, union)
        if known is not None:
            return known
        tried = [
            taker.polished(frozenset(keys))
            for size in range(1, min(most_in_blend, len(union)) + 1)
            for keys in combinations(sorted(union), size)
        ]
        feasible = [blend for blend in tried if blend is not None]
        return min(feasible, key=lambda each: each.objective) if feasible else None

    return find
