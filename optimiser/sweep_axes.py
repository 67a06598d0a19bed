"""What a sweep varies: loadings, film, cure time, lamps, positions, hand and nail, as written on the command line."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.lamp import Lamp
from ..lamp_library.units import m_from_um, um_from_m
from ..models.gel import THICKNESS_RANGE_UM
from ..models.hands import NAILS, WARMTHS
from ..models.materials import list_amines, list_photoinitiators

Kind = Literal["loading", "thickness", "seconds", "lamp", "position", "hand", "nail"]
Value = float | str

THICKNESS, SECONDS, LAMP, POSITION, HAND, NAIL = "thickness", "seconds", "lamp", "position", "hand", "nail"
WORDS: dict[str, tuple[Kind, str, str]] = {
    THICKNESS: ("thickness", "wet film", "µm"),
    SECONDS: ("seconds", "cure time", "s"),
    LAMP: ("lamp", "lamp", ""),
    POSITION: ("position", "position", ""),
    HAND: ("hand", "hand", ""),
    NAIL: ("nail", "nail plate", ""),
}
COLUMNS = {THICKNESS: "thickness_m", SECONDS: "exposure_s"}
ALL = "all"
FORM = "NAME=START:STOP:COUNT or NAME=A,B,C"
_UNITS: dict[str, dict[str, float]] = {
    "loading": {"": 1.0, "wt%": 1.0, "%": 1.0},
    "thickness": {"um": 1.0, "µm": 1.0, "μm": 1.0, "mm": 1000.0},
    "seconds": {"": 1.0, "s": 1.0},
}
_LETTERS = re.compile(r"[^\W\d_]*%?$")
LOG = ":log"  # at the end of a range: equal ratios
SECONDS_RANGE_S = (0.1, 3600.0)  # as --seconds of every command
MOST_VALUES = 1000
_DIGITS = 12  # hides the last bit of a division, which nobody weighs or measures
_SHOWN_LIST = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One thing that is varied.

    Parameters
    ----------
    key : str
        Substance, or one of `WORDS`.
    values : tuple of float or str
        Loadings [wt%], films [m], times [s], or names; no value twice.
    """

    key: str
    values: tuple[Value, ...]

    @property
    def kind(self) -> Kind:
        """What sort of thing it is."""
        return WORDS[self.key][0] if self.key in WORDS else "loading"

    @property
    def is_number(self) -> bool:
        """Whether its values lie on a scale."""
        return self.kind in ("loading", "thickness", "seconds")

    @property
    def words(self) -> str:
        """Its name for people."""
        return WORDS[self.key][1] if self.key in WORDS else self.key

    @property
    def unit(self) -> str:
        """The chemist's unit of `edge`; empty for names."""
        return WORDS[self.key][2] if self.key in WORDS else "wt%"

    @property
    def label(self) -> str:
        """Name and unit, for an axis of a picture."""
        return f"{self.words} / {self.unit}" if self.unit else self.words

    @property
    def column(self) -> str:
        """Its column in the table, unit included."""
        return COLUMNS.get(self.key, self.key if self.key in WORDS else f"{self.key}_wt_pct")

    def edge(self, value: Value) -> float:
        """A number in the chemist's unit [wt%, µm, s]."""
        return float(um_from_m(float(value))) if self.kind == "thickness" else float(value)

    def shown(self, value: Value) -> str:
        """A value with its unit."""
        return f"{self.edge(value):.4g} {self.unit}" if self.is_number else str(value)

    @property
    def text(self) -> str:
        """Name and values, long lists by their ends."""
        if not self.is_number or len(self.values) <= _SHOWN_LIST:
            each = [f"{self.edge(v):.4g}" if self.is_number else str(v) for v in self.values]
            return f"{self.words} {', '.join(each)}{f' {self.unit}' if self.unit else ''}"
        numbers = [self.edge(value) for value in self.values]
        return f"{self.words} {min(numbers):.4g} to {max(numbers):.4g} {self.unit} ({len(numbers)} values)"


def read_axis(text: str, lamps: Sequence[Lamp]) -> Axis:
    """One axis as it was written.

    Parameters
    ----------
    text : str
        For instance ``TPO-L=0.5:3:6``, ``BAPO=0.02:2:7:log``, ``thickness=50,100,200um``, ``seconds=20:120:6``,
        ``position=all``, ``hand=cold,usual,warm``, ``nail=thin,usual``.
    lamps : sequence of Lamp
        For the positions.

    Raises
    ------
    InputError
        If it is not written like this, a unit is missing or unknown, or a value is out of its range or stands twice.
    UnknownNameError
        If a substance, a position, a hand or a nail is not known.
    """
    name, sign, given = text.partition("=")
    name, given = name.strip(), given.strip()
    if not sign or not name or not given:
        raise InputError(f"--vary '{text}': write {FORM}, for instance TPO-L=0.5:3:6.")
    if name == "thickness-um":
        name, given = THICKNESS, given if given.endswith("m") else f"{given}um"
    if name == LAMP:
        raise InputError(f"--vary '{text}': lamps are given with --lamp, commas between: --lamp {given}.")
    known = (*list_photoinitiators(), *list_amines(), *(key for key in WORDS if key != LAMP))
    if name not in known:
        raise unknown_name("thing to vary", name, known)
    if name in WORDS and name not in (THICKNESS, SECONDS):
        return Axis(key=name, values=_distinct(text, _names(name, given, lamps)))
    numbers = _numbers(text, name, given)
    _check_range(text, name, numbers)
    values = [float(m_from_um(number)) for number in numbers] if name == THICKNESS else numbers
    return Axis(key=name, values=_distinct(text, values))


def _distinct(text: str, values: Sequence[Value]) -> tuple[Value, ...]:
    if len(set(values)) != len(values):
        raise InputError(f"--vary '{text}': a value stands twice. Remove one.")
    return tuple(values)


def _names(name: str, given: str, lamps: Sequence[Lamp]) -> list[str]:
    if name == POSITION:
        kind, known = (
            "position",
            [each for each in lamps[0].positions if all(each in lamp.positions for lamp in lamps)],
        )
        if given == ALL and any(set(lamp.positions) != set(lamps[0].positions) for lamp in lamps):
            raise InputError(
                "--vary position=all: the lamps have other positions. Name those they share, or sweep lamp by lamp."
            )
    else:
        kind, known = ("warmth of the hand", list(WARMTHS)) if name == HAND else ("kind of nail", list(NAILS))
    found = known if given == ALL else [part.strip() for part in given.split(",") if part.strip()]
    for each in found:
        if each not in known:
            raise unknown_name(kind, each, known)
    return found


def _numbers(text: str, name: str, given: str) -> list[float]:
    kind = WORDS[name][0] if name in WORDS else "loading"
    units = _UNITS[kind]
    letters = _LETTERS.search(given)
    unit = letters[0] if letters and not given.endswith(LOG) else ""
    if unit not in units:
        names = " or ".join(each for each in units if each not in ("", "μm", "µm", "%"))
        if kind == "thickness" and not unit:
            raise InputError(f"--vary '{text}': the unit is missing. Say {names}: thickness={given}um.")
        raise InputError(f"--vary '{text}': unit '{unit}' is not known here. Use {names}.")
    found = [number for part in given.removesuffix(unit).split(",") for number in _part(text, part.strip())]
    return [float(f"{units[unit] * number:.{_DIGITS}g}") for number in found]


def _part(text: str, part: str) -> list[float]:
    """Numbers of one part between commas: a number, or a range."""
    fields = part.split(":")
    is_log = len(fields) == 4 and part.endswith(LOG)
    try:
        if len(fields) == 1:
            return [float(part)]
        if len(fields) != 3 and not is_log:
            raise ValueError
        start, stop, count = float(fields[0]), float(fields[1]), int(fields[2])
    except ValueError:
        raise InputError(
            f"--vary '{text}': '{part}' is neither a number nor START:STOP:COUNT (with :log at its end for equal ratios)."
        ) from None
    if not (math.isfinite(start) and math.isfinite(stop)) or not 2 <= count <= MOST_VALUES:
        raise InputError(
            f"--vary '{text}': '{part}' needs two finite ends and a count from 2 to {MOST_VALUES}."
        )
    if is_log and min(start, stop) <= 0.0:
        raise InputError(
            f"--vary '{text}': '{part}': equal ratios need ends above 0. Leave :log out or start above 0."
        )
    return [float(each) for each in (np.geomspace if is_log else np.linspace)(start, stop, count)]


def _check_range(text: str, name: str, numbers: Sequence[float]) -> None:
    low, high, unit = {THICKNESS: (*THICKNESS_RANGE_UM, "um"), SECONDS: (*SECONDS_RANGE_S, "s")}.get(
        name, (0.0, 100.0, "wt%")
    )
    for number in numbers:
        if not low <= number <= high:
            raise InputError(
                f"--vary '{text}': {number:g} {unit} is out of range; {WORDS[name][1] if name in WORDS else name} must lie between "
                f"{low:g} and {high:g} {unit}."
            )
