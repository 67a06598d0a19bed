"""A film with plain numbers, made up for studies of the numerics: a dimethacrylate on a nail held at skin temperature below."""

from __future__ import annotations

from typing import Any

import numpy as np

from gelwright.models.film import Absorber, DiBenedetto, FilmModel, Kinetics, Layers, Light, Oxygen
from gelwright.models.grid import film_cells

TYPE_I = Absorber(
    concentration_mol_m3=30.0,
    napierian_m2_mol=[100.0, 40.0],
    quantum_yield=0.6,
    radicals_per_molecule=1.2,
)


def plain_film(
    cells: int, thickness_m: float, nail_cells: int, nail_m: float, *, in_air: bool, **changes: Any
) -> FilmModel:
    """The film on a nail plate, each on so many cells.

    Parameters
    ----------
    cells, nail_cells : int
        Number of cells.
    thickness_m, nail_m : float
        Thickness of the film and of the nail plate [m].
    in_air : bool
        Air above, or nitrogen.
    changes : Any
        Fields of `FilmModel` in place of the plain ones.
    """
    width = film_cells(thickness_m, cells)
    plain: dict[str, Any] = {
        "width_m": width,
        "methacrylate_mol_m3": 5000.0,
        "kinetics": Kinetics(
            methacrylate_propagation_m3_mol_s=0.6,
            methacrylate_energy_j_mol=20e3,
            termination_m3_mol_s=1.0e3,
            termination_energy_j_mol=6e3,
            termination_decay=20.0,
            reaction_diffusion_m3_mol=3e-3,
            vitrification=DiBenedetto(
                tg_monomer_k=213.15, tg_polymer_k=423.15, lambda_ratio=0.5, half_width_k=45.0
            ),
            methacrylate_heat_j_mol=56e3,
        ),
        "oxygen": Oxygen(diffusivity_decay=3.0) if in_air else Oxygen(atmosphere="nitrogen"),
        "light": Light(photon_irradiance_mol_m2_s=[8e-4, 12e-4], photon_energy_j_mol=[3.3e5, 2.95e5]),
        "layers": Layers(
            width_m=np.concatenate([width, np.full(nail_cells, nail_m / nail_cells)]),
            conductivity_w_m_k=0.2,
            capacity_j_m3_k=2.0e6,
            cured_capacity_j_m3_k=1.6e6,
            initial_k=306.15,
            bed_index=cells + nail_cells - 1,
            floor_share=np.full((2, nail_cells), 1.0 / nail_cells),
            top_transfer_w_m2_k=8.0,
            bottom_fixed_k=306.15,
        ),
        "absorbers": (TYPE_I,),
    }
    return FilmModel(**{**plain, **changes})
