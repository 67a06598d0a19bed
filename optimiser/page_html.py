"""Pages as one HTML file: style and pictures inside, nothing fetched, prints on A4 and Letter."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from html import escape
from itertools import count, groupby
from pathlib import Path
from typing import TYPE_CHECKING

from .page_parts import STATE_MARKS, STATE_WORDS, Block, Page, Picture
from .plots import COLOURS, lay_out, svg_style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TEMPLATES = Path(__file__).parent / "templates"

# Fixed colours of the pictures become variables of the page, so that they follow its light or dark dress.
_INK = {"#222222": "--ink", "#333333": "--ink", "#000000": "--ink", "#555555": "--ink-soft", "#666666": "--ink-soft",
        "#888888": "--ink-soft", "#999999": "--ink-soft", "#b22222": "--warn", "#6a4c93": "--violet",
        "#b8a2d6": "--violet-pale", "#ffffff": "--paper", "#f3e6d3": "--band-base", "#e4eef5": "--band-builder", "#f6dde6": "--band-colour",
        "#e7f1e2": "--band-top"}  # fmt: skip
_SERIES = {colour.lower(): f"--series-{i}" for i, colour in enumerate(COLOURS)}
_VARIABLES = {**_INK, **_SERIES}
_HEX = re.compile(r"#[0-9a-fA-F]{6}\b")
_UNIT = re.compile(r"(?<=\d) (?=(?:%|wt%|µm|nm|mm|°C|K|s|h|min|mW|CEM43)(?![\w-]))")
_SCROLLS = re.compile("<table>|<pre>")
_ID = re.compile(r'(id="|url\(#|href="#)([A-Za-z_][\w.-]*)')


def inline_svg(figure: Figure, name: str) -> str:
    """A figure as SVG to stand inside a page.

    Parameters
    ----------
    figure : Figure
        The drawn figure.
    name : str
        Word of lower-case letters that no other picture of the page has; it makes the ids of the SVG unique.

    Returns
    -------
    str
        Without size, so that it fills its place; colours as variables of the page; text as text.
    """
    import matplotlib

    buffer = io.StringIO()
    with matplotlib.rc_context(svg_style(name)):
        lay_out(figure, "svg")
        figure.savefig(buffer, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    opening, rest = text.split(">", 1)
    opening = re.sub(r' (?:width|height)="[^"]*"', "", opening)
    text = f'{opening} aria-hidden="true" focusable="false">{rest}'
    text = _ID.sub(lambda found: f"{found[1]}{name}-{found[2]}", text)
    return _HEX.sub(_variable, text)


def _variable(found: re.Match[str]) -> str:
    name = _VARIABLES.get(found[0].lower())
    return f"var({name})" if name else found[0]


def page_html(page: Page) -> str:
    """The page as HTML text.

    Parameters
    ----------
    page : Page
        What to show.
    """
    import jinja2

    loader = jinja2.FileSystemLoader(TEMPLATES)
    environment = jinja2.Environment(
        loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["grouped"] = grouped
    environment.filters["from_markdown"] = from_markdown
    environment.filters["bound"] = bound
    environment.globals["marks"] = STATE_MARKS
    environment.globals["state_words"] = STATE_WORDS
    style = (TEMPLATES / "page.css").read_text(encoding="utf-8")
    text: str = environment.get_template("page.html.j2").render(page=page, style=style)
    return text + "\n"


def bound(text: str) -> str:
    """Text whose numbers keep their units beside them at the end of a line."""
    return _UNIT.sub("\N{NO-BREAK SPACE}", text)


def from_markdown(text: str, title: str = "Report") -> str:
    """Markdown of a report as HTML; raw HTML in it stays text, wide tables and columns scroll by themselves.

    Parameters
    ----------
    text : str
        Markdown.
    title : str
        Of the section it stands in: with a number it names each table for those who hear the page.
    """
    from markdown_it import MarkdownIt

    html: str = MarkdownIt("commonmark", {"html": False}).enable("table").render(bound(text))
    number = count(1)

    def opened(found: re.Match[str]) -> str:
        focus = f'tabindex="0" role="region" aria-label="{escape(title)}, table {next(number)}"'
        return f"<pre {focus}>" if found[0] == "<pre>" else f'<div class="table" {focus}><table>'

    html = _SCROLLS.sub(opened, html).replace("</table>", "</table></div>")
    return html.replace("<th></th>", "<td></td>")  # a heading that heads nothing would be read out as one


def write_page(page: Page, path: Path) -> Path:
    """Write a page as one HTML file and hand its path back."""
    path.write_text(page_html(page), encoding="utf-8")
    return path


def grouped(blocks: tuple[Block, ...]) -> Iterator[tuple[str, list[Block]]]:
    """Blocks by kind, neighbouring pictures together, so that they can stand side by side."""
    for is_picture, found in groupby(blocks, key=lambda block: isinstance(block, Picture)):
        if is_picture:
            yield "pictures", list(found)
        else:
            yield from ((type(block).__name__.lower(), [block]) for block in found)
