"""Sentences on what to doubt in a prediction: numbers used outside their range, guesses, unknowns."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from .formulation import ResinBase, amine_records, gel_initiator, gel_pigment
from .gel import Gel
from .materials import stabiliser
from .optics import lit_part

Array = NDArray[np.float64]

# Range of the k_p measurements and of the vitrification data (5 to 70 C).
_RATE_RANGE_K = (278.15, 343.15)
_SHARE_OF_LIGHT_OUTSIDE = 0.02
# Thicknesses that the checks of the solver and of the physics cover.
CHECKED_THICKNESS_M = (10.0e-6, 1.0e-3)
# The rate of a phenol with a growing chain is known to a factor of ten: above this share it decides the answer.
_STABILISER_SHARE = 0.10
# No published network of these resins gives up its last few per cent of C=C (assumed line).
NEARLY_ALL_FRACTION = 0.97


def flags_of(gel: Gel, lamp: Lamp, position: str, resin: ResinBase, film_peak_k: float) -> tuple[str, ...]:
    """Flags of one cure, as sentences."""
    flags: list[str] = []
    spectrum = lit_part(lamp.spectrum(position).light())
    nm, power = spectrum.wavelength_nm, spectrum.spectral_irradiance_w_m2_nm
    for key in gel.initiators_wt_pct:
        record = gel_initiator(gel, key)
        coefficient = record.absorption.at(nm)
        weight = power * nm * coefficient
        outside = (nm < record.absorption.valid_from_nm) | (nm > record.absorption.valid_to_nm)
        total = float(np.trapezoid(weight, nm))
        share = float(np.trapezoid(np.where(outside, weight, 0.0), nm)) / total if total > 0.0 else 0.0
        if share > _SHARE_OF_LIGHT_OUTSIDE:
            flags.append(
                f"{key}: {100 * share:.0f} % of the light it absorbs lies outside the measured range of its spectrum "
                f"({record.absorption.valid_from_nm:g} to {record.absorption.valid_to_nm:g} nm)."
            )
        if record.grade == "C":
            flags.append(
                f"{key}: its absorption is estimated (relative error about {100 * record.scale_error_ratio:.0f} %); "
                "measure its spectrum and name the file in the gel."
            )
        if record.solubility_wt_pct is not None and gel.initiators_wt_pct[key] > record.solubility_wt_pct:
            flags.append(
                f"{key}: {gel.initiators_wt_pct[key]:g} wt% is above its solubility of about "
                f"{record.solubility_wt_pct:g} wt%; it may crystallise."
            )
    flags += _loading_flags(gel)
    flags += _pigment_flags(gel, nm, power)
    needs_amine = [key for key in gel.initiators_wt_pct if gel_initiator(gel, key).mechanism == "type_II"]
    if needs_amine and not any(value > 0.0 for value in gel.amines_wt_pct.values()):
        flags.append(f"{', '.join(needs_amine)}: no amine in the gel, so it starts no chains in this model.")
    if not _RATE_RANGE_K[0] <= film_peak_k <= _RATE_RANGE_K[1]:
        flags.append(
            f"The film reaches {film_peak_k - 273.15:.0f} C; the rate data cover {_RATE_RANGE_K[0] - 273.15:.0f} to "
            f"{_RATE_RANGE_K[1] - 273.15:.0f} C."
        )
    if resin.unverified:
        flags.append(
            f"{len(resin.unverified)} resin parameters are estimated, assumed or from memory; fit them to your own trials."
        )
    return tuple(flags)


_COVERED_WORDS: Mapping[str, tuple[str, str]] = {
    "thickness_um": ("film", "um"),
    "irradiance_mw_cm2": ("irradiance", "mW/cm2"),
    "exposure_s": ("lit time", "s"),
    "film_peak_c": ("film peak", "C"),
}
_COVERED_SLACK = 0.02  # readings are not sharper than this


def calibration_flags(gel: Gel, found: Mapping[str, float]) -> tuple[str, ...]:
    """What a calibrated gel rests on, and where a cure leaves the range of its trials.

    Parameters
    ----------
    gel : Gel
        With or without a calibration; without there is nothing to say here.
    found : mapping of str to float
        Figures of the cure by the names of `RateCalibration.covered`.
    """
    calibration = gel.calibration
    if calibration is None:
        return ()
    kept = set(calibration.kept_at_prior)
    fitted = [name for name in calibration.parameters if name not in kept]
    flags = [
        f"Calibrated on {_list(calibration.trials) or 'trials without a name'}: {_list(fitted) or 'nothing'} from the data"
        + (f"; {_list(sorted(kept))} not determined by them, kept at the packaged value." if kept else ".")
    ]
    for key, (low, high) in calibration.covered.items():
        value = found.get(key)
        slack = _COVERED_SLACK * max(abs(low), abs(high))
        if value is None or key not in _COVERED_WORDS or low - slack <= value <= high + slack:
            continue
        words, unit = _COVERED_WORDS[key]
        flags.append(
            f"Outside the calibration: {words} {value:.3g} {unit}; the trials covered {low:.3g} to {high:.3g} {unit}."
        )
    return tuple(flags)


def _loading_flags(gel: Gel) -> list[str]:
    """Initiators, amines and stabilisers above what is usual."""
    usual = {key: gel_initiator(gel, key).usual_max_wt_pct for key in gel.initiators_wt_pct}
    usual |= {record.key: record.usual_max_wt_pct for record in amine_records(gel)}
    usual |= {key: stabiliser(key).usual_max_wt_pct for key in gel.stabilisers_wt_pct}
    weighed = {**gel.initiators_wt_pct, **gel.amines_wt_pct, **gel.stabilisers_wt_pct}
    return [
        f"{key}: {weighed[key]:g} wt% is above the usual maximum of {highest:g} wt%."
        for key, highest in usual.items()
        if highest is not None and weighed[key] > highest
    ]


def thickness_flags(thickness_m: float) -> tuple[str, ...]:
    """A coat thinner or thicker than what was checked."""
    low, high = CHECKED_THICKNESS_M
    if low * (1.0 - 1e-9) <= thickness_m <= high * (1.0 + 1e-9):
        return ()
    return (
        f"The coat is {1e6 * thickness_m:g} um thick; the model was checked from {1e6 * low:g} to {1e6 * high:g} um only.",
    )


def run_flags(stabiliser_share_fraction: float, highest_conversion_fraction: float) -> tuple[str, ...]:
    """What a run itself says about numbers that carry more than they can.

    Parameters
    ----------
    stabiliser_share_fraction : float
        Share of the radicals that the stabiliser takes [-].
    highest_conversion_fraction : float
        Highest conversion anywhere [-].
    """
    flags = []
    if stabiliser_share_fraction > _STABILISER_SHARE:
        flags.append(
            f"The stabiliser takes {100 * stabiliser_share_fraction:.0f} % of the radicals, by a rate coefficient known "
            "within a factor of ten only. Without it the film would cure further and run hotter: try the gel without it too."
        )
    if highest_conversion_fraction > NEARLY_ALL_FRACTION:
        flags.append(
            f"Conversion reaches {highest_conversion_fraction:.2f}: the model knows no limit but stiffening, while real networks "
            "keep some C=C out of reach. Read it as 'very far', and never as 'no monomer left'."
        )
    return tuple(flags)


def _list(words: Iterable[str]) -> str:
    return ", ".join(words)


def lamp_flags(lamp: Lamp, programmes: Iterable[str]) -> tuple[str, ...]:
    """What the lamp's report, its state and the programmes used have to say, as sentences, each once."""
    remarks = (remark for name in programmes for remark in lamp.programme(name).remarks)
    return tuple(dict.fromkeys((*(f"Lamp: {note}" for note in lamp.notes), *remarks)))


def _pigment_flags(gel: Gel, wavelength_nm: Array, power: Array) -> list[str]:
    flags = []
    photons = power * wavelength_nm
    for key in gel.pigments_wt_pct:
        record = gel_pigment(gel, key)
        if "optics" in record.unverified or "absorption_error_ratio" in record.unverified:
            flags.append(
                f"{key} ({record.name}): its absorption and scattering are estimated (relative errors about "
                f"{100 * record.absorption_error_ratio:.0f} % and {100 * record.scattering_error_ratio:.0f} %); measure K and S "
                "and name the file under pigment_files."
            )
        known = (record.optics.valid_from_nm <= wavelength_nm) & (wavelength_nm <= record.optics.valid_to_nm)
        share = float(np.trapezoid(np.where(known, 0.0, photons), wavelength_nm)) / float(
            np.trapezoid(photons, wavelength_nm)
        )
        if share > _SHARE_OF_LIGHT_OUTSIDE:
            flags.append(
                f"{key}: {100 * share:.0f} % of the lamp's light lies outside the range of its numbers "
                f"({record.optics.valid_from_nm:g} to {record.optics.valid_to_nm:g} nm), where they are held level."
            )
        if record.usual_max_wt_pct is not None and gel.pigments_wt_pct[key] > record.usual_max_wt_pct:
            flags.append(
                f"{key}: {gel.pigments_wt_pct[key]:g} wt% is above the usual {record.usual_max_wt_pct:g} wt%."
            )
    return flags
