"""Concentrations and colour of a blend's film, with the gel's own measured spectra where it names them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..models.absorption import read_absorption
from ..models.colour import colour_grid_nm, film_absorbance, yellowness
from ..models.gel import Gel
from ..models.materials import Photoinitiator, amine, photoinitiator, resin, with_absorption

Floats = NDArray[np.float64]


def initiator_of(gel: Gel, key: str) -> Photoinitiator:
    """An initiator with the spectrum the gel's file names for it, else the packaged one."""
    data = photoinitiator(key)
    if key in gel.absorption_files:
        return with_absorption(data, read_absorption(gel.absorption_files[key]))
    return data


def base_density_kg_m3(gel: Gel) -> float:
    """Density of the resin base [kg m-3]: weight parts over the sum of their volumes (ideal mixing)."""
    parts = gel.resin_parts
    return sum(parts.values()) / sum(share / resin(key).density_kg_m3 for key, share in parts.items())


def concentration_mol_m3(gel: Gel, loading_wt_pct: Floats | float, molar_mass_kg_mol: float) -> Floats:
    """Concentration [mol m-3] of a substance from its loading [wt%], taking the resin base's density."""
    return np.asarray(1e-2 * np.asarray(loading_wt_pct) * base_density_kg_m3(gel) / molar_mass_kg_mol)


def initiator_absorbance(
    gel: Gel, key: str, loading_wt_pct: float, wavelength_nm: Floats, thickness_m: float
) -> Floats:
    """Decadic absorbance [-] of a fresh film through one initiator, one value per wavelength.

    Wavelengths below the known spectrum, where lamps for nails are dark, are given zero.
    """
    data = initiator_of(gel, key)
    known = wavelength_nm >= data.absorption.wavelength_nm[0]
    found = np.zeros_like(wavelength_nm)
    found[known] = data.absorption.at(wavelength_nm[known])
    return np.asarray(found * concentration_mol_m3(gel, loading_wt_pct, data.molar_mass_kg_mol) * thickness_m)


def yellowness_index(
    gel: Gel,
    initiators: tuple[str, ...],
    amines: tuple[str, ...],
    loadings_wt_pct: Floats,
    residual_wt_pct: Floats,
    thickness_m: float,
) -> Floats:
    """Yellowness index (ASTM E313) of cured films over a white floor.

    Parameters
    ----------
    gel : Gel
        Resin base.
    initiators, amines : tuple of str
        Substances in the order of the loading vector.
    loadings_wt_pct : ndarray, shape (n_blend, n_initiator + n_amine)
        What was weighed in [wt%].
    residual_wt_pct : ndarray, shape (n_blend, n_initiator)
        Film mean of what is left after the cure [wt%].
    thickness_m : float
        Film thickness [m].

    Returns
    -------
    ndarray, shape (n_blend,)
        Yellowness index [-]; what the initiators lost is counted as their photoproduct.
    """
    data = [initiator_of(gel, key) for key in initiators]
    helpers = [amine(key) for key in amines]
    n = len(data)
    fresh = np.stack(
        [concentration_mol_m3(gel, loadings_wt_pct[:, i], d.molar_mass_kg_mol) for i, d in enumerate(data)], 1
    )
    left = np.stack(
        [concentration_mol_m3(gel, residual_wt_pct[:, i], d.molar_mass_kg_mol) for i, d in enumerate(data)], 1
    )
    helping = [
        concentration_mol_m3(gel, loadings_wt_pct[:, n + i], d.molar_mass_kg_mol)
        for i, d in enumerate(helpers)
    ]
    grid = colour_grid_nm()
    absorbance = film_absorbance(
        grid,
        initiators=data,
        residual_mol_m3=left,
        product_mol_m3=np.maximum(fresh - left, 0.0),
        thickness_m=thickness_m,
        amines=helpers,
        amine_mol_m3=np.stack(helping, 1) if helping else (),
    )
    return yellowness(absorbance, grid)
