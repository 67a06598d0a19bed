"""What a sweep shows: the range of each figure, which varied thing moves it most, what keeps the limits, the best of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .sweep_axes import Axis
from .sweep_films import SweepFigures, rooms_to_limits
from .sweep_run import Swept

Floats = NDArray[np.float64]

# figure of the table, its name for people, unit code of `constraints.shown`
SHOWN = (
    ("bottom_conversion_fraction", "base conversion", "fraction"),
    ("surface_conversion_fraction", "surface conversion", "fraction"),
    ("uncured_layer_m", "tacky layer", "m"),
    ("film_peak_k", "film peak", "k"),
    ("nail_bed_peak_k", "nail-bed peak", "k"),
    ("cem43_min", "dose CEM43", "min"),
    ("second_cycle_heat_ratio", "second-cycle heat share*", "ratio"),
    ("yellowness_ratio", "yellowness", "ratio"),
    ("residual_initiator_wt_pct", "initiator left", "wt_pct"),
)
AGAIN = "second_cycle_heat_ratio"
AGAIN_NOTE = "* of combinations whose base cures; where the first cycle cures nothing, a share of its heat says nothing"
BASE, BED = "bottom_conversion_fraction", "nail_bed_peak_k"


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureRange:
    """Range of one figure over a sweep.

    Parameters
    ----------
    figure, words, unit : str
        Its column, its name for people, the unit code of `constraints.shown`.
    lowest, highest : float
        Ends, in SI or wt%.
    moved_by : tuple of (str, float)
        Key of each varied axis with how far the figure moves, in its unit, while this axis alone goes through its values: the
        mean over all values of the others. The largest first.
    """

    figure: str
    words: str
    unit: str
    lowest: float
    highest: float
    moved_by: tuple[tuple[str, float], ...]


def values_of(swept: Swept, figure: str) -> Floats:
    """One figure of every combination, shape `plan.shape`; NaN where it could not be simulated."""
    flat = [float("nan") if isinstance(each, str) else float(getattr(each, figure)) for each in swept.found]
    return np.array(flat).reshape(swept.plan.shape)


def ranges_of(swept: Swept) -> list[FigureRange]:
    """Range of every figure shown, and what moves it; one without any value is left out."""
    found = []
    for figure, words, unit in SHOWN:
        values = values_of(swept, figure)
        if figure == AGAIN:
            values = np.where(values_of(swept, "cures") == 1.0, values, np.nan)
        if np.isnan(values).all():
            continue
        moved = [
            (axis.key, _mean_span(values, at))
            for at, axis in enumerate(swept.plan.axes)
            if len(axis.values) > 1
        ]
        found.append(
            FigureRange(
                figure=figure,
                words=words,
                unit=unit,
                lowest=float(np.nanmin(values)),
                highest=float(np.nanmax(values)),
                moved_by=tuple(sorted(moved, key=lambda each: -each[1])),
            )
        )
    return found


def _mean_span(values: Floats, at: int) -> float:
    """Mean over the other axes of the span along one; lines with fewer than two combinations simulated are left out."""
    lines = np.moveaxis(values, at, -1).reshape(-1, values.shape[at])
    spans = [np.ptp(line[~np.isnan(line)]) for line in lines if np.count_nonzero(~np.isnan(line)) > 1]
    return float(np.mean(spans)) if spans else 0.0


def by_effect(swept: Swept) -> list[Axis]:
    """Varied axes, the one with most effect on the verdict first: on base conversion and on nail-bed peak, each in its range."""
    sums = dict.fromkeys((axis.key for axis in swept.plan.varied), 0.0)
    for each in ranges_of(swept):
        for key, span in each.moved_by if each.figure in (BASE, BED) else ():
            sums[key] += span / max(each.highest - each.lowest, 1e-12)
    return sorted(swept.plan.varied, key=lambda axis: -sums[axis.key])


def ranked(swept: Swept) -> list[tuple[int, SweepFigures]]:
    """Combinations with their numbers, the most room to the nearest limit first; among equals to the next one, then the least
    initiator weighed in."""

    def order(pair: tuple[int, SweepFigures]) -> tuple[float, ...]:
        number, each = pair
        rooms = rooms_to_limits(
            each.bottom_conversion_fraction,
            each.conversion_ceiling_fraction,
            each.nail_bed_peak_k,
            each.cem43_min,
            swept.limits,
        )
        weighed = sum(loading for _, loading in swept.plan.combination(number).loadings_wt_pct)
        return (*(-room for room in rooms), weighed, number)

    return sorted(swept.cured(), key=order)
