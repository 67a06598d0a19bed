"""Seconds from a logger's time column: seconds, minutes, milliseconds, or a clock with or without a date.

A clock that shows whole seconds although the logger reads faster repeats itself; readings of the same second are then
spread evenly over it, with a note. Numbers need a declared unit: it is never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, unknown_name
from .log_table import LogTable

Array = NDArray[np.float64]

S_PER_UNIT = {"s": 1.0, "min": 60.0, "h": 3600.0, "ms": 1.0e-3}
DAY_S = 86_400.0
_SPELLINGS = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "min": "min", "mins": "min", "minute": "min",
    "minutes": "min", "h": "h", "hr": "h", "hour": "h", "hours": "h", "ms": "ms", "msec": "ms", "millisecond": "ms",
    "milliseconds": "ms",
}  # fmt: skip
_CLOCK = re.compile(
    r"((?P<date>.*?)[T ])?(?P<h>[0-9]{1,4}):(?P<m>[0-9]{2})(:(?P<s>[0-9]{2}([.,][0-9]+)?))?\s*(?P<half>[ap]\.?m\.?)?\s*(Z|[+-][0-9:]+)?",
    re.IGNORECASE,
)
_TIME_HEAD = re.compile(r"\b(time|zeit|clock|elapsed|timestamp|date ?time|t)\b", re.IGNORECASE)


def time_column(table: LogTable, head: str | None) -> int:
    """Index of the time column: the one named, or the only one whose head or cells say time.

    Raises
    ------
    InputError
        If none or several could be meant.
    """
    if head is not None:
        return table.column(head)
    plain = [each.replace("_", " ") for each in table.header]
    clocks = [i for i, cell in enumerate(table.rows[0][1]) if _CLOCK.fullmatch(cell)]
    named = [i for i, each in enumerate(plain) if _TIME_HEAD.search(each)]
    for found in ([i for i in named if i in clocks], clocks, named):
        if len(found) == 1:
            return found[0]
    raise InputError(
        f"{table.file}, row {table.header_row}: {'no' if not named else 'more than one'} time column was found; name it "
        f"(time = ...). The heads are {', '.join(table.header)}."
    )


def seconds(table: LogTable, column: int, unit: str | None = None) -> tuple[Array, list[str]]:
    """A time column in seconds from its first reading.

    Parameters
    ----------
    table : LogTable
        The log.
    column : int
        Which column.
    unit : {"s", "min", "h", "ms"}, optional
        Unit of plain numbers; may be left out where the head says it, or for a clock.

    Returns
    -------
    time_s : ndarray, shape (n,)
        Increasing, starting at the first reading's own value for plain numbers, at 0 for a clock [s].
    notes : list of str
        What was done to it.

    Raises
    ------
    InputError
        If a cell is no time, time runs backwards, or the unit is not declared or declared twice differently.
    """
    cells = [cells[column] for _, cells in table.rows]
    where = f"{table.file}, column '{table.header[column]}'"
    if _CLOCK.fullmatch(cells[0]):
        time = _clock_seconds(table, cells, where)
        time -= time[0]
    else:
        time = np.array(table.numbers(column)) * S_PER_UNIT[_unit(table.header[column], unit, where)]
        if not np.isfinite(time).all():
            row = table.rows[int(np.flatnonzero(~np.isfinite(time))[0])][0]
            raise InputError(f"{where}, row {row}: the time is missing; fill it in or remove the row.")
    back = np.flatnonzero(np.diff(time) < 0.0)
    if back.size:
        row = table.rows[int(back[0]) + 1][0]
        raise InputError(
            f"{where}, row {row}: time runs backwards by {-np.diff(time)[back[0]]:.4g} s; one file holds one run. Split it."
        )
    return _spread(time, where)


def _unit(head: str, option: str | None, where: str) -> str:
    if option is not None and option not in S_PER_UNIT:
        raise unknown_name("unit of time", option, S_PER_UNIT)
    words = [word.casefold() for word in re.split(r"[^A-Za-z]+", head) if word]
    found = [_SPELLINGS[word] for word in words[1:] or words if word in _SPELLINGS]
    if option is None and not found:
        raise InputError(f"{where}: no unit of time is declared; say which ({', '.join(S_PER_UNIT)}).")
    if option is not None and found and found[-1] != option:
        raise InputError(
            f"{where}: the head says {found[-1]}, the sheet says {option}; correct whichever is wrong."
        )
    return option or found[-1]


def _clock_seconds(table: LogTable, cells: Sequence[str], where: str) -> Array:
    time = np.empty(len(cells))
    days, before, date = 0.0, 0.0, None
    for i, cell in enumerate(cells):
        match = _CLOCK.fullmatch(cell)
        if match is None:
            raise InputError(f"{where}, row {table.rows[i][0]}: '{cell[:40]}' is no clock time.")
        now = 3600.0 * _hour(match) + 60.0 * float(match["m"]) + float((match["s"] or "0").replace(",", "."))
        # past midnight: the clock jumps back, and so does the date where there is one
        if i and now < before and (match["date"] != date or before - now > 0.5 * DAY_S):
            days += DAY_S
        before, date = now, match["date"]
        time[i] = days + now
    return time


def _hour(match: re.Match[str]) -> float:
    hour = float(match["h"])
    half = (match["half"] or "").casefold().replace(".", "")
    if half == "pm":
        return hour % 12.0 + 12.0
    return hour % 12.0 if half == "am" else hour


def _spread(time: Array, where: str) -> tuple[Array, list[str]]:
    """Spread readings that carry the same time evenly until the next one."""
    starts = np.flatnonzero(np.concatenate([[True], np.diff(time) > 0.0]))
    if starts.size == time.size:
        return time, []
    if starts.size < 3:
        raise InputError(
            f"{where}: nearly all readings carry the same time; export the time with each reading."
        )
    counts = np.diff(np.append(starts, time.size))
    usual = float(np.median(np.diff(time[starts])))
    spans = np.append(np.diff(time[starts]), usual)
    # a pause of the logger must not stretch the readings before it
    spans = np.minimum(spans, usual)
    inside = np.arange(time.size) - np.repeat(starts, counts)
    spread = time + inside / np.repeat(counts, counts) * np.repeat(spans, counts)
    return spread, [
        f"The clock repeats itself ({time.size} readings, {starts.size} times); readings of one time were spread over it."
    ]
