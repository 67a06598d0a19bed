"""One printed page drawn from the top down: text that wraps, tables with fields to fill in, all in millimetres."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..lamp_library.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 10.0
MM_PER_INCH, MM_PER_POINT = 25.4, 25.4 / 72.0
RULER_PT, RULER_DPI = 10.0, 720  # measured finely: rounding to coarse pixels makes small type seem too wide
LEADING = 1.28  # line pitch over type size
SCALES = (1.0, 0.97, 0.94, 0.91, 0.88, 0.85, 0.82, 0.79, 0.76, 0.73)
STRETCHES = (1.6, 1.5, 1.4, 1.3, 1.2, 1.1, 1.0)
RULE, FAINT, SHADE = "#444444", "#AAAAAA", "#ECECEC"
_STYLE: dict[Any, Any] = {"font.family": "DejaVu Sans", "pdf.fonttype": 42, "text.parse_math": False}


@dataclass(slots=True, kw_only=True)
class Column:
    """One column of a table: its heading, its share of the width, and whether it stands to the right or in bold."""

    head: str
    share: float
    right: bool = False
    bold: bool = False


@dataclass(slots=True, kw_only=True, eq=False)
class Page:
    """A page with a pen that moves down.

    Parameters
    ----------
    paper : str
        ``a4`` or ``letter``.
    scale : float
        Size of type and rows over their usual size [-].
    stretch : float
        Height of rows to write in over their usual height [-].
    is_draft : bool
        Whether only the pen moves and nothing is drawn, to find out what fits.
    """

    paper: str
    scale: float = 1.0
    stretch: float = 1.0
    is_draft: bool = False
    figure: Figure = field(init=False)
    y_mm: float = field(init=False, default=MARGIN_MM)

    def __post_init__(self) -> None:
        from matplotlib.figure import Figure

        width, height = PAPERS_MM[self.paper]
        self.figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), dpi=72)

    @property
    def width_mm(self) -> float:
        """Width between the margins."""
        return PAPERS_MM[self.paper][0] - 2.0 * MARGIN_MM

    @property
    def left_over_mm(self) -> float:
        """Height still free above the lower margin; negative when the page is too full."""
        return PAPERS_MM[self.paper][1] - MARGIN_MM - self.y_mm

    def gap(self, mm: float) -> None:
        """Move the pen down."""
        self.y_mm += mm * self.scale

    def heading(self, text: str, size_pt: float = 8.5) -> None:
        """A heading with a rule under it."""
        self.gap(1.4)
        self.paragraph(text, size_pt=size_pt, bold=True)
        self._line(MARGIN_MM, self.y_mm, MARGIN_MM + self.width_mm, self.y_mm, RULE)
        self.gap(0.6)

    def paragraph(
        self, text: str, size_pt: float = 6.6, *, bold: bool = False, colour: str = "black"
    ) -> None:
        """Text over the whole width."""
        lines = self.wrapped(text, self.width_mm, size_pt, bold)
        for line in lines:
            self._text(MARGIN_MM, self.y_mm, line, size_pt, bold=bold, colour=colour)
            self.y_mm += self._pitch_mm(size_pt)

    def table(
        self,
        columns: Sequence[Column],
        rows: Sequence[Sequence[str] | str],
        *,
        size_pt: float = 6.6,
        least_mm: float = 4.6,
    ) -> None:
        """A ruled table; a row that is a text spans all columns on a shaded band.

        Parameters
        ----------
        columns : sequence of Column
            Their shares of the width add up to 1.
        rows : sequence
            Cells, or one text for a band. Cells wrap.
        size_pt : float
            Type size.
        least_mm : float
            Least height of a row, room for handwriting.
        """
        if any(column.head for column in columns):
            self._row(columns, [column.head for column in columns], size_pt, 0.0, bold=True)
        for row in rows:
            if isinstance(row, str):
                self._band(row, size_pt)
            else:
                self._row(columns, row, size_pt, least_mm)

    def wrapped(self, text: str, width_mm: float, size_pt: float, bold: bool = False) -> list[str]:
        """Text broken into lines that fit a width; a word longer than the width is broken anywhere."""
        lines, line = [], ""
        for word in text.split():
            longer = f"{line} {word}".strip()
            if self._width_mm(longer, size_pt, bold) <= width_mm:
                line = longer
                continue
            if line:
                lines.append(line)
            while self._width_mm(word, size_pt, bold) > width_mm and len(word) > 1:
                cut = next(
                    n
                    for n in range(len(word) - 1, 0, -1)
                    if n == 1 or self._width_mm(word[:n], size_pt, bold) <= width_mm
                )
                lines.append(word[:cut])
                word = word[cut:]
            line = word
        return [*lines, line]

    def _row(
        self,
        columns: Sequence[Column],
        cells: Sequence[str],
        size_pt: float,
        least_mm: float,
        *,
        bold: bool = False,
    ) -> None:
        inset = 0.8
        widths = [column.share * self.width_mm for column in columns]
        broken = [
            self.wrapped(cell, width - 2.0 * inset, size_pt, bold or column.bold)
            for cell, width, column in zip(cells, widths, columns, strict=True)
        ]
        tallest = max(len(each) for each in broken) * self._pitch_mm(size_pt) + 0.9 * self.scale
        height = max(least_mm * self.scale * self.stretch, tallest)
        x = MARGIN_MM
        for lines, width, column in zip(broken, widths, columns, strict=True):
            y = self.y_mm + (height - len(lines) * self._pitch_mm(size_pt)) / 2.0
            at = x + width - inset if column.right else x + inset
            for line in lines:
                self._text(at, y, line, size_pt, bold=bold or column.bold, right=column.right)
                y += self._pitch_mm(size_pt)
            self._line(x, self.y_mm, x, self.y_mm + height, FAINT)
            x += width
        self._line(x, self.y_mm, x, self.y_mm + height, FAINT)
        self._line(MARGIN_MM, self.y_mm, x, self.y_mm, FAINT)
        self._line(MARGIN_MM, self.y_mm + height, x, self.y_mm + height, FAINT)
        self.y_mm += height

    def _band(self, text: str, size_pt: float) -> None:
        lines = self.wrapped(text, self.width_mm - 1.6, size_pt)
        height = len(lines) * self._pitch_mm(size_pt) + 0.7 * self.scale
        if not self.is_draft:
            self._shade(self.y_mm, height)
        y_text = self.y_mm + 0.35 * self.scale
        for line in lines:
            self._text(MARGIN_MM + 0.8, y_text, line, size_pt)
            y_text += self._pitch_mm(size_pt)
        self.y_mm += height

    def _shade(self, y_mm: float, height_mm: float) -> None:
        from matplotlib.patches import Rectangle

        x, y = self._place(MARGIN_MM, y_mm + height_mm)
        paper_width, paper_height = PAPERS_MM[self.paper]
        band = Rectangle(
            (x, y),
            self.width_mm / paper_width,
            height_mm / paper_height,
            facecolor=SHADE,
            edgecolor="none",
            zorder=0,
        )
        self.figure.add_artist(band)

    def _pitch_mm(self, size_pt: float) -> float:
        return size_pt * self.scale * MM_PER_POINT * LEADING

    def _width_mm(self, text: str, size_pt: float, bold: bool) -> float:
        return sum(_glyph_mm(each, bold) for each in text) * size_pt * self.scale / RULER_PT

    def _place(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        width, height = PAPERS_MM[self.paper]
        return x_mm / width, 1.0 - y_mm / height

    def _text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        size_pt: float,
        *,
        bold: bool = False,
        right: bool = False,
        colour: str = "black",
    ) -> None:
        if self.is_draft:
            return
        x, y = self._place(x_mm, y_mm)
        self.figure.text(
            x, y, text, fontsize=size_pt * self.scale, fontweight="bold" if bold else "normal", color=colour,
            ha="right" if right else "left", va="top", zorder=2,
        )  # fmt: skip

    def _line(self, x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float, colour: str) -> None:
        from matplotlib.lines import Line2D

        if self.is_draft:
            return
        (x0, y0), (x1, y1) = self._place(x0_mm, y0_mm), self._place(x1_mm, y1_mm)
        self.figure.add_artist(Line2D([x0, x1], [y0, y1], color=colour, linewidth=0.5, zorder=1))


@cache
def _ruler() -> Any:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    canvas: Any = FigureCanvasAgg(Figure(figsize=(1.0, 1.0), dpi=RULER_DPI))
    return canvas.get_renderer()


@cache
def _glyph_mm(character: str, bold: bool) -> float:
    """Advance of a character in 10 point type, of which other sizes are a multiple [mm]."""
    from matplotlib.font_manager import FontProperties

    font = FontProperties(family="DejaVu Sans", size=RULER_PT, weight="bold" if bold else "normal")
    several, _, _ = _ruler().get_text_width_height_descent(8 * character, font, False)
    return float(several) / 8.0 * MM_PER_INCH / RULER_DPI


def one_page(draw: Callable[[Page], None], paper: str, file: Path) -> Path:
    """Draw exactly one page into a file, in the largest type that fits.

    Parameters
    ----------
    draw : callable
        Draws everything onto the page it is given.
    paper : str
        ``a4`` or ``letter``.
    file : Path
        ``.pdf``, ``.png`` or ``.svg``.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        If it does not fit even in the smallest type.
    """
    import matplotlib

    with matplotlib.rc_context(_STYLE):
        page = _fitting(draw, paper, file)
        # no date in the file: equal input gives equal bytes
        metadata = {"CreationDate": None} if file.suffix == ".pdf" else None
        page.figure.savefig(file, dpi=150, metadata=metadata)
    return file


def _fitting(draw: Callable[[Page], None], paper: str, file: Path) -> Page:
    """The page in the largest type that fits, then with the highest rows to write in."""

    def left_over_mm(scale: float, stretch: float) -> float:
        draft = Page(paper=paper, scale=scale, stretch=stretch, is_draft=True)
        draw(draft)
        return draft.left_over_mm

    scale = next((each for each in SCALES if left_over_mm(each, 1.0) >= 0.0), None)
    if scale is None:
        raise InputError(
            f"{file.name}: {-left_over_mm(SCALES[-1], 1.0):.0f} mm too much for one page. Make the batch in two parts, "
            "e.g. the pigment paste on a sheet of its own."
        )
    stretch = next(each for each in STRETCHES if left_over_mm(scale, each) >= 0.0)
    page = Page(paper=paper, scale=scale, stretch=stretch)
    draw(page)
    return page
