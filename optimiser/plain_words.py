"""The verdict in the words of a lesson: no symbols, no jargon, each number explained as it is said."""

from __future__ import annotations

from ..lamp_library.units import c_from_k, um_from_m
from .brief import COMFORT_K, Limits
from .verdict import CureFigures

_HAIR_UM = 70.0  # thickness of a hair, 50 to 100 um (from memory)


def plain_words(soft: CureFigures, hot: CureFigures, limits: Limits) -> tuple[str, ...]:
    """Cure, tacky layer and heat in plain sentences.

    Parameters
    ----------
    soft, hot : CureFigures
        Where the base is cured least and where the nail bed gets hottest.
    limits : Limits
        What is asked for.
    """
    return (_cure(soft, limits), _tack(soft), _heat(hot, limits))


def _cure(soft: CureFigures, limits: Limits) -> str:
    reached, possible = 100 * soft.bottom_conversion_fraction, 100 * soft.conversion_ceiling_fraction
    asked = 100 * (
        limits.bottom_conversion_min_fraction
        or (limits.bottom_conversion_min_share or 0.0) * soft.conversion_ceiling_fraction
    )
    held = f"of every 100 bonds that can link, {reached:.0f} have linked; {possible:.0f} is about what this gel can do"
    if reached >= asked:
        return f"At the bottom, next to the nail, the gel has set: {held}."
    feel = " It may feel hard on top all the same. Hard is not cured." if not soft.is_liquid else ""
    return (
        f"At the bottom, next to the nail, the gel is still soft: {held}, and {asked:.0f} is asked for.{feel}"
    )


def _tack(soft: CureFigures) -> str:
    layer = um_from_m(soft.uncured_layer_m)
    if layer < 0.5:
        return "The surface is dry."
    if soft.is_liquid:
        return "Nothing has set: this is liquid gel, and it must not touch the skin."
    hair = layer / _HAIR_UM
    thin = (
        "far thinner than a hair"
        if hair < 0.5
        else "about as thick as a hair"
        if hair < 1.5
        else "thicker than a hair"
    )
    return (
        f"On top {layer:.0f} thousandths of a millimetre stay sticky, {thin}, because air stops the cure there. Sticky on top is "
        "not soft below. Wipe it off, and keep it off the skin."
    )


def _heat(hot: CureFigures, limits: Limits) -> str:
    peak, limit = c_from_k(hot.nail_bed_peak_k), c_from_k(limits.nail_bed_max_k)
    if hot.nail_bed_peak_k > limits.nail_bed_max_k or hot.cem43_min > limits.cem43_max_min:
        return f"Under the nail it gets {peak:.0f} degrees, too hot: {limit:.0f} is the limit here. A heat spike like this hurts and can injure."
    felt = "the client may feel it" if hot.nail_bed_peak_k > COMFORT_K else "few will feel it"
    return f"Under the nail it gets {peak:.0f} degrees, below the limit of {limit:.0f}; {felt}."
