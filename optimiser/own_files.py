"""Files a brief may name: a list of substances, a price list in any currency, the stock on hand; all CSV."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from ..lamp_library.errors import InputError
from ..lamp_library.tables import read_text
from .own_rules import LIST_STATES, ListRule

SEPARATORS = ("\t", ";", ",")


def read_substance_list(file: Path) -> dict[str, ListRule]:
    """Read columns ``substance, state`` and, optionally, ``max_wt_pct, reason``.

    Raises
    ------
    InputError
        If a row breaks a rule: file, row, value, remedy.
    """
    found: dict[str, ListRule] = {}
    for row, cells in _rows(file, ("substance", "state"), ("max_wt_pct", "reason")):
        key, state = _new(cells["substance"], found, file, row), cells["state"].lower()
        if state not in LIST_STATES:
            raise InputError(
                f"{file.name}, row {row}: state is '{cells['state']}'; it must be one of {', '.join(LIST_STATES)}."
            )
        most = _number(cells["max_wt_pct"], "max_wt_pct", file, row) if cells["max_wt_pct"] else None
        if (state == "restricted") != (most is not None):
            raise InputError(
                f"{file.name}, row {row}: {key} is {state} {'without' if most is None else 'with'} max_wt_pct; only a "
                "restricted substance has one, and needs it."
            )
        found[key] = ListRule(state=state, max_wt_pct=most, reason=cells["reason"])
    return found


def read_prices(file: Path, currency: str, rates: Mapping[str, float]) -> dict[str, float]:
    """Read columns ``substance, price_per_kg, currency`` into prices per kg in one currency.

    Parameters
    ----------
    file : Path
        The price list.
    currency : str
        Currency of the brief.
    rates : mapping of str to float
        Worth of one unit of another currency in that of the brief.

    Raises
    ------
    InputError
        If a row breaks a rule or its currency has no rate.
    """
    found: dict[str, float] = {}
    for row, cells in _rows(file, ("substance", "price_per_kg", "currency"), ()):
        key = _new(cells["substance"], found, file, row)
        price = _number(cells["price_per_kg"], "price_per_kg", file, row)
        if cells["currency"] == currency:
            rate = 1.0
        elif cells["currency"] in rates:
            rate = rates[cells["currency"]]
        else:
            raise InputError(
                f"{file.name}, row {row}: the price of {key} is in {cells['currency'] or 'no currency'}; the brief counts in "
                f"{currency or 'none'}. Give prices.currency and prices.rates = {{ {cells['currency'] or 'XYZ'} = ... }}."
            )
        found[key] = price * rate
    return found


def read_stock(file: Path) -> dict[str, float]:
    """Read columns ``substance, on_hand_g`` into grams; rows of one substance (lots) add up."""
    found: dict[str, float] = {}
    for row, cells in _rows(file, ("substance", "on_hand_g"), ()):
        key = cells["substance"]
        found[key] = found.get(key, 0.0) + _number(cells["on_hand_g"], "on_hand_g", file, row)
    return found


def _new(key: str, found: Mapping[str, object], file: Path, row: int) -> str:
    if key in found:
        raise InputError(f"{file.name}, row {row}: {key} is listed twice. Remove one.")
    return key


def _rows(file: Path, needed: Sequence[str], optional: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """Cells by column with their row number, comments (#) and empty lines left out."""
    lines = [
        (number, line)
        for number, line in enumerate(read_text(file).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputError(
            f"{file.name}: holds no rows. Write the columns {', '.join(needed)} and rows below them."
        )
    head_line = lines[0][1]
    separator = next((each for each in SEPARATORS if each in head_line), ",")
    head = [cell.strip().lower() for cell in next(csv.reader([head_line], delimiter=separator))]
    for column in needed:
        if column not in head:
            raise InputError(
                f"{file.name}, row {lines[0][0]}: the column {column} is missing (found {', '.join(head)}). "
                f"Needed are {', '.join(needed)}."
            )
    found = []
    for number, line in lines[1:]:
        cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
        if len(cells) > len(head) or len(cells) < len(needed):
            raise InputError(
                f"{file.name}, row {number}: {len(cells)} cells under {len(head)} columns. Quote cells that hold the separator."
            )
        row = dict(zip(head, [*cells, *[""] * (len(head) - len(cells))], strict=True))
        if not row["substance"]:
            raise InputError(f"{file.name}, row {number}: substance is empty. Write its key.")
        found.append((number, {column: row.get(column, "") for column in (*needed, *optional)}))
    return found


def _number(cell: str, column: str, file: Path, row: int) -> float:
    text = cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value >= 0.0):
        raise InputError(f"{file.name}, row {row}: {column} is '{cell}'; it must be a number of 0 or more.")
    return value
