"""When the two faces of a film set: a firm skin over a liquid base puckers.

Indicative only: the lines drawn here are assumed, no wrinkling measurement stands behind them. What is borrowed from the
literature of wrinkled coatings is the condition alone: a skin that is a network already while the film beneath still flows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Early networks of dimethacrylates stop flowing at a few to ten per cent conversion: assumed.
GEL_LIKE_CONVERSION_FRACTION = 0.10
# A skin this far ahead of the base at the moment the base sets is a warning: assumed.
WRINKLING_GAP_FRACTION = 0.40


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """When skin and base reach a gel-like conversion of 0.10.

    Attributes
    ----------
    skin_gel_time_s, base_gel_time_s : float or None
        First time at which any cell of the upper half, and the lower face, reach it [s]; None = they never do.
    lag_s : float or None
        How long the base lags behind the skin [s]; None where one of them never sets.
    conversion_gap_fraction : float
        How far the skin is ahead of the base when the base sets, or at the end if it never does [-].
    final_gap_fraction : float
        Most cured part of the upper half minus the lower face at the end [-].
    """

    skin_gel_time_s: float | None
    base_gel_time_s: float | None
    lag_s: float | None
    conversion_gap_fraction: float
    final_gap_fraction: float

    @property
    def may_wrinkle(self) -> bool:
        """Whether a firm skin lies over a base that still flows (indicative)."""
        return self.skin_gel_time_s is not None and self.conversion_gap_fraction >= WRINKLING_GAP_FRACTION

    @property
    def warning(self) -> str:
        """The warning in a sentence; empty where there is none."""
        if not self.may_wrinkle:
            return ""
        when = (
            "the base never sets"
            if self.lag_s is None
            else f"the base sets {self.lag_s:.1f} s after the skin"
        )
        return (
            f"Wrinkling or pulling back is possible (indicative, not validated): {when}, when the skin is "
            f"{100 * self.conversion_gap_fraction:.0f} points of conversion ahead. A thinner coat or less initiator near the "
            "surface evens it out."
        )


def first_time_s(time_s: Array, conversion_fraction: Array, level: float) -> float | None:
    """Time at which a trace first reaches a level, linear between its points [s]; None if it never does."""
    reached = np.flatnonzero(conversion_fraction >= level)
    if reached.size == 0:
        return None
    index = int(reached[0])
    if index == 0:
        return float(time_s[0])
    before, after = conversion_fraction[index - 1], conversion_fraction[index]
    share = (level - before) / (after - before)
    return float(time_s[index - 1] + share * (time_s[index] - time_s[index - 1]))


def setting_of(width_m: Array, time_s: Array, conversion_steps: Array, base_trace: Array) -> Setting:
    """When the faces of a film set.

    Parameters
    ----------
    width_m : ndarray, shape (n,)
        Cell widths from the air side down [m].
    time_s : ndarray, shape (nt,)
        Times [s].
    conversion_steps : ndarray, shape (nt, n)
        Conversion profiles [-].
    base_trace : ndarray, shape (nt,)
        Conversion at the lower face [-].
    """
    upper = np.cumsum(width_m) - 0.5 * width_m <= 0.5 * width_m.sum()
    upper[0] = True
    skin_trace = conversion_steps[:, upper].max(axis=1)
    skin = first_time_s(time_s, skin_trace, GEL_LIKE_CONVERSION_FRACTION)
    base = first_time_s(time_s, base_trace, GEL_LIKE_CONVERSION_FRACTION)
    gap = skin_trace - base_trace
    at_base = float(gap[-1]) if base is None else float(np.interp(base, time_s, gap))
    return Setting(
        skin_gel_time_s=skin,
        base_gel_time_s=base,
        lag_s=None if skin is None or base is None else base - skin,
        conversion_gap_fraction=at_base,
        final_gap_fraction=float(gap[-1]),
    )
