"""Cell widths: fine at the air, where oxygen is a matter of micrometres, coarser below."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@cache
def film_cells(thickness_m: float, count: int, first_m: float = 0.2e-6, largest_share: float = 0.05) -> Array:
    """Widths of the cells of a film, growing from the air side to a largest width.

    Parameters
    ----------
    thickness_m : float
        Film thickness [m].
    count : int
        Number of cells.
    first_m : float
        Width of the first cell [m]; less where the film is so thin that even cells would be finer.
    largest_share : float
        Largest cell as a share of the thickness [-]; raised where `count` cells of that size cannot fill the film.

    Returns
    -------
    ndarray, shape (count,)
        Cell widths [m], their sum is the thickness; read-only, since equal films share them.
    """
    first = min(first_m, thickness_m / count)
    largest = max(largest_share, 1.3 / count) * thickness_m
    index = np.arange(count)

    def excess(ratio: float) -> float:
        return float(np.minimum(first * ratio**index, largest).sum()) - thickness_m

    if excess(1.0) >= 0.0:
        return _shared(np.full(count, thickness_m / count))
    # largest ratio that cannot overflow; far steeper than any grid needs
    ratio = _root(excess, 1.0, 10.0 ** min(1.0, 250.0 / count))
    widths = np.minimum(first * ratio**index, largest)
    return _shared(np.asarray(widths * (thickness_m / widths.sum())))


@cache
def nail_cells(thickness_m: float, count: int) -> Array:
    """Widths of nail cells, shape (count,) [m]: fine below the film, whose heat comes in bursts; read-only.

    They all go with the thickness, so that a thicker nail has the same cells stretched.
    """
    return film_cells(thickness_m, count, 0.01 * thickness_m, 0.14)


@cache
def tissue_cells(depth_m: float, count: int, first_m: float) -> Array:
    """Widths of tissue cells growing geometrically from the nail downwards, shape (count,) [m]; read-only."""

    def excess(ratio: float) -> float:
        return float((first_m * ratio ** np.arange(count)).sum()) - depth_m

    ratio = _root(excess, 1.0, 10.0) if excess(1.0) < 0.0 else 1.0
    widths = first_m * ratio ** np.arange(count)
    return _shared(np.asarray(widths * (depth_m / widths.sum())))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Root of a rising function by halving, to the last digit; scipy's would double the time it takes to import the models."""
    middle = 0.5 * (low + high)
    while low < middle < high:
        low, high = (low, middle) if function(middle) > 0.0 else (middle, high)
        middle = 0.5 * (low + high)
    return middle


def _shared(widths: Array) -> Array:
    widths.setflags(write=False)
    return widths
