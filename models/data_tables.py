"""Read the tidy data tables: one row per number, with unit, source and kind, converted on load.

A number keeps the unit of its source in the file. Where sources disagree the table holds all of
them and marks exactly one as preferred; only that one reaches the model.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from ..lamp_library import units
from ..lamp_library.errors import InputError, unknown_name

DATA = Path(__file__).parent / "data"
KINDS = ("measured", "datasheet", "fitted", "estimated", "assumed", "computed")
UNVERIFIED_KINDS = ("estimated", "assumed")


def _same(value: float) -> float:
    return value


def _thousandth(value: float) -> float:
    return value / 1e3


def _hundredfold(value: float) -> float:
    return value * 1e2


def _thousandfold(value: float) -> float:
    return value * 1e3


# (unit in the file, unit inside) -> conversion
_CONVERSIONS: Mapping[tuple[str, str], Callable[[float], float]] = {
    ("-", "-"): _same,
    ("%", "%"): _same,
    ("K", "K"): _same,
    ("C", "K"): units.k_from_c,
    ("g/mol", "kg/mol"): _thousandth,
    ("g/mL", "kg/m3"): _thousandfold,
    ("kJ/mol", "J/mol"): _thousandfold,
    ("L/mol/s", "m3/mol/s"): units.m3_mol_s_from_l_mol_s,
    ("L/mol", "m3/mol"): _thousandth,
    ("mol/L", "mol/m3"): units.mol_m3_from_mol_l,
    ("mmol/L", "mol/m3"): _same,
    ("mol/m3", "mol/m3"): _same,
    ("m2/s", "m2/s"): _same,
    ("mPa s", "Pa s"): _thousandth,
    ("J/g/K", "J/kg/K"): _thousandfold,
    ("W/m/K", "W/m/K"): _same,
    ("L/mol/cm", "m2/mol"): units.m2_mol_from_l_mol_cm,
    ("1/cm/wt%", "1/m/wt%"): _hundredfold,
}
_SUFFIXES = {
    "K": "_k",
    "kg/mol": "_kg_mol",
    "kg/m3": "_kg_m3",
    "J/mol": "_j_mol",
    "m3/mol/s": "_m3_mol_s",
    "m3/mol": "_m3_mol",
    "mol/m3": "_mol_m3",
    "m2/s": "_m2_s",
    "Pa s": "_pa_s",
    "J/kg/K": "_j_kg_k",
    "W/m/K": "_w_m_k",
    "m2/mol": "_m2_mol",
    "1/m/wt%": "_1_m_per_wt_pct",
    "%": "_wt_pct",
    "-": "",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """One number of a tidy table, still in the unit of its source.

    Parameters
    ----------
    substance, property : str
        What the number belongs to.
    value : float
        Value in `unit`.
    unit : str
        Unit as the file states it.
    uncertainty : float or None
        Standard uncertainty in `unit`, where the table has one.
    source : str
        Key in ``sources.csv``.
    kind : str
        measured, datasheet, fitted, estimated, assumed or computed.
    note : str
        Why this value, in a sentence.
    where : str
        File and row, for messages.
    """

    substance: str
    property: str
    value: float
    unit: str
    uncertainty: float | None = None
    source: str
    kind: str
    note: str
    where: str

    def in_unit(self, target: str) -> float:
        """Value in another unit.

        Raises
        ------
        InputError
            If no conversion from the unit of the file is known.
        """
        convert = _CONVERSIONS.get((self.unit, target))
        if convert is None:
            known = ", ".join(unit for unit, inside in _CONVERSIONS if inside == target)
            raise InputError(
                f"{self.where}: {self.property} of {self.substance} is in '{self.unit}'; use one of: {known}."
            )
        return convert(self.value)


def field_name(property_name: str, unit_inside: str) -> str:
    """Name of the dataclass field that holds a property: property plus suffix of its unit.

    Examples
    --------
    >>> field_name("molar_mass", "kg/mol")
    'molar_mass_kg_mol'
    """
    return property_name + _SUFFIXES[unit_inside]


def read_rows(file: str) -> list[dict[str, str]]:
    """Rows of a packaged CSV table, as text, each with its file and row under ``where``."""
    with (DATA / file).open(encoding="utf-8", newline="") as handle:
        reader = csv.DictReader(handle)
        return [{**row, "where": f"{file}, row {number}"} for number, row in enumerate(reader, start=2)]


def parse_number(text: str, where: str, what: str) -> float:
    """Finite number in a cell, or a one-line error naming file, row and quantity."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{where}: {what} is '{text}'; it must be a finite number. Correct the cell.")
    return value


@cache
def read_numbers(file: str) -> Mapping[str, Mapping[str, Number]]:
    """Preferred numbers of a tidy table, by substance and property.

    Raises
    ------
    InputError
        If a value is no number, a kind or source is unknown, or a property of a substance has no
        preferred row or more than one.
    """
    table: dict[str, dict[str, Number]] = {}
    seen: dict[tuple[str, str], str] = {}
    for row in read_rows(file):
        number = _number(row)
        slot = table.setdefault(number.substance, {})
        seen.setdefault((number.substance, number.property), number.where)
        if row["preferred"] != "yes":
            continue
        if number.property in slot:
            raise InputError(
                f"{number.where}: {number.property} of {number.substance} is preferred twice; mark one row only."
            )
        slot[number.property] = number
    for (substance, name), where in seen.items():
        if name not in table[substance]:
            raise InputError(f"{where}: {name} of {substance} has no preferred row; mark one.")
    return table


def _number(row: Mapping[str, str]) -> Number:
    where = row["where"]
    if row["kind"] not in KINDS:
        raise InputError(f"{where}: kind is '{row['kind']}'; it must be one of {', '.join(KINDS)}.")
    if row["source"] not in read_sources():
        raise InputError(f"{where}: source '{row['source']}' is not in sources.csv; add it there.")
    if row["preferred"] not in ("yes", "no"):
        raise InputError(f"{where}: preferred is '{row['preferred']}'; write yes or no.")
    return Number(
        substance=row["substance"],
        property=row["property"],
        value=parse_number(row["value"], where, f"{row['property']} of {row['substance']}"),
        unit=row["unit"],
        uncertainty=_uncertainty(row),
        source=row["source"],
        kind=row["kind"],
        note=row["note"],
        where=where,
    )


def _uncertainty(row: Mapping[str, str]) -> float | None:
    if not row["uncertainty"].strip():
        return None
    what = f"uncertainty of {row['property']} of {row['substance']}"
    value = parse_number(row["uncertainty"], row["where"], what)
    if not value > 0.0:
        raise InputError(f"{row['where']}: {what} is {value:g}; it must be above 0, or the cell empty.")
    return value


def required(numbers: Mapping[str, Number], substance: str, name: str, file: str) -> Number:
    """Preferred number of a property, or an error that names substance, property and file."""
    if name not in numbers:
        raise InputError(f"{file}: {name} of {substance} is missing; add a row with its value and source.")
    return numbers[name]


@cache
def read_sources() -> Mapping[str, Mapping[str, str]]:
    """Rows of ``sources.csv`` by key."""
    return {row["key"]: row for row in read_rows("sources.csv")}


def citation(key: str) -> str:
    """One line of reference for a source key.

    Raises
    ------
    UnknownNameError
        If the key is not in ``sources.csv``.
    """
    sources = read_sources()
    if key not in sources:
        raise unknown_name("source", key, sources)
    row = sources[key]
    year = "" if row["year"] == "-" else f" ({row['year']})"
    place = "" if row["reference"] == "-" else f" {row['reference'].rstrip('.')}."
    seen = " [from memory, not opened]" if row["seen"] == "from memory" else ""
    return f"{row['author']}{year}. {row['title']}.{place}{seen}"
