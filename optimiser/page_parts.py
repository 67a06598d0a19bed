"""What a page for people consists of: a verdict, key figures, pictures, tables, sentences; written out by `page_html`.

A page is data first, so that its content can be tested without reading HTML, and so that every command's page looks the
same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

State = Literal["kept", "near", "broken", "plain"]
STATE_WORDS: dict[State, str] = {
    "kept": "kept",
    "near": "close to the limit",
    "broken": "broken",
    "plain": "",
}
STATE_MARKS: dict[State, str] = {"kept": "✓", "near": "!", "broken": "✗", "plain": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFigure:
    """One number of the first screen.

    Parameters
    ----------
    label, value, remark : str
        What it is, the number with its unit, what it is held against.
    state : {"kept", "near", "broken", "plain"}
        How it stands to its limit; shown as a word and a sign, never by colour alone.
    state_words : str
        The word, where "kept" or "broken" would not do, as for a chance.
    """

    label: str
    value: str
    remark: str
    state: State = "plain"
    state_words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawn figure.

    Parameters
    ----------
    svg : str
        Inline SVG.
    alt : str
        What it shows, with the numbers that matter, for those who cannot see it.
    caption : str
        Sentence below it.
    is_wide : bool
        Whether it takes the whole width of the page.
    """

    svg: str
    alt: str
    caption: str
    is_wide: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table; cells are text already."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """Paragraphs, then a list."""

    paragraphs: tuple[str, ...] = ()
    points: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Prose:
    """Markdown of a written report, tables and lists included."""

    markdown: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MatrixCell:
    """One field of a matrix: sign, words, numbers, and the anchor of the section it opens."""

    mark: str
    words: str
    numbers: str
    state: State
    anchor: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Matrix:
    """A table whose fields lead to their sections."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[MatrixCell, ...]], ...]


Block = Picture | Table | Text | Prose | Matrix


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A titled part of a page.

    Parameters
    ----------
    key : str
        Anchor of lower-case letters and hyphens.
    title : str
        Heading.
    blocks : tuple of Picture, Table, Text or Prose
        Content, in order; neighbouring pictures stand side by side.
    is_folded : bool
        Whether the screen shows it closed at first; print shows it open.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]
    is_folded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A whole page.

    Parameters
    ----------
    kind, title : str
        What sort of report, and of what.
    is_demonstration : bool
        Whether invented data stand behind it.
    facts : tuple of (str, str)
        Name and value of what was asked: lamp, coat, time.
    headline : str
        The verdict in few words.
    verdict_state : State
        Sign beside the headline.
    answer : str
        The blend, or what is looked at; empty when there is none.
    sentences : tuple of str
        The verdict in full.
    figures : tuple of KeyFigure
        Numbers of the first screen.
    sections : tuple of Section
        The rest.
    cautions : tuple of str
        Standing cautions; never empty.
    footer : str
        Fingerprint, versions.
    is_one_sheet : bool
        Whether it has to print on one page.
    """

    kind: str
    title: str
    is_demonstration: bool
    facts: tuple[tuple[str, str], ...]
    headline: str
    verdict_state: State
    answer: str
    sentences: tuple[str, ...]
    figures: tuple[KeyFigure, ...]
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    footer: str
    is_one_sheet: bool = False


def table(caption: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """A table from any sequences of text."""
    return Table(caption=caption, head=tuple(head), rows=tuple(tuple(cells) for cells in rows))


def points(*found: str) -> Text:
    """A list of sentences."""
    return Text(points=found)


def state_of(scaled_value: float, near: float = 0.05) -> State:
    """How a limit stands from its scaled value: broken above 0, near just below."""
    if scaled_value > 1e-9:
        return "broken"
    return "near" if scaled_value > -near else "kept"
