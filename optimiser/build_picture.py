"""Picture of a whole build: conversion through all coats, temperature over all events."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..lamp_library.units import c_from_k, um_from_m
from ..models.stack_results import StackResult
from .brief import COMFORT_K, FILM_COMMON_PRACTICE_K, Limits
from .build_run import hottest, least_cured
from .curve_data import coat_edges, profiles
from .plots import COLOURS, GREY, LIGHT, WARN, line_styles, new_figure, save

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Pale, one tint per role; a white line parts two coats of the same role.
BANDS = {"base": "#F3E6D3", "builder": "#E4EEF5", "colour": "#F6DDE6", "top": "#E7F1E2"}
_NARROW = 0.12  # of the stack: coats thinner than that are named upright


def lit_spans(result: StackResult) -> list[tuple[float, float]]:
    """Begin and end of every exposure [s]."""
    return [(event.start_s, event.end_s) for event in result.events if event.kind == "expose"]


def draw_stack(axes: Axes, result: StackResult) -> Axes:
    """Conversion against depth through all coats, each on its own band."""
    total = um_from_m(result.thickness_m)
    for name, upper, lower in coat_edges(result):
        left, right = um_from_m(upper), um_from_m(lower)
        axes.axvspan(left, right, color=BANDS[name.split()[1]], lw=0)
        axes.axvline(right, color="white", lw=1.0)
        narrow = right - left < _NARROW * total
        axes.text(
            0.5 * (left + right), 0.03, name, rotation=90 if narrow else 0, ha="center", va="bottom", fontsize=8,
            color="#333333",
        )  # fmt: skip
    for order, (depth, conversion, ceiling) in enumerate(profiles(result)):
        names = ("_", "_") if order else (f"conversion, {result.position}", "possible")
        axes.plot(um_from_m(depth), conversion, color=COLOURS[0], lw=1.8, label=names[0])
        axes.plot(um_from_m(depth[[0, -1]]), [ceiling] * 2, color=GREY, lw=1.0, ls=":", label=names[1])
    axes.annotate(
        f"bond side {result.bond_side_conversion_fraction:.2f}", (total, result.bond_side_conversion_fraction),
        xytext=(-8, -34), textcoords="offset points", ha="right", fontsize=8, color="#333333",
        arrowprops={"arrowstyle": "-", "color": "#666666", "lw": 0.8},
    )  # fmt: skip
    axes.set_xlim(0.0, total)
    axes.set_ylim(0.0, 1.05)
    axes.set_xlabel("depth below the surface (air at the left, nail at the right) / µm")
    axes.set_ylabel("conversion")
    axes.set_title(
        "Conversion through the stack", loc="left", fontsize=10, fontweight="bold", color="#222222"
    )
    axes.legend(frameon=False, fontsize=8, labelcolor="#333333", loc="center", bbox_to_anchor=(0.6, 0.55))
    return axes


def draw_coat(axes: Axes, results: Mapping[str, StackResult], index: int) -> Axes:
    """Conversion against depth in one coat by itself, one line per place, with what is possible in it.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    results : mapping of str to StackResult
        Places, by what they are called; all of one schedule.
    index : int
        The coat, counted from the nail, beginning with 0.
    """
    from_air = -1 - index
    thickest = 0.0
    for style, (place, result) in zip(line_styles(len(results)), results.items(), strict=True):
        depth, conversion, ceiling = profiles(result)[from_air]
        own = um_from_m(depth - depth[0])
        thickest = max(thickest, float(own[-1]))
        axes.plot(own, conversion, lw=1.6, label=place, **style)
    axes.axhline(ceiling, color=GREY, lw=1.0, ls=":", label="possible")
    coat = result.coats[index]
    axes.set_xlim(0.0, thickest)
    axes.set_ylim(0.0, 1.05)
    axes.set_xlabel("depth below the upper face of this coat / µm")
    axes.set_ylabel("conversion")
    axes.set_title(
        f"Coat {coat.number}, {coat.gel_name}",
        loc="left",
        fontsize=10,
        fontweight="bold",
        color="#222222",
    )
    axes.legend(frameon=False, fontsize=8, labelcolor="#333333", loc="best", ncols=3)
    return axes


def draw_course(axes: Axes, result: StackResult, nail_bed_max_k: float) -> Axes:
    """Film and nail-bed temperature against time, exposures shaded, events named above."""
    for start, end in lit_spans(result):
        axes.axvspan(start, end, color=LIGHT, alpha=0.28, lw=0)
    axes.plot(
        result.time_s, c_from_k(result.film_max_k), color=COLOURS[1], lw=1.5, label="film, hottest place"
    )
    axes.plot(result.time_s, c_from_k(result.nail_bed_k), color=COLOURS[0], lw=1.8, label="nail bed")
    top = float(np.max(c_from_k(result.film_max_k)))
    lines = [
        (c_from_k(COMFORT_K), "nail bed, comfort", GREY),
        (c_from_k(nail_bed_max_k), "nail bed, limit", WARN),
    ]
    if top > c_from_k(FILM_COMMON_PRACTICE_K) - 8.0:
        lines.append((c_from_k(FILM_COMMON_PRACTICE_K), "film: common practice, no source", GREY))
    for (height, words, colour), dashes in zip(lines, ((0, (2, 2)), "--", "-."), strict=False):
        axes.axhline(height, color=colour, lw=1.0, ls=dashes, label=f"{height:.0f} °C {words}")
    ceiling = max([top, *(height for height, _, _ in lines)]) + 3.0
    low = float(min(np.min(c_from_k(result.film_max_k)), np.min(c_from_k(result.nail_bed_k)))) - 2.0
    span = ceiling - low
    _name_events(axes, result, ceiling)
    axes.set_ylim(low, ceiling + 0.22 * span)
    axes.set_xlim(0.0, float(result.time_s[-1]))
    axes.set_xlabel("time of the schedule / s (lamp on: shaded)")
    axes.set_ylabel("temperature / °C")
    axes.set_title(
        f"Temperature, {result.position}", loc="left", fontsize=10, fontweight="bold", color="#222222"
    )
    # below the picture: above the lines stand the names of the events
    axes.legend(
        frameon=False,
        fontsize=8,
        labelcolor="#333333",
        loc="upper center",
        bbox_to_anchor=(0.5, -0.17),
        ncols=2,
    )
    return axes


def _name_events(axes: Axes, result: StackResult, height: float) -> None:
    """Mark every coat that goes on with its number and role, and every wipe."""
    number = 0
    for event in result.events:
        if event.kind not in ("apply", "wipe"):
            continue
        number += event.kind == "apply"
        coat = next((each.coat for each in event.coats if each.number == number), "")
        words = f"{number} {coat}" if event.kind == "apply" else "wipe"
        axes.axvline(event.start_s, color="#999999", lw=0.8, ls=":")
        last = event.start_s >= result.time_s[-1]
        axes.annotate(
            words, (event.start_s, height), xytext=(-3 if last or event.kind == "wipe" else 3, 0),
            textcoords="offset points", ha="right" if last or event.kind == "wipe" else "left", va="bottom",
            rotation=90, fontsize=7.5, color="#333333",
        )  # fmt: skip


def build_picture(results: Sequence[StackResult], path: Path) -> Path:
    """Stack of the least cured position and temperatures of the hottest, side by side."""
    figure, axes = new_figure(13.0, 4.6, columns=2)
    draw_stack(axes[0], least_cured(results))
    draw_course(axes[1], hottest(results), Limits().nail_bed_max_k)
    return save(figure, path)
