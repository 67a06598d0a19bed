"""Find declared units of spectral irradiance in text, in the spellings instruments use."""

from __future__ import annotations

import re
from collections.abc import Iterable

from .errors import InputError, unknown_name
from .units import SPECTRAL_IRRADIANCE_UNITS

_PLAIN = str.maketrans(
    {"µ": "u", "μ": "u", "²": "2", "⁻": "-", "−": "-", "¹": "1", "·": None, "*": None, "^": None}
    | dict.fromkeys(" ().[]{}_\t", None)
)
# after the translation: "mw/cm2/nm", "mw/cm2nm" (from mW/(cm2 nm)), "mwcm-2nm-1"
_UNIT = re.compile(r"(?<![a-z])([um]?)w(?:/(c?m)2|(c?m)-2)/?nm(?:-1)?(?![a-z0-9])")
_CANONICAL = {unit.lower(): unit for unit in SPECTRAL_IRRADIANCE_UNITS}


def canonical_unit(text: str) -> str:
    """One of the four units, from any accepted spelling of it.

    Raises
    ------
    UnknownNameError
        If the text is none of them.

    Examples
    --------
    >>> canonical_unit("µW/cm^2/nm")
    'uW/cm2/nm'
    >>> canonical_unit("W m-2 nm-1")
    'W/m2/nm'
    """
    found = declared_units([text])
    if len(found) != 1:
        raise unknown_name("unit of spectral irradiance", text, SPECTRAL_IRRADIANCE_UNITS)
    return found[0]


def declared_units(texts: Iterable[str]) -> tuple[str, ...]:
    """Distinct units of spectral irradiance named in some texts, in order of appearance."""
    found: dict[str, None] = {}
    for text in texts:
        for piece in re.split(r"[;,\t=:\"]|\s\s+", text):
            for match in _UNIT.finditer(_squeezed(piece)):
                prefix, slash, power = match.groups()
                unit = f"{prefix}w/{slash or power}2/nm"
                if unit in _CANONICAL:
                    found[_CANONICAL[unit]] = None
    return tuple(found)


def _squeezed(text: str) -> str:
    """Lower case without spaces and brackets, keeping the unit apart from the words before it."""
    words = re.sub(r"([A-Za-zµμ]{3,})[\s_]+", r"\1|", text)
    return re.sub(r"[(\[]", "|", words, count=1).translate(_PLAIN).lower()


def settle_unit(option: str | None, texts: Iterable[str], file: str) -> str:
    """Settle the unit of an export from the option and the file's own heading; never guess.

    Raises
    ------
    InputError
        If neither declares a unit, the heading names two, or option and heading disagree.
    """
    texts = list(texts)
    found = declared_units(texts)
    known = ", ".join(SPECTRAL_IRRADIANCE_UNITS)
    if len(found) > 1:
        raise InputError(
            f"{file}: the heading names several units ({', '.join(found)}); one file holds one unit. Split the "
            "file, or correct the heading."
        )
    if option is None:
        if not found:
            raise InputError(f"{file}: no unit is declared; say which with --unit ({known}).")
        return found[0]
    wanted = canonical_unit(option)
    if found and found[0] != wanted:
        raise InputError(
            f"{file}: the file's heading says {found[0]}, the option says {wanted}; correct whichever is wrong."
        )
    return wanted
