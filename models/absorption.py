"""Absorption spectra: the molar absorption coefficient of a substance against wavelength.

Packaged substances are sums of Gaussian bands sampled every nanometre; a user's own measured
spectrum (CSV or JCAMP-DX) replaces them. Everything is decadic (base 10).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.tables import find_table, read_text, to_numbers, wavelength_column
from ..lamp_library.units import m2_mol_from_l_mol_cm, mol_m3_from_mol_l
from .data_tables import parse_number, read_rows
from .jcamp import read_jcamp

FloatArray = NDArray[np.float64]

# Bands are sampled over this window: below it no nail lamp shines, above it no initiator absorbs.
BANDS_FROM_NM = 300
BANDS_TO_NM = 560
BANDS_FILE = "absorption_bands.csv"
MOLAR_COLUMN = "molar_absorption_coefficient_l_mol_cm"
_M_PER_CM = 1e-2
_DECLARED = {"concentration_mol_l": "mol/L", "path_length_cm": "cm"}
_DECLARATION = re.compile(r"[#\s]*(?P<name>concentration_mol_l|path_length_cm)\s*[=:]\s*(?P<value>\S+)")


@dataclass(frozen=True, slots=True, eq=False)
class AbsorptionSpectrum:
    """Decadic molar absorption coefficient against wavelength, linear between its points.

    Parameters
    ----------
    wavelength_nm : array_like, shape (n_wavelength,)
        Strictly ascending wavelengths [nm], at least two.
    molar_absorption_coefficient_m2_mol : array_like, shape (n_wavelength,)
        Decadic molar absorption coefficient [m2 mol-1], 0 or more.
    valid_from_nm, valid_to_nm : float
        Range [nm] supported by data; values outside it are extrapolated.
    source : str
        Key in ``sources.csv``, or the file name of a user's spectrum.
    kind : str
        measured, fitted, estimated ...

    Raises
    ------
    InputError
        If the arrays differ in length, do not ascend, or hold negative or non-finite numbers.
    """

    wavelength_nm: FloatArray
    molar_absorption_coefficient_m2_mol: FloatArray
    valid_from_nm: float
    valid_to_nm: float
    source: str
    kind: str

    def __post_init__(self) -> None:
        """Copy, check and lock both arrays."""
        grid = _locked(self.wavelength_nm)
        values = _locked(self.molar_absorption_coefficient_m2_mol)
        if grid.ndim != 1 or grid.shape != values.shape or grid.size < 2:
            raise InputError(
                f"{self.source}: {grid.size} wavelengths for {values.size} absorption coefficients; give one "
                "each, at least two."
            )
        if not (np.all(np.isfinite(grid)) and np.all(np.diff(grid) > 0)):
            raise InputError(f"{self.source}: the wavelengths must ascend strictly; sort them.")
        bad = np.flatnonzero(~(np.isfinite(values) & (values >= 0)))
        if bad.size:
            raise InputError(
                f"{self.source}: molar absorption coefficient at {grid[bad[0]]:g} nm is {values[bad[0]]:g} m2 mol-1; "
                "it must be >= 0. Subtract the baseline."
            )
        object.__setattr__(self, "wavelength_nm", grid)
        object.__setattr__(self, "molar_absorption_coefficient_m2_mol", values)

    def __reduce__(self) -> tuple[type[AbsorptionSpectrum], tuple[Any, ...]]:
        """Rebuild through the constructor: a plain unpickle would bring back writeable arrays."""
        fields = (self.wavelength_nm, self.molar_absorption_coefficient_m2_mol)
        return (
            AbsorptionSpectrum,
            (*fields, self.valid_from_nm, self.valid_to_nm, self.source, self.kind),
        )

    def at(self, wavelength_nm: ArrayLike) -> FloatArray:
        """Decadic molar absorption coefficient at some wavelengths, 0 beyond the red end.

        Parameters
        ----------
        wavelength_nm : array_like
            Wavelengths [nm].

        Returns
        -------
        ndarray, same shape
            Decadic molar absorption coefficient [m2 mol-1].

        Raises
        ------
        InputError
            If a wavelength lies below the first point: absorption rises there and nothing is known.
        """
        asked = np.asarray(wavelength_nm, dtype=np.float64)
        if asked.size and float(asked.min()) < self.wavelength_nm[0]:
            raise InputError(
                f"absorption spectrum ({self.source}) asked at {float(asked.min()):g} nm; it starts at "
                f"{self.wavelength_nm[0]:g} nm. Measure further into the ultraviolet."
            )
        return np.asarray(
            np.interp(asked, self.wavelength_nm, self.molar_absorption_coefficient_m2_mol, right=0.0)
        )

    def covers(self, lower_nm: float, upper_nm: float) -> bool:
        """Whether the data support the whole range; results outside it deserve a flag."""
        return self.valid_from_nm <= lower_nm and upper_nm <= self.valid_to_nm


def _locked(values: ArrayLike) -> FloatArray:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def band_sum(
    wavelength_nm: ArrayLike, centre_nm: ArrayLike, fwhm_nm: ArrayLike, peak: ArrayLike
) -> FloatArray:
    """Sum of Gaussian bands at some wavelengths, in the unit of `peak`.

    Parameters
    ----------
    wavelength_nm : array_like, shape (n_wavelength,)
        Wavelengths [nm].
    centre_nm, fwhm_nm, peak : array_like, shape (n_band,)
        Centre [nm], full width at half maximum [nm] and height of each band.

    Returns
    -------
    ndarray, shape (n_wavelength,)
        Sum of peak exp(-4 ln2 ((l - centre)/fwhm)^2).

    Examples
    --------
    >>> band_sum([380.0, 405.0], [380.0], [50.0], [550.0])
    array([550., 275.])
    """
    distance = np.subtract.outer(np.asarray(wavelength_nm, dtype=np.float64), np.asarray(centre_nm))
    shape = np.exp(-4.0 * np.log(2.0) * (distance / np.asarray(fwhm_nm)) ** 2)
    return np.asarray(shape @ np.asarray(peak, dtype=np.float64))


@cache
def band_spectrum(substance: str) -> AbsorptionSpectrum:
    """Packaged spectrum of a substance, its bands sampled at 1 nm.

    Raises
    ------
    InputError
        If the bands file holds no row for the substance.
    """
    rows = [row for row in read_rows(BANDS_FILE) if row["substance"] == substance]
    if not rows:
        raise InputError(
            f"{BANDS_FILE}: absorption bands of {substance} are missing; add rows with a source."
        )

    def column(name: str) -> list[float]:
        return [parse_number(row[name], row["where"], name) for row in rows]

    grid = np.arange(BANDS_FROM_NM, BANDS_TO_NM + 1, dtype=np.float64)
    values = band_sum(grid, column("centre_nm"), column("fwhm_nm"), column("peak_l_mol_cm"))
    return AbsorptionSpectrum(
        grid,
        m2_mol_from_l_mol_cm(values),
        column("valid_from_nm")[0],
        column("valid_to_nm")[0],
        rows[0]["source"],
        rows[0]["kind"],
    )


def read_absorption(
    path: str | Path, *, concentration_mol_l: float | None = None, path_length_cm: float | None = None
) -> AbsorptionSpectrum:
    """Read a measured absorption spectrum from CSV or JCAMP-DX.

    Parameters
    ----------
    path : str or Path
        A CSV with ``wavelength_nm`` and either ``molar_absorption_coefficient_l_mol_cm`` (decadic) or
        ``absorbance`` (decadic), or a JCAMP-DX 4.24 file (``.dx``, ``.jdx``, ``.jcamp``).
    concentration_mol_l : float, optional
        Concentration [mol/L] of the measured solution; needed with absorbance or transmittance, unless
        a line above the CSV table declares it: ``# concentration_mol_l = 0.0005``.
    path_length_cm : float, optional
        Light path [cm] of the cell; needed and declared likewise, ``# path_length_cm = 1``.

    Returns
    -------
    AbsorptionSpectrum
        Valid over the measured range; kind "measured", source the file name.

    Raises
    ------
    InputError
        If the file cannot be read, a column or a declaration is missing, or a number is impossible.
    """
    path = Path(path)
    text = read_text(path)
    if path.suffix.lower() in (".dx", ".jdx", ".jcamp", ".jcm"):
        wavelength, values = read_jcamp(text, path.name)
        molar, declared = False, dict[str, float]()
    else:
        wavelength, values, molar, declared = _read_csv(text, path.name)
    if molar:
        coefficient = m2_mol_from_l_mol_cm(values)
    else:
        arguments = {"concentration_mol_l": concentration_mol_l, "path_length_cm": path_length_cm}
        given = {name: value for name, value in arguments.items() if value is not None}
        coefficient = values / _column_density(path.name, {**declared, **given})
    order = np.argsort(wavelength, kind="stable")
    grid = wavelength[order]
    return AbsorptionSpectrum(
        grid, coefficient[order], float(grid[0]), float(grid[-1]), path.name, "measured"
    )


def _read_csv(text: str, file: str) -> tuple[FloatArray, FloatArray, bool, dict[str, float]]:
    """Wavelengths, values, whether these are molar, and what the lines above the table declare."""
    table = find_table(text, file)
    heads = [head.strip().lower() for head in table.header]
    if not {MOLAR_COLUMN, "absorbance"} & set(heads):
        raise InputError(
            f"{file}: columns are {', '.join(heads)}; give wavelength_nm and either {MOLAR_COLUMN} or absorbance."
        )
    molar = MOLAR_COLUMN in heads
    columns = (wavelength_column(table.header), heads.index(MOLAR_COLUMN if molar else "absorbance"))
    numbers = np.array([row for _, row in to_numbers(table, columns)], dtype=np.float64)
    declared: dict[str, float] = {}
    for line in table.preamble:
        match = _DECLARATION.fullmatch(line.strip())
        if match is not None:
            declared[match["name"]] = parse_number(match["value"], file, match["name"])
    return numbers[:, 0], numbers[:, 1], molar, declared


def _column_density(file: str, declared: Mapping[str, float]) -> float:
    """Amount of substance in the light path [mol m-2]."""
    for name, unit in _DECLARED.items():
        if name not in declared:
            raise InputError(
                f"{file}: the file holds no molar values; state {name} [{unit}] of the measurement."
            )
        if not (np.isfinite(declared[name]) and declared[name] > 0):
            raise InputError(f"{file}: {name} is {declared[name]:g} {unit}; it must be > 0.")
    concentration = mol_m3_from_mol_l(declared["concentration_mol_l"])
    return concentration * declared["path_length_cm"] * _M_PER_CM
