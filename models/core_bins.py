"""Where to cut a lamp's spectrum into bins (compiled, and kept): it took longer than the film itself, film after film."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled_entry

Array = NDArray[np.float64]
Whole = NDArray[np.intp]


def least_error_bins(photons: Array, absorption: Array, most: Array, count: int) -> NDArray[np.intp]:
    """Bin number of each wavelength, consecutive from 0: the partition with the least error of the light at any depth.

    Parameters
    ----------
    photons : ndarray, shape (n,)
        Photons at each wavelength, all above 0, in any unit.
    absorption : ndarray, shape (n_line, n)
        Napierian absorption coefficient of each absorber.
    most : ndarray, shape (n_line,)
        Most there is of each, the product with its coefficient being dimensionless.
    count : int
        Number of bins, below n.

    Notes
    -----
    With absorption of mean m and variance v in a bin, mean(exp(-a x)) - exp(-m x) is v x^2 exp(-m x) / 2 to second order,
    largest at x = 2/m or at the most there is of absorber. Against the mean of exp(-a x) for a uniform spread this holds
    within a tenth up to a spread of half the mean. The partition with the least sum over bins and absorbers is found by
    dynamic programming.

    It depends on the shape of the light only, and on which absorbers there are but not on how much of them: gels of the same
    initiators, brighter and dimmer lamps and other cure times share it. It is therefore worked out from shares of the
    photons in single precision, in which the same light scaled is the same, and kept.
    """
    share = (photons / photons.sum()).astype(np.float32)
    return _kept(share.tobytes(), absorption.tobytes(), most.tobytes(), count)


@lru_cache(maxsize=1024)
def _kept(share: bytes, absorption: bytes, most: bytes, count: int) -> NDArray[np.intp]:
    photons = np.frombuffer(share, dtype=np.float32).astype(np.float64)
    lines = np.frombuffer(absorption, dtype=np.float64).reshape(-1, photons.size)
    group: NDArray[np.intp] = _partition(
        photons, lines.copy(), np.frombuffer(most, dtype=np.float64).copy(), count
    )
    group.setflags(write=False)
    return group


def _partition(photons: Array, absorption: Array, most: Array, count: int) -> NDArray[np.intp]:
    size = photons.size
    # tables are made here, where NumPy's calls need no compiling
    cost, least, first = (
        np.zeros((size, size)),
        np.full((count + 1, size + 1), np.inf),
        np.zeros((count, size + 1), np.intp),
    )
    least[0, 0] = 0.0
    group = np.zeros(size, dtype=np.intp)
    _fill_partition(photons, absorption, most, cost, least, first, group)
    return group


@compiled_entry
def _fill_partition(
    photons: Array, absorption: Array, most: Array, cost: Array, least: Array, first: Whole, group: Whole
) -> None:
    size, count, whole = photons.size, first.shape[0], 0.0
    for j in range(size):
        whole += photons[j]
    for line in range(absorption.shape[0]):
        for i in range(size):
            weight, one, two = 0.0, 0.0, 0.0
            for j in range(i, size):
                value = absorption[line, j]
                weight += photons[j]
                one += photons[j] * value
                two += photons[j] * value * value
                mean = one / weight
                variance = max(two / weight - mean * mean, 0.0)
                column = min(2.0 / max(mean, 2.0 / most[line]), most[line])
                cost[i, j] += 0.5 * variance * column * column * math.exp(-mean * column) * weight / whole
    for bin_ in range(count):
        for j in range(size):
            for i in range(j + 1):
                total = least[bin_, i] + cost[i, j]
                if total < least[bin_ + 1, j + 1]:
                    least[bin_ + 1, j + 1] = total
                    first[bin_, j + 1] = i
    stop = size
    for bin_ in range(count - 1, -1, -1):
        start = first[bin_, stop]
        for j in range(start, stop):
            group[j] = bin_
        stop = start
