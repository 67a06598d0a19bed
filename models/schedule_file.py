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

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError, UnknownNameError
from ..lamp_library.tables import read_text
from ..lamp_library.toml_section import Section
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
    top = Section.of_file(Path(file.name), read_text(file))
    top.only(*_KEYS)
    given: dict[str, Any] = {
        "title": top.text("title"),
        "events": _events(top, file.parent, packaged),
        "hand": _hand(top.table("hand", required=False)),
        "lamp": _lamp(top.text("lamp", ""), file.parent),
        "position": top.text("position", ""),
        "note": top.text("note", ""),
        "is_demonstration": top.flag("is_demonstration", False),
    }
    try:
        return Schedule(**given)
    except (InputError, UnknownNameError) as error:
        raise type(error)(f"{file.name}: {error}") from error


def _lamp(name: str, folder: Path) -> str:
    return str((folder / name).resolve()) if _IS_PATH.search(name) else name


def _hand(table: Section) -> Hand:
    table.only(*_HAND_KEYS)
    given = table.numbers()
    fields: dict[str, Any] = {
        key: given[key] for key in ("perfusion_1_s", "surface_loss_w_m2_k") if key in given
    }
    if "start_c" in given:
        fields["start_k"] = k_from_c(given["start_c"])
    if "nail_thickness_mm" in given:
        fields["nail_thickness_m"] = m_from_um(_UM_PER_MM * given["nail_thickness_mm"])
    try:
        return Hand(**fields)
    except InputError as error:
        raise InputError(f"{table.where}: {error}") from error


def _events(top: Section, folder: Path, packaged: Path | None) -> tuple[Event, ...]:
    rows = top.values.get("events")
    if not isinstance(rows, list) or not rows:
        raise InputError(
            f"{top.name}: events is missing or empty; give a list, for instance events = [{{ expose_s = 60 }}]."
        )
    events = []
    for number, row in enumerate(rows, start=1):
        where = f"{top.where}, event {number}"
        if not isinstance(row, dict):
            raise InputError(f"{where} is {row!r}; give a table in braces, for instance {{ rest_s = 15 }}.")
        events.append(_event(Section(row, where, ""), folder, packaged))
    return tuple(events)


def _event(row: Section, folder: Path, packaged: Path | None) -> Event:
    kinds = [kind for kind in _EVENT_KEYS if kind in row.values]
    if len(kinds) != 1:
        said = " and ".join(kinds) or ", ".join(row.values) or "nothing"
        raise InputError(f"{row.name} says {said}; it must say one of {', '.join(_EVENT_KEYS)}.")
    row.only(*_EVENT_KEYS[kinds[0]])
    if kinds[0] == "apply":
        return _application(row, folder, packaged)
    if kinds[0] == "expose_s":
        return Expose(seconds=row.number("expose_s"), programme=row.text("programme", "steady"))
    if kinds[0] == "rest_s":
        return Rest(seconds=row.number("rest_s"))
    if not row.flag("wipe"):
        raise InputError(f"{row.name}: wipe is False; write wipe = true, or leave the event out.")
    return Wipe()


def _application(row: Section, folder: Path, packaged: Path | None) -> Apply:
    name = row.text("apply")
    try:
        gel = load_gel(folder / name) if _IS_PATH.search(name) else load_gel(name, packaged=packaged)
    except (InputError, UnknownNameError) as error:
        raise type(error)(f"{row.name}: {error}") from error
    more: dict[str, float] = {}
    if "thickness_um" in row.values:
        more["thickness_m"] = m_from_um(row.number("thickness_um"))
    if "gel_c" in row.values:
        more["arrives_k"] = k_from_c(row.number("gel_c"))
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
