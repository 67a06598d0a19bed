"""The work behind `gelwright cure`: load what is named, run it at every position, hand back text and data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp, load_lamp
from ..lamp_library.units import m_from_um
from ..models.cure import CureCase, cure_many
from ..models.cycles import FEWEST_CYCLES, repeated_cycles_many
from ..models.heat import Hand
from ..models.stack import build_many
from .build_picture import build_picture
from .build_run import build_data, build_text, write_build_folder
from .conditions import hand_in_use, lamp_in_use
from .cure_run import cure_data, cure_picture, cure_text, write_cure_folder
from .demo_data import load_any_gel, load_any_schedule
from .progress import silent

if TYPE_CHECKING:
    from .search import Progress

PICTURES = "tables, page and pictures"


@dataclass(frozen=True, slots=True, kw_only=True)
class CureRequest:
    """What a gel and a schedule have in common.

    Parameters
    ----------
    what : str
        Packaged id or path of the gel or the schedule.
    lamp, position : str or None
        Id or path of the lamp; one position, all (or the schedule's) when None.
    warmth, nail : str or None
        Ready-made hand; None keeps the usual one, or the schedule's.
    used_hours, l70_hours, cell_voltage_v : float or None
        Wear of the lamp [h], its life [h], its battery [V].
    out, plot : Path or None
        Folder and picture to write.
    workers : int or None
        Threads.
    """

    what: str
    lamp: str | None
    position: str | None
    warmth: str | None
    nail: str | None
    used_hours: float | None
    l70_hours: float | None
    cell_voltage_v: float | None
    out: Path | None
    plot: Path | None
    workers: int | None

    def loaded_lamp(self, name: str) -> Lamp:
        """The lamp in its present state."""
        return lamp_in_use(load_lamp(name), self.used_hours, self.l70_hours, self.cell_voltage_v)


def _places(lamp: Lamp, position: str | None) -> tuple[str, ...]:
    places = (position,) if position else lamp.positions
    for place in places:
        lamp.spectrum(place)
    return places


def _many(places: int) -> str:
    return f"{places} position{'' if places == 1 else 's'}"


def cure_gel(
    asked: CureRequest,
    seconds: float | None,
    thickness_um: float | None,
    programme: str | None,
    cycles: int | None,
    say: Progress = silent,
) -> tuple[str, dict[str, Any]]:
    """Cure one gel and write the files asked for.

    Parameters
    ----------
    asked : CureRequest
        Gel, lamp, hand, files.
    seconds, thickness_um : float or None
        Lamp-on time of one cycle [s], needed; wet film [um], the gel's when None.
    programme : str or None
        One of the lamp's programmes, steady when None.
    cycles : int or None
        Cure cycles, one when None.
    say : callable
        Told what comes next.

    Returns
    -------
    tuple of str and dict
        The verdict as text and as plain data.

    Raises
    ------
    InputError
        If the lamp or the time is missing, or a value is out of its range.
    """
    gel = load_any_gel(asked.what)
    if asked.lamp is None:
        raise InputError(
            f"{asked.what}: a gel needs a lamp. Give a packaged id or a lamp folder with --lamp."
        )
    seconds = gel.cure_s if seconds is None else seconds
    if seconds is None:
        raise InputError(f"{asked.what}: a gel needs the lamp-on time. Give it in seconds with --seconds.")
    lamp, hand = asked.loaded_lamp(asked.lamp), hand_in_use(Hand(), asked.warmth, asked.nail)
    cases = [
        CureCase(
            gel=gel, lamp=lamp, exposure_s=seconds, position=place, hand=hand,
            thickness_m=gel.thickness_m if thickness_um is None else m_from_um(thickness_um),
            programme=programme or "steady", cycles=cycles or 1,
        )
        for place in _places(lamp, asked.position)
    ]  # fmt: skip
    say(0, 2, f"cure at {_many(len(cases))}")
    results = cure_many(cases, workers=asked.workers)
    repeated = cases[0].cycles >= FEWEST_CYCLES
    blanks = repeated_cycles_many(cases, workers=asked.workers) if repeated else []
    say(1, 2, PICTURES)
    if asked.out is not None:
        write_cure_folder(gel, lamp, results, asked.out, hand, blanks)
    if asked.plot is not None:
        cure_picture(results, asked.plot)
    return cure_text(gel, lamp, results, hand, blanks), cure_data(gel, lamp, results, hand, blanks)


def cure_schedule(
    asked: CureRequest, gel_options: Mapping[str, object], say: Progress = silent
) -> tuple[str, dict[str, Any]]:
    """Build a nail by a schedule and write the files asked for.

    Parameters
    ----------
    asked : CureRequest
        Schedule, lamp, hand, files; lamp, position and hand of the schedule hold where none is given.
    gel_options : mapping of str to object
        Options for a gel; a schedule sets these itself, so all must be None.
    say : callable
        Told what comes next.

    Returns
    -------
    tuple of str and dict
        The verdict as text and as plain data.

    Raises
    ------
    InputError
        If an option of a gel is given, no lamp is named, or a value is out of its range.
    """
    schedule = load_any_schedule(asked.what)
    given = [f"--{name}" for name, value in gel_options.items() if value is not None]
    if given:
        raise InputError(
            f"{asked.what}: {', '.join(given)} given, but a schedule sets this itself. Leave it out or edit the file."
        )
    if not (asked.lamp or schedule.lamp):
        raise InputError(f"{asked.what}: the schedule names no lamp; give one with --lamp.")
    lamp = asked.loaded_lamp(asked.lamp or schedule.lamp)
    schedule = replace(schedule, hand=hand_in_use(schedule.hand, asked.warmth, asked.nail))
    places = _places(lamp, asked.position or schedule.position)
    say(0, 2, f"build at {_many(len(places))}")
    results = build_many(schedule, lamp, places, workers=asked.workers)
    say(1, 2, PICTURES)
    if asked.out is not None:
        write_build_folder(schedule, lamp, results, asked.out)
    if asked.plot is not None:
        build_picture(results, asked.plot)
    return build_text(schedule, lamp, results), build_data(schedule, lamp, results)
