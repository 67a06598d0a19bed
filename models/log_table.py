"""Find the table in a logger's text file: separator, decimal mark, column heads, rows, and what was skipped.

Loggers put junk above the table, remarks between its rows, and words such as ``OL`` where a probe was open. Nothing of it
is guessed silently: every row left out is counted in a note.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..lamp_library.errors import InputError
from ..lamp_library.tables import MAX_ROW_CHARACTERS, read_text, split_cells

MIN_ROWS = 5
_SEPARATORS = ("\t", ";", ",")
_NUMBER = re.compile(r"[+-]?([0-9]+[.,]?[0-9]*|[.,][0-9]+)([eE][+-]?[0-9]+)?")
_CLOCK = re.compile(r".*[0-9]{1,2}:[0-9]{2}(:[0-9]{2})?.*")
_NO_READING = re.compile(
    r"|nan|n/?a|#n/a|null|none|-+|ol|-ol|open|over|under|err(or)?|fault|\*+|inf|-inf", re.IGNORECASE
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogTable:
    """Cells of a logger's table, still as text.

    Attributes
    ----------
    file : str
        File name for messages.
    header : tuple of str
        Column heads, with the units of a row below them.
    header_row : int
        Row of the heads, from 1.
    rows : tuple of (int, tuple of str)
        Row number and cells, as many as there are heads.
    decimal : str
        Decimal mark.
    notes : tuple of str
        What was skipped.
    """

    file: str
    header: tuple[str, ...]
    header_row: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    decimal: str
    notes: tuple[str, ...]

    def column(self, head: str) -> int:
        """Index of a column by its head, with or without its unit, or its beginning where that is unique.

        Raises
        ------
        InputError
            If no column, or more than one, is meant.
        """
        wanted = head.strip().casefold()
        for match in (
            [i for i, each in enumerate(self.header) if each.casefold() == wanted],
            [i for i, each in enumerate(self.header) if each.casefold().startswith(wanted)],
        ):
            if len(match) == 1:
                return match[0]
        raise InputError(
            f"{self.file}, row {self.header_row}: {'no column' if not match else 'more than one column'} is called "
            f"'{head}'; the heads are {', '.join(self.header)}."
        )

    def numbers(self, column: int) -> list[float]:
        """A column as numbers; a cell without a reading (blank, OL, ---) becomes not-a-number."""
        return [
            self._number(cells[column], f"{self.file}, row {row}, column '{self.header[column]}'")
            for row, cells in self.rows
        ]

    def _number(self, cell: str, where: str) -> float:
        if _NO_READING.fullmatch(cell):
            return float("nan")
        if not _NUMBER.fullmatch(cell):
            raise InputError(f"{where}: '{cell[:40]}' is no number; correct the cell.")
        if self.decimal == "." and "," in cell:
            raise InputError(
                f"{where}: '{cell[:40]}' has a decimal comma, other rows a point; use one, without thousands separators."
            )
        return float(cell.replace(",", "."))


def read_log_table(path: Path) -> LogTable:
    """Table of a logger file.

    Raises
    ------
    InputError
        If the file cannot be read, holds no table of five rows or more with column heads, or a row has numbers in another
        count of cells.
    """
    lines = read_text(path).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    long = next((i for i, line in enumerate(lines, start=1) if len(line) > MAX_ROW_CHARACTERS), None)
    if long is not None:
        raise InputError(
            f"{path.name}, row {long}: more than {MAX_ROW_CHARACTERS} characters; export one row per reading."
        )
    separator = _separator(lines, path.name)
    split = [split_cells(line.lstrip("# "), separator) for line in lines]
    first = next(i for i, cells in enumerate(split) if _is_data(cells))
    header, header_index = _header(lines, split, first, path.name)
    rows, notes = _rows(lines, split, first, len(header), path.name)
    if len(rows) < MIN_ROWS:
        raise InputError(
            f"{path.name}: {len(rows)} rows of readings; at least {MIN_ROWS} are needed. Export the whole log."
        )
    return LogTable(
        file=path.name,
        header=header,
        header_row=header_index + 1,
        rows=tuple(rows),
        decimal=_decimal(rows, separator),
        notes=tuple(notes),
    )


def _is_number(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell))


def _is_data(cells: Sequence[str]) -> bool:
    """Whether a line looks like readings: a time or number first, and a number or an open probe beside it."""
    if len(cells) < 2 or not (_is_number(cells[0]) or _CLOCK.fullmatch(cells[0]) or _is_date(cells[0])):
        return False
    rest = [cell for cell in cells[1:] if cell]
    return bool(rest) and all(
        _is_number(cell) or _NO_READING.fullmatch(cell) or _CLOCK.fullmatch(cell) for cell in rest
    )


def _is_date(cell: str) -> bool:
    return bool(re.fullmatch(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}", cell))


def _separator(lines: Sequence[str], file: str) -> str:
    """The separator that gives the most rows of readings; of equals, the first of tab, semicolon, comma."""
    counts = {
        mark: sum(_is_data(split_cells(line.lstrip("# "), mark)) for line in lines) for mark in _SEPARATORS
    }
    best = max(_SEPARATORS, key=lambda mark: counts[mark])
    if counts[best] == 0:
        raise InputError(
            f"{file}: no table of readings was found; a log holds a time column and at least one column of numbers, "
            "separated by tab, semicolon or comma."
        )
    return best


def _header(
    lines: Sequence[str], split: Sequence[Sequence[str]], first: int, file: str
) -> tuple[tuple[str, ...], int]:
    """Heads above the first reading; a row of units below the heads is joined to them."""
    width = len(split[first])
    above = [i for i in range(first) if lines[i].strip() and _trimmed(split[i]) >= min(2, width)]
    fits = [i for i in above[-2:] if _trimmed(split[i]) in (width, width - 1) or len(split[i]) >= width]
    if not fits:
        raise InputError(
            f"{file}, row {first + 1}: no column heads above the readings; put a line such as 'time_s;sample C;blank C' there."
        )
    heads = [cell.strip() for cell in split[fits[-1]]][:width]
    index = fits[-1]
    if len(fits) == 2 and fits[1] == fits[0] + 1 and _are_units(heads):
        upper = [cell.strip() for cell in split[fits[0]]][:width]
        heads = [f"{head} {unit}".strip() for head, unit in zip(upper, heads, strict=False)]
        index = fits[0]
    heads += [""] * (width - len(heads))
    named = tuple(head or f"column {i + 1}" for i, head in enumerate(heads))
    twice = sorted({head for head in named if named.count(head) > 1})
    if twice:
        raise InputError(
            f"{file}, row {index + 1}: two columns are called '{twice[0]}'; give each its own name."
        )
    return named, index


def _trimmed(cells: Sequence[str]) -> int:
    count = len(cells)
    while count and not cells[count - 1]:
        count -= 1
    return count


def _are_units(cells: Sequence[str]) -> bool:
    units = {"", "s", "sec", "min", "h", "ms", "c", "f", "k", "°c", "°f", "degc", "degf", "hh:mm:ss"}
    return all(cell.strip("[]() ").casefold() in units for cell in cells)


def _rows(
    lines: Sequence[str], split: Sequence[Sequence[str]], first: int, width: int, file: str
) -> tuple[list[tuple[int, tuple[str, ...]]], list[str]]:
    rows: list[tuple[int, tuple[str, ...]]] = []
    skipped: list[int] = []
    for number, cells in enumerate(split[first:], start=first + 1):
        if not lines[number - 1].strip(" \t;,"):
            continue
        kept = list(cells)
        while len(kept) > width and not kept[-1]:
            kept.pop()
        if _is_data(kept) and len(kept) <= width:
            rows.append((number, (*kept, *[""] * (width - len(kept)))))
        elif _is_data(kept):
            raise InputError(
                f"{file}, row {number}: {len(kept)} cells, but {width} column heads; make them equal. With a decimal comma, "
                "separate the columns by semicolon or tab."
            )
        else:
            skipped.append(number)
    if skipped:
        shown = ", ".join(str(number) for number in skipped[:5]) + (" ..." if len(skipped) > 5 else "")
        return rows, [f"{len(skipped)} row(s) without readings were skipped: {shown}."]
    return rows, []


def _decimal(rows: Sequence[tuple[int, tuple[str, ...]]], separator: str) -> str:
    if separator == ",":
        return "."
    plain = [cell for _, cells in rows for cell in cells if _is_number(cell)]
    return "," if any("," in cell for cell in plain) and not any("." in cell for cell in plain) else "."
