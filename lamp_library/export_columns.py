"""Columns of a spectroradiometer export: wide or long form, on one checked wavelength grid."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .errors import InputError
from .tables import (
    MAX_NAME_CHARACTERS,
    Table,
    find_table,
    is_wavelength_head,
    read_text,
    to_numbers,
    wavelength_column,
)
from .unit_text import without_unit

MIN_ROWS = 10
GAP_STEPS = 3.0
WAVELENGTH_RANGE_NM = (200.0, 1100.0)

# columns that instruments and spreadsheets add; taken for positions they would shift the mean
_NO_POSITIONS = frozenset(
    ["mean", "average", "avg", "sd", "std", "stdev", "sum", "total", "no", "no.", "nr", "nr.", "pixel", "row"]
)
_POSITION_HEADS = {"position", "finger", "nail", "site", "location", "place", "channel"}

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Columns of one file on one ascending wavelength grid, in the file's own unit."""

    wavelength_nm: FloatArray
    values: Mapping[str, FloatArray]
    rows: Mapping[str, tuple[int, ...]]
    heading: tuple[str, ...]
    notes: tuple[str, ...]


def read_readings(path: Path) -> Readings:
    """Columns of one export, all checks of the table done; the unit is still to be settled.

    Raises
    ------
    InputError
        If the file or its table breaks a rule of the reader.
    """
    table = find_table(read_text(path), path.name)
    heading = (*table.preamble, *table.header)
    if any(re.search(r"\bcounts?\b", head, re.IGNORECASE) for head in table.header):
        raise InputError(
            f"{path.name}, row {table.header_row}: the values are counts, not irradiance; export calibrated spectra."
        )
    long_column = _position_column(table)
    columns = _wide_columns(table) if long_column < 0 else _long_columns(table, long_column)
    return _on_one_grid(columns, heading, path.name)


def _position_column(table: Table) -> int:
    found = [i for i, head in enumerate(table.header) if head.strip().lower() in _POSITION_HEADS]
    if not found:
        return -1
    if len(table.header) != 3:
        raise InputError(
            f"{table.file}, row {table.header_row}: a position column needs exactly three columns (position, "
            f"wavelength, value), not {len(table.header)}; remove the others, or rename '{table.header[found[0]]}'."
        )
    return found[0]


_Column = list[tuple[int, float, float]]  # row, wavelength in nm, value


def _wide_columns(table: Table) -> dict[str, _Column]:
    wavelength = wavelength_column(table.header)
    labels = [_label(head) for head in table.header]
    others = [i for i in range(len(labels)) if i != wavelength]
    for i in others:
        if is_wavelength_head(table.header[i]) or labels[i].lower() in _NO_POSITIONS:
            raise InputError(
                f"{table.file}, row {table.header_row}: column '{table.header[i]}' is no position; keep one wavelength "
                "column and one column per position, or rename it."
            )
        if not labels[i]:
            raise InputError(
                f"{table.file}, row {table.header_row}: column {i + 1} has no name; name the position."
            )
        if labels.index(labels[i]) != i:
            raise InputError(
                f"{table.file}, row {table.header_row}: two columns are called '{labels[i]}'; give each its own name."
            )
    rows = to_numbers(table, range(len(labels)))
    return {labels[i]: [(row, numbers[wavelength], numbers[i]) for row, numbers in rows] for i in others}


def _label(head: str) -> str:
    """Position name of a column head; a head that is only a unit becomes ``position``."""
    return without_unit(head) or ("position" if head.strip() else "")


def _long_columns(table: Table, position: int) -> dict[str, _Column]:
    wavelength = wavelength_column(table.header)
    value = 3 - position - wavelength
    columns: dict[str, _Column] = {}
    numbers = to_numbers(table, (wavelength, value))
    for (row, cells), (_, (nm, reading)) in zip(table.rows, numbers, strict=True):
        label = cells[position].strip()
        if not 0 < len(label) <= MAX_NAME_CHARACTERS:
            size = f"{len(label)} characters long" if label else "blank"
            raise InputError(
                f"{table.file}, row {row}: the position is {size}; use 1-{MAX_NAME_CHARACTERS} characters."
            )
        columns.setdefault(label, []).append((row, nm, reading))
    return columns


def _on_one_grid(columns: dict[str, _Column], heading: tuple[str, ...], file: str) -> Readings:
    turned = False
    grids: list[FloatArray] = []
    for label, column in columns.items():
        nm = np.array([each[1] for each in column])
        if nm.size > 1 and np.all(np.diff(nm) < 0.0):
            column.reverse()
            nm, turned = nm[::-1], True
        _check_wavelengths(nm, [each[0] for each in column], label, file)
        if grids and not np.array_equal(nm, grids[0]):
            raise InputError(
                f"{file}, row {column[0][0]}: position '{label}' has other wavelengths than the first position; "
                "export all positions on one grid."
            )
        grids.append(nm)
    return Readings(
        wavelength_nm=grids[0],
        values={label: np.array([each[2] for each in column]) for label, column in columns.items()},
        rows={label: tuple(each[0] for each in column) for label, column in columns.items()},
        heading=heading,
        notes=("The wavelengths descend in the file; they were turned round.",) if turned else (),
    )


def _check_wavelengths(nm: FloatArray, rows: list[int], label: str, file: str) -> None:
    where = f"{file}, position '{label}'"
    if nm.size < MIN_ROWS:
        raise InputError(
            f"{where}: {nm.size} wavelengths only; at least {MIN_ROWS} are needed. Export the whole spectrum."
        )
    low, high = WAVELENGTH_RANGE_NM
    outside = np.flatnonzero((nm < low) | (nm > high))
    if outside.size:
        raise InputError(
            f"{file}, row {rows[outside[0]]}: wavelength is {nm[outside[0]]:g}; it must be {low:g}-{high:g} nm. Give "
            "wavelengths in nm."
        )
    steps = np.diff(nm)
    if (equal := np.flatnonzero(steps == 0.0)).size:
        i = equal[0]
        raise InputError(
            f"{file}, row {rows[i + 1]}: wavelength {nm[i]:g} nm occurs twice (also in row {rows[i]}); keep one."
        )
    if (falling := np.flatnonzero(steps < 0.0)).size:
        i = falling[0]
        twice = np.flatnonzero(nm[: i + 1] == nm[i + 1])
        also = f" and occurs twice (also in row {rows[twice[0]]})" if twice.size else ""
        raise InputError(
            f"{file}, row {rows[i + 1]}: wavelength {nm[i + 1]:g} nm follows {nm[i]:g} nm{also}; wavelengths must be "
            "sorted, without repeats. Sort the table."
        )
    wide = np.flatnonzero(steps > GAP_STEPS * float(np.median(steps)))
    if wide.size:
        i = wide[0]
        raise InputError(
            f"{file}, row {rows[i + 1]}: gap in the wavelengths between {nm[i]:g} and {nm[i + 1]:g} nm (usual step "
            f"{np.median(steps):.3g} nm); export the missing rows."
        )
