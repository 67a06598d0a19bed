"""Colour of a cured clear film over a white floor: CIE XYZ, CIELAB and ASTM E313 yellowness.

The light passes the film, is sent back whole by a perfect white floor and passes the film again;
reflection at the film surface is left out because it is the same for every clear film. What tints
the film is initiator left over, its photoproduct, and amine.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError
from .data_tables import parse_number, read_rows
from .substances import Amine, Photoinitiator

FloatArray = NDArray[np.float64]

OBSERVER_FILE = "cie_1931_2_degree.csv"
ILLUMINANT_FILE = "cie_d65.csv"
# ASTM E313 for illuminant D65 and the 2-degree observer, and the white point (ASTM E308) they belong to
_E313_CX, _E313_CZ = 1.2985, 1.1335
_WHITE_XYZ = np.array([95.047, 100.0, 108.883])
# CIE 15: the cube-root branch holds above (6/29)^3
_CIELAB_EPSILON = (6.0 / 29.0) ** 3
_CIELAB_KAPPA = (29.0 / 6.0) ** 2 / 3.0


@cache
def _weights() -> tuple[FloatArray, FloatArray]:
    """Grid [nm] and tristimulus weights, shape (n_grid, 3), whose sums are the white point."""
    observer, illuminant = read_rows(OBSERVER_FILE), read_rows(ILLUMINANT_FILE)
    grid = [parse_number(row["wavelength_nm"], row["where"], "wavelength_nm") for row in observer]
    names = ("x_bar", "y_bar", "z_bar")
    bars = np.array([[parse_number(row[name], row["where"], name) for name in names] for row in observer])
    power = {
        parse_number(row["wavelength_nm"], row["where"], "wavelength_nm"): parse_number(
            row["relative_spectral_power"], row["where"], "relative_spectral_power"
        )
        for row in illuminant
    }
    if set(grid) != set(power):
        raise InputError(f"{OBSERVER_FILE} and {ILLUMINANT_FILE} differ in their wavelengths; use one grid.")
    weights = bars * np.array([power[each] for each in grid])[:, np.newaxis]
    return np.array(grid), weights * (_WHITE_XYZ / weights.sum(axis=0))


def colour_grid_nm() -> FloatArray:
    """Wavelengths [nm] of the CIE tables: 380 to 780 nm in steps of 5 nm."""
    return _weights()[0].copy()


def film_absorbance(
    wavelength_nm: ArrayLike,
    *,
    initiators: Sequence[Photoinitiator],
    residual_mol_m3: ArrayLike,
    product_mol_m3: ArrayLike,
    thickness_m: float,
    amines: Sequence[Amine] = (),
    amine_mol_m3: ArrayLike = (),
) -> FloatArray:
    """Decadic absorbance of cured films, single pass.

    Parameters
    ----------
    wavelength_nm : array_like, shape (n_wavelength,)
        Wavelengths [nm].
    initiators : sequence of Photoinitiator
        What was in the gel.
    residual_mol_m3, product_mol_m3 : array_like, shape (n_film, n_initiator) or (n_initiator,)
        Film means of the initiator left over and of its photoproduct [mol m-3].
    thickness_m : float
        Film thickness [m].
    amines : sequence of Amine
        Amines; those without a known spectrum add nothing.
    amine_mol_m3 : array_like, shape (n_film, n_amine) or (n_amine,)
        Amine concentrations [mol m-3].

    Returns
    -------
    ndarray, shape (n_film, n_wavelength)
        Decadic absorbance [-].

    Raises
    ------
    InputError
        If the number of concentrations differs from the number of substances.
    """
    residual, product = np.atleast_2d(residual_mol_m3), np.atleast_2d(product_mol_m3)
    amount = residual + product * np.array([each.product_absorption_ratio for each in initiators])
    spectra = [each.absorption.at(wavelength_nm) for each in initiators]
    if amount.shape[1] != len(initiators):
        raise InputError(f"{amount.shape[1]} concentrations for {len(initiators)} initiators; give one each.")
    absorbance = amount @ np.array(spectra)
    if amines:
        content = np.atleast_2d(np.asarray(amine_mol_m3, dtype=np.float64))
        if content.shape[1] != len(amines):
            raise InputError(f"{content.shape[1]} concentrations for {len(amines)} amines; give one each.")
        none = np.zeros(np.shape(wavelength_nm))
        absorbance = absorbance + content @ np.array(
            [none if each.absorption is None else each.absorption.at(wavelength_nm) for each in amines]
        )
    return np.asarray(absorbance * thickness_m)


def tristimulus(absorbance_decadic: ArrayLike, wavelength_nm: ArrayLike) -> FloatArray:
    """CIE XYZ of films over a perfect white floor.

    Parameters
    ----------
    absorbance_decadic : array_like, shape (n_film, n_wavelength)
        Decadic absorbance of one pass [-], 0 or more.
    wavelength_nm : array_like, shape (n_wavelength,)
        Ascending wavelengths [nm], covering 380 to 780 nm.

    Returns
    -------
    ndarray, shape (n_film, 3)
        X, Y, Z for illuminant D65 and the CIE 1931 2-degree observer; the floor alone has Y = 100.

    Raises
    ------
    InputError
        If the wavelengths do not cover the visible range, or an absorbance is negative or not finite.

    References
    ----------
    CIE 015:2018, Colorimetry.
    """
    wavelength = np.asarray(wavelength_nm, dtype=np.float64)
    absorbance = np.atleast_2d(np.asarray(absorbance_decadic, dtype=np.float64))
    grid, weights = _weights()
    if absorbance.shape[1] != wavelength.size or not np.all(np.diff(wavelength) > 0):
        raise InputError(
            f"{absorbance.shape[1]} absorbances for {wavelength.size} wavelengths; give one each, in ascending order."
        )
    if wavelength[0] > grid[0] or wavelength[-1] < grid[-1]:
        raise InputError(
            f"film absorbance runs from {wavelength[0]:g} to {wavelength[-1]:g} nm; the colour needs "
            f"{grid[0]:g} to {grid[-1]:g} nm."
        )
    if not (np.all(np.isfinite(absorbance)) and np.all(absorbance >= 0)):
        raise InputError("a film absorbance is negative or not finite; it must be >= 0.")
    if not np.array_equal(wavelength, grid):
        absorbance = absorbance @ _interpolation(wavelength, grid)
    return np.asarray(10.0 ** (-2.0 * absorbance) @ weights)


def _interpolation(wavelength: FloatArray, grid: FloatArray) -> FloatArray:
    """Matrix that carries values on `wavelength` to `grid` along straight lines."""
    unit = np.eye(wavelength.size)
    return np.array([np.interp(grid, wavelength, row) for row in unit])


def cielab(absorbance_decadic: ArrayLike, wavelength_nm: ArrayLike) -> FloatArray:
    """CIELAB L*, a*, b* of films over a perfect white floor; arguments and errors as `tristimulus`.

    Returns
    -------
    ndarray, shape (n_film, 3)
        L*, a*, b* against the D65 white; b* above 0 is yellow.
    """
    ratio = tristimulus(absorbance_decadic, wavelength_nm) / _WHITE_XYZ
    root = np.where(ratio > _CIELAB_EPSILON, np.cbrt(ratio), _CIELAB_KAPPA * ratio + 4.0 / 29.0)
    fx, fy, fz = root[:, 0], root[:, 1], root[:, 2]
    return np.stack([116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)], axis=1)


def yellowness(absorbance_decadic: ArrayLike, wavelength_nm: ArrayLike) -> FloatArray:
    """Yellowness index of films over a perfect white floor; arguments and errors as `tristimulus`.

    Returns
    -------
    ndarray, shape (n_film,)
        Yellowness index [-]: 0 for a colourless film, higher is yellower. Compare like films only.

    Notes
    -----
    YI = 100 (1.2985 X - 1.1335 Z)/Y for illuminant D65 and the 2-degree observer.

    References
    ----------
    ASTM E313.

    Examples
    --------
    >>> grid = colour_grid_nm()
    >>> bool(abs(yellowness(np.zeros((1, grid.size)), grid)[0]) < 0.001)
    True
    """
    xyz = tristimulus(absorbance_decadic, wavelength_nm)
    return np.asarray(100.0 * (_E313_CX * xyz[:, 0] - _E313_CZ * xyz[:, 2]) / xyz[:, 1])
