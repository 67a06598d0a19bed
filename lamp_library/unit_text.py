"""Find declared units of spectral irradiance in text, in the spellings instruments use."""

from __future__ import annotations

import re
from collections.abc import Iterable

from .errors import InputError, unknown_name
from .units import SPECTRAL_IRRADIANCE_UNITS

# one character for one, so that a place found in the plain text is the same place in the original
_PLAIN = str.maketrans("µμ²⁻−¹·*^.()[]{}_", "uu2--1" + " " * 11)
# "mW/cm2/nm", "mW/ cm2 nm" from mW/(cm2 nm), "mW cm-2 nm-1"
_UNIT = re.compile(
    r"(?<![a-z])([um]?)w\s*(?:/\s*(c?m)\s*2|(c?m)\s*-2)\s*/?\s*nm(?:\s*-1)?(?![a-z0-9])", re.IGNORECASE
)
_CANONICAL = {unit.lower(): unit for unit in SPECTRAL_IRRADIANCE_UNITS}


def _matches(text: str) -> Iterable[tuple[re.Match[str], str]]:
    for match in _UNIT.finditer(text.translate(_PLAIN)):
        prefix, slash, power = match.groups()
        unit = f"{prefix}w/{slash or power}2/nm".lower()
        if unit in _CANONICAL:
            yield match, _CANONICAL[unit]


def declared_units(texts: Iterable[str]) -> tuple[str, ...]:
    """Distinct units of spectral irradiance named in some texts, in order of appearance."""
    return tuple(dict.fromkeys(unit for text in texts for _, unit in _matches(text)))


def without_unit(text: str) -> str:
    """A column head without a unit of spectral irradiance and the brackets left around it.

    Examples
    --------
    >>> without_unit("thumb [µW/cm²/nm]")
    'thumb'
    """
    for match, _ in _matches(text):
        text = text[: match.start()] + text[match.end() :]
        break
    return text.strip(" _/:,()[]{}")


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


def settle_unit(option: str | None, texts: Iterable[str], file: str) -> str:
    """Settle the unit of an export from the option and the file's own heading; never guess.

    Parameters
    ----------
    option : str or None
        What the user says.
    texts : iterable of str
        Lines and column heads of the file.
    file : str
        File name for messages.

    Raises
    ------
    InputError
        If neither declares a unit, the heading names two, or option and heading disagree.
    UnknownNameError
        If the option is no unit of spectral irradiance.
    """
    wanted = None if option is None else canonical_unit(option)
    found = declared_units(texts)
    if len(found) > 1:
        raise InputError(
            f"{file}: the heading names several units ({', '.join(found)}); one file holds one unit. Split the "
            "file, or correct the heading."
        )
    if wanted is None:
        if not found:
            known = ", ".join(SPECTRAL_IRRADIANCE_UNITS)
            raise InputError(f"{file}: no unit is declared; say which with --unit ({known}).")
        return found[0]
    if found and found[0] != wanted:
        raise InputError(
            f"{file}: the file's heading says {found[0]}, the option says {wanted}; correct whichever is wrong."
        )
    return wanted
