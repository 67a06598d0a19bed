"""Repeated exposures of one film: heat of each, share of the first, and what is left to come.

A film that this lamp has cured as far as it can gives almost no heat at the next exposure. The reverse does not hold: a
film that has gone glassy gives none although reactive groups are left, so silence is a bound, not a proof.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from .cell_heat import Cooling, heat_k
from .exotherm import ReactionTemperature

Array = NDArray[np.float64]

CURED_SHARE = 0.05  # second over first heat: common practice, no source
CONFIDENCE_FRACTION = 0.90
# a cooling constant less sure than this speaks of a cell that cools on several time scales: assumed
EXPONENTIAL_SHARE = 0.05
SLOW_TAIL = (
    "the cell does not cool by one constant (a finger does not), and what it still holds of the first exposure counts as heat of "
    "the second; use a nail tip on foam, or rest longer"
)
_ONE_SIDED_SD = 1.645  # 95 % one-sided, hence 90 % between the two ends
_DRAWS = 20_000
GLASSY_WARNING = (
    "No heat does not mean nothing left to react: a film that has gone glassy gives none although unreacted groups remain. "
    "The shares bound what this lamp can still do at this temperature; they prove no conversion."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cycles:
    """Heat of repeated exposures.

    Attributes
    ----------
    starts_s : tuple of float
        Start of each cycle [s].
    heat_k, heat_sd_k : ndarray, shape (n,)
        Heat of each cycle over the heat capacity of the cell, and its standard deviation [K].
    share, share_sd : ndarray, shape (n,)
        Over the first [-].
    floor_share : float
        Smallest share that would be seen with 95 % confidence [-].
    completeness_low, completeness, completeness_high : float
        Heat given off so far over all that further exposures would bring: 90 % interval and best value [-]; 0 where nothing
        reacted.
    verdict : str
        "cured", "not cured", "undecided" or "no reaction".
    cooling : Cooling
        Cooling constant used.
    bridged : tuple of int
        Cycles (from 1) with a gap in the log.
    overstated_because : str
        Why the heat of later cycles may be overstated, so that no film is called uncured on its account; "" = it is not.
    """

    starts_s: tuple[float, ...]
    heat_k: Array
    heat_sd_k: Array
    share: Array
    share_sd: Array
    floor_share: float
    completeness_low: float
    completeness: float
    completeness_high: float
    verdict: str
    cooling: Cooling
    bridged: tuple[int, ...]
    overstated_because: str = ""

    @property
    def sentence(self) -> str:
        """The verdict in a sentence."""
        if self.verdict == "no reaction":
            return f"No heat of reaction above the noise in the first exposure ({self.heat_k[0]:.2f} +- {self.heat_sd_k[0]:.2f} K)."
        if self.heat_k.size < 2:
            return "One exposure only: whether it was enough shows in a second one."
        second = f"the second gave {round(100 * float(self.share[1]), 1) + 0.0:.1f} +- {100 * self.share_sd[1]:.1f} % of its heat"
        line = f"line {100 * CURED_SHARE:g} %, smallest share that would show {100 * self.floor_share:.1f} %"
        words = {
            "cured": "The first exposure did what this lamp can do",
            "not cured": "The first exposure did not cure it",
            "undecided": "Noise hides whether the first exposure was enough",
        }
        if self.verdict == "undecided" and self.overstated_because:
            return (
                f"Whether the first exposure was enough cannot be said: {second} ({line}), but that is too much where "
                f"{self.overstated_because}."
            )
        return f"{words[self.verdict]}: {second} ({line})."


def cycles_of(
    rise: ReactionTemperature,
    cooling: Cooling,
    starts_s: Sequence[float],
    end_s: float,
    overstated_because: str = "",
) -> Cycles:
    """Heat of every cycle, from its switch-on to the next.

    Parameters
    ----------
    rise : ReactionTemperature
        Sample minus blank.
    cooling : Cooling
        Cooling constant of the cell.
    starts_s : sequence of float
        Switch-on times [s].
    end_s : float
        End of the last cycle [s]; all cycles are taken as long as the shortest, so that offsets and losses weigh alike.
    overstated_because : str
        A reason why later heats may come out too large (see `Cycles`); a cell that does not cool by one constant is one too.

    Raises
    ------
    InputError
        If there is no exposure.
    """
    if not starts_s:
        raise InputError("no exposure at all; give their times.")
    edges = [*starts_s, end_s]
    length = min(b - a for a, b in itertools.pairwise(edges))
    tau = cooling.time_constant_s
    heats, deviations, bridged = [], [], []
    for number, start in enumerate(starts_s, start=1):
        heats.append(heat_k(rise, tau, start, start + length))
        deviations.append(_heat_sd(rise, cooling, start, start + length))
        inside = (rise.time_s >= start) & (rise.time_s <= start + length)
        if bool(np.any(rise.missing & inside)):
            bridged.append(number)
    heat, sd = np.array(heats), np.array(deviations)
    share, share_sd = _shares(heat, sd)
    low, best, high = completeness(heat, sd)
    if not overstated_because and cooling.time_constant_sd_s > EXPONENTIAL_SHARE * tau:
        overstated_because = SLOW_TAIL
    verdict = _verdict(heat, sd, share, share_sd)
    return Cycles(
        starts_s=tuple(float(each) for each in starts_s),
        heat_k=heat,
        heat_sd_k=sd,
        share=share,
        share_sd=share_sd,
        floor_share=float(_ONE_SIDED_SD * sd[1:].max() / heat[0]) if heat.size > 1 and heat[0] > 0.0 else 1.0,
        completeness_low=low,
        completeness=best,
        completeness_high=high,
        verdict="undecided" if overstated_because and verdict == "not cured" else verdict,
        cooling=cooling,
        bridged=tuple(bridged),
        overstated_because=overstated_because,
    )


def _heat_sd(rise: ReactionTemperature, cooling: Cooling, start_s: float, end_s: float) -> float:
    """Standard deviation of a heat: scatter at both ends, offset and drift of the probes, doubt of the cooling constant."""
    duration, tau = end_s - start_s, cooling.time_constant_s
    inside = (rise.time_s >= start_s) & (rise.time_s <= end_s)
    loss = float(np.trapezoid(rise.rise_k[inside], rise.time_s[inside])) / tau
    independent = max(duration / rise.smoothing.window_s, 1.0)
    parts = (
        math.sqrt(2.0) * rise.rise_sd_k,
        rise.rise_sd_k * duration / tau / math.sqrt(independent),
        rise.offset_sd_k * duration / tau,
        loss * cooling.time_constant_sd_s / tau,
    )
    return math.hypot(*parts)


def _shares(heat: Array, sd: Array) -> tuple[Array, Array]:
    if heat[0] <= 0.0:
        return np.zeros(heat.size), np.ones(heat.size)
    share = heat / heat[0]
    spread = np.hypot(sd, share * sd[0]) / heat[0]
    spread[0] = 0.0
    return share, spread


def _verdict(heat: Array, sd: Array, share: Array, share_sd: Array) -> str:
    if heat[0] < 3.0 * sd[0]:
        return "no reaction"
    if heat.size < 2:
        return "undecided"
    if share[1] + _ONE_SIDED_SD * share_sd[1] <= CURED_SHARE:
        return "cured"
    if share[1] - _ONE_SIDED_SD * share_sd[1] > CURED_SHARE:
        return "not cured"
    return "undecided"


def completeness(heat: Array, sd: Array, seed: int = 1) -> tuple[float, float, float]:
    """Heat so far over all the heat that going on would bring: 90 % interval and best value [-].

    Parameters
    ----------
    heat, sd : ndarray, shape (n,)
        Heat of each exposure and its standard deviation, in any unit.
    seed : int
        Of the draws.

    Returns
    -------
    low, best, high : float
        Zero where the first exposure gave no heat; with one exposure (0, 0, 1): nothing is known.

    Notes
    -----
    What is left is taken to shrink from exposure to exposure by one ratio, that of the last to the first over the exposures
    between (geometric series). Heats are drawn as normal and never below zero, their ratio is kept below 0.95; a series that
    does not shrink therefore ends at a low completeness rather than at none.
    """
    if heat[0] <= 0.0:
        return 0.0, 0.0, 0.0
    if heat.size < 2:
        return 0.0, 0.0, 1.0
    best = float(_complete(np.maximum(heat, 0.0)[np.newaxis])[0])
    draws = heat + sd * np.random.default_rng(seed).standard_normal((_DRAWS, heat.size))
    found = _complete(np.maximum(draws, 0.0))
    tail = 50.0 * (1.0 - CONFIDENCE_FRACTION)
    low, high = np.percentile(found, [tail, 100.0 - tail])
    return float(low), best, float(high)


def _complete(heats: Array) -> Array:
    """Completeness of rows of heats."""
    first = np.maximum(heats[:, 0], 1e-12)
    last = heats[:, -1]
    ratio = np.minimum((last / first) ** (1.0 / (heats.shape[1] - 1)), 0.95)
    left = last * ratio / (1.0 - ratio)
    total = heats.sum(axis=1)
    return np.asarray(total / np.maximum(total + left, 1e-12))
