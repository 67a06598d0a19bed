"""Typed look-ups in a TOML file; every refusal names file, table and key."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from .errors import InputError
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
            raise InputError(f"{path}: not valid TOML: {error}. Correct the line.") from error

    @property
    def name(self) -> str:
        """Where a message should say the fault lies."""
        return f"{self.where}, [{self.path}]" if self.path else self.where

    def only(self, *allowed: str) -> None:
        """Refuse any key that is not among these."""
        unknown = sorted(set(self.values) - set(allowed))
        if unknown:
            raise InputError(f"{self.name}: unknown key '{unknown[0]}'; allowed: {', '.join(allowed)}.")

    def _get(self, key: str) -> Any:
        if key not in self.values:
            raise InputError(f"{self.name}: '{key}' is missing; add it.")
        return self.values[key]

    def text(self, key: str) -> str:
        """A text; missing or of another type raises `InputError`, as below."""
        value = self._get(key)
        if not isinstance(value, str):
            raise InputError(f"{self.name}: {key} is {value!r}; it must be text in quotes.")
        return value

    def number(self, key: str) -> float:
        """A number."""
        value = self._get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"{self.name}: {key} is {value!r}; it must be a number.")
        return float(value)

    def flag(self, key: str) -> bool:
        """True or false."""
        value = self._get(key)
        if not isinstance(value, bool):
            raise InputError(f"{self.name}: {key} is {value!r}; it must be true or false.")
        return value

    def sentences(self, key: str) -> tuple[str, ...]:
        """A list of texts; empty where missing."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
            raise InputError(f"{self.name}: {key} must be a list of sentences.")
        return tuple(value)

    def table(self, key: str, *, required: bool = True) -> Section:
        """A table inside this one; empty where missing and not required."""
        value = self._get(key) if required else self.values.get(key, {})
        if not isinstance(value, dict):
            raise InputError(f"{self.name}: {key} must be a table, [{key}].")
        return Section(value, self.where, f"{self.path}.{key}" if self.path else key)

    def rows(self, key: str) -> tuple[Section, ...]:
        """A list of tables."""
        value = self._get(key)
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            raise InputError(f"{self.name}: {key} must be a list of tables in braces.")
        place = f"{self.path}.{key}" if self.path else key
        return tuple(Section(each, self.where, f"{place}[{n}]") for n, each in enumerate(value, start=1))
