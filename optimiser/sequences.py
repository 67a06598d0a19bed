"""Programmes written as text: one the lamp has, or several of them one after the other.

``"low_heat 20 s then steady"`` runs the lamp's low-heat programme for 20 s and its steady one for the rest of the cure
time. Each part starts from its own beginning; the lamp stays on in between, so its warm-up goes on.
"""

from __future__ import annotations

import re
from dataclasses import replace

from ..lamp_library.course import Programme
from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp

THEN = " then "
LONGEST_S = (
    600.0  # no cure lasts longer; the last part is cut to the cure time, so one sequence serves several
)
_TIMED = re.compile(r"(?P<name>\S+)\s+(?P<seconds>\d+(?:\.\d+)?)\s*s")
_FORM = 'Write for instance "low_heat 20 s then steady".'


def with_programme(lamp: Lamp, text: str, exposure_s: float) -> Lamp:
    """The lamp with a programme written as text among its programmes, under that text as its name.

    Parameters
    ----------
    lamp : Lamp
        The lamp.
    text : str
        A programme's name, or a sequence of names with seconds, the last without.
    exposure_s : float
        Cure time that the sequence has to fill [s].

    Returns
    -------
    Lamp
        The same lamp when it has the programme already.

    Raises
    ------
    InputError
        If a part has no time, or the parts leave nothing for the last.
    UnknownNameError
        If the lamp has no programme of that name.
    """
    if text in lamp.programmes or THEN not in text:
        lamp.programme(text)
        return lamp
    parts: list[tuple[Programme, float]] = []
    *timed, last = text.split(THEN)
    for part in timed:
        found = _TIMED.fullmatch(part.strip())
        if found is None:
            raise InputError(f"programme '{text}': '{part.strip()}' has no time in seconds. {_FORM}")
        parts.append((lamp.programme(found["name"]), float(found["seconds"])))
    if _TIMED.fullmatch(last.strip()):
        raise InputError(
            f"programme '{text}': the last part runs for the rest of the cure time and takes no seconds. {_FORM}"
        )
    left_s = exposure_s - sum(seconds for _, seconds in parts)
    if left_s <= 0.0 or any(seconds <= 0.0 for _, seconds in parts):
        raise InputError(
            f"programme '{text}': leaves {left_s:g} s of the cure time of {exposure_s:g} s for its last part; every part "
            "needs more than 0 s. Shorten the first parts or give more time."
        )
    parts.append((lamp.programme(last.strip()), LONGEST_S))
    sequence = Programme.sequence(text, parts)
    return replace(lamp, programmes={**lamp.programmes, text: sequence})
