"""Named unit conversions and physical constants: the only place with powers of ten.

Every function takes a float or a float array and returns the same kind. The constants are
the exact values of the 2019 SI, except the gas constant, which is their exact product to
ten digits (CODATA 2018).
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .errors import unknown_name

Number = TypeVar("Number", float, NDArray[np.float64])

PLANCK_J_S = 6.62607015e-34
LIGHT_SPEED_M_S = 299_792_458.0
AVOGADRO_1_MOL = 6.02214076e23
ELEMENTARY_CHARGE_C = 1.602176634e-19
GAS_CONSTANT_J_MOL_K = 8.314462618
ZERO_CELSIUS_K = 273.15

_NM_PER_M = 1e9
_W_M2_NM_PER_UNIT = {"W/m2/nm": 1.0, "mW/m2/nm": 1e-3, "mW/cm2/nm": 10.0, "uW/cm2/nm": 1e-2}

SPECTRAL_IRRADIANCE_UNITS = tuple(_W_M2_NM_PER_UNIT)


def m_from_um(length_um: Number) -> Number:
    """Convert micrometres to metres."""
    return length_um / 1e6


def um_from_m(length_m: Number) -> Number:
    """Convert metres to micrometres."""
    return length_m * 1e6


def k_from_c(temperature_c: Number) -> Number:
    """Convert degrees Celsius to kelvin."""
    return temperature_c + ZERO_CELSIUS_K


def c_from_k(temperature_k: Number) -> Number:
    """Convert kelvin to degrees Celsius."""
    return temperature_k - ZERO_CELSIUS_K


def w_m2_from_mw_cm2(irradiance_mw_cm2: Number) -> Number:
    """Convert milliwatts per square centimetre to watts per square metre."""
    return irradiance_mw_cm2 * 10.0


def mw_cm2_from_w_m2(irradiance_w_m2: Number) -> Number:
    """Convert watts per square metre to milliwatts per square centimetre."""
    return irradiance_w_m2 / 10.0


def uw_cm2_from_w_m2(irradiance_w_m2: Number) -> Number:
    """Convert watts per square metre to microwatts per square centimetre."""
    return irradiance_w_m2 * 100.0


def m2_from_cm2(area_cm2: Number) -> Number:
    """Convert square centimetres to square metres."""
    return area_cm2 / 1e4


def spectral_irradiance_w_m2_nm(value: Number, unit: str) -> Number:
    """Convert a spectral irradiance to W m-2 nm-1.

    Parameters
    ----------
    value : float or ndarray
        Spectral irradiance in `unit`.
    unit : {"W/m2/nm", "mW/m2/nm", "mW/cm2/nm", "uW/cm2/nm"}
        The unit of `value`.

    Returns
    -------
    float or ndarray
        Spectral irradiance [W m-2 nm-1].

    Raises
    ------
    UnknownNameError
        If the unit is none of the four.

    Examples
    --------
    >>> spectral_irradiance_w_m2_nm(1.0, "mW/cm2/nm")
    10.0
    """
    if unit not in _W_M2_NM_PER_UNIT:
        raise unknown_name("unit of spectral irradiance", unit, _W_M2_NM_PER_UNIT)
    return value * _W_M2_NM_PER_UNIT[unit]


def m3_mol_s_from_l_mol_s(rate_coefficient_l_mol_s: Number) -> Number:
    """Convert a second-order rate coefficient from L mol-1 s-1 to m3 mol-1 s-1."""
    return rate_coefficient_l_mol_s / 1e3


def mol_m3_from_mol_l(concentration_mol_l: Number) -> Number:
    """Convert moles per litre to moles per cubic metre."""
    return concentration_mol_l * 1e3


def m2_mol_from_l_mol_cm(molar_absorption_coefficient_l_mol_cm: Number) -> Number:
    """Convert a molar absorption coefficient from L mol-1 cm-1 to m2 mol-1.

    Decadic stays decadic and Napierian stays Napierian.
    """
    return molar_absorption_coefficient_l_mol_cm / 10.0


def napierian_from_decadic(decadic: Number) -> Number:
    """Convert a decadic (base 10) absorbance or absorption coefficient to Napierian (base e)."""
    return decadic * float(np.log(10.0))


def photon_energy_j_mol(wavelength_nm: Number) -> Number:
    """Energy of one mole of photons [J mol-1] of a vacuum wavelength [nm], N_A h c / lambda.

    Examples
    --------
    >>> round(photon_energy_j_mol(365.0))
    327744
    """
    return (AVOGADRO_1_MOL * PLANCK_J_S * LIGHT_SPEED_M_S * _NM_PER_M) / wavelength_nm


def j_mol_from_ev(energy_ev: Number) -> Number:
    """Convert an energy per particle in electronvolts to joules per mole."""
    return energy_ev * ELEMENTARY_CHARGE_C * AVOGADRO_1_MOL
