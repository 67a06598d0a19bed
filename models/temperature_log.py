"""Thermocouple logs: channels in kelvin against seconds, with a declared unit that must be believable."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.units import ZERO_CELSIUS_K
from .log_table import LogTable, read_log_table
from .log_time import seconds, time_column

Array = NDArray[np.float64]

TEMPERATURE_UNITS = ("C", "F", "K")
# where a probe may stand before the lamp is lit, and what a trial may reach: assumed, wide
START_RANGE_C = (5.0, 45.0)
WHOLE_RANGE_C = (-10.0, 200.0)
_START_READINGS = 5
_UNIT_IN_HEAD = re.compile(r"(?:°|º|deg\.?\s*|degrees?\s*|\[|\()\s*([CFK])\b|[\s_,/]([CFK])$", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TemperatureLog:
    """Channels of a log.

    Attributes
    ----------
    file : str
        File name.
    time_s : ndarray, shape (n,)
        Times, increasing [s].
    channels : mapping of str to ndarray, shape (n,)
        Readings of each wanted channel [K]; not-a-number where the logger had none.
    unit : str
        Unit of the file.
    notes : tuple of str
        What was done or noticed.
    """

    file: str
    time_s: Array
    channels: Mapping[str, Array]
    unit: str
    notes: tuple[str, ...]


def kelvin(values: Array, unit: str) -> Array:
    """Temperatures in "C", "F" or "K" as kelvin.

    Examples
    --------
    >>> float(kelvin(np.array([212.0]), "F")[0])
    373.15
    """
    if unit == "F":
        return np.asarray((values - 32.0) / 1.8 + ZERO_CELSIUS_K)
    return values + ZERO_CELSIUS_K if unit == "C" else values


def unit_of_heads(heads: Sequence[str]) -> tuple[str, ...]:
    """Temperature units named in column heads, each once."""
    found = [match for head in heads for match in _UNIT_IN_HEAD.finditer(head)]
    return tuple(dict.fromkeys((match[1] or match[2]).upper() for match in found))


def read_temperature_log(
    path: Path,
    channels: Sequence[str],
    *,
    unit: str | None = None,
    time: str | None = None,
    time_unit: str | None = None,
) -> TemperatureLog:
    """Read some channels of a thermocouple log.

    Parameters
    ----------
    path : Path
        CSV or TSV file.
    channels : sequence of str
        Column heads, with or without their units.
    unit : {"C", "F", "K"}, optional
        Unit of the readings; may be left out where the heads say it.
    time, time_unit : str, optional
        Head of the time column and unit of plain numbers in it ("s", "min", "h", "ms").

    Returns
    -------
    TemperatureLog

    Raises
    ------
    InputError
        If the file breaks a rule, the unit is not declared or contradicts the heads, or the readings are not believable in
        that unit; the message then names the likely slip.
    """
    table = read_log_table(path)
    columns = {name: table.column(name) for name in channels}
    settled = _settled_unit(table, list(columns.values()), unit)
    clock = time_column(table, time)
    time_s, notes = seconds(table, clock, time_unit)
    read = {name: kelvin(np.array(table.numbers(i)), settled) for name, i in columns.items()}
    for name, values in read.items():
        _check_believable(values, settled, f"{path.name}, channel '{name}'")
    return TemperatureLog(
        file=path.name, time_s=time_s, channels=read, unit=settled, notes=(*table.notes, *notes)
    )


def _settled_unit(table: LogTable, columns: Sequence[int], option: str | None) -> str:
    if option is not None and option not in TEMPERATURE_UNITS:
        raise unknown_name("unit of temperature", option, TEMPERATURE_UNITS)
    found = unit_of_heads([table.header[i] for i in columns])
    if len(found) > 1:
        raise InputError(
            f"{table.file}, row {table.header_row}: the heads name several units ({', '.join(found)}); one log holds one."
        )
    if option is None and not found:
        raise InputError(
            f'{table.file}: no unit of temperature is declared; say which (unit = "C" or unit = "F").'
        )
    if option is not None and found and found[0] != option:
        raise InputError(
            f"{table.file}, row {table.header_row}: the heads say {found[0]}, the sheet says {option}; correct whichever is "
            "wrong."
        )
    return option or found[0]


def _check_believable(values_k: Array, unit: str, where: str) -> None:
    """Raise unless the channel starts like a room or a hand and stays within what a trial can reach."""
    seen = values_k[np.isfinite(values_k)]
    if seen.size < 0.5 * values_k.size:
        raise InputError(
            f"{where}: {values_k.size - seen.size} of {values_k.size} readings are missing; the probe was open. Check its plug."
        )
    start_k = float(np.median(seen[:_START_READINGS]))
    low, high = START_RANGE_C
    if not low <= start_k - ZERO_CELSIUS_K <= high:
        raise InputError(
            f"{where}: read as {unit}, it starts at {start_k - ZERO_CELSIUS_K:.1f} C; a trial starts between {low:g} and "
            f"{high:g} C. {_slip(start_k, unit)}"
        )
    least, most = float(seen.min()) - ZERO_CELSIUS_K, float(seen.max()) - ZERO_CELSIUS_K
    if least < WHOLE_RANGE_C[0] or most > WHOLE_RANGE_C[1]:
        raise InputError(
            f"{where}: read as {unit}, it runs from {least:.1f} to {most:.1f} C; a trial stays between {WHOLE_RANGE_C[0]:g} and "
            f"{WHOLE_RANGE_C[1]:g} C. Check the unit, and the log for a broken probe."
        )


def _slip(start_k: float, unit: str) -> str:
    own = {"C": start_k - ZERO_CELSIUS_K, "F": (start_k - ZERO_CELSIUS_K) * 1.8 + 32.0, "K": start_k}[unit]
    fitting = [
        f"{other} ({float(kelvin(np.array([own]), other)[0]) - ZERO_CELSIUS_K:.1f} C)"
        for other in TEMPERATURE_UNITS
        if START_RANGE_C[0] <= float(kelvin(np.array([own]), other)[0]) - ZERO_CELSIUS_K <= START_RANGE_C[1]
    ]
    if fitting:
        return f"As {' or '.join(fitting)} it would be believable: check the logger's unit."
    return "No unit makes it believable: check for millivolts, a wrong channel, or a probe left in ice or on a heater."
