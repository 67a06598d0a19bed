"""Gels and lamps named in one option."""

from __future__ import annotations

from pathlib import Path

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp, list_lamps, load_lamp
from ..models.gel import Gel
from .demo_data import list_demo_gels, load_any_gel

ALL_PACKAGED = "demo"


def names_in(text: str, option: str) -> tuple[str, ...]:
    """Names with commas between them, each once, in order."""
    names = tuple(dict.fromkeys(part.strip() for part in text.split(",") if part.strip()))
    if not names:
        raise InputError(
            f"{option} names nothing; give one or more, with commas between, or '{ALL_PACKAGED}'."
        )
    return names


def load_gels(text: str) -> dict[str, Gel]:
    """Gels by key: the id, or the file's stem; two files of one stem keep their paths as keys."""
    names = names_in(text, "--gels")
    if names == (ALL_PACKAGED,):
        names = list_demo_gels()
    stems = [Path(name).stem for name in names]
    return {
        name if stems.count(stem) > 1 else stem: load_any_gel(name)
        for name, stem in zip(names, stems, strict=True)
    }


def load_lamps(text: str, option: str = "--lamps") -> dict[str, Lamp]:
    """Lamps by their ids, as named in an option.

    Raises
    ------
    InputError
        If two of them carry one id.
    """
    names = names_in(text, option)
    if names == (ALL_PACKAGED,):
        names = list_lamps()
    found: dict[str, Lamp] = {}
    for name in names:
        lamp = load_lamp(name)
        if lamp.lamp_id in found:
            raise InputError(
                f"{option}: two lamps carry the id '{lamp.lamp_id}'; change the id in one lamp.toml."
            )
        found[lamp.lamp_id] = lamp
    return found
