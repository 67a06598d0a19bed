"""A written report (Markdown: a title, facts as a list, sections) as a page, its pictures inside."""

from __future__ import annotations

import base64
import re
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict

from .page_html import write_page
from .page_parts import KeyFigure, Page, Prose, Section, State

_HEADING = re.compile(r"^## +(.*)$", re.MULTILINE)
_IMAGE = re.compile(r"(!\[[^\]]*\])\(([^)]+\.png)\)")
_OTHER_REPORT = re.compile(r"\[([^\]]*)report\.md\]\(([^)]*)report\.md\)")
_NUMBERED = re.compile(r"^\d+\. +(.*)$", re.MULTILINE)
_COLUMNS = re.compile(r"\S {2,}\S")
_SIGNS = re.compile(r"[\\`*_\[\]<>#|~]|^[-+](?= )|^\d+(?=[.)] )")
_MICRO = re.compile(r"(?<=\d )um\b")
CAUTIONS = "Cautions"
FOLDED = ("Every position", "How this was worked out", "Left out")


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """The parts of a written report.

    Parameters
    ----------
    title : str
        Its first heading.
    facts : tuple of (str, str)
        Name and value of each line of the list at its head.
    opening : str
        What else stands before the first section, as Markdown.
    sections : tuple of (str, str)
        Title and Markdown of each.
    cautions : tuple of str
        Points of the section of that name.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    opening: str
    sections: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


class FirstScreen(TypedDict):
    """Verdict in few words, its sign, the blend and the numbers beside it."""

    headline: str
    state: State
    answer: str
    figures: tuple[KeyFigure, ...]


def parts_of(text: str) -> Written:
    """Take a written report apart.

    Parameters
    ----------
    text : str
        Markdown with one first-level heading and second-level ones.

    Examples
    --------
    >>> parts_of("# A\\n\\n- lamp: one\\n\\n## Answer\\n\\nYes.\\n").facts
    (('lamp', 'one'),)
    """
    head, *rest = _HEADING.split(text)
    lines = head.strip().splitlines()
    title = lines[0].removeprefix("# ").strip() if lines else ""
    pairs = [line[2:].partition(": ") for line in lines if line.startswith("- ")]
    others = [line for line in lines[1:] if not line.startswith(("- ", "**Invented"))]
    sections = [(name.strip(), body.strip()) for name, body in zip(rest[::2], rest[1::2], strict=True)]
    cautions = next((body for name, body in sections if name == CAUTIONS), "")
    return Written(
        title=title,
        facts=tuple((name, value.replace("`", "")) for name, _, value in pairs),
        opening="\n".join(others).strip(),
        sections=tuple((name, body) for name, body in sections if name != CAUTIONS),
        cautions=tuple(_NUMBERED.findall(cautions)),
    )


def sections_of(
    written: Written, without: Collection[str] = (), folder: Path | None = None
) -> tuple[Section, ...]:
    """The sections for a page, pictures of a folder drawn in.

    Parameters
    ----------
    written : Written
        The report.
    without : collection of str
        Titles shown elsewhere.
    folder : Path, optional
        Where its pictures lie.
    """
    return tuple(
        Section(
            key=re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-"),
            title=name,
            blocks=(Prose(markdown=_with_pictures(body, folder)),),
            is_folded=name in FOLDED,
        )
        for name, body in written.sections
        if name not in without
    )


def prose_of(text: str) -> Prose:
    """A report written for the screen as running text, lists and columns for a page.

    Parameters
    ----------
    text : str
        Lines; blank ones part the blocks. Lines with gaps of two spaces or more are columns and stay as they are.

    Examples
    --------
    >>> print(prose_of("Two +- 1 um of a_b.\\n- first").markdown)
    Two ± 1 µm of a\\_b.
    <BLANKLINE>
    - first
    """
    found: list[str] = []
    kind_before = ""
    for line in text.replace("+-", "±").splitlines():
        kind = "columns" if _COLUMNS.search(line.strip()) else "point" if line.startswith("- ") else "line"
        if not line.strip():
            kind = ""
        if "columns" in (kind, kind_before) and kind != kind_before:
            found.append("```text" if kind == "columns" else "```")
        if kind == "columns":
            found.append(line)
        elif kind == "point":
            found += ([] if kind_before == "point" else [""]) + [f"- {_plain(line[2:])}"]
        elif kind:
            found += ["", _plain(line.strip())]
        kind_before = kind
    if kind_before == "columns":
        found.append("```")
    return Prose(markdown="\n".join(found).strip())


def _plain(text: str) -> str:
    """Text in which no sign has a meaning of its own, micrometres written out."""
    return _MICRO.sub("µm", _SIGNS.sub(r"\\\g<0>", text))


def without_pictures(text: str) -> str:
    """A report without its pictures, for a page that draws them itself."""
    return re.sub(r"\n?" + _IMAGE.pattern + r"\n", "", text)


def _with_pictures(text: str, folder: Path | None) -> str:
    def inside(found: re.Match[str]) -> str:
        file = (folder or Path()) / found[2]
        if folder is None or not file.is_file():
            return found[0]
        return f"{found[1]}({picture_inside(file)})"

    return _OTHER_REPORT.sub(r"[\1report.html](\2report.html)", _IMAGE.sub(inside, text))


def picture_inside(file: Path) -> str:
    """A PNG file as an address that holds it, so that a page needs no second file."""
    return f"data:image/png;base64,{base64.b64encode(file.read_bytes()).decode()}"


def write_written_page(
    report: Path,
    *,
    kind: str,
    headline: str,
    state: State,
    answer: str = "",
    figures: tuple[KeyFigure, ...] = (),
) -> Path:
    """Write the page of a report beside it; the page's path comes back.

    Parameters
    ----------
    report : Path
        ``report.md``, written already, its pictures in the same folder.
    kind, headline, answer : str
        What sort of page, the verdict in few words, the blend.
    state : State
        Sign beside the headline.
    figures : tuple of KeyFigure
        Numbers of the first screen.
    """
    text = report.read_text(encoding="utf-8")
    written = parts_of(text)
    page = Page(
        kind=kind,
        title=written.title,
        is_demonstration="**Invented demonstration data.**" in text,
        facts=written.facts,
        headline=headline,
        verdict_state=state,
        answer=answer,
        sentences=(written.opening,) if written.opening else (),
        figures=figures,
        sections=sections_of(written, folder=report.parent),
        cautions=written.cautions,
        footer="The same in text: report.md; as data: results.json.",
    )
    return write_page(page, report.with_suffix(".html"))
