"""Is a lamp's light believable? Catches unit mistakes, which are factors of 10, 100 or 1000.

Mean irradiance of known nail lamps lies between about 4 and 40 mW/cm2 (published UV-A figures
of eight home devices: 3.9-18.5 mW/cm2, Australas. J. Dermatol. 2021, PMC8247871; 30-40 mW/cm2 for
salon lamps is trade practice without a source). The gate is wider: 1-100 mW/cm2.
"""

from __future__ import annotations

from .errors import InputError
from .spectrum import Spectrum
from .units import SPECTRAL_IRRADIANCE_UNITS, mw_cm2_from_w_m2, spectral_irradiance_w_m2_nm

CURING_BAND_NM = (315.0, 450.0)
LEAST_MEAN_W_M2 = 10.0
MOST_MEAN_W_M2 = 1000.0


def check_irradiance(mean: Spectrum, unit: str, file: str) -> None:
    """Raise unless the mean over positions, 315-450 nm, lies in 1-100 mW/cm2.

    Parameters
    ----------
    mean : Spectrum
        Mean over the positions, read with `unit`.
    unit : str
        The declared unit.
    file : str
        File name for the message, which names the units that would make the lamp believable.
    """
    irradiance = mean.irradiance_w_m2(*CURING_BAND_NM, dark_outside=True)
    if LEAST_MEAN_W_M2 <= irradiance <= MOST_MEAN_W_M2:
        return
    per_unit = spectral_irradiance_w_m2_nm(1.0, unit)
    fitting = []
    for other in SPECTRAL_IRRADIANCE_UNITS:
        ratio = spectral_irradiance_w_m2_nm(1.0, other) / per_unit
        if LEAST_MEAN_W_M2 <= irradiance * ratio <= MOST_MEAN_W_M2:
            factor = f"{ratio:g} times as much" if ratio > 1.0 else f"{1.0 / ratio:g} times less"
            fitting.append(f"{other} ({factor}: {mw_cm2_from_w_m2(irradiance * ratio):.3g} mW/cm2)")
    remedy = (
        f"as {' or as '.join(fitting)} it would be believable: check the instrument's unit."
        if fitting
        else "no known unit makes it believable: check the calibration and the export."
    )
    shown = mw_cm2_from_w_m2(irradiance)
    amount = f"{shown:.0f}" if shown >= 100.0 else f"{shown:.2g}"
    raise InputError(
        f"{file}: read as {unit}, the mean irradiance over 315-450 nm is {amount} mW/cm2; "
        f"nail lamps give 1-100 mW/cm2; {remedy}"
    )


def check_power(mean: Spectrum, opening_area_m2: float, electrical_power_w: float, file: str) -> None:
    """Raise if the light through the lamp's opening exceeds its rated electrical power.

    Parameters
    ----------
    mean : Spectrum
        Mean over the positions.
    opening_area_m2 : float
        Area the light falls through at the hand [m2], > 0.
    electrical_power_w : float
        Rated electrical power [W], > 0.
    file : str
        File name for the message.
    """
    if not 1e-4 <= opening_area_m2 <= 1.0:
        raise InputError(
            f"opening area is {opening_area_m2 * 1e4:g} cm2; it must be 1-10000 cm2. Measure the lamp's opening."
        )
    optical_power_w = mean.irradiance_w_m2() * opening_area_m2
    if optical_power_w > electrical_power_w:
        raise InputError(
            f"{file}: {mw_cm2_from_w_m2(mean.irradiance_w_m2()):.3g} mW/cm2 over {opening_area_m2 * 1e4:g} cm2 is "
            f"{optical_power_w:.3g} W of light, above the rated electrical {electrical_power_w:g} W; check unit and area."
        )
