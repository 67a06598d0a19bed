"""What of a sweep is drawn: which varied things get an axis, which a line or a panel, and at what the rest are held."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .sweep_axes import Axis, Value
from .sweep_effects import by_effect, ranked, values_of
from .sweep_run import Swept

Floats = NDArray[np.float64]

MOST_PANELS = 4  # panels of one figure beside each other
_MAP_FROM = 4  # values on either axis below which contour lines would be mostly interpolation
_LOG_FROM_RATIO = 4.0  # values of equal ratios over less than this lie well on a plain scale
_RATIO_SPREAD = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Slices:
    """How a sweep is drawn.

    Parameters
    ----------
    across : Axis
        Along the horizontal axis.
    other : Axis or None
        Up the vertical axis of a map, or line by line.
    panels : Axis or None
        Panel by panel.
    panel_values : tuple of float or str
        Values that get a panel; all of them, or some from end to end.
    held : mapping of str to float or str
        Value of every other varied thing, by the key of its axis: that of the best combination.
    best : mapping of str to float or str
        Every value of the best combination.
    is_map : bool
        Whether the two first axes make a map.
    """

    across: Axis
    other: Axis | None
    panels: Axis | None
    panel_values: tuple[Value, ...]
    held: Mapping[str, Value]
    best: Mapping[str, Value]
    is_map: bool


def slices_of(swept: Swept) -> Slices:
    """How a sweep is drawn: by the things with most effect on the verdict, a scale lying across where there is one.

    Parameters
    ----------
    swept : Swept
        With one combination simulated at least.
    """
    order = by_effect(swept)
    across = next((axis for axis in order if axis.is_number), order[0])
    rest = [axis for axis in order if axis is not across]
    other, panels = (*rest[:2], None, None)[:2]
    is_map = (
        other is not None
        and other.is_number
        and across.is_number
        and min(len(across.values), len(other.values)) >= _MAP_FROM
    )
    if other is not None and other.is_number and not is_map and len(other.values) > len(across.values):
        across, other = other, across  # few lines of many values rather than many of few
    best = swept.plan.values_of(ranked(swept)[0][0])
    return Slices(
        across=across,
        other=other,
        panels=panels,
        panel_values=() if panels is None else _spread(panels, best[panels.key]),
        held={axis.key: best[axis.key] for axis in rest[2:]},
        best=best,
        is_map=is_map,
    )


def _spread(axis: Axis, best: Value) -> tuple[Value, ...]:
    """Some values of an axis from end to end, that of the best combination in place of the one nearest to it."""
    count = len(axis.values)
    at = np.linspace(0, count - 1, min(MOST_PANELS, count)).round().astype(int)
    number = axis.values.index(best)
    if number not in at:
        at[np.argmin(np.abs(at - number))] = number
    return tuple(axis.values[i] for i in at)


def slice_of(swept: Swept, slices: Slices, figure: str, panel: Value | None) -> Floats:
    """One figure in one panel.

    Parameters
    ----------
    swept : Swept
        The sweep.
    slices : Slices
        How it is drawn.
    figure : str
        Column of the table, or ``"passes"``.
    panel : float, str or None
        Value of the panel.

    Returns
    -------
    ndarray, shape (n_other, n_across)
        One row where nothing stands beside the horizontal axis; NaN where a combination could not be simulated.
    """
    values = values_of(swept, figure)
    fixed = dict(slices.held)
    if slices.panels is not None and panel is not None:
        fixed[slices.panels.key] = panel
    at = tuple(
        axis.values.index(fixed[axis.key])
        if axis.key in fixed
        else 0
        if len(axis.values) == 1
        else slice(None)
        for axis in swept.plan.axes
    )
    found = values[at]
    if slices.other is None:
        return found[np.newaxis, :]
    keys = [axis.key for axis in swept.plan.axes]
    return found.T if keys.index(slices.across.key) < keys.index(slices.other.key) else found


def is_log(axis: Axis) -> bool:
    """Whether an axis reads better on a logarithmic scale: equal ratios over a wide range."""
    if not axis.is_number or len(axis.values) < 3:
        return False
    values = np.sort([float(value) for value in axis.values])
    if values[0] <= 0.0 or values[-1] < _LOG_FROM_RATIO * values[0]:
        return False
    ratios = np.diff(np.log(values))
    return bool(np.ptp(ratios) < _RATIO_SPREAD * ratios.mean())
