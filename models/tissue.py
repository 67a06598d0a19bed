"""What a temperature course does to the nail bed: thermal dose and burn damage.

Sources
-------
CEM43: Sapareto & Dewey, Int. J. Radiat. Oncol. Biol. Phys. 1984, 10, 787 (the 39 C cut-off: from memory).
Damage integral: Henriques 1947 with P = 3.1e98 1/s and E/R = 75 000 K, that is 150 000 cal/mol over 2 cal/mol/K. Pairing P
with 6.28e5 J/mol and R = 8.314 instead makes every time about five times longer and is wrong. Weaver & Stoll 1969:
2.185e124 1/s, 93 534.9 K below 50 C; 1.823e51 1/s, 39 109.8 K above. Both are counted from 44 C. The two differ more than
tenfold at 50 C: they are a band, never a single figure.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from ..lamp_library.errors import InputError
from .compiled import compiled

ZERO_CELSIUS_K = 273.15
DAMAGE_ONSET_K = 317.15
HENRIQUES_LN_P, HENRIQUES_E_OVER_R_K = math.log(3.1) + 98.0 * math.log(10.0), 75000.0
WEAVER_STOLL_BREAK_K = 323.15
WEAVER_STOLL_LN_P_LOW, WEAVER_STOLL_E_OVER_R_LOW_K = math.log(2.185) + 124.0 * math.log(10.0), 93534.9
WEAVER_STOLL_LN_P_HIGH, WEAVER_STOLL_E_OVER_R_HIGH_K = math.log(1.823) + 51.0 * math.log(10.0), 39109.8


@compiled
def _power_integral(base: float, start: float, end: float, seconds: float) -> float:
    """Integral of base**x over a step in which x runs linearly from start to end."""
    log_base = math.log(base)
    if abs(end - start) < 1e-6:
        return math.exp(log_base * 0.5 * (start + end)) * seconds
    return (math.exp(log_base * end) - math.exp(log_base * start)) / (log_base * (end - start)) * seconds


@compiled
def cem43_step(start_k: float, end_k: float, seconds: float) -> float:
    """CEM43 gathered in a step of linear temperature change [min]; exact, with the breaks at 39 and 43 C."""
    low, high = min(start_k, end_k), max(start_k, end_k)
    if high < 312.15:
        return 0.0
    if high - low < 1e-9:
        base = 2.0 if low >= 316.15 else 4.0
        return math.exp(math.log(base) * (low - 316.15)) * seconds / 60.0
    total = 0.0
    for piece in range(2):
        base, bottom, top = (4.0, 312.15, 316.15) if piece == 0 else (2.0, 316.15, 1.0e4)
        first, last = max(low, bottom), min(high, top)
        if last > first:
            share = (last - first) / (high - low)
            total += _power_integral(base, first - 316.15, last - 316.15, seconds * share)
    return total / 60.0


@compiled
def henriques_rate(temperature_k: float) -> float:
    """Damage rate of Henriques [1/s]; 0 below 44 C."""
    if temperature_k < DAMAGE_ONSET_K:
        return 0.0
    return math.exp(min(HENRIQUES_LN_P - HENRIQUES_E_OVER_R_K / temperature_k, 600.0))


@compiled
def weaver_stoll_rate(temperature_k: float) -> float:
    """Damage rate of Weaver and Stoll [1/s]; 0 below 44 C, branches change at 50 C."""
    if temperature_k < DAMAGE_ONSET_K:
        return 0.0
    if temperature_k < WEAVER_STOLL_BREAK_K:
        return math.exp(WEAVER_STOLL_LN_P_LOW - WEAVER_STOLL_E_OVER_R_LOW_K / temperature_k)
    return math.exp(min(WEAVER_STOLL_LN_P_HIGH - WEAVER_STOLL_E_OVER_R_HIGH_K / temperature_k, 600.0))


@compiled
def seconds_above(start_k: float, end_k: float, seconds: float, limit_k: float) -> float:
    """Part of a step of linear temperature change that is spent above a limit [s]."""
    low, high = min(start_k, end_k), max(start_k, end_k)
    if high <= limit_k:
        return 0.0
    if low >= limit_k:
        return seconds
    return seconds * (high - limit_k) / (high - low)


def _course(time_s: ArrayLike, temperature_k: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    time, temperature = np.asarray(time_s, dtype=float), np.asarray(temperature_k, dtype=float)
    if time.shape != temperature.shape or time.ndim != 1 or time.size < 2:
        raise InputError(
            "temperature course: time and temperature must be two equally long lists of 2 or more values."
        )
    if np.any(np.diff(time) < 0.0) or not np.all(np.isfinite(temperature)):
        raise InputError(
            "temperature course: times must not run backwards and temperatures must be finite numbers."
        )
    return time, temperature


def cem43_min(time_s: ArrayLike, temperature_k: ArrayLike) -> float:
    """Cumulative equivalent minutes at 43 C of a temperature course [min].

    Parameters
    ----------
    time_s, temperature_k : array_like, shape (n,)
        Time [s] and tissue temperature [K]; linear in between.

    Examples
    --------
    >>> round(cem43_min([0.0, 10.0], [318.15, 318.15]), 3)  # 10 s at 45 C
    0.667
    """
    time, temperature = _course(time_s, temperature_k)
    return sum(
        cem43_step(temperature[i], temperature[i + 1], time[i + 1] - time[i]) for i in range(time.size - 1)
    )


def damage_band(time_s: ArrayLike, temperature_k: ArrayLike) -> tuple[float, float]:
    """Damage integrals of a temperature course after Henriques and after Weaver and Stoll [-].

    0.53 is first-degree, 1 second-degree damage. The course is refined to 10 ms by linear interpolation because the rates
    grow tenfold within 3 K.
    """
    time, temperature = _course(time_s, temperature_k)
    fine = np.union1d(time, np.arange(time[0], time[-1], 0.01))
    course = np.interp(fine, time, temperature)
    henriques = np.array([henriques_rate(value) for value in course])
    weaver_stoll = np.array([weaver_stoll_rate(value) for value in course])
    return float(np.trapezoid(henriques, fine)), float(np.trapezoid(weaver_stoll, fine))
