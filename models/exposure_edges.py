"""When the lamp was lit, read from a trace that the light warms: its slope jumps up at switch-on and down at switch-off."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError

Array = NDArray[np.float64]

SHORTEST_S = 4.0
_WINDOW_S = 4.0
_FEWEST_READINGS = 4
_CLEAR_SD = 7.0
_SHARE_OF_LARGEST = 0.3
_SAME_LENGTH_S = 3.0


def slope_jumps(time_s: Array, value_k: Array, noise: float) -> tuple[Array, float]:
    """Slope after each reading minus slope before it, and its scatter [K/s].

    Parameters
    ----------
    time_s, value_k : ndarray, shape (n,)
        Evenly sampled trace [s], [K].
    noise : float
        Scatter of one reading [K].
    """
    step = float(time_s[1] - time_s[0])
    width = max(_FEWEST_READINGS, round(_WINDOW_S / step))
    offsets = np.arange(width) * step
    weights = (offsets - offsets.mean()) / np.sum((offsets - offsets.mean()) ** 2)
    # slope of the straight line through the `width` readings that begin at each reading
    slopes = np.correlate(value_k, weights, mode="valid")
    jumps = np.zeros(value_k.size)
    inside = np.arange(width - 1, value_k.size - width + 1)
    jumps[inside] = slopes[inside] - slopes[inside - width + 1]
    return jumps, noise * float(np.linalg.norm(weights)) * np.sqrt(2.0)


def _edges(jumps: Array, least: float, width: int) -> list[tuple[int, int]]:
    """Reading and sign of each clear jump, the strongest of a neighbourhood each."""
    found: list[tuple[int, int]] = []
    strength = np.abs(jumps).copy()
    while True:
        top = int(np.argmax(strength))
        if strength[top] < least:
            return sorted(found)
        found.append((top, 1 if jumps[top] > 0.0 else -1))
        strength[max(top - width, 0) : top + width + 1] = 0.0


def find_exposures(time_s: Array, value_k: Array, noise: float) -> list[tuple[float, float]]:
    """Switch-on and switch-off times in a trace warmed by the lamp, best of the blank.

    Parameters
    ----------
    time_s, value_k : ndarray, shape (n,)
        Evenly sampled trace [s], [K].
    noise : float
        Scatter of one reading [K].

    Returns
    -------
    list of (float, float)
        Start and end of each exposure [s]; empty where the lamp never shows.

    Raises
    ------
    InputError
        If jumps are there but do not pair up to exposures of one length.
    """
    jumps, sd = slope_jumps(time_s, value_k, noise)
    least = max(_CLEAR_SD * sd, _SHARE_OF_LARGEST * float(np.abs(jumps).max()))
    step = float(time_s[1] - time_s[0])
    edges = _edges(jumps, least, max(_FEWEST_READINGS, round(_WINDOW_S / step)))
    if not edges:
        return []
    signs = [sign for _, sign in edges]
    if signs[0] != 1 or any(a == b for a, b in itertools.pairwise(signs)) or len(signs) % 2:
        raise InputError(
            f"the exposures cannot be told from the trace: {signs.count(1)} times the lamp seems to go on and "
            f"{signs.count(-1)} times off. Give them: exposures = {{ seconds = ..., starts_s = [...] }}."
        )
    pairs = [
        (float(time_s[on[0]]), float(time_s[off[0]])) for on, off in zip(edges[::2], edges[1::2], strict=True)
    ]
    lengths = [end - start for start, end in pairs]
    if min(lengths) < SHORTEST_S or max(lengths) - min(lengths) > _SAME_LENGTH_S + 2.0 * step:
        shown = ", ".join(f"{length:.1f}" for length in lengths)
        raise InputError(
            f"the exposures found in the trace last {shown} s; they should be alike. Give them: "
            "exposures = { seconds = ..., starts_s = [...] }."
        )
    return pairs


def starts_for(time_s: Array, value_k: Array, noise: float, seconds: float, count: int | None) -> list[float]:
    """Switch-on times of exposures whose length is known.

    Parameters
    ----------
    time_s, value_k, noise
        As for `find_exposures`.
    seconds : float
        Length of each exposure [s].
    count : int or None
        How many there should be.

    Raises
    ------
    InputError
        If another number of exposures shows than was said, or they last longer or shorter than was said.
    """
    found = find_exposures(time_s, value_k, noise)
    step = float(time_s[1] - time_s[0])
    if found and count is not None and len(found) != count:
        raise InputError(
            f"{len(found)} exposures show in the trace, {count} were said. Correct the count, or give starts_s."
        )
    wrong = [end - start for start, end in found if abs(end - start - seconds) > _SAME_LENGTH_S + 2.0 * step]
    if wrong:
        raise InputError(
            f"an exposure lasts {wrong[0]:.1f} s in the trace, {seconds:g} s were said. Correct whichever is wrong, or give starts_s."
        )
    return [start for start, _ in found]


def common_shift_s(first: Sequence[float], second: Sequence[float]) -> float:
    """Time to add to the second run's clock so that its exposures start with those of the first [s]."""
    pairs = list(zip(first, second, strict=False))
    return float(np.mean([a - b for a, b in pairs]))


def rising_edges(time_s: Array, value_k: Array, noise: float, seconds: float) -> list[float]:
    """Times at which a trace suddenly begins to warm, at least `seconds` apart [s].

    For a sample, whose falling edges the reaction hides; an induction time delays what is found.
    """
    jumps, sd = slope_jumps(time_s, value_k, noise)
    step = float(time_s[1] - time_s[0])
    least = max(_CLEAR_SD * sd, _SHARE_OF_LARGEST * 0.3 * float(jumps.max()))
    edges = _edges(np.maximum(jumps, 0.0), least, max(_FEWEST_READINGS, round(_WINDOW_S / step)))
    found: list[float] = []
    for index, _ in edges:
        if not found or time_s[index] - found[-1] >= seconds:
            found.append(float(time_s[index]))
    return found
