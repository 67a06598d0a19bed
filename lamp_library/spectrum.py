"""Spectrum: spectral irradiance on a wavelength grid, immutable, linear between its points.

All integrals are exact for the straight lines between the points: a plain integral is the
trapezium rule on the grid, a weighted one is taken on the union of both grids. Splines are
avoided on purpose: through a narrow emission line they dip below zero.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError
from .units import photon_energy_j_mol

FLOOR_FRACTION = 1e-4
LIT_FRACTION = 5e-3
PEAK_PROMINENCE_FRACTION = 0.05

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """One maximum of a spectrum.

    `fwhm_nm` is the width of the unbroken stretch at or above half of this peak's height. Two
    bands that do not part at half height therefore share one width, and a band cut off by the
    end of the measured range counts up to that end.
    """

    wavelength_nm: float
    spectral_irradiance_w_m2_nm: float
    fwhm_nm: float


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Spectral irradiance against wavelength.

    Parameters
    ----------
    wavelength_nm : array_like, shape (n_wavelength,)
        Strictly ascending wavelengths [nm], at least two.
    spectral_irradiance_w_m2_nm : array_like, shape (n_wavelength,)
        Spectral irradiance [W m-2 nm-1]. Small negative noise is kept, see `light`.

    Raises
    ------
    InputError
        If the arrays differ in length, are not finite, or the wavelengths do not ascend.
    """

    wavelength_nm: FloatArray
    spectral_irradiance_w_m2_nm: FloatArray

    def __post_init__(self) -> None:
        """Copy, check and lock both arrays."""
        grid = _locked(self.wavelength_nm)
        values = _locked(self.spectral_irradiance_w_m2_nm)
        _check_grid(grid, values, "spectral irradiance")
        object.__setattr__(self, "wavelength_nm", grid)
        object.__setattr__(self, "spectral_irradiance_w_m2_nm", values)

    def __reduce__(self) -> tuple[type[Spectrum], tuple[Any, ...]]:
        """Rebuild through the constructor: a plain unpickle would bring back writeable arrays."""
        return (Spectrum, (self.wavelength_nm, self.spectral_irradiance_w_m2_nm))

    def irradiance_w_m2(
        self,
        lower_nm: float | None = None,
        upper_nm: float | None = None,
        *,
        dark_outside: bool = False,
    ) -> float:
        """Irradiance [W m-2] between two wavelengths, or over the whole measured range.

        Parameters
        ----------
        lower_nm, upper_nm : float, optional
            Limits of the band [nm]; None means the end of the measured range.
        dark_outside : bool
            Take the spectrum as dark outside the measured range.

        Raises
        ------
        InputError
            If the band is empty, or reaches beyond the measured range and `dark_outside` is
            not set.
        """
        return self._band_integral(lower_nm, upper_nm, dark_outside, np.ones_like)

    def photon_irradiance_mol_m2_s(
        self,
        lower_nm: float | None = None,
        upper_nm: float | None = None,
        *,
        dark_outside: bool = False,
    ) -> float:
        """Photon irradiance [mol m-2 s-1], the integral of E lambda / (h c N_A).

        Parameters and errors as for `irradiance_w_m2`.
        """
        return self._band_integral(lower_nm, upper_nm, dark_outside, lambda nm: 1.0 / photon_energy_j_mol(nm))

    def at(self, wavelength_nm: ArrayLike, *, dark_outside: bool = False) -> FloatArray:
        """Spectral irradiance [W m-2 nm-1] at any wavelengths [nm], linear between the points.

        Parameters
        ----------
        wavelength_nm : array_like
            Wavelengths [nm], of any shape.
        dark_outside : bool
            Return 0 outside the measured range instead of raising.

        Raises
        ------
        InputError
            If a wavelength lies outside the measured range and `dark_outside` is not set.
        """
        wanted = np.asarray(wavelength_nm, dtype=np.float64)
        if not np.all(np.isfinite(wanted)):
            raise InputError("wavelength is not finite; give finite wavelengths in nm.")
        if not dark_outside and wanted.size:
            self._check_range(float(wanted.min()), float(wanted.max()))
        found = np.interp(wanted, self.wavelength_nm, self.spectral_irradiance_w_m2_nm, left=0.0, right=0.0)
        return np.asarray(found, dtype=np.float64)

    def scaled(self, factor: float) -> Spectrum:
        """Return the same spectrum with every value multiplied by `factor` (finite, 0 or more)."""
        if not (np.isfinite(factor) and factor >= 0.0):
            raise InputError(f"scale factor is {factor:g}; it must be finite and >= 0.")
        return Spectrum(self.wavelength_nm, self.spectral_irradiance_w_m2_nm * factor)

    def light(self) -> Spectrum:
        """Return the spectrum a model should see, with noise and stray-light floor set to zero.

        Light is an unbroken stretch of readings of at least 1e-4 of the peak that somewhere
        reaches 0.5 % of the peak; everything else becomes exactly 0. Without a stray-light
        correction an array instrument shows a floor of that size, and a strong short-wave
        absorber would take it for light. The measured values themselves stay in this object.
        """
        values = self.spectral_irradiance_w_m2_nm
        top = float(values.max())
        if top <= 0.0:
            return Spectrum(self.wavelength_nm, np.zeros_like(values))
        above = values >= FLOOR_FRACTION * top
        stretch = np.cumsum(np.diff(above, prepend=False))  # odd numbers count the stretches above
        highest = np.zeros(int(stretch[-1]) + 1)
        np.maximum.at(highest, stretch, values)
        lit = above & (highest[stretch] >= LIT_FRACTION * top)
        return Spectrum(self.wavelength_nm, np.where(lit, values, 0.0))

    def weighted(self, wavelength_nm: ArrayLike, weight: ArrayLike) -> float:
        """Integral of spectral irradiance times a weight [W m-2 times the weight's unit].

        Parameters
        ----------
        wavelength_nm : array_like, shape (n,)
            Strictly ascending wavelengths of the weight [nm].
        weight : array_like, shape (n,)
            The weight, linear between its points; nothing counts outside them.

        Returns
        -------
        float
            The integral over the wavelengths that both tables cover, exact for two straight
            lines in every interval of the union grid.

        Raises
        ------
        InputError
            If the weight's table is not a valid one, or the two ranges do not overlap.
        """
        grid, values = _locked(wavelength_nm), _locked(weight)
        _check_grid(grid, values, "weight")
        lower = max(float(grid[0]), float(self.wavelength_nm[0]))
        upper = min(float(grid[-1]), float(self.wavelength_nm[-1]))
        if lower >= upper:
            raise InputError(
                f"weight covers {grid[0]:g}-{grid[-1]:g} nm, the spectrum {self.wavelength_nm[0]:g}-"
                f"{self.wavelength_nm[-1]:g} nm; they must overlap."
            )
        union = np.union1d(self.wavelength_nm, grid)
        union = np.union1d(union[(union > lower) & (union < upper)], [lower, upper])
        return _product_integral(union, self.at(union), np.interp(union, grid, values))

    def peaks(self) -> tuple[Peak, ...]:
        """Maxima that stand out by at least 5 % of the highest, in order of wavelength.

        A maximum stands out by its height above the higher of the two valleys that separate it
        from anything higher; noise below that share is passed over.
        """
        values = self.light().spectral_irradiance_w_m2_nm
        top = float(values.max())
        if top <= 0.0:
            return ()
        found = [i for i in _summits(values) if _prominence(values, i) >= PEAK_PROMINENCE_FRACTION * top]
        return tuple(
            Peak(
                wavelength_nm=float(self.wavelength_nm[i]),
                spectral_irradiance_w_m2_nm=float(values[i]),
                fwhm_nm=_width_nm(self.wavelength_nm, values, i),
            )
            for i in found
        )

    def _check_range(self, lower_nm: float, upper_nm: float) -> None:
        first, last = float(self.wavelength_nm[0]), float(self.wavelength_nm[-1])
        if lower_nm < first or upper_nm > last:
            raise InputError(
                f"wavelength range {lower_nm:g}-{upper_nm:g} nm reaches beyond the measured {first:g}-{last:g} nm; "
                "measure wider, or declare the rest dark (dark_outside=True)."
            )

    def _band_integral(
        self,
        lower_nm: float | None,
        upper_nm: float | None,
        dark_outside: bool,
        weight: Callable[[FloatArray], FloatArray],
    ) -> float:
        first, last = float(self.wavelength_nm[0]), float(self.wavelength_nm[-1])
        lower = first if lower_nm is None else float(lower_nm)
        upper = last if upper_nm is None else float(upper_nm)
        if not lower < upper:
            raise InputError(
                f"band {lower:g}-{upper:g} nm is empty; the lower limit must be below the upper."
            )
        if not dark_outside:
            self._check_range(lower, upper)
        lower, upper = max(lower, first), min(upper, last)
        if lower >= upper:
            return 0.0
        inner = self.wavelength_nm[(self.wavelength_nm > lower) & (self.wavelength_nm < upper)]
        grid = np.concatenate(([lower], inner, [upper]))
        # lambda weights are linear in lambda, so the product rule below is exact for them too
        return _product_integral(grid, self.at(grid), weight(grid))


def mean_spectrum(spectra: list[Spectrum] | tuple[Spectrum, ...]) -> Spectrum:
    """Arithmetic mean of spectra that share one wavelength grid.

    Raises
    ------
    InputError
        If there is none, or the grids differ.
    """
    if not spectra:
        raise InputError("mean of no spectra; give at least one.")
    grid = spectra[0].wavelength_nm
    if any(not np.array_equal(each.wavelength_nm, grid) for each in spectra[1:]):
        raise InputError("spectra have different wavelength grids; a mean needs one grid.")
    return Spectrum(grid, np.mean([each.spectral_irradiance_w_m2_nm for each in spectra], axis=0))


def _locked(values: ArrayLike) -> FloatArray:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def _check_grid(grid: FloatArray, values: FloatArray, what: str) -> None:
    if grid.ndim != 1 or grid.shape != values.shape:
        raise InputError(
            f"{what} has shape {values.shape}, wavelengths {grid.shape}; both must be equally long lists."
        )
    if grid.size < 2:
        raise InputError(f"{what} has {grid.size} wavelength(s); at least 2 are needed.")
    if not np.all(np.isfinite(grid)) or not np.all(np.isfinite(values)):
        raise InputError(f"{what} holds a value that is not finite; fill or remove it.")
    if grid[0] <= 0.0 or np.any(np.diff(grid) <= 0.0):
        raise InputError(
            f"wavelengths of {what} must be positive and strictly ascending; sort them, without repeats."
        )


def _product_integral(grid: FloatArray, first: FloatArray, second: FloatArray) -> float:
    """Integrate the product of two functions that are linear in every interval of `grid`."""
    a0, a1, b0, b1 = first[:-1], first[1:], second[:-1], second[1:]
    return float(np.sum(np.diff(grid) * (2.0 * (a0 * b0 + a1 * b1) + a0 * b1 + a1 * b0)) / 6.0)


def _summits(values: FloatArray) -> list[int]:
    """Indices of local maxima; a flat top counts once, at its middle."""
    starts = np.flatnonzero(np.concatenate(([True], np.diff(values) != 0.0)))
    levels = values[starts]
    stops = np.concatenate((starts[1:], [values.size])) - 1
    padded = np.concatenate(([-np.inf], levels, [-np.inf]))
    is_top = (padded[1:-1] > padded[:-2]) & (padded[1:-1] > padded[2:])
    return [int((starts[i] + stops[i]) // 2) for i in np.flatnonzero(is_top)]


def _prominence(values: FloatArray, index: int) -> float:
    height = values[index]
    left, right = values[: index + 1][::-1], values[index:]
    valleys = []
    for side in (left, right):
        higher = np.flatnonzero(side > height)
        stretch = side[: higher[0]] if higher.size else side
        # towards a side where nothing is higher, the ground counts as dark
        valleys.append(float(stretch.min()) if higher.size else 0.0)
    return float(height - max(valleys))


def _width_nm(grid: FloatArray, values: FloatArray, index: int) -> float:
    half = values[index] / 2.0
    edges = []
    for step in (-1, 1):
        here = index
        while 0 <= here + step < values.size and values[here + step] >= half:
            here += step
        beyond = here + step
        if not 0 <= beyond < values.size:
            edges.append(float(grid[here]))
            continue
        share = (values[here] - half) / (values[here] - values[beyond])
        edges.append(float(grid[here] + share * (grid[beyond] - grid[here])))
    return edges[1] - edges[0]
