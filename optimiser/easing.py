"""How far a limit, a thickness or a time has to give way: searches along one quantity, and what is said of the end."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from ..lamp_library.units import c_from_k, um_from_m
from .brief import NAIL_BED_HIGHEST_K, Brief
from .constraints import Constraint
from .impossible import LIMIT_SIZE

T = TypeVar("T")

HALVINGS = 5  # of the interval between a change that does not do and one that does
THINNER = (0.5, 0.1)  # furthest factors of thickness, tried in turn
LONGEST = 4.0  # furthest factor of cure time
LONGEST_REST_S = 300.0  # between two coats, assumed: nobody waits longer on a client's hand
USELESS_SHARE = 0.5  # a cure limit lowered below this share of what was asked for is no cure


def least_factor(
    possible: Callable[[float, T | None], T | None], furthest: float, halvings: int = HALVINGS
) -> tuple[float, T] | None:
    """The factor nearest to 1 with which a brief is possible, to within the halvings; None if the furthest is not enough.

    Parameters
    ----------
    possible : callable
        What is found with a factor, None where nothing is; it is also given what the last factor that did has found.
    furthest : float
        The largest change, above or below 1.
    halvings : int
        Of the interval on the scale of logarithms.
    """
    best = possible(furthest, None)
    if best is None:
        return None
    fails, does = 0.0, float(np.log(furthest))
    for _ in range(halvings):
        middle = 0.5 * (fails + does)
        found = possible(float(np.exp(middle)), best)
        if found is None:
            fails = middle
        else:
            does, best = middle, found
    return float(np.exp(does)), best


def thinner_window(brief: Brief, factor: float) -> dict[str, float]:
    """Fields of a brief whose window of thickness is thinner by a factor, its thick end on a whole micrometre."""
    high = 1e-6 * np.floor(um_from_m(brief.thickness_high_m * factor))
    # never above the thick end, by which the last digit of the product may pass a window of one thickness
    low = min(brief.thickness_low_m, high * (brief.thickness_low_m / brief.thickness_high_m), high)
    return {"thickness_low_m": float(low), "thickness_high_m": float(high)}


def thinner_words(brief: Brief, window: dict[str, float]) -> str:
    """A thinner window of thickness beside the one asked for."""
    return (
        f"{um_from_m(window['thickness_low_m']):.0f}-{um_from_m(window['thickness_high_m']):.0f} µm "
        f"in place of {um_from_m(brief.thickness_low_m):.0f}-{um_from_m(brief.thickness_high_m):.0f} µm"
    )


def factor_size(factor: float) -> float:
    """Size of a change of thickness or time; see `SIZE_WORDS`."""
    return abs(float(np.log(factor)))


def is_useless(row: Constraint, figure: float) -> bool:
    """Whether a limit would have to fall so far that what it asks for is none."""
    return row.sense < 0 and figure < USELESS_SHARE * row.limit


def useless_words(row: Constraint, figure: float) -> str:
    """Why lowering a limit that far is no help."""
    return f"easing {row.limit_name} (it would fall to {row.shown(figure)}, which is no cure)"


def eased_words(row: Constraint, figure: float) -> str:
    """A limit as it would have to be, beside what was asked for."""
    note = ""
    if row.figure == "nail_bed_peak_k" and figure > NAIL_BED_HIGHEST_K:
        note = "; above 48 °C the brief would be refused"
    way = "raise to" if row.sense > 0 else "lower to"
    return (
        f"{row.limit_name}: {way} {row.shown(enough(row, figure))} (asked for: {row.shown(row.limit)}){note}"
    )


def enough(row: Constraint, figure: float) -> float:
    """A limit that a figure keeps, in the figure's SI unit: the figure rounded to the digits shown, to the side that keeps it."""
    match row.unit:
        case "k":
            shown, step, unit = c_from_k(figure), 0.1, 1.0
        case "m":
            shown, step, unit = um_from_m(figure), 0.1, 1e-6
        case "fraction" | "ratio":
            shown, step, unit = figure, 0.001, 1.0
        case _:
            shown, step, unit = figure, 10.0 ** (math.floor(math.log10(max(abs(figure), 1e-12))) - 2), 1.0
    steps = shown / step
    whole = math.ceil(steps - 1e-6) if row.sense > 0 else math.floor(steps + 1e-6)
    return figure + unit * (whole * step - shown)


def eased_size(row: Constraint, figure: float, excess: float) -> float:
    """Size of giving way in a limit; see `SIZE_WORDS`."""
    if row.logarithmic or row.unit not in ("k", "fraction"):
        return LIMIT_SIZE * abs(float(np.log(max(figure, 1e-12) / row.limit)))
    return LIMIT_SIZE * excess
