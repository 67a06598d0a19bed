"""How radicals end in networks: Anseth, Wang & Bowman, Macromolecules 1994, 27, 650.

Multifunctional (meth)acrylates: reaction diffusion is the main path from 5 to 10 % conversion on, and k_t/(k_p [C=C]) is
constant above about 10 %; linear monomers come to that only at 40 to 50 %. Asserted for the resin table: constant within 10 %
from 0.10 on; the share of reaction diffusion passes one half between 0.05 and 0.10, and not before 0.40 in resins of one C=C.
"""

import numpy as np
import pytest

from gelwright.models.core_step import cell_coefficients
from gelwright.models.film import FilmModel
from gelwright.models.formulation import mix_resins
from gelwright.models.materials import list_resins, resin
from gelwright.models.packing import pack

MULTI = [key for key in list_resins() if resin(key).functionality > 1]
MONO = [key for key in list_resins() if resin(key).functionality == 1]
ROOM_K = 298.15


def regime(key: str, conversion: float) -> tuple[float, float]:
    """k_t/(k_p [C=C]) in m3/mol, and the share of reaction diffusion in k_t."""
    base = mix_resins({key: 1.0})
    film, _ = pack(
        FilmModel(
            width_m=[1e-5],
            acrylate_mol_m3=base.acrylate_mol_m3,
            methacrylate_mol_m3=base.methacrylate_mol_m3,
            kinetics=base.kinetics,
        )
    )
    acrylate, methacrylate = film.initial[:, 0] * (1.0 - conversion)
    loss_0, loss_1, termination = cell_coefficients(
        film.cell[0], acrylate, methacrylate, film.initial[:, 0].sum(), ROOM_K
    )
    propagation = loss_0 * acrylate + loss_1 * methacrylate
    return termination / propagation, base.kinetics.reaction_diffusion_m3_mol * propagation / termination


def crossing(key: str) -> float:
    """Conversion at which reaction diffusion takes half of the radicals."""
    grid = np.linspace(0.0, 0.8, 801)
    return float(grid[np.argmax(np.array([regime(key, x)[1] for x in grid]) > 0.5)])


@pytest.mark.parametrize("key", MULTI)
def test_constant_ratio_in_networks(key: str) -> None:
    final = 0.9 * mix_resins({key: 1.0}).conversion_ceiling_fraction(ROOM_K)
    ratios = [regime(key, x)[0] for x in np.linspace(0.10, final, 20)]
    assert max(ratios) / min(ratios) < 1.10


@pytest.mark.parametrize("key", MULTI)
def test_networks_get_there_between_5_and_10_percent(key: str) -> None:
    assert 0.05 <= crossing(key) <= 0.10


@pytest.mark.parametrize("key", MONO)
def test_linear_monomers_get_there_late(key: str) -> None:
    assert crossing(key) >= 0.40
