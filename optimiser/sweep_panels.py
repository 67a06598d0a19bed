"""One panel of a picture of a sweep: a map of two scales, or lines against one thing; axes in, axes out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.units import c_from_k
from .plots import GREY, MARKERS, WARN, line_styles
from .sweep_axes import Axis
from .sweep_effects import BASE
from .sweep_slices import is_log

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]

_TICKS = 4  # on a logarithmic scale, about
_LEVELS = 7  # contour lines, about
# on a map, whose shades stay pale on a dark page too, so that these must not turn with the page
_MAP_INK, _MAP_PAPER, _MAP_LIMIT = "#1B1B1B", "#FDFDFD", "#A51D1D"
_SHADES = (0.03, 0.6)  # part of a colour map on which dark words can be read
_KEPT, _BROKEN = "o", "x"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A figure as it is drawn.

    Parameters
    ----------
    figure, title, label : str
        Column of the table, heading of the panel, label of the axis.
    limit : float or None
        The limit, in the unit drawn.
    scale : float
        Factor to the unit drawn; a temperature is turned to °C instead.
    """

    figure: str
    title: str
    label: str
    limit: float | None = None
    scale: float = 1.0

    def drawn(self, values: Floats) -> Floats:
        """Values in the unit drawn."""
        return np.asarray(c_from_k(values) if self.figure.endswith("_k") else self.scale * values)


def _places(axis: Axis) -> Floats:
    """Where the values of an axis are drawn; names one beside the other."""
    return np.array(
        [axis.edge(v) for v in axis.values] if axis.is_number else range(len(axis.values)), dtype=float
    )


def draw_map(
    axes: Axes,
    across: Axis,
    up: Axis,
    each: Shown,
    values: Floats,
    kept: NDArray[np.bool_],
    best: tuple[int, int] | None,
    ends: tuple[float, float],
) -> Axes:
    """A figure over two scales: shades and labelled contour lines, the limit in red, every combination a mark.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    across, up : Axis
        The scales.
    each : Shown
        The figure.
    values : ndarray, shape (n_up, n_across)
        In the unit drawn; NaN where there is none.
    kept : ndarray of bool, shape (n_up, n_across)
        Whether the limits are kept.
    best : tuple of int and int, optional
        Row and column of the best combination.
    ends : tuple of float and float
        Lowest and highest value of all panels, which share their shades.
    """
    from matplotlib import colormaps
    from matplotlib.ticker import MaxNLocator

    x_order, y_order = np.argsort(_places(across)), np.argsort(_places(up))
    x, y = _places(across)[x_order], _places(up)[y_order]
    z = np.ma.masked_invalid(values[np.ix_(y_order, x_order)])
    low, high = float(z.min()), float(z.max())
    if ends[1] > ends[0]:
        levels = MaxNLocator(_LEVELS).tick_values(*ends)
        shades = colormaps["Blues" if each.figure == BASE else "Oranges"](
            np.linspace(*_SHADES, len(levels) - 1)
        )
        axes.contourf(x, y, z, levels=levels, colors=shades)
        near = 0.0 if each.limit is None else 0.4 * float(levels[1] - levels[0])
        inner = [v for v in levels if low < v < high and (each.limit is None or abs(v - each.limit) > near)]
        if inner:
            lines = axes.contour(x, y, z, levels=inner, colors=_MAP_INK, linewidths=0.6)
            for label in axes.clabel(lines, fmt=lambda level: f"{level:.4g}", fontsize=7.5):
                label.set_in_layout(False)  # one at the edge would shrink the axes of all panels
                label.set_clip_on(True)
    if each.limit is not None and low < each.limit < high:
        axes.contour(x, y, z, levels=[each.limit], colors=_MAP_LIMIT, linewidths=2.0)
    _marks(axes, _places(across), _places(up), kept, np.isnan(values))
    if best is not None:
        axes.plot(
            _places(across)[best[1]],
            _places(up)[best[0]],
            "*",
            ms=13,
            color=_MAP_INK,
            mec=_MAP_PAPER,
            clip_on=False,
        )
    _scale(axes, across, "x")
    _scale(axes, up, "y")
    axes.set_xlabel(across.label)
    axes.set_ylabel(up.label)
    return axes


def _marks(axes: Axes, x: Floats, y: Floats, kept: NDArray[np.bool_], lacking: NDArray[np.bool_]) -> None:
    columns, rows = np.meshgrid(x, y)
    size = 4.0 if kept.size <= 150 else 2.5
    for where, mark, inside in ((kept, _KEPT, _MAP_PAPER), (~kept, _BROKEN, _MAP_INK)):
        shown = where & ~lacking
        if shown.any():  # a line without points, unclipped, has no bounds that a layout could use
            axes.plot(
                columns[shown], rows[shown], mark, ms=size, mfc=inside, mec=_MAP_INK, mew=0.8, clip_on=False
            )


def draw_lines(
    axes: Axes,
    across: Axis,
    other: Axis | None,
    each: Shown,
    values: Floats,
    kept: NDArray[np.bool_],
    best: tuple[int, int] | None,
) -> Axes:
    """A figure against one thing, a line for each value of another; filled marks keep the limits.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    across, other : Axis, Axis or None
        Horizontal axis, and what the lines differ in.
    each : Shown
        The figure.
    values : ndarray, shape (n_other, n_across)
        In the unit drawn; NaN where there is none.
    kept : ndarray of bool, shape (n_other, n_across)
        Whether the limits are kept.
    best : tuple of int and int, optional
        Row and column of the best combination.
    """
    order = np.argsort(_places(across))
    x = _places(across)[order]
    names = [""] if other is None else [other.shown(value) for value in other.values]
    for row, (style, name) in enumerate(zip(line_styles(len(names)), names, strict=True)):
        line, good = values[row, order], kept[row, order]
        marker: dict[str, Any] = {"marker": MARKERS[row % len(MARKERS)], "ms": 5.0, "mec": style["color"]}
        drawn = {**style, "lw": 1.5} if across.is_number else {**style, "ls": ""}
        axes.plot(x, line, **drawn, **marker, mfc="white", label=name)
        axes.plot(x[good], line[good], ls="", color=style["color"], **marker)
    if each.limit is not None:
        axes.axhline(each.limit, color=WARN, lw=1.2, ls="--")
    if best is not None:
        axes.plot(_places(across)[best[1]], values[best], "*", ms=13, color="#222222", mec="white", zorder=5)
    if not across.is_number:
        axes.set_xticks(
            range(len(across.values)), [str(value) for value in across.values], rotation=20, ha="right"
        )
        axes.set_xlim(-0.5, len(across.values) - 0.5)
        axes.grid(axis="x", color=GREY, alpha=0.25)
    _scale(axes, across, "x")
    axes.set_xlabel(across.label)
    axes.set_ylabel(each.label)
    return axes


def _scale(axes: Axes, axis: Axis, which: str) -> None:
    """A logarithmic scale with plain numbers at the values themselves, where the values are of equal ratios."""
    if not is_log(axis):
        return
    values = np.sort(_places(axis))
    step = max(1, round(len(values) / _TICKS))
    (axes.set_xscale if which == "x" else axes.set_yscale)("log")
    ticks = values[::step]
    (axes.set_xticks if which == "x" else axes.set_yticks)(ticks, [f"{tick:.2g}" for tick in ticks])
    (axes.set_xticks if which == "x" else axes.set_yticks)([], minor=True)
