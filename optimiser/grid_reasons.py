"""Why a gel fails in a lamp, in one sentence with numbers, from the light and what the initiators take of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from ..models.gel import Gel
from .brief import Limits
from .colour_figures import initiator_absorbance, initiator_of
from .verdict import dose_text

if TYPE_CHECKING:
    from .grid_cells import Cell

Floats = NDArray[np.float64]

AIR_M = 30e-6  # estimated: as deep as air leaves a film tacky in the demonstration lamps
LITTLE = 0.1  # share below which light counts as hardly used, or as hardly arriving


@dataclass(frozen=True, slots=True, kw_only=True)
class LightUse:
    """What a fresh film's initiators make of a lamp's light, pigments and resin left aside.

    Parameters
    ----------
    peak_nm : float
        Wavelength of the lamp's highest peak.
    taken_fraction : float
        Photons the initiators absorb over those that fall in [-].
    arriving_fraction : float
        Radicals that begin at the base over those at the surface, per depth [-].
    """

    peak_nm: float
    taken_fraction: float
    arriving_fraction: float


def light_use(gel: Gel, lamp: Lamp, position: str, thickness_m: float) -> LightUse:
    """Absorbed share of the light and how much of the useful light reaches the base, by Beer-Lambert.

    Parameters
    ----------
    gel, lamp, position : Gel, Lamp, str
        The pair and the place.
    thickness_m : float
        Film [m].

    Returns
    -------
    LightUse
        Of the fresh film; bleaching opens it up later.
    """
    spectrum = lamp.spectrum(position).light()
    nm = spectrum.wavelength_nm
    photons = spectrum.spectral_irradiance_w_m2_nm * nm
    total, useful = np.zeros_like(nm), np.zeros_like(nm)
    for key, loading in gel.initiators_wt_pct.items():
        absorbance = initiator_absorbance(gel, key, loading, nm, thickness_m)
        data = initiator_of(gel, key)
        total += absorbance
        useful += absorbance * data.quantum_yield * data.initiation_efficiency
    at_surface = float(np.trapezoid(photons * useful, nm))
    at_base = float(np.trapezoid(photons * useful * 10.0**-total, nm))
    taken = float(np.trapezoid(photons * (1.0 - 10.0**-total), nm) / np.trapezoid(photons, nm))
    return LightUse(
        peak_nm=float(nm[np.argmax(spectrum.spectral_irradiance_w_m2_nm)]),
        taken_fraction=taken,
        arriving_fraction=at_base / at_surface if at_surface > 0.0 else 0.0,
    )


def reason_of(
    cell: Cell,
    gel: Gel,
    lamp: Lamp,
    limits: Limits,
    *,
    times_the_light: float | None = None,
    was_tried: bool = False,
) -> str:
    """One sentence on why a pair passes or fails.

    Parameters
    ----------
    cell : Cell
        Figures of the pair.
    gel, lamp : Gel, Lamp
        The pair.
    limits : Limits
        What was asked for.
    times_the_light : float or None
        The least of the tried multiples of this light in which the base cures; None when none of them does.
    was_tried : bool
        Whether more light was tried at all.
    """
    if cell.passes:
        return _passes(cell, limits)
    told = []
    if "under-cured" in cell.outcome:
        is_dim = not was_tried or times_the_light is not None
        told.append(_under_cured(cell, gel, lamp, is_dim=is_dim) + _more_light(times_the_light, was_tried))
    if "too hot" in cell.outcome:
        told.append(_too_hot(cell, lamp, limits))
    return " ".join(told)


def _passes(cell: Cell, limits: Limits) -> str:
    soft, hot = cell.soft, cell.hot
    return (
        f"The base reaches {100 * soft.bottom_conversion_fraction:.0f} % of a possible "
        f"{100 * soft.conversion_ceiling_fraction:.0f} % at {soft.position} ({100 * cell.asked_fraction:.0f} % asked for) and the "
        f"nail bed {c_from_k(hot.nail_bed_peak_k):.1f} °C at {hot.position} (limit {c_from_k(limits.nail_bed_max_k):.0f} °C)."
    )


def _more_light(times: float | None, was_tried: bool) -> str:
    if not was_tried:
        return "."
    if times is None:
        return "; twenty times the light would not cure it either."
    return f"; about {times:g} times the light would cure it."


def _under_cured(cell: Cell, gel: Gel, lamp: Lamp, *, is_dim: bool) -> str:
    soft = cell.soft
    use = light_use(gel, lamp, soft.position, cell.thickness_m)
    pigments = " and its pigments shade them" if gel.pigments_wt_pct else ""
    if soft.is_liquid and soft.thickness_m <= AIR_M:
        why = (
            f"air keeps the uppermost micrometres of any film from setting, and this one is {um_from_m(soft.thickness_m):g} µm thin; "
            f"its initiators take {100 * use.taken_fraction:.1f} % of this lamp's light"
        )
    elif use.taken_fraction < LITTLE:
        why = (
            f"its initiators take only {100 * use.taken_fraction:.1f} % of this lamp's light (peak {use.peak_nm:.0f} nm)"
            f"{pigments}"
        )
    elif use.arriving_fraction < LITTLE:
        why = (
            f"the upper film keeps the light from the base: {100 * use.arriving_fraction:.1f} % of what its initiators use "
            f"arrives there{', and its pigments take more' if gel.pigments_wt_pct else ''}"
        )
    else:
        irradiance = mw_cm2_from_w_m2(
            lamp.course.level_ratio * lamp.spectrum(soft.position).irradiance_w_m2()
        )
        # more of it does not help: what is short is initiator, or time for the radicals to work
        lack = (
            "is too little light"
            if is_dim
            else "falls short for want of initiator or time, not of brightness"
        )
        why = (
            f"{irradiance:.0f} mW/cm² for {cell.exposure_s:g} s {lack}; its initiators take "
            f"{100 * use.taken_fraction:.0f} % of it{pigments}"
        )
    return (
        f"The base reaches {100 * soft.bottom_conversion_fraction:.0f} % of a possible "
        f"{100 * soft.conversion_ceiling_fraction:.0f} % at {soft.position} ({100 * cell.asked_fraction:.0f} % asked for): {why}"
    )


def _too_hot(cell: Cell, lamp: Lamp, limits: Limits) -> str:
    hot = cell.hot
    irradiance = mw_cm2_from_w_m2(lamp.course.level_ratio * lamp.spectrum(hot.position).irradiance_w_m2())
    return (
        f"The nail bed peaks at {c_from_k(hot.nail_bed_peak_k):.1f} °C at {hot.position}, thermal dose {dose_text(hot.cem43_min)} min (limits "
        f"{c_from_k(limits.nail_bed_max_k):.0f} °C and {limits.cem43_max_min:g} min): {um_from_m(cell.thickness_m):g} µm of gel "
        f"react faster under {irradiance:.0f} mW/cm² than their heat can leave, and the film gets to "
        f"{c_from_k(hot.film_peak_k):.0f} °C."
    )
