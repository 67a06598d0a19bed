"""When the lamp was lit, read from a trace that the light warms: its slope jumps up at switch-on and down at switch-off."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError

Array = NDArray[np.float64]

SHORTEST_S = 4.0
# a weak lamp warms too slowly to show in a short stretch of noisy readings: longer ones are tried in turn
_WINDOWS_S = (4.0, 8.0, 16.0)
_FEWEST_READINGS = 4
_CLEAR_SD = 7.0
_SHARE_OF_LARGEST = 0.3
_SAME_LENGTH_S = 3.0
_MATCHED_SD = 5.0
_MATCHED_SHARE = 0.4
_REFINED_S = 3.0
_DOUBT_REACH_S = 1.5


def slope_jumps(
    time_s: Array, value_k: Array, noise: float, window_s: float = _WINDOWS_S[0]
) -> tuple[Array, float]:
    """Slope after each reading minus slope before it, and its scatter [K/s].

    Parameters
    ----------
    time_s, value_k : ndarray, shape (n,)
        Evenly sampled trace [s], [K].
    noise : float
        Scatter of one reading [K].
    window_s : float
        Stretch on each side over which a slope is taken [s].
    """
    width = _width(time_s, window_s)
    step = float(time_s[1] - time_s[0])
    offsets = np.arange(width) * step
    weights = (offsets - offsets.mean()) / np.sum((offsets - offsets.mean()) ** 2)
    # slope of the straight line through the `width` readings that begin at each reading
    slopes = np.correlate(value_k, weights, mode="valid")
    jumps = np.zeros(value_k.size)
    inside = np.arange(width - 1, value_k.size - width + 1)
    jumps[inside] = slopes[inside] - slopes[inside - width + 1]
    return jumps, noise * float(np.linalg.norm(weights)) * np.sqrt(2.0)


def _width(time_s: Array, window_s: float) -> int:
    """Readings in a window."""
    return max(_FEWEST_READINGS, round(window_s / float(time_s[1] - time_s[0])))


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
    failed: InputError | None = None
    for window_s in _WINDOWS_S:
        width = _width(time_s, window_s)
        if time_s.size < 3 * width:
            break
        jumps, sd = slope_jumps(time_s, value_k, noise, window_s)
        edges = _edges(jumps, max(_CLEAR_SD * sd, _SHARE_OF_LARGEST * float(np.abs(jumps).max())), width)
        if not edges:
            continue
        try:
            return _paired(time_s, edges)
        except InputError as error:
            failed = failed or error
    if failed is not None:
        raise failed
    return []


def _paired(time_s: Array, edges: Sequence[tuple[int, int]]) -> list[tuple[float, float]]:
    """Exposures from jumps up and down."""
    step = float(time_s[1] - time_s[0])
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
    step = float(time_s[1] - time_s[0])
    failed: InputError | None = None
    try:
        found = find_exposures(time_s, value_k, noise)
    except InputError as error:
        found, failed = [], error
    if count is not None and len(found) > count:
        raise InputError(
            f"{len(found)} exposures show in the trace, {count} were said. Correct the count, or give starts_s."
        )
    wrong = [end - start for start, end in found if abs(end - start - seconds) > _SAME_LENGTH_S + 2.0 * step]
    if wrong:
        raise InputError(
            f"an exposure lasts {wrong[0]:.1f} s in the trace, {seconds:g} s were said. Correct whichever is wrong, or give starts_s."
        )
    starts = [start for start, _ in found]
    if not starts or (count is not None and len(starts) < count):
        starts = _matched(time_s, value_k, noise, seconds, count)
    if failed is not None and not starts:
        raise failed
    if starts and count is not None and len(starts) != count:
        raise InputError(
            f"{len(starts)} exposures show in the trace, {count} were said. Correct the count, or give starts_s."
        )
    return [_refined(time_s, value_k, start, seconds) for start in starts]


def _matched(time_s: Array, value_k: Array, noise: float, seconds: float, count: int | None) -> list[float]:
    """Switch-on times at which the slope jumps up, and down again after the known time: both together show a weaker lamp."""
    window_s = min(_WINDOWS_S[-1], 0.45 * seconds)
    if time_s[-1] - time_s[0] < seconds + 2.0 * window_s:
        return []
    jumps, sd = slope_jumps(time_s, value_k, noise, window_s)
    later = np.interp(time_s + seconds, time_s, jumps, right=0.0)
    score = np.where(time_s + seconds <= time_s[-1] - window_s, jumps - later, 0.0)
    least = max(_MATCHED_SD * np.sqrt(2.0) * sd, _MATCHED_SHARE * float(score.max()))
    edges = _edges(np.maximum(score, 0.0), least, _width(time_s, seconds))
    found = sorted(edges, key=lambda edge: -score[edge[0]])[:count]
    return sorted(float(time_s[index]) for index, _ in found)


def _refined(time_s: Array, value_k: Array, start_s: float, seconds: float) -> float:
    """Switch-on time at which parabolas with a break at switch-on and at switch-off fit the trace best."""
    step = float(time_s[1] - time_s[0])
    tried = np.arange(-_REFINED_S, _REFINED_S, 0.2 * step) + start_s
    return float(tried[int(np.argmin(_misfits(time_s, value_k, tried, seconds)))])


def _misfits(time_s: Array, value_k: Array, tried_s: Array, seconds: float) -> Array:
    """Sum of squared distances for each switch-on time tried."""
    reach = min(_WINDOWS_S[-1], 0.4 * seconds)
    return np.array(
        [
            _break_misfit(time_s, value_k, at, reach) + _break_misfit(time_s, value_k, at + seconds, reach)
            for at in tried_s
        ]
    )


def start_doubt_s(time_s: Array, value_k: Array, noise: float, start_s: float, seconds: float) -> float:
    """Standard deviation of a switch-on time found in a trace, from how sharply the misfit rises beside it [s].

    Parameters
    ----------
    time_s, value_k, noise
        As for `find_exposures`.
    start_s, seconds : float
        The time found, and the length of the exposure [s].
    """
    step = float(time_s[1] - time_s[0])
    beside = np.linspace(-_DOUBT_REACH_S, _DOUBT_REACH_S, 13)
    bend = float(np.polyfit(beside, _misfits(time_s, value_k, start_s + beside, seconds), 2)[0])
    least, most = step / np.sqrt(12.0), _REFINED_S / np.sqrt(3.0)
    return float(np.clip(noise / np.sqrt(bend), least, most)) if bend > 0.0 else float(most)


def _break_misfit(time_s: Array, value_k: Array, break_s: float, reach_s: float) -> float:
    """Sum of squared distances of a trace to the best parabola whose slope breaks at a time."""
    inside = np.abs(time_s - break_s) <= reach_s
    since = time_s[inside] - break_s
    terms = np.column_stack([np.ones(since.size), since, since**2, np.maximum(since, 0.0)])
    found = np.linalg.lstsq(terms, value_k[inside], rcond=None)[0]
    return float(np.sum((value_k[inside] - terms @ found) ** 2))


def shift_onto_s(
    sample: tuple[Array, Array, float], blank: tuple[Array, Array, float]
) -> tuple[float, float]:
    """Time to add to the blank's clock so that its last exposure falls on the sample's.

    Parameters
    ----------
    sample, blank : tuple of (ndarray, ndarray, float)
        Evenly sampled times [s] and readings [K], and the scatter of one reading [K].

    Returns
    -------
    shift_s : float
    clear_sd : float
        How clearly the sample shows the lamp at that shift, in standard deviations.

    Raises
    ------
    InputError
        If the blank does not show the lamp.

    Notes
    -----
    The last exposure is used because least reaction hides the lamp there; in the first an induction time would be taken for
    a late start. The shift is the one at which the sample's slope jumps most up at switch-on and down at switch-off together.
    """
    found = find_exposures(*blank)
    if not found:
        raise InputError("the lamp never shows in the blank, so sample and blank cannot be put on one clock.")
    on, off = found[-1]
    time, value, noise = sample
    window_s = min(_WINDOWS_S[-1], 0.4 * (off - on))
    jumps, sd = slope_jumps(time, value, noise, window_s)
    # as many exposures must fit in front of the last one as the blank has
    first = time[0] + (on - found[0][0])
    shifts = time[(time >= first) & (time + (off - on) <= time[-1])] - on
    score = np.interp(on + shifts, time, jumps) - np.interp(off + shifts, time, jumps)
    best = int(np.argmax(score))
    return float(shifts[best]), float(score[best] / (np.sqrt(2.0) * sd))
