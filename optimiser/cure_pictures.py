"""Pictures of a cure for a page: drawn by `plots`, described in words for those who cannot see them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from ..models.gel import Gel
from ..models.results import CureResult
from .colour_figures import initiator_absorbance
from .page_html import inline_svg
from .page_parts import Picture
from .plots import draw_conversion, draw_film_temperature, draw_light, draw_nail_bed_temperature, new_figure

Floats = NDArray[np.float64]
SIZE_IN = (4.9, 3.2)  # small, so that its letters are large enough on a phone


def blend_absorbance(
    gel: Gel, blend_wt_pct: Mapping[str, float], wavelength_nm: Floats, thickness_m: float
) -> dict[str, Floats]:
    """Decadic absorbance [-] of the fresh film through each initiator, shape (n_wavelength,) each."""
    return {
        key: initiator_absorbance(gel, key, loading, wavelength_nm, thickness_m)
        for key, loading in blend_wt_pct.items()
    }


def absorbed_share(lamp: Lamp, absorbance: Floats) -> float:
    """Share of the lamp's photons, mean over the positions, that one initiator alone would absorb in the fresh film [-]."""
    spectrum = lamp.mean_spectrum()
    photons = spectrum.spectral_irradiance_w_m2_nm * spectrum.wavelength_nm
    return float(np.trapezoid(photons * (1.0 - 10.0**-absorbance), spectrum.wavelength_nm)) / float(
        np.trapezoid(photons, spectrum.wavelength_nm)
    )


def light_picture(
    gel: Gel, lamp: Lamp, blend_wt_pct: Mapping[str, float], thickness_m: float, name: str = "light"
) -> Picture:
    """Lamp emission against what each initiator absorbs of it in the fresh film."""
    wavelength_nm = lamp.spectrum(lamp.strongest).wavelength_nm
    absorbance = blend_absorbance(gel, blend_wt_pct, wavelength_nm, thickness_m)
    figure, axes = new_figure(*SIZE_IN)
    draw_light(axes[0], lamp, absorbance, wavelength_nm, thickness_m)
    shares = "; ".join(f"{key} {100 * absorbed_share(lamp, each):.0f} %" for key, each in absorbance.items())
    strong = mw_cm2_from_w_m2(lamp.spectrum(lamp.strongest).irradiance_w_m2())
    weak = mw_cm2_from_w_m2(lamp.spectrum(lamp.weakest).irradiance_w_m2())
    words = (
        f"Share of the lamp's photons that each initiator alone would absorb in {um_from_m(thickness_m):g} µm of fresh gel: "
        f"{shares}."
    )
    return Picture(
        svg=inline_svg(figure, name),
        alt=(
            f"Lamp light against wavelength, {strong:.0f} mW/cm² at {lamp.strongest} and {weak:.0f} at {lamp.weakest}, with "
            f"what each initiator absorbs of it. {words}"
        ),
        caption=words + " Hatched: the light at the strongest position that all of them together take.",
    )


def conversion_picture(
    results: Sequence[CureResult],
    least_fraction: float | None,
    name: str = "conversion",
    size_in: tuple[float, float] = SIZE_IN,
) -> Picture:
    """Conversion against depth at every position."""
    figure, axes = new_figure(*size_in)
    draw_conversion(axes[0], results, least_fraction)
    bases = ", ".join(f"{each.position} {each.bottom_conversion_fraction:.2f}" for each in results)
    asked = "" if least_fraction is None else f"; at least {least_fraction:.2f} is asked for"
    return Picture(
        svg=inline_svg(figure, name),
        alt=f"Conversion against depth below the surface. At the base: {bases}{asked}.",
        caption="Conversion against depth in the thickest film: the surface at the left, the base of the coat at the right.",
    )


def temperature_pictures(
    results: Sequence[CureResult], limit_k: float, name: str = "temperature"
) -> tuple[Picture, Picture]:
    """Film and nail bed against time, two pictures: they are never to be taken for one another."""
    film, axes = new_figure(*SIZE_IN)
    draw_film_temperature(axes[0], results)
    bed, bed_axes = new_figure(*SIZE_IN)
    draw_nail_bed_temperature(bed_axes[0], results, limit_k)
    films = ", ".join(f"{each.position} {c_from_k(each.film_peak_k):.0f} °C" for each in results)
    beds = ", ".join(f"{each.position} {c_from_k(each.nail_bed_peak_k):.1f} °C" for each in results)
    return (
        Picture(
            svg=inline_svg(film, f"{name}-film"),
            alt=f"Hottest place of the film against time. Peaks: {films}.",
            caption="Temperature in the film. The 71 °C line is common practice, no source.",
        ),
        Picture(
            svg=inline_svg(bed, f"{name}-bed"),
            alt=f"Nail bed against time. Peaks: {beds}; the limit is {c_from_k(limit_k):.0f} °C.",
            caption="Temperature at the nail bed, with the comfort line and the limit.",
        ),
    )
