"""Pictures of a sweep: lines against one thing, a map of two, small multiples of more."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..lamp_library.units import c_from_k
from .constraints import shown
from .page_html import inline_svg
from .page_parts import Picture
from .plots import new_figure, save
from .sweep_axes import Value
from .sweep_effects import BASE, BED, ranges_of
from .sweep_panels import Shown, draw_lines, draw_map
from .sweep_run import Swept
from .sweep_slices import Slices, slice_of, slices_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PANEL_IN = (4.3, 3.4)
_SMALL_PANEL_IN = (3.1, 2.9)
_PAGE_PANEL_IN = (5.2, 3.6)


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
        best = _best_in(slices, panel)
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
            title += f"\n{_panel_words(slices, panel)}"
        where.set_title(title, loc="left", fontsize=9.5, fontweight="bold", color="#222222")


def sweep_picture(swept: Swept, folder: Path) -> list[Path]:
    """Write the picture as PNG and as SVG into a folder."""
    return [save(sweep_figure(swept), folder / f"sweep.{ending}") for ending in ("png", "svg")]


def sweep_pictures(swept: Swept) -> tuple[Picture, ...]:
    """The same for a page, panel by panel, so that they stand below each other where there is little room."""
    slices = slices_of(swept)
    panels: tuple[Value | None, ...] = slices.panel_values or (None,)
    ends = {each.figure: each for each in ranges_of(swept)}
    things = [axis.words for axis in (slices.across, slices.other) if axis is not None]
    found = []
    for number, each in enumerate(shown_figures(swept, slices)):
        drawn = [new_figure(*_PAGE_PANEL_IN) for _ in panels]
        draw_row([axes[0] for _, axes in drawn], swept, slices, each)
        told = ends[each.figure]
        for place, ((figure, axes), panel) in enumerate(zip(drawn, panels, strict=True)):
            name_lines(figure, axes[0], slices)
            where = f", {_panel_words(slices, panel)}" if panel is not None else ""
            found.append(
                Picture(
                    svg=inline_svg(figure, f"sweep-{number + 1}-{place + 1}"),
                    alt=f"{told.words} against {', '.join(things)}{where}; in the whole sweep {shown(told.lowest, told.unit)} to "
                    f"{shown(told.highest, told.unit)}.",
                    caption=f"{each.title}{where}.",
                )
            )
    return tuple(found)


def _panel_words(slices: Slices, panel: Value) -> str:
    """What a panel differs in from its neighbours."""
    axis = slices.panels
    if axis is None:
        return ""
    return axis.shown(panel) if axis.kind in ("lamp", "position") else f"{axis.words} {axis.shown(panel)}"


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


def _best_in(slices: Slices, panel: Value | None) -> tuple[int, int] | None:
    """Row and column of the best combination, where this panel holds it."""
    values = slices.best
    if slices.panels is not None and values[slices.panels.key] != panel:
        return None
    row = 0 if slices.other is None else slices.other.values.index(values[slices.other.key])
    return row, slices.across.values.index(values[slices.across.key])
