"""Heat of a reaction from its rise of temperature, by the cooling constant of the cell.

A film on its holder loses heat as Newton's law says, so the heat given off over the heat capacity of the cell is
q = dT/dt + T/tau_cell, in kelvin per second; its integral is the rise that the cell would have without loss.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from .exotherm import ReactionTemperature
from .smoothing import curve

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooling:
    """Cooling constant of the cell: how fast it forgets heat [s], with its standard deviation and where it comes from."""

    time_constant_s: float
    time_constant_sd_s: float
    origin: str


def cooling_of(rise: ReactionTemperature, start_s: float, end_s: float) -> Cooling:
    """Cooling constant from the rise between two times in the dark, when the reaction is over.

    Raises
    ------
    InputError
        If the rise is too small, too short or not falling there.

    Notes
    -----
    Straight line through the logarithm of the rise, weighted by it. A cell that cools on two time scales shows in the
    difference between the halves, which is part of the standard deviation.
    """
    inside = (rise.time_s >= start_s) & (rise.time_s <= end_s) & ~rise.missing
    time, value = rise.time_s[inside], rise.rise_k[inside]
    # beyond the noise of an offset a logarithm says nothing
    floor = 4.0 * math.hypot(rise.rise_sd_k, rise.offset_sd_k)
    below = np.flatnonzero(value < floor)
    if below.size:
        time, value = time[: below[0]], value[: below[0]]
    if value.size < 8 or value[-1] > 0.95 * value[0]:
        raise InputError(
            f"the cooling constant cannot be read between {start_s:.4g} and {end_s:.4g} s (the rise is too small, or does not "
            "fall); give cell_cooling_s, from the cooling of a cured sample."
        )
    whole, halves = (
        _decay_rate(time, value),
        [
            _decay_rate(time[part], value[part])
            for part in (slice(0, value.size // 2), slice(value.size // 2, None))
        ],
    )
    # the halves differ by noise and by other time scales; a quarter of their difference bounds the error of the whole's mean
    spread = 0.25 * abs(halves[0] - halves[1])
    points = max(value.size / rise.smoothing.points, 2.0)
    noise = floor / 4.0 / float(value.mean()) / (float(time[-1] - time[0]) * math.sqrt(points / 12.0))
    rate_sd = math.hypot(spread, noise)
    if whole <= 2.0 * rate_sd:
        raise InputError(
            f"the cooling between {start_s:.4g} and {end_s:.4g} s is lost in noise; give cell_cooling_s, from the cooling of a "
            "cured sample."
        )
    return Cooling(
        time_constant_s=1.0 / whole,
        time_constant_sd_s=rate_sd / whole**2,
        origin=f"cooling between {start_s:.4g} and {end_s:.4g} s",
    )


def _decay_rate(time_s: Array, value_k: Array) -> float:
    return -float(np.polyfit(time_s, np.log(value_k), 1, w=value_k)[0])


def heat_k(rise: ReactionTemperature, cooling_s: float, start_s: float, end_s: float) -> float:
    """Heat between two times over the heat capacity of the cell [K]: final minus first rise plus what was lost meanwhile.

    A stretch with a gap in the log is bridged by a straight line.
    """
    inside = (rise.time_s >= start_s) & (rise.time_s <= end_s)
    time, value = rise.time_s[inside], rise.rise_k[inside].copy()
    value[0] = rise.before_k(start_s) * math.exp(-0.5 * rise.smoothing.window_s / cooling_s)
    return heat_of_trace(time, value, cooling_s)


def heat_of_trace(time_s: Array, rise_k: Array, cooling_s: float) -> float:
    """Integral of d(rise)/dt + rise/cooling_s over a whole trace [K].

    Examples
    --------
    A cell heated once to 10 K and left to cool gives off nothing more, however long one looks:

    >>> t = np.linspace(0.0, 100.0, 1001)
    >>> abs(heat_of_trace(t, 10.0 * np.exp(-t / 40.0), 40.0)) < 1e-3
    True
    """
    lost = float(np.trapezoid(rise_k, time_s)) / cooling_s
    return float(rise_k[-1] - rise_k[0]) + lost


def heat_rate_k_s(rise: ReactionTemperature, cooling_s: float) -> Array:
    """Heat given off per time over the heat capacity of the cell, shape (n,) [K/s]."""
    slope = curve(rise.rise_k, rise.smoothing.points, rise.step_s, 1)
    return slope + rise.rise_k / cooling_s
