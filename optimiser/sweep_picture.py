"""Pictures of a sweep: lines against one thing, a map of two, small multiples of more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.units import c_from_k
from .plots import GREY, MARKERS, WARN, line_styles, new_figure, save
from .sweep_axes import Axis, Value
from .sweep_effects import BASE, BED, ranked
from .sweep_run import Swept
from .sweep_slices import Slices, is_log, slice_of, slices_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

_TICKS = 4  # on a logarithmic scale, about
_LEVELS = 7  # contour lines, about
_PANEL_IN = (4.3, 3.4)
_SMALL_PANEL_IN = (3.1, 2.9)
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


def shown_figures(swept: Swept, slices: Slices) -> list[Shown]:
    """Figures that get panels: the two the verdict rests on, and two more where there is room."""
    asked = next(each.bottom_conversion_asked_fraction for _, each in swept.cured())
    found = [
        Shown(figure=BASE, title="Base of the coat", label="base conversion", limit=asked),
        Shown(figure=BED, title="Nail bed", label="nail-bed peak / °C", limit=float(c_from_k(swept.limits.nail_bed_max_k))),
    ]  # fmt: skip
    if slices.other is None:
        found += [
            Shown(figure="surface_conversion_fraction", title="Surface", label="surface conversion"),
            Shown(figure="yellowness_ratio", title="Colour of the binder", label="yellowness"),
        ]
    return found


def sweep_figure(swept: Swept) -> Figure:
    """The whole picture of a sweep.

    Parameters
    ----------
    swept : Swept
        With one combination simulated at least.
    """
    slices = slices_of(swept)
    figures = shown_figures(swept, slices)
    panels = len(slices.panel_values)
    width, height = _SMALL_PANEL_IN if panels > 2 else _PANEL_IN
    columns = panels or 2
    rows = len(figures) * max(panels, 1) // columns
    figure, axes = new_figure(width * columns, height * rows + 0.5, rows, columns)
    for i, each in enumerate(figures):
        draw_row(axes[i * max(panels, 1) : (i + 1) * max(panels, 1)], swept, slices, each)
    name_lines(figure, axes[0], slices)
    figure.supxlabel(legend_words(swept, slices), fontsize=8, color="#333333")
    return figure


def name_lines(figure: Figure, axes: Axes, slices: Slices) -> None:
    """Name the lines above all panels, where no line can run through the names."""
    if slices.is_map or slices.other is None:
        return
    handles, names = axes.get_legend_handles_labels()
    figure.legend(
        handles, names, loc="outside upper left", ncols=4, frameon=False, fontsize=8, title=slices.other.label, title_fontsize=8,
        alignment="left", labelcolor="#333333",
    )  # fmt: skip


def draw_row(axes: Sequence[Axes], swept: Swept, slices: Slices, each: Shown) -> None:
    """One figure in all its panels, on one scale.

    Parameters
    ----------
    axes : sequence of Axes
        One for each panel.
    swept : Swept
        The sweep.
    slices : Slices
        How it is drawn.
    each : Shown
        The figure.
    """
    panels: tuple[Value | None, ...] = slices.panel_values or (None,)
    values = [each.drawn(slice_of(swept, slices, each.figure, panel)) for panel in panels]
    ends = (float(np.nanmin(values)), float(np.nanmax(values)))
    for number, (where, panel) in enumerate(zip(axes, panels, strict=True)):
        kept = slice_of(swept, slices, "passes", panel) == 1.0
        best = _best_in(swept, slices, panel)
        if slices.is_map and slices.other is not None:
            draw_map(where, slices.across, slices.other, each, values[number], kept, best, ends)
        else:
            draw_lines(where, slices.across, slices.other, each, values[number], kept, best)
            low, high = min(ends[0], each.limit or ends[0]), max(ends[1], each.limit or ends[1])
            room = 0.06 * (high - low) or 0.5
            where.set_ylim(low - room, high + room)
        title = each.label if slices.is_map else each.title
        title += f", limit {each.limit:.3g}" if slices.is_map and each.limit is not None else ""
        if slices.panels is not None and panel is not None:
            words = "" if slices.panels.kind in ("lamp", "position") else f"{slices.panels.words} "
            title += f"\n{words}{slices.panels.shown(panel)}"
        where.set_title(title, loc="left", fontsize=9.5, fontweight="bold", color="#222222")


def sweep_picture(swept: Swept, folder: Path) -> list[Path]:
    """Write the picture as PNG and as SVG into a folder."""
    return [save(sweep_figure(swept), folder / f"sweep.{ending}") for ending in ("png", "svg")]


def legend_words(swept: Swept, slices: Slices) -> str:
    """What the marks mean, and what is held at which value."""
    words = (
        "circle: keeps the limits;  cross: does not"
        if slices.is_map
        else "filled: keeps the limits;  open: does not"
    )
    star = (
        "the most room to the limits"
        if any(each.passes for _, each in swept.cured())
        else "nearest to the limits"
    )
    words += f";  star: {star};  red: the limit"
    if slices.is_map:
        words += "; between the marks the lines are interpolated"
    held = [
        f"{axis.words} {axis.shown(slices.held[axis.key])}"
        for axis in swept.plan.varied
        if axis.key in slices.held
    ]
    if held:
        words += f"\nheld at the values of the best combination: {', '.join(held)}"
    if slices.panels is not None and len(slices.panel_values) < len(slices.panels.values):
        words += f"\n{len(slices.panel_values)} of {len(slices.panels.values)} values of {slices.panels.words} shown"
    return words


def _best_in(swept: Swept, slices: Slices, panel: Value | None) -> tuple[int, int] | None:
    """Row and column of the best combination, where this panel holds it."""
    values = swept.plan.values_of(ranked(swept)[0][0])
    if slices.panels is not None and values[slices.panels.key] != panel:
        return None
    row = 0 if slices.other is None else slices.other.values.index(values[slices.other.key])
    return row, slices.across.values.index(values[slices.across.key])


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
    from matplotlib.ticker import MaxNLocator

    x_order, y_order = np.argsort(_places(across)), np.argsort(_places(up))
    x, y = _places(across)[x_order], _places(up)[y_order]
    z = np.ma.masked_invalid(values[np.ix_(y_order, x_order)])
    low, high = float(z.min()), float(z.max())
    if ends[1] > ends[0]:
        levels = MaxNLocator(_LEVELS).tick_values(*ends)
        axes.contourf(x, y, z, levels=levels, cmap="Blues" if each.figure == BASE else "Oranges", alpha=0.75)
        near = 0.0 if each.limit is None else 0.4 * float(levels[1] - levels[0])
        inner = [v for v in levels if low < v < high and (each.limit is None or abs(v - each.limit) > near)]
        if inner:
            lines = axes.contour(x, y, z, levels=inner, colors="#444444", linewidths=0.7)
            axes.clabel(lines, fmt=lambda level: f"{level:.4g}", fontsize=7.5)
    if each.limit is not None and low < each.limit < high:
        axes.contour(x, y, z, levels=[each.limit], colors=WARN, linewidths=2.0)
    _marks(axes, _places(across), _places(up), kept, np.isnan(values))
    if best is not None:
        axes.plot(
            _places(across)[best[1]],
            _places(up)[best[0]],
            "*",
            ms=13,
            color="#222222",
            mec="white",
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
    shown = kept & ~lacking
    axes.plot(columns[shown], rows[shown], _KEPT, ms=size, mfc="white", mec="#222222", mew=0.8, clip_on=False)
    broken = ~kept & ~lacking
    axes.plot(columns[broken], rows[broken], _BROKEN, ms=size, color="#333333", mew=0.8, clip_on=False)


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
