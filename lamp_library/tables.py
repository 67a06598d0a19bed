"""From a text file to a checked table of cells: encoding, separator, header row, numbers.

Every refusal is one line: file, row, rule, remedy. Rows count from 1 as an editor shows them.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from .errors import InputError

MAX_BYTES = 50_000_000
MAX_NAME_CHARACTERS = 80
MAX_NUMBER = 1e12  # no spectrum comes near it, and sums of such numbers do not overflow
MAX_ROW_CHARACTERS = 100_000  # below the csv module's own limit

_SEPARATORS = ("\t", ";", ",")
_SEPARATOR_NAMES = {"\t": "tab", ";": "semicolon", ",": "comma"}
_WAVELENGTH_CELL = re.compile(
    r"(wave[ _-]?length|lambda|λ|wl|wvl)?[\s_]*[\[(/]?\s*(nm)?\s*[\])]?", re.IGNORECASE
)
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_MISSING = {"", "nan", "na", "n/a", "#n/a", "null", "none", "-", "--"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Cells of a table inside a text file, still as text.

    Parameters
    ----------
    file : str
        File name for messages.
    preamble : tuple of str
        The lines before the table.
    header : tuple of str
        Column heads; a units row below the head is joined to them.
    header_row : int
        Row of the column heads, from 1.
    rows : tuple of (int, tuple of str)
        Row number and cells, as many as there are heads.
    separator : str
        The character between cells.
    """

    file: str
    preamble: tuple[str, ...]
    header: tuple[str, ...]
    header_row: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    separator: str


def read_text(path: Path) -> str:
    """Text of a file; refused when missing, empty, binary or above 50 MB (judged before reading).

    UTF-8 with or without a byte-order mark; a file that is not UTF-8 is read as Latin-1. Words may
    hold any letters, numbers plain digits only.
    """
    if not path.exists():
        raise InputError(f"{path}: no such file; check the path.")
    if not path.is_file():
        raise InputError(f"{path}: not a file; give the path of a text file.")
    size = path.stat().st_size
    if size > MAX_BYTES:
        raise InputError(
            f"{path.name}: the file has {size / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB are read. "
            "Export the spectra alone, as text."
        )
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); check its permissions.") from error
    if not raw.strip():
        raise InputError(f"{path.name}: the file is empty; export the measurement again.")
    if b"\x00" in raw or sum(byte < 9 or 13 < byte < 32 for byte in raw[:4096]) > 0:
        raise InputError(f"{path.name}: not plain text (binary, or UTF-16); export as CSV in UTF-8.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def find_table(text: str, file: str) -> Table:
    """Find the table in a text: the first row with a wavelength head and at least one more column.

    Lines above it are the preamble; lines that start with ``#`` inside it are skipped; it ends
    with the file. The separator is the one that splits the head: tab, else semicolon, else comma.

    Raises
    ------
    InputError
        If there is no such row, only one column, no rows below it, a row of another length, a
        blank row inside, or a row of more than 100 000 characters.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for row, line in enumerate(lines, start=1):
        if len(line) > MAX_ROW_CHARACTERS:
            raise InputError(
                f"{file}, row {row}: the row has {len(line)} characters; at most {MAX_ROW_CHARACTERS} are read. "
                "Export one row per wavelength."
            )
    found = next((i for i, line in enumerate(lines) if _is_head(line)), None)
    if found is None:
        raise InputError(
            f"{file}: no row of column heads with a wavelength column was found; "
            "put a line such as 'wavelength_nm;thumb;index' above the numbers."
        )
    separator = _separator(lines[found])
    header = split_cells(lines[found].lstrip("# "), separator)
    while header and not header[-1]:
        header.pop()
    if len(header) < 2:
        raise InputError(
            f"{file}, row {found + 1}: the table has only one column; give the wavelength and at least one "
            "position, separated by comma, semicolon or tab."
        )
    if (longest := max(len(head) for head in header)) > MAX_NAME_CHARACTERS:
        raise InputError(
            f"{file}, row {found + 1}: a column head has {longest} characters; at most {MAX_NAME_CHARACTERS} are "
            "allowed. Shorten it."
        )
    first = found + 1
    if first < len(lines) and _is_units_row(below := split_cells(lines[first], separator)):
        header = [
            head if is_wavelength_head(head) else f"{head} {unit}".strip()
            for head, unit in zip(header, [*below, *[""] * len(header)], strict=False)
        ]
        first += 1
    return Table(
        file=file,
        preamble=tuple(lines[:found]),
        header=tuple(header),
        header_row=found + 1,
        rows=_rows(lines, first, len(header), separator, file),
        separator=separator,
    )


def to_numbers(table: Table, columns: Sequence[int]) -> list[tuple[int, list[float]]]:
    """Numbers in some columns of a table, each with its row.

    A decimal comma is accepted where the comma does not separate the columns; one table uses one
    decimal mark.

    Raises
    ------
    InputError
        If a cell is blank, NaN or no number, or both decimal marks occur.
    """
    decimal = _decimal_mark(table, columns)
    return [
        (
            row,
            [
                _number(cells[i], decimal, f"{table.file}, row {row}, column '{table.header[i]}'")
                for i in columns
            ],
        )
        for row, cells in table.rows
    ]


def _is_head(line: str) -> bool:
    separator = _separator(line)
    return any(is_wavelength_head(cell) for cell in split_cells(line.lstrip("# "), separator))


def is_wavelength_head(cell: str) -> bool:
    """Whether a column head says wavelength, e.g. ``Wavelength [nm]``."""
    return bool(cell) and _WAVELENGTH_CELL.fullmatch(cell) is not None and any(c.isalpha() for c in cell)


def wavelength_column(header: Sequence[str]) -> int:
    """Index of the first head that says wavelength; -1 when there is none."""
    return next((i for i, cell in enumerate(header) if is_wavelength_head(cell)), -1)


def _is_units_row(cells: Sequence[str]) -> bool:
    return any(cell.strip("[]() ").lower() == "nm" for cell in cells)


def _separator(line: str) -> str:
    return next((mark for mark in _SEPARATORS if mark in line), ",")


def split_cells(line: str, separator: str) -> list[str]:
    """Cells of a line, quotes resolved, unprintable characters and outer blanks removed."""
    cells = next(csv.reader([line], delimiter=separator), [])
    return ["".join(c if c.isprintable() else " " for c in cell).strip() for cell in cells]


def _rows(
    lines: list[str], first: int, width: int, separator: str, file: str
) -> tuple[tuple[int, tuple[str, ...]], ...]:
    last = len(lines)
    while last > first and not lines[last - 1].strip(" \t;,"):
        last -= 1
    rows = []
    for row, line in enumerate(lines[first:last], start=first + 1):
        if line.startswith("#"):
            continue
        if not line.strip(" \t;,"):
            raise InputError(f"{file}, row {row}: a blank row inside the table; remove it or fill it in.")
        cells = split_cells(line, separator)
        while len(cells) > width and not cells[-1]:
            cells.pop()
        if len(cells) != width:
            name = _SEPARATOR_NAMES[separator]
            raise InputError(
                f"{file}, row {row}: {len(cells)} cells, but {width} column heads (separator: {name}); make them "
                "equal. With a decimal comma, separate the columns by semicolon or tab."
            )
        rows.append((row, tuple(cells)))
    if not rows:
        raise InputError(f"{file}: no rows below the column heads; export the measurement again.")
    return tuple(rows)


def _decimal_mark(table: Table, columns: Sequence[int]) -> str:
    if table.separator == ",":
        return "."
    comma = point = 0
    for row, cells in table.rows:
        comma = comma or (row if any("," in cells[i] for i in columns) else 0)
        point = point or (row if any("." in cells[i] for i in columns) else 0)
        if comma and point:
            raise InputError(
                f"{table.file}, row {max(comma, point)}: decimal comma and decimal point are mixed (row "
                f"{min(comma, point)} has the other); use one, without thousands separators."
            )
    return "," if comma else "."


def _number(cell: str, decimal: str, where: str) -> float:
    if cell.lower() in _MISSING:
        shown = f"'{cell}'" if cell else "blank"
        raise InputError(
            f"{where}: the value is {shown}; every cell needs a number. Measure again or remove the row."
        )
    if _NUMBER.fullmatch(cell.replace(decimal, ".")) is None:
        shown = cell if len(cell) <= 40 else f"{cell[:37]}..."
        raise InputError(f"{where}: '{shown}' is not a number; correct the cell.")
    value = float(cell.replace(decimal, "."))
    if abs(value) > MAX_NUMBER:
        raise InputError(f"{where}: '{cell}' is too large; correct the cell.")
    return value
