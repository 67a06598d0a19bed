"""Read and write a schedule of a build: a TOML file with one line per event.

title = "..."                 # lamp, position, note, is_demonstration: optional
events = [
  { apply = "base.toml", thickness_um = 60 },   # gel file beside this one, or a packaged gel's id; gel_c: optional
  { expose_s = 60, programme = "steady" },
  { rest_s = 15 },
  { wipe = true },
]
[hand]                        # optional: start_c, nail_thickness_mm, perfusion_1_s, surface_loss_w_m2_k
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError, UnknownNameError, unknown_name
from ..lamp_library.toml_text import TomlValue, toml_text
from ..lamp_library.units import c_from_k, k_from_c, m_from_um, um_from_m
from .gel import Gel, load_gel, save_gel
from .heat import Hand
from .schedule import Apply, Event, Expose, Rest, Schedule, Wipe

_KEYS = ("title", "lamp", "position", "note", "is_demonstration", "events", "hand")
_EVENT_KEYS: Mapping[str, tuple[str, ...]] = {
    "apply": ("apply", "thickness_um", "gel_c"),
    "expose_s": ("expose_s", "programme"),
    "rest_s": ("rest_s",),
    "wipe": ("wipe",),
}
_HAND_KEYS = ("start_c", "nail_thickness_mm", "perfusion_1_s", "surface_loss_w_m2_k")
_UM_PER_MM = 1000.0
_IS_PATH = re.compile(r"[/\\]|\.toml$")


def load_schedule(path: str | Path, *, packaged: Path | None = None) -> Schedule:
    """Load a schedule and the gels it names.

    Parameters
    ----------
    path : str or Path
        TOML file; gel and lamp paths in it are relative to its folder.
    packaged : Path, optional
        Folder with ``<id>.toml`` gels for bare ids.

    Returns
    -------
    Schedule

    Raises
    ------
    InputError, UnknownNameError
        If the file is missing, no TOML, or breaks a rule: one line with file, event and what to do.
    """
    file = Path(path)
    document = _document(file)
    try:
        _check_keys("key", document, _KEYS)
        return Schedule(
            title=_text(document, "title"),
            events=_events(document, file.parent, packaged),
            hand=_hand(document.get("hand", {})),
            lamp=_lamp(_text(document, "lamp", ""), file.parent),
            position=_text(document, "position", ""),
            note=_text(document, "note", ""),
            is_demonstration=_flag(document, "is_demonstration", False),
        )
    except (InputError, UnknownNameError) as error:
        raise type(error)(f"{file.name}: {error}") from error


def _document(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{file}: there is no such file. Give the path of a schedule in TOML.") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        words = " ".join(str(fault).split())
        raise InputError(f"{file.name}: not readable as TOML ({words}); correct the file.") from None


def _check_keys(kind: str, given: Iterable[str], known: tuple[str, ...]) -> None:
    for key in given:
        if key not in known:
            raise unknown_name(kind, key, known)


def _text(table: Mapping[str, Any], key: str, default: str | None = None) -> str:
    value = table.get(key, default)
    if not isinstance(value, str) or (default is None and not value):
        raise InputError(f"{key} is {'missing' if value is None else repr(value)}; give a text in quotes.")
    return value


def _flag(table: Mapping[str, Any], key: str, default: bool) -> bool:
    value = table.get(key, default)
    if not isinstance(value, bool):
        raise InputError(f"{key} is {value!r}; give true or false.")
    return value


def _number(table: Mapping[str, Any], key: str, where: str) -> float:
    value = table[key]
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(f"{where}: {key} is {value!r}; give a number without quotes.")
    return float(value)


def _lamp(name: str, folder: Path) -> str:
    return str((folder / name).resolve()) if _IS_PATH.search(name) else name


def _hand(table: object) -> Hand:
    if not isinstance(table, Mapping):
        raise InputError(f"hand is {table!r}; give a table, that is a line [hand] and rows below it.")
    _check_keys("key of hand", table, _HAND_KEYS)
    given = {key: _number(table, key, "hand") for key in table}
    fields = {key: given[key] for key in ("perfusion_1_s", "surface_loss_w_m2_k") if key in given}
    if "start_c" in given:
        fields["start_k"] = k_from_c(given["start_c"])
    if "nail_thickness_mm" in given:
        fields["nail_thickness_m"] = m_from_um(_UM_PER_MM * given["nail_thickness_mm"])
    return Hand(**fields)


def _events(document: Mapping[str, Any], folder: Path, packaged: Path | None) -> tuple[Event, ...]:
    rows = document.get("events")
    if not isinstance(rows, list) or not rows:
        raise InputError(
            "events is missing or empty; give a list, for instance events = [{ expose_s = 60 }]."
        )
    return tuple(_event(row, number, folder, packaged) for number, row in enumerate(rows, start=1))


def _event(row: object, number: int, folder: Path, packaged: Path | None) -> Event:
    where = f"event {number}"
    if not isinstance(row, Mapping):
        raise InputError(f"{where} is {row!r}; give a table in braces, for instance {{ rest_s = 15 }}.")
    kinds = [kind for kind in _EVENT_KEYS if kind in row]
    if len(kinds) != 1:
        said = " and ".join(kinds) or ", ".join(row) or "nothing"
        raise InputError(f"{where} says {said}; it must say one of {', '.join(_EVENT_KEYS)}.")
    _check_keys(f"key of {where} ({kinds[0]})", row, _EVENT_KEYS[kinds[0]])
    if kinds[0] == "apply":
        return _application(row, where, folder, packaged)
    if kinds[0] == "expose_s":
        return Expose(seconds=_number(row, "expose_s", where), programme=_text(row, "programme", "steady"))
    if kinds[0] == "rest_s":
        return Rest(seconds=_number(row, "rest_s", where))
    if row["wipe"] is not True:
        raise InputError(f"{where}: wipe is {row['wipe']!r}; write wipe = true, or leave the event out.")
    return Wipe()


def _application(row: Mapping[str, Any], where: str, folder: Path, packaged: Path | None) -> Apply:
    name = row["apply"]
    if not isinstance(name, str) or not name:
        raise InputError(f"{where}: apply is {name!r}; give a gel's file or packaged id in quotes.")
    try:
        gel = load_gel(folder / name) if _IS_PATH.search(name) else load_gel(name, packaged=packaged)
    except (InputError, UnknownNameError) as error:
        raise type(error)(f"{where}: {error}") from error
    more: dict[str, float] = {}
    if "thickness_um" in row:
        more["thickness_m"] = m_from_um(_number(row, "thickness_um", where))
    if "gel_c" in row:
        more["arrives_k"] = k_from_c(_number(row, "gel_c", where))
    return Apply(gel=gel, **more)


def _rounded(value: float) -> float:
    # twelve digits hide the last bit of the conversion, which nobody can measure
    return float(f"{value:.12g}")


def _row(event: Event, files: Mapping[Gel, str]) -> dict[str, TomlValue]:
    if isinstance(event, Apply):
        return {
            "apply": files[event.gel],
            "thickness_um": _rounded(um_from_m(event.film_thickness_m)),
            "gel_c": _rounded(c_from_k(event.arrives_k)),
        }
    if isinstance(event, Expose):
        return {"expose_s": event.seconds, "programme": event.programme}
    return {"rest_s": event.seconds} if isinstance(event, Rest) else {"wipe": True}


def _line(row: Mapping[str, TomlValue]) -> str:
    return f"  {{ {', '.join(toml_text(row).splitlines())} }},"


def save_schedule(schedule: Schedule, path: str | Path) -> None:
    """Write a schedule that `load_schedule` reads back, and the gels it uses beside it as ``<name>_gel_<number>.toml``.

    Raises
    ------
    InputError
        If the hand differs from the default in a property that the file cannot hold.
    """
    file = Path(path)
    hand = schedule.hand
    kept: dict[str, TomlValue] = {
        "start_c": _rounded(c_from_k(hand.start_k)),
        "nail_thickness_mm": _rounded(um_from_m(hand.nail_thickness_m) / _UM_PER_MM),
        "perfusion_1_s": hand.perfusion_1_s,
        "surface_loss_w_m2_k": hand.surface_loss_w_m2_k,
    }
    _check_hand(hand)
    files = {
        gel: f"{file.stem}_gel_{number}.toml" for number, gel in enumerate(dict.fromkeys(schedule.gels), 1)
    }
    for gel, name in files.items():
        save_gel(gel, file.parent / name)
    head: dict[str, TomlValue] = {"title": schedule.title}
    for key in ("lamp", "position", "note"):
        if getattr(schedule, key):
            head[key] = getattr(schedule, key)
    head["is_demonstration"] = schedule.is_demonstration
    events = "\n".join(["events = [", *(_line(_row(event, files)) for event in schedule.events), "]"])
    text = f"{toml_text(head)}{events}\n{toml_text({'hand': kept})}"
    file.write_text(text, encoding="utf-8")


def _check_hand(hand: Hand) -> None:
    usual = Hand(
        start_k=hand.start_k,
        nail_thickness_m=hand.nail_thickness_m,
        perfusion_1_s=hand.perfusion_1_s,
        surface_loss_w_m2_k=hand.surface_loss_w_m2_k,
    )
    if hand != usual:
        raise InputError(
            f"schedule file: of the hand it can hold {', '.join(_HAND_KEYS)} only; leave the other properties as they are."
        )
