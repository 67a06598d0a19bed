"""Reaction temperature from a thermocouple in the gel and a blank: spikes, lag, offset, peak.

Pure functions on arrays; nothing here reads a file or knows the cure model.

A probe follows its surroundings as T_read' = (T - T_read)/tau, so T = T_read + tau T_read' (Newton's law; for
thermocouples e.g. Konopka, IMEKO, on correction of the dynamic error).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from .smoothing import Smoothed, noise_sd, smoothed

Array = NDArray[np.float64]

# volumetric heat capacity of the metals of a thermocouple bead: from memory
BEAD_CAPACITY_J_M3_K = 3.9e6
GEL_CONDUCTIVITY_W_M_K = 0.20
AIR_CONDUCTIVITY_W_M_K = 0.026
BEAD_RANGE_M = (10e-6, 3e-3)
TIME_CONSTANT_RANGE_S = (0.0, 60.0)
GAP_STEPS = 3.5
SPIKE_SD = 6.0
FEWEST_BASELINE = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cleaned:
    """A channel without spikes and missing readings.

    Attributes
    ----------
    time_s, value_k : ndarray, shape (n,)
        What is left [s], [K].
    gaps_s : tuple of (float, float)
        Stretches without readings [s].
    spikes : int
        Readings taken out.
    """

    time_s: Array
    value_k: Array
    gaps_s: tuple[tuple[float, float], ...]
    spikes: int


def bead_time_constant_s(diameter_m: float, conductivity_w_m_k: float = GEL_CONDUCTIVITY_W_M_K) -> float:
    """Time constant of a bead in a medium at rest, rho c d^2/(12 k) (Nusselt number 2) [s].

    Examples
    --------
    >>> round(bead_time_constant_s(0.25e-3), 2)
    0.1
    """
    low, high = BEAD_RANGE_M
    if not low <= diameter_m <= high:
        raise InputError(
            f"probe bead: {1e3 * diameter_m:g} mm; it must be {1e3 * low:g} to {1e3 * high:g} mm. Measure the bead, not the lead."
        )
    return BEAD_CAPACITY_J_M3_K * diameter_m**2 / (12.0 * conductivity_w_m_k)


def cleaned(time_s: Array, value_k: Array) -> Cleaned:
    """Take out missing readings and single spikes, and list the gaps.

    Notes
    -----
    A spike is a reading, or a pair of them, six standard deviations off the line through its neighbours although these agree
    with each other; a true rise carries its neighbours with it.
    """
    seen = np.isfinite(value_k)
    time, value = time_s[seen], value_k[seen]
    good = np.ones(time.size, dtype=bool)
    sd = noise_sd(time, value)
    for width in (1, 2):
        good &= ~_spikes(time, value, sd, width)
    spikes = int(np.count_nonzero(~good))
    time, value = time[good], value[good]
    spacing = np.diff(time)
    wide = np.flatnonzero(spacing > GAP_STEPS * float(np.median(spacing)))
    return Cleaned(
        time_s=time,
        value_k=value,
        gaps_s=tuple((float(time[i]), float(time[i + 1])) for i in wide),
        spikes=spikes,
    )


def _spikes(time: Array, value: Array, sd: float, width: int) -> NDArray[np.bool_]:
    """Marks runs of `width` readings that stand off the line through their neighbours."""
    found = np.zeros(time.size, dtype=bool)
    first = np.arange(1, time.size - width)
    before, after = first - 1, first + width
    slope = (value[after] - value[before]) / (time[after] - time[before])
    off = np.stack(
        [value[first + k] - value[before] - slope * (time[first + k] - time[before]) for k in range(width)]
    )
    allowed = np.maximum(SPIKE_SD * sd, 2.0 * np.abs(value[after] - value[before]))
    for start in first[np.all(off > allowed, axis=0) | np.all(off < -allowed, axis=0)]:
        found[start : start + width] = True
    return found


def evenly(time_s: Array, value: Array, grid_s: Array) -> Array:
    """Trace on an even grid, straight lines between readings."""
    return np.asarray(np.interp(grid_s, time_s, value), dtype=np.float64)


def lag_corrected(smooth: Smoothed, time_constant_s: float) -> tuple[Array, float]:
    """What a slow probe would have read without its lag, and the scatter of it.

    Parameters
    ----------
    smooth : Smoothed
        Reading, smoothed, with its slope.
    time_constant_s : float
        Time constant of the probe [s], 0 to 60.

    Returns
    -------
    value : ndarray, shape (n,)
    sd : float
        Scatter left after smoothing and correction.
    """
    low, high = TIME_CONSTANT_RANGE_S
    if not low <= time_constant_s <= high:
        raise InputError(
            f"probe: time constant is {time_constant_s:g} s; it must be {low:g} to {high:g} s. A probe that slow tells nothing of "
            "a cure."
        )
    return smooth.value + time_constant_s * smooth.slope_1_s, smooth.mixed_sd(time_constant_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepResponse:
    """First-order response fitted to a plunge: time constant with its standard error [s], size [K]."""

    time_constant_s: float
    time_constant_se_s: float
    step_k: float


def step_response(time_s: Array, value_k: Array) -> StepResponse:
    """Time constant of a probe from a log of a sudden change of temperature.

    Parameters
    ----------
    time_s, value_k : ndarray, shape (n,)
        Readings before and after the plunge [s], [K].

    Raises
    ------
    InputError
        If no step is seen, or the response is not first order.
    """
    from scipy.optimize import curve_fit

    sd = noise_sd(time_s, value_k)
    start, end = float(np.median(value_k[:3])), float(np.median(value_k[-3:]))
    size = end - start
    if abs(size) < 20.0 * sd or abs(size) < 2.0:
        raise InputError(
            f"probe step: the reading moves by {abs(size):.2g} K (noise {sd:.2g} K); plunge the probe into the gel or water at "
            "least 2 K and 20 times the noise away."
        )
    share = (value_k - start) / size
    first = float(time_s[int(np.argmax(share > 0.05))])
    t63 = float(time_s[int(np.argmax(share > 1.0 - math.exp(-1.0)))])
    guess = (max(first, 0.0), max(t63 - first, 0.2 * float(np.median(np.diff(time_s)))), start, size)

    def response(time: Array, begins: float, tau: float, low: float, step: float) -> Array:
        since = np.maximum(time - begins, 0.0)
        return np.asarray(low - step * np.expm1(-since / max(tau, 1e-9)))

    found, covariance = curve_fit(response, time_s, value_k, p0=guess, maxfev=20_000)
    rms = float(np.sqrt(np.mean((value_k - response(time_s, *found)) ** 2)))
    if rms > max(4.0 * sd, 0.05 * abs(size)):
        raise InputError(
            f"probe step: a first-order response misses the readings by {rms:.2g} K; plunge faster, and log until it has settled."
        )
    return StepResponse(
        time_constant_s=abs(float(found[1])),
        time_constant_se_s=float(np.sqrt(covariance[1, 1])),
        step_k=float(found[3]),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReactionTemperature:
    """Sample minus blank, both freed of offset and lag, on an even grid.

    Attributes
    ----------
    time_s, sample_k, blank_k, rise_k : ndarray, shape (n,)
        Times [s]; corrected readings and their difference [K].
    rise_sd_k : float
        Scatter of one point of the rise [K].
    offset_k, offset_sd_k : float
        Difference of the probes before the lamp was lit, taken off, and its standard error [K].
    smoothing : Smoothed
        Smoothing of the sample.
    missing : ndarray of bool, shape (n,)
        Where either channel had a gap.
    """

    time_s: Array
    sample_k: Array
    blank_k: Array
    rise_k: Array
    rise_sd_k: float
    offset_k: float
    offset_sd_k: float
    smoothing: Smoothed
    missing: NDArray[np.bool_]

    @property
    def step_s(self) -> float:
        """Spacing of the grid [s]."""
        return float(self.time_s[1] - self.time_s[0])

    def before_k(self, start_s: float) -> float:
        """Rise just before a time [K], read half a smoothing window earlier: the window must not reach across a switch."""
        return float(np.interp(start_s - 0.5 * self.smoothing.window_s, self.time_s, self.rise_k))

    def beyond_k(self, start_s: float, inside: NDArray[np.intp], cooling_s: float | None) -> Array:
        """Rise at some points beyond that left over from before a time, constant or cooling with a time constant [K]."""
        left = self.before_k(start_s)
        if cooling_s is None:
            return self.rise_k[inside] - left
        return np.asarray(self.rise_k[inside] - left * np.exp(-(self.time_s[inside] - start_s) / cooling_s))


def reaction_temperature(
    sample: Cleaned,
    blank: Cleaned,
    *,
    lit_at_s: float,
    sample_time_constant_s: float = 0.0,
    blank_time_constant_s: float = 0.0,
    longest_window_s: float = 10.0,
) -> ReactionTemperature:
    """Sample minus blank.

    Parameters
    ----------
    sample, blank : Cleaned
        Channels on one clock.
    lit_at_s : float
        When the lamp was first lit [s]; what lies before is the baseline.
    sample_time_constant_s, blank_time_constant_s : float
        Lag of each probe [s].
    longest_window_s : float
        Longest smoothing window [s].

    Raises
    ------
    InputError
        If the channels do not overlap, or there is no baseline before the lamp was lit.
    """
    start, end = max(sample.time_s[0], blank.time_s[0]), min(sample.time_s[-1], blank.time_s[-1])
    step = max(float(np.median(np.diff(sample.time_s))), float(np.median(np.diff(blank.time_s))))
    if end - start < 10.0 * step:
        raise InputError(
            f"sample and blank overlap for {max(end - start, 0.0):.3g} s only; check the start times."
        )
    grid = start + step * np.arange(int((end - start) / step) + 1)
    values, deviations, curves = [], [], []
    for channel, tau in ((sample, sample_time_constant_s), (blank, blank_time_constant_s)):
        sd = noise_sd(channel.time_s, channel.value_k)
        smooth = smoothed(evenly(channel.time_s, channel.value_k, grid), step, sd, longest_window_s)
        value, left = lag_corrected(smooth, tau)
        values.append(value)
        deviations.append(left)
        curves.append(smooth)
    offset, offset_sd = _baseline(sample, blank, lit_at_s)
    missing = np.zeros(grid.size, dtype=bool)
    for low, high in (*sample.gaps_s, *blank.gaps_s):
        missing |= (grid > low) & (grid < high)
    return ReactionTemperature(
        time_s=grid,
        sample_k=values[0] - offset,
        blank_k=values[1],
        rise_k=values[0] - values[1] - offset,
        rise_sd_k=math.hypot(*deviations),
        offset_k=offset,
        offset_sd_k=offset_sd,
        smoothing=curves[0],
        missing=missing,
    )


def _baseline(sample: Cleaned, blank: Cleaned, lit_at_s: float) -> tuple[float, float]:
    """Offset of the probes before the lamp is lit, and its standard error."""
    before = sample.time_s < lit_at_s
    count = int(np.count_nonzero(before))
    if count < FEWEST_BASELINE or blank.time_s[0] >= lit_at_s:
        raise InputError(
            f"{count} readings before the lamp is lit; the offset between the probes needs at least {FEWEST_BASELINE}. Start the log "
            "some seconds earlier."
        )
    time = sample.time_s[before]
    difference = sample.value_k[before] - np.interp(time, blank.time_s, blank.value_k)
    sd = max(float(np.std(difference, ddof=1)), 1e-4)
    return float(difference.mean()), sd / math.sqrt(count)


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """Highest point of a rise: height and time with standard deviations [K], [s], steepest rise before it [K/s], and area [K s]."""

    height_k: float
    height_sd_k: float
    time_s: float
    time_sd_s: float
    rate_k_s: float
    rate_sd_k_s: float
    area_k_s: float
    area_sd_k_s: float


def peak_of(rise: ReactionTemperature, start_s: float, end_s: float, cooling_s: float | None = None) -> Peak:
    """Peak of the rise between two times, beyond what those before have left: that is taken as constant, or as cooling.

    Notes
    -----
    The height's deviation holds scatter, offset and the bias of smoothing. The time comes from a parabola through the curve
    around the top; its deviation is that of the parabola's slope over its curvature.
    """
    inside = np.flatnonzero((rise.time_s >= start_s) & (rise.time_s <= end_s))
    if inside.size < 3:
        raise InputError(f"no readings between {start_s:g} and {end_s:g} s; check the exposure times.")
    time, value = rise.time_s[inside], rise.beyond_k(start_s, inside, cooling_s)
    top = int(np.argmax(value))
    slope = np.gradient(value, time)
    smooth = rise.smoothing
    window = slice(max(top - smooth.points // 2, 0), top + smooth.points // 2 + 1)
    bend = (
        abs(2.0 * np.polyfit(time[window] - time[top], value[window], 2)[0])
        if value[window].size >= 3
        else 0.0
    )
    duration = float(time[-1] - time[0])
    slope_sd = math.sqrt(2.0) * smooth.slope_sd_1_s
    return Peak(
        height_k=float(value[top]),
        height_sd_k=math.hypot(math.sqrt(2.0) * rise.rise_sd_k, smooth.peak_bias),
        time_s=float(time[top] - start_s),
        time_sd_s=min(math.hypot(slope_sd / bend if bend > 0.0 else duration, rise.step_s), duration),
        rate_k_s=float(slope[: top + 1].max()),
        rate_sd_k_s=slope_sd,
        area_k_s=float(np.trapezoid(value, time)),
        # the reading that the area counts from is one of them, and stands for all its length
        area_sd_k_s=duration * rise.rise_sd_k * math.sqrt(1.0 + smooth.points / time.size),
    )
