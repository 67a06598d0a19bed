"""Which points are not beaten, how much they dominate, and where the knee is; all axes are to be small.

The hypervolume is that of the region between the points and a reference point, worked out exactly: by a sweep in two
dimensions, by slices in three (Zitzler & Thiele, IEEE Trans. Evol. Comput. 1999, 3, 257, define the measure).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError

Floats = NDArray[np.float64]


def unbeaten(points: Floats) -> NDArray[np.intp]:
    """Rows that no other row beats, in order of the first axis; of equal rows the first.

    Parameters
    ----------
    points : ndarray, shape (n, d)
        One row per point; smaller is better on every axis.

    Examples
    --------
    >>> import numpy as np
    >>> unbeaten(np.array([[2.0, 1.0], [1.0, 2.0], [2.0, 2.0]])).tolist()
    [1, 0]
    """
    points = np.asarray(points, dtype=float)
    kept = [
        i
        for i, point in enumerate(points)
        if not np.any(np.all(points <= point, axis=1) & np.any(points < point, axis=1))
        and not np.any(np.all(points[:i] == point, axis=1))
    ]
    return np.array(sorted(kept, key=lambda i: tuple(points[i])), dtype=np.intp)


def hypervolume(points: Floats, reference: Floats) -> float:
    """Volume between the points and the reference point.

    Parameters
    ----------
    points : ndarray, shape (n, d)
        Two or three axes, smaller is better; points beyond the reference add nothing.
    reference : ndarray, shape (d,)
        The worst corner.

    Raises
    ------
    InputError
        If there are not two or three axes.

    Examples
    --------
    >>> import numpy as np
    >>> hypervolume(np.array([[0.0, 0.5], [0.5, 0.0]]), np.ones(2))
    0.75
    """
    points, reference = np.asarray(points, dtype=float), np.asarray(reference, dtype=float)
    if reference.shape not in ((2,), (3,)) or points.ndim != 2 or points.shape[1] != reference.size:
        raise InputError("hypervolume: give two or three axes, the same for the points and the reference.")
    inside = points[np.all(points < reference, axis=1)]
    if not len(inside):
        return 0.0
    return _area(inside, reference) if reference.size == 2 else _volume(inside, reference)


def _area(points: Floats, reference: Floats) -> float:
    total, height = 0.0, float(reference[1])
    for x, y in points[np.lexsort((points[:, 1], points[:, 0]))]:
        if y < height:
            total += float(reference[0] - x) * (height - float(y))
            height = float(y)
    return total


def _volume(points: Floats, reference: Floats) -> float:
    """Slices along the third axis, each as thick as the gap to the next point."""
    order = points[np.argsort(points[:, 2], kind="stable")]
    edges = [*order[:, 2].tolist(), float(reference[2])]
    return float(
        sum(
            (edges[i + 1] - edges[i]) * _area(order[: i + 1, :2], reference[:2])
            for i in range(len(order))
            if edges[i + 1] > edges[i]
        )
    )


def normalised(points: Floats) -> Floats:
    """Each axis from 0 at its best to 1 at its worst value; an axis without spread is 0."""
    low, high = points.min(axis=0), points.max(axis=0)
    return np.asarray((points - low) / np.where(high > low, high - low, 1.0))


def apart(points: Floats, least: float = 2e-3) -> NDArray[np.intp]:
    """Rows that differ on some axis by more than a share of its range from every row kept before them.

    Examples
    --------
    >>> import numpy as np
    >>> apart(np.array([[0.0, 1.0], [1e-4, 0.9999], [1.0, 0.0]])).tolist()
    [0, 2]
    """
    scaled = normalised(np.asarray(points, dtype=float))
    kept: list[int] = []
    for i, row in enumerate(scaled):
        if all(np.abs(row - scaled[other]).max() > least for other in kept):
            kept.append(i)
    return np.array(kept, dtype=np.intp)


def knee(points: Floats) -> int:
    """Row that lies furthest on the good side of the straight line (plane) through the ends of the front.

    The line runs where the normalised axes add up to 1, which in two dimensions is the chord between the two ends.
    """
    return int(np.argmin(normalised(np.asarray(points, dtype=float)).sum(axis=1)))
