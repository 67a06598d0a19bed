"""What the pigments of the coats on a nail add to the light: scattering, shading, a reflecting floor and surface."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .formulation import pigment_optics
from .gel import Gel
from .optics import LightBins

Array = NDArray[np.float64]

# Violet light that a nail on its bed turns back, seen from within the coat: estimated (0.15 to 0.45). Pale skin reflects 0.2
# to 0.3 of violet light (from memory) and the nail plate whitens it; no measurement below 420 nm was found.
NAIL_REFLECTANCE_FRACTION = 0.3


def pigmented(gels: Sequence[Gel]) -> tuple[Gel, ...]:
    """Gels that hold any pigment, each once."""
    return tuple(dict.fromkeys(gel for gel in gels if any(gel.pigments_wt_pct.values())))


def pigment_rows(gels: Sequence[Gel], wavelength_nm: Array) -> list[Array]:
    """Absorption and reduced scattering coefficient [1/m] of each gel in turn, to be gathered into bins with the initiators."""
    return [row for gel in gels for row in pigment_optics(gel, wavelength_nm)]


def pigment_cells(
    coats: Sequence[tuple[Gel, int]], gels: Sequence[Gel], bins: LightBins, first_row: int
) -> tuple[Array, Array]:
    """Absorption and reduced scattering coefficient [1/m] of the pigments, each of shape (n_bin, n).

    Parameters
    ----------
    coats : sequence of (Gel, int)
        Coats from the air side down with their numbers of cells.
    gels : sequence of Gel
        The pigmented gels of `pigment_rows`, in the same order.
    bins : LightBins
        Light with the pigment rows after those of the absorbers.
    first_row : int
        Row of the first pigmented gel's absorption.
    """
    absorption, scattering = [], []
    none = np.zeros(bins.wavelength_nm.size)
    for gel, cells in coats:
        row = first_row + 2 * gels.index(gel) if gel in gels else None
        pair = (none, none) if row is None else bins.napierian_m2_mol[row : row + 2]
        absorption.append(np.repeat(pair[0][:, None], cells, axis=1))
        scattering.append(np.repeat(pair[1][:, None], cells, axis=1))
    return np.concatenate(absorption, axis=1), np.concatenate(scattering, axis=1)
