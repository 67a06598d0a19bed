"""How ultraviolet wavelengths weigh on skin and eye: actinic weighting S and erythema action spectrum.

S from 300 to 400 nm is the 1 nm table of IEC 62471-6:2022, as an open UV-safety library carries it; its 5 nm points equal
ICNIRP, Health Phys. 2004, 87, 171. Between the points it is interpolated logarithmically; above 400 nm it is zero by
definition. Below 300 nm, where skin and eye differ in newer editions and no nail lamp should shine, it is not tabulated.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError
from .data_tables import parse_number, read_rows

Array = NDArray[np.float64]

FIRST_NM, LAST_NM = 300.0, 400.0
_TABLE_FILE = "actinic_weighting.csv"


@cache
def _table() -> tuple[Array, Array]:
    rows = read_rows(_TABLE_FILE)
    pairs = [
        (parse_number(row["wavelength_nm"], row["where"], "wavelength"),
         parse_number(row["weight_ratio"], row["where"], "weight"))
        for row in rows
    ]  # fmt: skip
    wavelength, weight = np.array(pairs).T
    if (wavelength[0], wavelength[-1]) != (FIRST_NM, LAST_NM) or np.any(np.diff(wavelength) <= 0.0):
        raise InputError(
            f"{_TABLE_FILE}: wavelengths must ascend from {FIRST_NM:g} to {LAST_NM:g} nm; restore the file."
        )
    return wavelength, weight


def actinic_weight(wavelength_nm: ArrayLike) -> Array:
    """Actinic weighting S of ICNIRP 2004 [-] at wavelengths [nm]; same shape.

    Raises
    ------
    InputError
        If a wavelength lies below 300 nm, where the table begins, or is not finite.

    Examples
    --------
    >>> actinic_weight([365.0, 400.0, 405.0])
    array([1.1e-04, 3.0e-05, 0.0e+00])
    """
    wanted = np.asarray(wavelength_nm, dtype=np.float64)
    grid, weight = _table()
    if not np.all(np.isfinite(wanted)) or np.any(wanted < FIRST_NM):
        raise InputError(
            f"actinic weighting at {float(np.min(wanted)) if wanted.size else 0.0:g} nm; the table covers {FIRST_NM:g} nm and "
            "above. A lamp that shines there needs a photobiological assessment."
        )
    inside = np.exp(np.interp(wanted, grid, np.log(weight)))
    # the table's own values, not their logarithm's rounding, at its points
    exact = np.interp(wanted, grid, weight)
    inside = np.where(np.isin(wanted, grid), exact, inside)
    return np.asarray(np.where(wanted > LAST_NM, 0.0, inside), dtype=np.float64)


def actinic_weight_formula(wavelength_nm: ArrayLike) -> Array:
    """Closed form of S [-], 210 to 400 nm, as a cross-check on the table; same shape.

    ICNIRP 2004, equations 2a to 2c. Against the table it is within 1 % at 300-303 nm and within 4.3 % above 335 nm, but up
    to 49 % too high between (at 323 nm).

    Raises
    ------
    InputError
        If a wavelength lies outside 210-400 nm.
    """
    nm = np.asarray(wavelength_nm, dtype=np.float64)
    if not np.all((nm >= 210.0) & (nm <= 400.0)):
        raise InputError(
            "the closed form of the actinic weighting covers 210 to 400 nm; use the table elsewhere."
        )
    short = 0.959 ** (270.0 - np.minimum(nm, 270.0))
    middle = 1.0 - 0.36 * ((np.clip(nm, 270.0, 300.0) - 270.0) / 20.0) ** 1.64
    long = 0.3 * 0.736 ** (nm - 300.0) + 10.0 ** (2.0 - 0.0163 * nm)
    return np.asarray(np.where(nm <= 270.0, short, np.where(nm <= 300.0, middle, long)), dtype=np.float64)


def erythema_weight(wavelength_nm: ArrayLike) -> Array:
    """Erythema action spectrum of ISO/CIE 17166 [-] at wavelengths from 250 nm [nm]; 0 above 400 nm; same shape.

    Raises
    ------
    InputError
        If a wavelength lies below 250 nm.

    Examples
    --------
    >>> erythema_weight([298.0, 405.0])
    array([1., 0.])
    """
    nm = np.asarray(wavelength_nm, dtype=np.float64)
    if not np.all(nm >= 250.0):
        raise InputError("the erythema action spectrum covers 250 nm and above; give longer wavelengths.")
    falling = np.where(nm <= 328.0, 10.0 ** (0.094 * (298.0 - nm)), 10.0 ** (0.015 * (140.0 - nm)))
    return np.asarray(np.where(nm <= 298.0, 1.0, np.where(nm > 400.0, 0.0, falling)), dtype=np.float64)
