"""What a cure meets in use: a colder hand, a thinner nail, a worn lamp, an emptying battery."""

from __future__ import annotations

from dataclasses import replace

from ..lamp_library.ageing import aged, on_battery
from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, um_from_m
from ..models.hands import preset_hand
from ..models.heat import Hand

USUAL_L70_HOURS = 10_000.0  # assumed where nothing is known; published values run from 1000 to 30 000 h
_UM_PER_MM = 1000.0


def hand_in_use(hand: Hand, warmth: str | None, nail: str | None) -> Hand:
    """A hand with its warmth and nail thickness replaced by ready-made ones.

    Parameters
    ----------
    hand : Hand
        What holds where nothing is replaced.
    warmth, nail : str or None
        Keys of `models.hands`; None keeps the hand's own value.

    Raises
    ------
    UnknownNameError
        If a key is not known.
    """
    preset = preset_hand(warmth or "usual", nail or "usual")
    if warmth is not None:
        hand = replace(hand, start_k=preset.start_k)
    if nail is not None:
        hand = replace(hand, nail_thickness_m=preset.nail_thickness_m)
    return hand


def lamp_in_use(
    lamp: Lamp,
    used_hours: float | None = None,
    l70_hours: float | None = None,
    cell_voltage_v: float | None = None,
) -> Lamp:
    """A lamp as it is now rather than as it was measured; every change leaves a sentence in its notes.

    Parameters
    ----------
    lamp : Lamp
        As measured.
    used_hours, l70_hours : float, optional
        Hours of light since the measurement and to 70 % of the output [h]; 10 000 h assumed for the latter.
    cell_voltage_v : float, optional
        Voltage of one cell of an unregulated battery lamp [V].

    Raises
    ------
    InputError
        If a value is out of its range, or L70 is given without hours of use.
    """
    if used_hours is None and l70_hours is not None:
        raise InputError(
            f"--l70-hours {l70_hours:g} without --lamp-hours; a life says nothing about an unused lamp. Give both."
        )
    if used_hours is not None:
        lamp = aged(lamp, used_hours, USUAL_L70_HOURS if l70_hours is None else l70_hours)
        if l70_hours is None:
            lamp = replace(lamp, notes=(*lamp.notes[:-1], lamp.notes[-1].rstrip(".") + ", which is assumed."))
    if cell_voltage_v is not None:
        lamp = on_battery(lamp, "unregulated", cell_voltage_v)
    return lamp


_STATE = "Output taken as "


def lamp_state_lines(lamp: Lamp) -> list[str]:
    """One line on a worn or emptying lamp for the head of a report; none for a lamp as measured."""
    changes = [note.partition(": ")[2].rstrip(".") for note in lamp.notes if note.startswith(_STATE)]
    if not changes:
        return []
    return [f"Lamp at {100.0 * lamp.course.level_ratio:.0f} % of its measured output: {'; '.join(changes)}."]


def hand_words(hand: Hand) -> str:
    """Temperature and nail of a hand, where its name stands before it."""
    thickness_mm = um_from_m(hand.nail_thickness_m) / _UM_PER_MM
    return f"{c_from_k(hand.start_k):.0f} °C, nail plate {thickness_mm:.2f} mm"


def hand_text(hand: Hand) -> str:
    """The same as a sentence."""
    return f"Finger at {hand_words(hand)}."


def hand_data(hand: Hand) -> dict[str, float]:
    """The same as plain data."""
    return {"start_k": hand.start_k, "nail_thickness_m": hand.nail_thickness_m}
