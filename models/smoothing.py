"""Smoothing of a sampled trace by local parabolas, as wide as its noise asks for and its shape allows.

The width is chosen by Lepski's rule (Lepski, Theory Probab. Appl. 1991, 35, 454, from memory): the widest window whose curve
agrees, within noise, with the curves of all narrower ones. What it costs is returned with it: the scatter that is left, and
how much the highest point is lowered.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError

Array = NDArray[np.float64]

NARROWEST = 5
ORDER = 2
_AGREE_SD = 2.5  # curves agree within so many standard deviations of their difference
_MAD_TO_SD = 1.4826
# a local parabola lowers a smooth peak by a term in the fourth power of the window
_BIAS_POWER = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Smoothed:
    """A smoothed trace and what the smoothing costs.

    Attributes
    ----------
    value, slope_1_s : ndarray, shape (n,)
        Curve, and its slope per second.
    points, window_s : int, float
        Width of the window in readings and in seconds.
    noise_sd : float
        Scatter of one reading, in the trace's unit.
    slope_sd_1_s : float
        Scatter left in the slope.
    peak_bias : float
        Estimated lowering of the highest point by the smoothing, 0 or more.
    """

    value: Array
    slope_1_s: Array
    points: int
    window_s: float
    noise_sd: float
    slope_sd_1_s: float
    peak_bias: float

    def mixed_sd(self, factor_s: float) -> float:
        """Scatter of value + factor x slope, the two being fitted from the same readings."""
        value, slope = _coefficients(self.points, self.window_s / self.points)
        return float(self.noise_sd * np.linalg.norm(value + factor_s * slope))


def noise_sd(time_s: Array, value: Array) -> float:
    """Scatter of single readings, from each reading's distance to the line through its neighbours.

    Parameters
    ----------
    time_s, value : ndarray, shape (n,)
        Trace; the spacing may be uneven.

    Returns
    -------
    float
        Robust standard deviation; at least what the logger's resolution causes by rounding.

    Notes
    -----
    Pseudo-residuals of Gasser, Sroka & Jennen-Steinmetz, Biometrika 1986, 73, 625, by their median rather than their square.
    """
    if time_s.size < NARROWEST:
        raise InputError(f"{time_s.size} readings; noise needs at least {NARROWEST}.")
    share = (time_s[1:-1] - time_s[:-2]) / (time_s[2:] - time_s[:-2])
    residual = value[1:-1] - ((1.0 - share) * value[:-2] + share * value[2:])
    scaled = residual / np.sqrt(1.0 + share**2 + (1.0 - share) ** 2)
    steps = np.abs(np.diff(value))
    resolution = float(steps[steps > 0.0].min()) if np.any(steps > 0.0) else 0.0
    return max(_MAD_TO_SD * float(np.median(np.abs(scaled))), min(resolution, 1.0) / math.sqrt(12.0))


def _coefficients(points: int, step_s: float) -> tuple[Array, Array]:
    """Weights of the readings in a window for its middle value and slope."""
    from scipy.signal import savgol_coeffs

    value = savgol_coeffs(points, ORDER, use="dot")
    slope = savgol_coeffs(points, ORDER, deriv=1, delta=step_s, use="dot")
    return np.asarray(value), np.asarray(slope)


def curve(value: Array, points: int, step_s: float, derivative: int = 0) -> Array:
    """Local parabolas of `points` readings through an evenly sampled trace, or their slope [per second]."""
    from scipy.signal import savgol_filter

    return np.asarray(
        savgol_filter(value, points, ORDER, deriv=derivative, delta=step_s, mode="interp"), dtype=np.float64
    )


def smoothed(value: Array, step_s: float, noise: float, longest_s: float) -> Smoothed:
    """Smooth an evenly sampled trace.

    Parameters
    ----------
    value : ndarray, shape (n,)
        Readings without gaps.
    step_s : float
        Spacing [s].
    noise : float
        Standard deviation of one reading.
    longest_s : float
        No window is longer [s].

    Raises
    ------
    InputError
        If there are fewer than five readings.
    """
    if value.size < NARROWEST:
        raise InputError(f"{value.size} readings; smoothing needs at least {NARROWEST}.")
    most = min(value.size, max(NARROWEST, int(longest_s / step_s)))
    tried: dict[int, tuple[Array, Array]] = {}
    chosen, points = NARROWEST, float(NARROWEST)
    while int(points) <= most:
        width = int(points) // 2 * 2 + 1
        if width > value.size:
            break
        if width not in tried:
            weights = np.zeros(width)
            weights[:] = _coefficients(width, step_s)[0]
            found = curve(value, width, step_s)
            if not all(_agree(found, weights, *other, noise) for other in tried.values()):
                break
            tried[width] = (found, weights)
            chosen = width
        points *= 1.25
    slopes = _coefficients(chosen, step_s)[1]
    return Smoothed(
        value=tried[chosen][0],
        slope_1_s=curve(value, chosen, step_s, 1),
        points=chosen,
        window_s=chosen * step_s,
        noise_sd=noise,
        slope_sd_1_s=noise * float(np.linalg.norm(slopes)),
        peak_bias=_peak_bias(value, chosen, step_s),
    )


def _agree(found: Array, weights: Array, other: Array, other_weights: Array, noise: float) -> bool:
    """Whether two curves differ by noise alone, judged at the worst place."""
    pad = (weights.size - other_weights.size) // 2
    difference = weights - np.pad(other_weights, pad)
    # the largest of n differences of noise alone lies about sqrt(2 ln n) standard deviations out
    allowed = _AGREE_SD + np.sqrt(2.0 * np.log(max(found.size / weights.size, 1.0) + 1.0))
    inside = slice(weights.size // 2, found.size - weights.size // 2)
    gap = np.abs(found - other)[inside]
    return gap.size == 0 or bool(gap.max() <= allowed * noise * np.linalg.norm(difference))


def _peak_bias(value: Array, points: int, step_s: float) -> float:
    """Lowering of the highest point, from how much half the window lowers it less."""
    half = max(points // 2 // 2 * 2 + 1, 3)
    if half >= points:
        return 0.0
    wide = curve(value, points, step_s)
    top = int(np.argmax(wide))
    narrow = curve(value, half, step_s)
    gain = 1.0 - (half / points) ** _BIAS_POWER
    return max(0.0, float(narrow[top] - wide[top]) / gain)
