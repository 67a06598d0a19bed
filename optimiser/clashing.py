"""The smallest set of limits that cannot be kept together, by a deletion filter; how it is tried is the caller's."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from .constraints import Constraint


def worst_row_of_each(rows: Sequence[Constraint], values: Sequence[float]) -> dict[str, int]:
    """Number of the row in which each limit is nearest to being broken, by the limit's name.

    Parameters
    ----------
    rows : sequence of Constraint
        One row per limit and scenario.
    values : sequence of float
        Their scaled values at one blend.
    """
    worst: dict[str, int] = {}
    for i, row in enumerate(rows):
        if row.limit_name not in worst or values[i] > values[worst[row.limit_name]]:
            worst[row.limit_name] = i
    return worst


def smallest_clash(
    rows: Sequence[Constraint], nearest: Sequence[float], can_keep: Callable[[Sequence[str]], bool]
) -> list[Constraint]:
    """Let limits go one after the other; one is gone for good if the others cannot be kept without it either.

    Parameters
    ----------
    rows : sequence of Constraint
        One row per limit and scenario.
    nearest : sequence of float
        Their scaled values at the nearest blend; limits far from broken are let go first.
    can_keep : callable
        Whether the limits named can be kept together.

    Returns
    -------
    list of Constraint
        The row nearest to being broken of each limit that is left. None of them can be spared, as far as `can_keep` sees.
    """
    worst = worst_row_of_each(rows, nearest)
    kept = sorted(worst, key=lambda name: nearest[worst[name]])
    for name in list(kept):
        others = [each for each in kept if each != name]
        if not others:
            break
        if not can_keep(others):
            kept = others
    return [rows[worst[name]] for name in kept]
