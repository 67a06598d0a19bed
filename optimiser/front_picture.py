"""Pictures of a front: the first axis against each of the others, knee and blends named."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .front import Front
from .matching_text import blend_text
from .page_html import inline_svg
from .page_parts import Picture
from .plots import COLOURS, GREY, MARKERS, new_figure, save
from .tune import Inputs

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def unit_of(found: Front, column: int, inputs: Inputs) -> str:
    """Unit of one axis, a cost in the brief's currency."""
    axis = found.axes[column]
    return f"{inputs.brief.currency} {axis.unit}".strip() if axis.key == "cost" else axis.unit


def shown_of(found: Front, column: int, value: float) -> str:
    """A value on one axis with the digits that mean something there."""
    digits = {"cost": 3, "heat": 2, "yellowness": 2, "initiator": 3, "margin": 3}[found.axes[column].key]
    return f"{value:.{digits}f}"


def front_picture(found: Front, inputs: Inputs, path: Path) -> Path:
    """All panels side by side in one file."""
    count = len(found.axes) - 1
    figure, panels = new_figure(6.4 * count, 4.2, columns=count)
    for column, axes in enumerate(panels, start=1):
        draw_front(axes, found, inputs, column)
    panels[0].set_title("Blends that nothing found beats", loc="left", fontsize=10, fontweight="bold")
    return save(figure, path)


def front_pictures(found: Front, inputs: Inputs) -> tuple[Picture, ...]:
    """The panels for a page, each a picture of its own."""
    pictures = []
    best = found.points[found.knee]
    for column in range(1, len(found.axes)):
        figure, axes = new_figure(5.2, 3.3)
        draw_front(axes[0], found, inputs, column)
        names = f"{found.axes[0].words} against {found.axes[column].words}"
        told = "; ".join(
            f"{words} {blend_text(point.blend_wt_pct)} at {shown_of(found, 0, point.values[0])} {unit_of(found, 0, inputs)} and "
            f"{shown_of(found, column, point.values[column])} {unit_of(found, column, inputs)}"
            for words, point in (("From", found.points[0]), ("to", found.points[-1]), ("knee", best))
        )
        pictures.append(
            Picture(
                svg=inline_svg(figure, f"front-{column}"),
                alt=f"{names}: {len(found.points)} blends. {told}.",
                caption=f"{names[0].upper()}{names[1:]}; every mark is a blend, every kind of mark a set of initiators.",
                is_wide=len(found.axes) == 2,
            )
        )
    return tuple(pictures)


def draw_front(axes: Axes, found: Front, inputs: Inputs, column: int) -> Axes:
    """The first axis of a front against another.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    found : Front
        With one blend at least.
    inputs : Inputs
        The brief behind it.
    column : int
        The other axis, counted from 0.
    """
    sets = list(dict.fromkeys(tuple(sorted(point.blend_wt_pct)) for point in found.points))
    for number, keys in enumerate(sets):
        colour, marker = COLOURS[number % len(COLOURS)], MARKERS[number % len(MARKERS)]
        own = [point for point in found.points if tuple(sorted(point.blend_wt_pct)) == keys]
        axes.plot(
            [point.values[column] for point in own], [point.values[0] for point in own], ls="", marker=marker, color=colour, ms=6,
            label=" + ".join(keys),
        )  # fmt: skip
    if len(found.axes) == 2:
        line = sorted((point.values[column], point.values[0]) for point in found.points)
        axes.plot([x for x, _ in line], [y for _, y in line], color=GREY, lw=0.8, zorder=0)
    best = found.points[found.knee]
    axes.annotate(
        "knee", (best.values[column], best.values[0]), xytext=(10, 14), textcoords="offset points", fontsize=9,
        arrowprops={"arrowstyle": "-", "color": GREY},
    )  # fmt: skip
    axes.set_xlabel(f"{found.axes[column].words} / {unit_of(found, column, inputs)}")
    axes.set_ylabel(f"{found.axes[0].words} / {unit_of(found, 0, inputs)}")
    axes.legend(frameon=False, fontsize=8)
    return axes
