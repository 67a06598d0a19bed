"""Write TOML; the standard library only reads it.

Covers what lamp and gel files hold: strings, booleans, whole and real numbers, flat lists, lists
of flat tables written in line, and nested tables.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from .errors import InputError

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}

TomlValue = str | bool | int | float | Sequence["TomlValue"] | Mapping[str, "TomlValue"]


def toml_text(document: Mapping[str, TomlValue], *, comments: Sequence[str] = ()) -> str:
    """Text of a TOML document that reads back as `document`.

    Parameters
    ----------
    document : mapping
        Keys to values; a mapping becomes a table, a list stays in one line.
    comments : sequence of str
        Lines put at the top, each after ``#``.

    Raises
    ------
    InputError
        If a number is not finite.

    Examples
    --------
    >>> print(toml_text({"name": "arch", "air": {"start_c": 25.0}}, comments=["a note"]), end="")
    # a note
    name = "arch"
    <BLANKLINE>
    [air]
    start_c = 25.0
    """
    lines = [f"# {''.join(c if c.isprintable() else ' ' for c in line)}" for line in comments]
    _write_table(document, (), lines)
    return "\n".join(lines) + "\n"


def _write_table(table: Mapping[str, TomlValue], path: tuple[str, ...], lines: list[str]) -> None:
    plain = {key: value for key, value in table.items() if not isinstance(value, Mapping)}
    if path and (plain or not table):
        lines += ["", f"[{'.'.join(_key(part) for part in path)}]"]
    lines += [f"{_key(key)} = {_value(value)}" for key, value in plain.items()]
    for key, value in table.items():
        if isinstance(value, Mapping):
            _write_table(value, (*path, key), lines)


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _string(key)


def _string(text: str) -> str:
    escaped = "".join(_ESCAPES.get(c, c if c.isprintable() else f"\\U{ord(c):08X}") for c in text)
    return f'"{escaped}"'


def _value(value: TomlValue) -> str:
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, int | float):
        if not math.isfinite(value):
            raise InputError(f"a number to be written is {value}; only finite numbers go into a file.")
        return repr(value)
    return "[" + ", ".join(_value(each) for each in value) + "]"
