"""The trial book as text for people: every entry by kind, and what is wrong with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .book import KINDS, Entry, entries, log_lines
from .progress import silent

if TYPE_CHECKING:
    from .search import Progress


def book_text(book: Path, say: Progress = silent) -> tuple[str, int]:
    """The book as text, and how many faults there are; `say` is told before each entry."""
    found = list(entries(book, say))
    _, complaints = log_lines(book)
    width = max((len(each.name) for each in found), default=0) + 2
    lines = []
    for kind in KINDS:
        own = [each for each in found if each.kind == kind]
        if own:
            lines += [f"{kind}:", *(f"  {each.name:<{width}}{_shown(each)}" for each in own)]
    faulty = sum(bool(each.fault) for each in found) + len(complaints)
    lines += [f"FAULT: {each}" for each in complaints]
    lines.append(
        f"{len(found)} {'entry' if len(found) == 1 else 'entries'}, {faulty} with a fault."
        if found
        else f"{book}: the book is empty. Add with gelwright book add."
    )
    return "\n".join(lines), faulty


def _shown(entry: Entry) -> str:
    return f"DAMAGED: {entry.fault}" if entry.fault else entry.summary
