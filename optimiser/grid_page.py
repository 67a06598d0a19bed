"""A grid of gels and lamps as picture, page, table and data."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..lamp_library.units import c_from_k, um_from_m
from .cautions import long_cautions, short_cautions
from .cure_page import figure_cards
from .grid import Grid
from .grid_cells import OUTCOMES, Cell, Outcome
from .page_html import write_page
from .page_parts import KeyFigure, Matrix, MatrixCell, Page, Section, State, Table, Text, table
from .plots import new_figure, save
from .verdict import dose_text
from .versions import versions, versions_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKS: dict[Outcome, str] = {
    "cures and cool": "✓", "under-cured": "○", "too hot": "▲", "under-cured and too hot": "✗",
}  # fmt: skip
_FILL: dict[Outcome, tuple[str, str]] = {
    "cures and cool": ("#009E73", ""), "under-cured": ("#56B4E9", "..."), "too hot": ("#D55E00", "///"),
    "under-cured and too hot": ("#CC79A7", "xxx"),
}  # fmt: skip


HOW = (
    "Every gel in every lamp at every finger position, each at its own cure time, steady programme. A field is judged where the "
    "base is cured least and where the nail bed gets hottest."
)


def gel_label(grid: Grid, key: str) -> str:
    """Name of a gel, with its key where another gel of the grid bears the same name."""
    name = grid.gels[key].name
    return name if sum(gel.name == name for gel in grid.gels.values()) == 1 else f"{name} ({key})"


def draw_grid(axes: Axes, grid: Grid) -> Axes:
    """One field per pair: sign, base conversion and nail-bed peak; colour and hatching repeat what the sign says.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    grid : Grid
        What to draw.
    """
    from matplotlib.patches import Rectangle

    rows, columns = list(grid.gels), list(grid.lamps)
    for row, gel in enumerate(rows):
        for column, lamp in enumerate(columns):
            cell = grid.cell(gel, lamp)
            colour, hatch = _FILL[cell.outcome]
            axes.add_patch(
                Rectangle(
                    (column, row),
                    0.96,
                    0.92,
                    facecolor=colour,
                    alpha=0.28,
                    lw=0,
                    hatch=hatch,
                    edgecolor="#666666",
                )
            )
            axes.text(
                column + 0.08, row + 0.46, MARKS[cell.outcome], va="center", fontsize=13, color="#222222"
            )
            axes.text(
                column + 0.93,
                row + 0.46,
                _numbers(cell),
                va="center",
                ha="right",
                fontsize=8,
                color="#222222",
            )
    axes.set_xlim(0, len(columns))
    axes.set_ylim(len(rows), 0)
    axes.set_xticks([i + 0.48 for i in range(len(columns))], columns, rotation=20, ha="left")
    axes.xaxis.tick_top()
    axes.set_yticks([i + 0.46 for i in range(len(rows))], [gel_label(grid, key) for key in rows])
    axes.tick_params(length=0)
    for side in axes.spines.values():
        side.set_visible(False)
    return axes


def _numbers(cell: Cell) -> str:
    return f"{100 * cell.soft.bottom_conversion_fraction:.0f} %\n{c_from_k(cell.hot.nail_bed_peak_k):.0f} °C"


def key_words() -> str:
    """What the signs mean."""
    return "  ".join(f"{MARKS[outcome]} {outcome}" for outcome in OUTCOMES)


def grid_picture(grid: Grid, path: Path) -> Path:
    """Write the grid as a picture; the ending of the path decides its kind."""
    figure, axes = new_figure(2.6 + 1.25 * len(grid.lamps), 1.4 + 0.5 * len(grid.gels))
    draw_grid(axes[0], grid)
    figure.supxlabel(f"{key_words()}\nlowest base conversion, hottest nail bed", fontsize=8, color="#333333")
    return save(figure, path)


def _anchor(cell: Cell, grid: Grid) -> str:
    return f"cell-{grid.cells.index(cell) + 1}"


def _state(cell: Cell) -> State:
    return "kept" if cell.passes else "broken"


def grid_page(grid: Grid) -> Page:
    """The grid as a page: every field of the table opens its reason.

    Parameters
    ----------
    grid : Grid
        What to show.
    """
    good = [cell for cell in grid.cells if cell.passes]
    matrix = Matrix(
        caption=f"{key_words()}; lowest base conversion and hottest nail bed. Each field opens its reason.",
        columns=tuple(grid.lamps),
        rows=tuple(
            (
                gel_label(grid, gel),
                tuple(
                    MatrixCell(
                        mark=MARKS[cell.outcome],
                        words=cell.outcome,
                        numbers=_numbers(cell).replace("\n", ", "),
                        state=_state(cell),
                        anchor=_anchor(cell, grid),
                    )
                    for lamp in grid.lamps
                    for cell in [grid.cell(gel, lamp)]
                ),
            )
            for gel in grid.gels
        ),
    )
    details = tuple(_details(cell, grid) for cell in grid.cells)
    count = {outcome: sum(cell.outcome == outcome for cell in grid.cells) for outcome in OUTCOMES}
    return Page(
        kind="Gels against lamps",
        title=f"{len(grid.gels)} gels in {len(grid.lamps)} lamps",
        is_demonstration=grid.is_demonstration,
        facts=tuple(("lamp", f"{key}: {lamp.name}") for key, lamp in grid.lamps.items()),
        headline=f"{len(good)} of {len(grid.cells)} pairs cure through and stay cool",
        verdict_state="kept" if len(good) == len(grid.cells) else "near" if good else "broken",
        answer="",
        sentences=(HOW,),
        figures=tuple(
            KeyFigure(label=f"{MARKS[name]} {name}", value=str(number), remark="pairs")
            for name, number in count.items()
        ),
        sections=(Section(key="grid", title="The grid", blocks=(matrix,)), *details),
        cautions=tuple(long_cautions()),
        footer=f"{grid.films} films simulated. " + versions_text() + ".",
    )


def _details(cell: Cell, grid: Grid) -> Section:
    cards = figure_cards(cell.soft, cell.hot, grid.limits)
    numbers = "; ".join(f"{card.label.lower()} {card.value} ({card.remark})" for card in cards)
    words = (cell.reason, cell.rescue) if cell.rescue else (cell.reason,)
    return Section(
        key=_anchor(cell, grid),
        title=f"{MARKS[cell.outcome]} {gel_label(grid, cell.gel_key)} in {cell.lamp_id}: {cell.outcome}",
        blocks=(Text(paragraphs=(*words, f"{numbers[0].upper()}{numbers[1:]}.")), _places(cell)),
        is_folded=True,
    )


def _places(cell: Cell) -> Table:
    rows = [
        (
            each.position, f"{each.bottom_conversion_fraction:.3f}", f"{um_from_m(each.uncured_layer_m):.0f}",
            f"{c_from_k(each.film_peak_k):.1f}", f"{c_from_k(each.nail_bed_peak_k):.1f}", dose_text(each.cem43_min),
        )
        for each in cell.positions
    ]  # fmt: skip
    head = ("position", "base conversion", "tacky / µm", "film / °C", "nail bed / °C", "CEM43 / min")
    return table(f"{um_from_m(cell.thickness_m):g} µm, {cell.exposure_s:g} s", head, rows)


def grid_text(grid: Grid) -> str:
    """The grid for the terminal: a table of signs, then a sentence for every pair that fails."""
    names = {key: gel_label(grid, key) for key in grid.gels}
    width = max(len(name) for name in names.values())
    numbers = [str(i) for i in range(1, len(grid.lamps) + 1)]
    lines = [f"{len(grid.gels)} gels in {len(grid.lamps)} lamps, lowest base conversion and hottest nail bed"]
    if grid.is_demonstration:
        lines.append("Invented demonstration data.")
    lines += [
        "",
        *(f"{n} = {lamp.lamp_id}: {lamp.name}" for n, lamp in zip(numbers, grid.lamps.values(), strict=True)),
        "",
    ]
    lines.append(" " * width + "".join(n.rjust(14) for n in numbers))
    for gel, name in names.items():
        cells = [grid.cell(gel, lamp) for lamp in grid.lamps]
        shown = [f"{MARKS[cell.outcome]} {_numbers(cell)}".replace("\n", " ").rjust(14) for cell in cells]
        lines.append(name.ljust(width) + "".join(shown))
    lines += ["", key_words()]
    failing = [cell for cell in grid.cells if not cell.passes]
    lines += [
        f"\n{names[cell.gel_key]} in {cell.lamp_id}: {cell.outcome}. {cell.reason} {cell.rescue}"
        for cell in failing
    ]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions())]
    return "\n".join(lines)


def grid_data(grid: Grid) -> dict[str, Any]:
    """The grid as plain data, every key with its unit."""
    return {
        "gels": {key: gel.name for key, gel in grid.gels.items()},
        "lamps": {key: lamp.name for key, lamp in grid.lamps.items()},
        "is_demonstration": grid.is_demonstration,
        "cells": [_cell_data(cell) for cell in grid.cells],
        "films_simulated": grid.films,
        "versions": versions(),
        "cautions": short_cautions(),
    }


def _cell_data(cell: Cell) -> dict[str, Any]:
    return {
        "gel": cell.gel_key,
        "lamp": cell.lamp_id,
        "programme": cell.programme,
        "thickness_m": cell.thickness_m,
        "exposure_s": cell.exposure_s,
        "outcome": cell.outcome,
        "least_conversion_asked_fraction": cell.asked_fraction,
        "reason": cell.reason,
        "rescue": cell.rescue,
        "positions": [{name: getattr(each, name) for name in each.__slots__} for each in cell.positions],
    }


def write_grid_folder(grid: Grid, folder: Path) -> Path:
    """Write page, picture, table and data into a folder, made if needed; the page is handed back."""
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps(grid_data(grid), indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(text + "\n", encoding="utf-8")
    grid.to_frame().to_csv(folder / "grid.csv", index=False)
    grid_picture(grid, folder / "grid.png")
    return write_page(grid_page(grid), folder / "report.html")
