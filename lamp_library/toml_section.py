"""Typed look-ups in a TOML file; every refusal names file, table and key."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from .errors import InputError, unknown_name
from .tables import read_text


class Section:
    """A TOML table with typed look-ups whose errors name file and key.

    Parameters
    ----------
    values : mapping
        The table as read.
    where : str
        File for messages.
    path : str
        Dotted name of the table inside the file; empty for the whole file.
    """

    def __init__(self, values: Mapping[str, Any], where: str, path: str) -> None:
        self.values, self.where, self.path = values, where, path

    @classmethod
    def of_file(cls, path: Path, text: str | None = None) -> Section:
        """The whole of a TOML file; `text` is its content where that was read already.

        Raises
        ------
        InputError
            If the file is missing, unreadable or no TOML.
        """
        try:
            return cls(tomllib.loads(read_text(path) if text is None else text), str(path), "")
        except tomllib.TOMLDecodeError as error:
            raise InputError(
                f"{path}: not valid TOML: {error}. Correct the line: name = value, numbers with a decimal point."
            ) from error

    @property
    def name(self) -> str:
        """Where a message should say the fault lies."""
        return f"{self.where}, [{self.path}]" if self.path else self.where

    def only(self, *allowed: str) -> None:
        """Refuse any key that is not among these."""
        for key in self.values:
            if key not in allowed:
                raise InputError(f"{self.name}: {unknown_name('key', key, allowed)}")

    def _get(self, key: str, example: str, default: Any = None) -> Any:
        if key not in self.values and default is None:
            raise InputError(f"{self.name}: {key} is missing; add a line {example}.")
        return self.values.get(key, default)

    def text(self, key: str, default: str | None = None) -> str:
        """A text; of another type, or missing where there is no default, it raises `InputError`, as below."""
        value = self._get(key, f'{key} = "..."', default)
        if not isinstance(value, str):
            raise InputError(f"{self.name}: {key} is {value!r}; give a text in quotes.")
        return value

    def number(self, key: str) -> float:
        """A finite number."""
        value = self._get(key, f"{key} = number")
        # True is an int to Python, but not a number to a chemist
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"{self.name}: {key} is {value!r}; give a number without quotes.")
        try:
            found = float(value)
        except OverflowError as error:
            raise InputError(f"{self.name}: {key} has too many digits; give a plain number.") from error
        if not math.isfinite(found):
            raise InputError(f"{self.name}: {key} is {value!r}; give a number that is finite.")
        return found

    def numbers(self) -> dict[str, float]:
        """The whole table, every value a number."""
        return {key: self.number(key) for key in self.values}

    def flag(self, key: str, default: bool | None = None) -> bool:
        """True or false."""
        value = self._get(key, f"{key} = true or {key} = false", default)
        if not isinstance(value, bool):
            raise InputError(f"{self.name}: {key} is {value!r}; give true or false.")
        return value

    def sentences(self, key: str) -> tuple[str, ...]:
        """A list of texts; empty where missing."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
            raise InputError(f"{self.name}: {key} must be a list of sentences.")
        return tuple(value)

    def table(self, key: str, *, required: bool = True) -> Section:
        """A table inside this one; empty where missing and not required."""
        path = f"{self.path}.{key}" if self.path else key
        value = self._get(key, f"[{path}] and rows below it", None if required else {})
        if not isinstance(value, dict):
            raise InputError(
                f"{self.name}: {key} is {value!r}; give a table, that is a line [{path}] and rows below it."
            )
        return Section(value, self.where, path)

    def rows(self, key: str) -> tuple[Section, ...]:
        """A list of tables."""
        value = self._get(key, f"{key} = [ ] with a table in braces for each row")
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            raise InputError(f"{self.name}: {key} must be a list of tables in braces.")
        place = f"{self.path}.{key}" if self.path else key
        return tuple(Section(each, self.where, f"{place}[{n}]") for n, each in enumerate(value, start=1))
