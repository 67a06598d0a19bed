"""Light at each depth: the lamp's spectrum in a few bins, attenuated by everything that absorbs.

The lamp is never reduced to one mean absorption coefficient: each bin keeps its own. Absorbed photons are counted as
what enters a cell minus what leaves it, so no photon is lost or counted twice whatever the cell width.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.spectrum import Spectrum
from ..lamp_library.units import photon_energy_j_mol
from .compiled import compiled
from .core_bins import least_error_bins

Array = NDArray[np.float64]

# Light through a nail plate of about 0.5 mm: UV-A 1.65 % (Arch. Dermatol. 2011, 147, 439); blue about 20 % (Photochem.
# Photobiol. 2020, 96, 1267). The thickness and the straight line between the two in the logarithm are assumed.
_NAIL_NM = (365.0, 450.0)
_NAIL_1_M = (math.log(1.0 / 0.0165) / 0.5e-3, math.log(1.0 / 0.20) / 0.5e-3)
_NAIL_M = 0.5e-3
_MOST_COLUMN_MOL_M2 = 0.1  # initiator over a film: 3 wt% of 300 g/mol in 1 mm of 1.1 g/cm3
TISSUE_ABSORPTION_1_M = 3000.0  # effective attenuation of violet light in the nail bed; estimated


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LightBins:
    """A lamp spectrum gathered into bins.

    Attributes
    ----------
    photon_irradiance_mol_m2_s : ndarray, shape (n_bin,)
        Incident photons of each bin at full output.
    photon_energy_j_mol : ndarray, shape (n_bin,)
        Mean photon energy of each bin.
    napierian_m2_mol, product_m2_mol : ndarray, shape (n_species, n_bin)
        Molar napierian absorption coefficients of the absorbers and of their photoproducts, photon-weighted.
    wavelength_nm : ndarray, shape (n_bin,)
        Photon-weighted mean wavelength.
    first_nm : ndarray, shape (n_bin,)
        Shortest wavelength of each bin.
    """

    photon_irradiance_mol_m2_s: Array
    photon_energy_j_mol: Array
    napierian_m2_mol: Array
    product_m2_mol: Array
    wavelength_nm: Array
    first_nm: Array


def light_bins(
    spectrum: Spectrum, napierian_m2_mol: Sequence[Array], product_ratio: Sequence[float], count: int
) -> LightBins:
    """Gather a spectrum into bins of like absorption.

    Parameters
    ----------
    spectrum : Spectrum
        Light at the film, no negative values.
    napierian_m2_mol : sequence of ndarray, shape (n_wavelength,)
        Molar napierian absorption coefficient of each absorber on the spectrum's own grid [m2/mol].
    product_ratio : sequence of float
        Absorption of each photoproduct as a share of its parent's [-].
    count : int
        Number of bins; `count` of at least the number of wavelengths keeps every wavelength.

    Notes
    -----
    Means are weighted with photons, so the light absorbed by a thin film is exact. Bin edges are those that make the sum of
    bounds on the photons misplaced at any depth least (see `core_bins.least_error_bins`).
    """
    nm, power = spectrum.wavelength_nm, spectrum.spectral_irradiance_w_m2_nm
    widths = np.empty_like(nm)
    widths[1:-1] = 0.5 * (nm[2:] - nm[:-2])
    widths[0], widths[-1] = 0.5 * (nm[1] - nm[0]), 0.5 * (nm[-1] - nm[-2])
    energy = np.asarray(photon_energy_j_mol(nm), dtype=float)
    photons = np.maximum(power, 0.0) * widths / energy
    if photons.sum() <= 0.0:
        raise InputError(
            "lamp spectrum: no light at all; the sum of the spectrum must be above zero. Check the dark reading."
        )
    table = np.array([np.asarray(row, dtype=float) for row in napierian_m2_mol]).reshape(
        len(napierian_m2_mol), nm.size
    )
    lit = photons > 0.0
    photons, energy, nm, table = photons[lit], energy[lit], nm[lit], table[:, lit]
    group = _groups(nm, photons, table, count)
    total = np.asarray(np.bincount(group, photons), dtype=np.float64)
    mean = np.array([np.bincount(group, photons * row) / total for row in table]).reshape(
        table.shape[0], total.size
    )
    return LightBins(
        photon_irradiance_mol_m2_s=total,
        photon_energy_j_mol=np.bincount(group, photons * energy) / total,
        napierian_m2_mol=mean,
        product_m2_mol=mean * np.asarray(product_ratio, dtype=float).reshape(-1, 1),
        wavelength_nm=np.bincount(group, photons * nm) / total,
        first_nm=nm[np.searchsorted(group, np.arange(total.size))],
    )


def photons_in_bins(spectrum: Spectrum, first_nm: Array) -> Array:
    """Photon irradiance of another spectrum in bins that begin at given wavelengths, shape (n_bin,) [mol m-2 s-1]."""
    nm = spectrum.wavelength_nm
    photons = (
        np.maximum(spectrum.spectral_irradiance_w_m2_nm, 0.0) * np.gradient(nm) / photon_energy_j_mol(nm)
    )
    group = np.clip(np.searchsorted(first_nm, nm, side="right") - 1, 0, first_nm.size - 1)
    return np.asarray(np.bincount(group, photons, minlength=first_nm.size))


def lit_part(spectrum: Spectrum) -> Spectrum:
    """The part of a spectrum with light in it: absorption need not be known where the lamp is dark."""
    lit = np.flatnonzero(spectrum.spectral_irradiance_w_m2_nm > 0.0)
    if lit.size == 0:
        return spectrum
    part = slice(max(int(lit[0]) - 1, 0), int(lit[-1]) + 2)
    return Spectrum(spectrum.wavelength_nm[part], spectrum.spectral_irradiance_w_m2_nm[part])


def _groups(nm: Array, photons: Array, table: Array, count: int) -> NDArray[np.intp]:
    """Bin number of each wavelength, consecutive from 0: the partition with the least error of the light at any depth."""
    size = nm.size
    if count >= size:
        return np.arange(size)
    # Initiators [m2/mol] under up to _MOST_COLUMN of substance, the nail plate [1/m] under its own thickness.
    lines = [line for line in table if line.max() > 0.0]
    absorption = np.stack([nail_absorption_1_m(nm), *lines])
    most = np.array([_NAIL_M, *[_MOST_COLUMN_MOL_M2] * len(lines)])
    return least_error_bins(photons, absorption, most, count)


def nail_absorption_1_m(wavelength_nm: Array) -> Array:
    """Napierian absorption coefficient of the nail plate [1/m]; log-linear between 365 and 450 nm, constant outside."""
    return np.asarray(np.exp(np.interp(wavelength_nm, _NAIL_NM, np.log(_NAIL_1_M))))


def floor_heat_share(wavelength_nm: Array, width_m: Array, nail_cells: int) -> Array:
    """Share of the light leaving the film that each nail and tissue cell turns to heat, shape (n_bin, n_cell) [-].

    The last cell takes what is left: nothing is lost.
    """
    absorption = np.where(
        np.arange(width_m.size)[None, :] < nail_cells,
        nail_absorption_1_m(wavelength_nm)[:, None],
        TISSUE_ABSORPTION_1_M,
    )
    left = np.exp(-np.cumsum(absorption * width_m[None, :], axis=1))
    entering = np.concatenate([np.ones((left.shape[0], 1)), left[:, :-1]], axis=1)
    share = entering - left
    share[:, -1] = entering[:, -1]
    return share


@compiled
def light_in_film(
    width: Array,
    concentration: Array,
    lost: Array,
    napierian: Array,
    product: Array,
    background: Array,
    photons: Array,
    energy: Array,
    uptake: Array,
    heat: Array,
    leaving: Array,
) -> float:
    """Photon uptake by each absorber and heat by light in each cell, at full lamp output (Beer-Lambert, one pass).

    Parameters
    ----------
    width : ndarray, shape (n,)
        Cell widths [m].
    concentration, lost : ndarray, shape (n_species, n)
        Absorber present and already converted [mol m-3].
    napierian, product : ndarray, shape (n_species, n_bin)
        Molar napierian absorption coefficients [m2/mol].
    background : ndarray, shape (n_bin, n)
        Napierian absorption coefficient of everything else [1/m].
    photons, energy : ndarray, shape (n_bin,)
        Incident photons [mol m-2 s-1] and photon energy [J/mol].
    uptake : ndarray, shape (n_species, n)
        Out: photons absorbed per molecule and second [1/s].
    heat : ndarray, shape (n,)
        Out: absorbed light power [W m-2] per cell.
    leaving : ndarray, shape (n_bin,)
        Out: photons leaving the film downwards [mol m-2 s-1].

    Returns
    -------
    float
        Photons absorbed in the film by everything [mol m-2 s-1].
    """
    species, cells = concentration.shape
    uptake[:, :] = 0.0
    heat[:] = 0.0
    absorbed = 0.0
    for bin_ in range(photons.size):
        intensity = photons[bin_]
        for cell in range(cells):
            coefficient = background[bin_, cell]
            for kind in range(species):
                coefficient += (
                    napierian[kind, bin_] * concentration[kind, cell] + product[kind, bin_] * lost[kind, cell]
                )
            depth = coefficient * width[cell]
            # Mean over the cell of what is left of the light; the series avoids 0/0 in a clear cell.
            if depth > 1e-5:
                taken = -math.expm1(-depth)
                mean = intensity * taken / depth
            else:
                taken = depth * (1.0 - 0.5 * depth)
                mean = intensity * (1.0 - 0.5 * depth)
            for kind in range(species):
                uptake[kind, cell] += napierian[kind, bin_] * mean
            taken *= intensity
            heat[cell] += taken * energy[bin_]
            absorbed += taken
            intensity -= taken
        leaving[bin_] = intensity
    return absorbed


@compiled
def layer_reflection(absorption: float, scattering: float, thickness: float) -> tuple[float, float]:
    """Reflectance and transmittance of a homogeneous layer for diffuse light (Kubelka-Munk, black surroundings).

    Parameters
    ----------
    absorption, scattering : float
        Kubelka-Munk K and S [1/m].
    thickness : float
        Layer thickness [m].

    References
    ----------
    Kubelka & Munk, Z. tech. Phys. 1931, 12, 593; written without the quotient (S + K)/S, so that S = 0 gives exp(-K d).
    """
    root = math.sqrt(absorption * (absorption + 2.0 * scattering))
    depth = root * thickness
    if depth > 30.0:  # the hyperbolic functions outgrow doubles; nothing gets through
        return scattering / (root + absorption + scattering), 0.0
    # sinh(x)/x stays finite where neither absorption nor scattering is left
    ratio = thickness * (1.0 + depth * depth / 6.0) if depth < 1e-4 else math.sinh(depth) / root
    bottom = math.cosh(depth) + (absorption + scattering) * ratio
    return scattering * ratio / bottom, 1.0 / bottom


@compiled
def light_two_flux(
    width: Array,
    concentration: Array,
    lost: Array,
    napierian: Array,
    product: Array,
    background: Array,
    scattering: Array,
    floor_reflectance: Array,
    surface_reflectance: float,
    photons: Array,
    energy: Array,
    uptake: Array,
    heat: Array,
    leaving: Array,
    reflected: Array,
    flux: Array,
) -> float:
    """Light in a scattering film over a partly reflecting floor; arguments and result as `light_in_film`, and

    Parameters
    ----------
    scattering : ndarray, shape (n_bin, n)
        Reduced scattering coefficient mu_s' [1/m].
    floor_reflectance : ndarray, shape (n_bin,)
        Share of the light that the nail turns back, diffusely [-].
    surface_reflectance : float
        Share of the diffuse light that the surface turns back into the film [-].
    reflected : ndarray, shape (n_bin,)
        Out: photons going back to the air [mol m-2 s-1].
    flux : ndarray, shape (6, n + 1)
        Scratch.

    Notes
    -----
    The lamp's light enters straight; what it loses to scattering feeds two diffuse fluxes, half up and half down, with
    K = 2 mu_a and S = 3/4 mu_s' (diffuse light travels twice as far per depth; Kubelka & Munk 1931). Every cell is an exact
    layer; cells are joined from the floor upwards by the adding method (van de Hulst), so that energy is conserved to
    rounding. Without scattering and with a black floor this is Beer-Lambert.
    """
    species, cells = concentration.shape
    uptake[:, :] = 0.0
    heat[:] = 0.0
    absorbed = 0.0
    transmit, source, below, rising = flux[0], flux[1], flux[2], flux[3]
    straight, mirror = flux[4], flux[5]
    for bin_ in range(photons.size):
        straight[0] = photons[bin_]
        for cell in range(cells):
            coefficient = background[bin_, cell]
            for kind in range(species):
                coefficient += (
                    napierian[kind, bin_] * concentration[kind, cell] + product[kind, bin_] * lost[kind, cell]
                )
            scatter = scattering[bin_, cell]
            total = coefficient + scatter
            taken = -straight[cell] * math.expm1(-total * width[cell])
            straight[cell + 1] = straight[cell] - taken
            source[cell] = taken * scatter / total if total > 0.0 else 0.0
            mirror[cell], transmit[cell] = layer_reflection(2.0 * coefficient, 0.75 * scatter, width[cell])
        below[cells] = floor_reflectance[bin_]
        rising[cells] = floor_reflectance[bin_] * straight[cells]
        for cell in range(cells - 1, -1, -1):
            repeat = 1.0 / (1.0 - mirror[cell] * below[cell + 1])
            half = 0.5 * source[cell]
            below[cell] = mirror[cell] + transmit[cell] * transmit[cell] * below[cell + 1] * repeat
            rising[cell] = half + transmit[cell] * repeat * (rising[cell + 1] + below[cell + 1] * half)
        down = surface_reflectance * rising[0] / (1.0 - surface_reflectance * below[0])
        up = below[0] * down + rising[0]
        reflected[bin_] = (1.0 - surface_reflectance) * up
        for cell in range(cells):
            half = 0.5 * source[cell]
            next_down = (transmit[cell] * down + mirror[cell] * rising[cell + 1] + half) / (
                1.0 - mirror[cell] * below[cell + 1]
            )
            next_up = below[cell + 1] * next_down + rising[cell + 1]
            # Net inflow: what was taken from the straight light and not scattered, and the diffuse light that stayed.
            part = straight[cell] - straight[cell + 1] + down - next_down + next_up - up
            heat[cell] += part * energy[bin_]
            absorbed += part
            coefficient = background[bin_, cell]
            for kind in range(species):
                coefficient += (
                    napierian[kind, bin_] * concentration[kind, cell] + product[kind, bin_] * lost[kind, cell]
                )
            if coefficient > 0.0:
                mean = part / (coefficient * width[cell])
                for kind in range(species):
                    uptake[kind, cell] += napierian[kind, bin_] * mean
            down, up = next_down, next_up
        leaving[bin_] = (1.0 - floor_reflectance[bin_]) * (down + straight[cells])
    return absorbed
