"""A one-page handout for lessons: why gel and lamp belong together, shown by two pairs side by side."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import um_from_m
from ..models.cure import CureCase, cure_many
from ..models.gel import Gel
from ..models.results import CureResult
from .brief import Limits
from .cautions import short_cautions
from .cure_pictures import blend_absorbance
from .grid import seconds_for
from .grid_cells import Cell, cell_of, quick_figures_of
from .grid_page import MARKS
from .grid_reasons import reason_of
from .plain_words import plain_words
from .plots import draw_conversion, draw_light, draw_nail_bed_temperature, handout_style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

A4_IN = (8.27, 11.69)
LESSON = (
    "A gel sets where light reaches an initiator that can use it. The lamp offers some colours of light and no others (shaded "
    "below); each initiator takes some and lets the rest pass (lines). Where the two meet, the gel sets; where they do not, it "
    "stays soft, however hard its surface feels. Setting gives off heat: much gel and strong light at once make a heat spike."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """One gel in one lamp with everything the handout shows of it."""

    gel: Gel
    lamp: Lamp
    results: tuple[CureResult, ...]
    cell: Cell


def pairs_of(asked: Sequence[tuple[Gel, Lamp]], seconds: float | None = None) -> list[Pair]:
    """Cure every pair at every position.

    Parameters
    ----------
    asked : sequence of (Gel, Lamp)
        The pairs.
    seconds : float, optional
        Cure time of all [s]; each gel's own when omitted.
    """
    limits = Limits()
    cases = [
        CureCase(gel=gel, lamp=lamp, exposure_s=seconds_for(gel, seconds), position=place)
        for gel, lamp in asked
        for place in lamp.positions
    ]
    results = cure_many(cases)
    found, start = [], 0
    for gel, lamp in asked:
        own = results[start : start + len(lamp.positions)]
        start += len(own)
        cell = cell_of(gel.name, gel, lamp, [quick_figures_of(each) for each in own], limits)
        found.append(Pair(gel=gel, lamp=lamp, results=tuple(own), cell=cell))
    return found


def handout_figure(pairs: Sequence[Pair]) -> Figure:
    """The page as a figure in A4.

    Parameters
    ----------
    pairs : sequence of Pair
        One or two.
    """
    import matplotlib
    from matplotlib.figure import Figure

    limits = Limits()
    with matplotlib.rc_context(handout_style()):
        figure = Figure(figsize=A4_IN)
        _words(figure, 0.07, 0.965, "Why gel and lamp belong together", size=19, weight="bold")
        top = 0.938
        if any(pair.gel.is_demonstration or pair.lamp.is_demonstration for pair in pairs):
            _words(figure, 0.07, top, "Invented demonstration data.", size=9, style="italic")
        _words(figure, 0.07, 0.918, textwrap.fill(LESSON, 112), size=9)
        rows = figure.add_gridspec(
            3, len(pairs), left=0.105, right=0.9, top=0.745, bottom=0.295, hspace=0.62, wspace=0.55
        )
        for column, pair in enumerate(pairs):
            _column(figure, rows, column, pair, len(pairs), limits)
        _cautions(figure)
    return figure


def _words(figure: Figure, x: float, y: float, text: str, **style: Any) -> None:
    figure.text(x, y, text, va="top", color="#222222", linespacing=1.35, **style)


def _column(figure: Figure, rows: Any, column: int, pair: Pair, columns: int, limits: Limits) -> None:
    cell, width = pair.cell, 118 // columns - 5
    left = 0.07 + 0.45 * column
    head = f"{MARKS[cell.outcome]} {pair.gel.name}: {cell.outcome}"
    _words(figure, left, 0.832, textwrap.fill(head, width - 8), size=11.5, weight="bold")
    film = f"in: {pair.lamp.name}\n{um_from_m(cell.thickness_m):g} µm of gel, {cell.exposure_s:g} s, fingers: {len(pair.results)}"
    _words(figure, left, 0.805, film, size=8.5)
    nm = pair.lamp.spectrum(pair.lamp.strongest).wavelength_nm
    light = figure.add_subplot(rows[0, column])
    draw_light(
        light,
        pair.lamp,
        blend_absorbance(pair.gel, pair.gel.initiators_wt_pct, nm, cell.thickness_m),
        nm,
        cell.thickness_m,
    )
    light.set_title("What the lamp gives, what the gel takes", loc="left", fontsize=9, fontweight="bold")
    depth = draw_conversion(
        figure.add_subplot(rows[1, column]),
        pair.results,
        cell.asked_fraction,
        "How far it has set (grey: sticky)",
        names_tacky=False,
    )
    depth.legend(loc="lower right", ncols=2, fontsize=6.5, framealpha=0.85, edgecolor="none")
    draw_nail_bed_temperature(figure.add_subplot(rows[2, column]), pair.results, limits.nail_bed_max_k)
    plain = " ".join(plain_words(cell.soft, cell.hot, limits))
    why = f"Why: {reason_of(cell, pair.gel, pair.lamp, limits)}"
    told = "\n".join(textwrap.fill(text, width + 8) for text in (plain, why))
    _words(figure, left, 0.253, told, size=7.8)


def _cautions(figure: Figure) -> None:
    text = "Cautions. " + " ".join(short_cautions())
    _words(figure, 0.07, 0.092, textwrap.fill(text, 148), size=6.9)


def write_handout(pairs: Sequence[Pair], path: Path) -> Path:
    """Write the handout; the ending of the path decides between PDF, PNG and SVG."""
    figure = handout_figure(pairs)
    import matplotlib

    with matplotlib.rc_context(handout_style()):
        figure.savefig(path, dpi=150, metadata={"CreationDate": None} if path.suffix == ".pdf" else None)
    return path
