"""Ready-made hands: how warm the hand is, and how thick the nail.

A hot client with over-filed nails feels a cure that a cold one with thick nails does not; both
should be run. None of these numbers was measured for this purpose.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from ..lamp_library.errors import unknown_name
from ..lamp_library.units import k_from_c
from .heat import Hand


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmthPreset:
    """How warm nail and tissue are before the lamp is lit [K], and where the number comes from."""

    key: str
    start_k: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NailPreset:
    """Thickness of the nail plate [m], and where the number comes from."""

    key: str
    thickness_m: float
    source: str


WARMTHS: Mapping[str, WarmthPreset] = MappingProxyType(
    {
        each.key: each
        for each in (
            WarmthPreset(
                key="cold",
                start_k=k_from_c(28.0),
                source="estimated: cold hands start 5 to 8 K below warm ones, because the shunts of the hand close at the "
                "cold end of the thermoneutral zone and open at its warm end",
            ),
            WarmthPreset(key="usual", start_k=k_from_c(33.0), source="from memory"),
            WarmthPreset(
                key="warm",
                start_k=k_from_c(35.0),
                source="from memory: upper end of the 26 to 35 C found on nail beds",
            ),
        )
    }
)

NAILS: Mapping[str, NailPreset] = MappingProxyType(
    {
        each.key: each
        for each in (
            NailPreset(key="thin", thickness_m=0.25e-3, source="from memory: thin or over-filed plate"),
            NailPreset(
                key="usual",
                thickness_m=0.45e-3,
                source="estimated: 0.5 to 0.6 mm is usually given (NIH Elements of Morphology, which found no support for "
                "it); ultrasound shows the plate thinning from thumb to little finger; good to 0.1 mm",
            ),
            NailPreset(key="thick", thickness_m=0.7e-3, source="from memory: thick plate"),
        )
    }
)


def preset_hand(warmth: str = "usual", nail: str = "usual") -> Hand:
    """Hand of a kind, with the usual numbers for everything else.

    Parameters
    ----------
    warmth : str
        ``"cold"`` (28 C), ``"usual"`` (33 C) or ``"warm"`` (35 C).
    nail : str
        ``"thin"`` (0.25 mm), ``"usual"`` (0.45 mm) or ``"thick"`` (0.7 mm).

    Raises
    ------
    UnknownNameError
        If a kind is not one of these.

    Examples
    --------
    >>> preset_hand("warm", "thin").nail_thickness_m
    0.00025
    """
    if warmth not in WARMTHS:
        raise unknown_name("warmth of the hand", warmth, WARMTHS)
    if nail not in NAILS:
        raise unknown_name("kind of nail", nail, NAILS)
    return Hand(start_k=WARMTHS[warmth].start_k, nail_thickness_m=NAILS[nail].thickness_m)
