"""Adiabatic temperature rise: heats of polymerisation of McCurdy & Laidler, Can. J. Chem. 1964, 42, 818.

dT = (-dH) [C=C] X/(rho c). The HEMA figure, 49.8 kJ/mol via the Polymer Handbook, is from memory, as are the 56 and 78
kJ/mol used for UDMA and IBOA; the check is of the arithmetic and of the solver with every face insulated and no lamp light
absorbed. Tolerance 0.1 K, the rounding of the expected values.
"""

import numpy as np
import pytest

from gelwright.models.film import FilmModel, Kinetics, Layers
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

WIDTH = np.full(10, 50e-6)


def insulated(
    heat_j_mol: float, bonds_mol_m3: float, capacity_j_m3_k: float, settings: SolverSettings
) -> Solution:
    model = FilmModel(
        width_m=WIDTH,
        methacrylate_mol_m3=bonds_mol_m3,
        kinetics=Kinetics(
            methacrylate_propagation_m3_mol_s=2.0,
            termination_m3_mol_s=2.0e3,
            methacrylate_heat_j_mol=heat_j_mol,
        ),
        layers=Layers(
            width_m=WIDTH, conductivity_w_m_k=0.2, capacity_j_m3_k=capacity_j_m3_k, initial_k=298.15
        ),
        fixed_initiation_mol_m3_s=0.5,
    )
    return solve(model, [Segment(duration_s=75.0)], settings=settings)


@pytest.mark.parametrize(
    ("heat_j_mol", "bonds_mol_m3", "capacity_j_m3_k", "conversion", "expected_k"),
    [
        (49.8e3, 8290.0, 1.079e6 * 1.9, 0.90, 181.2),  # HEMA
        # UDMA/HEMA 70/30 by weight: 281.4 J/g at full conversion, given per kilogram here
        (1.0, 281.4e3, 1.8e3, 0.75, 117.2),
        # IBOA: 4.80 mmol/g x 78 kJ/mol at 1.8 J/g/K
        (78.0e3, 4.801, 1.8e3, 0.95, 197.7),
    ],
    ids=["hema", "udma-hema", "iboa"],
)
def test_rise(
    heat_j_mol: float,
    bonds_mol_m3: float,
    capacity_j_m3_k: float,
    conversion: float,
    expected_k: float,
    fine: SolverSettings,
) -> None:
    solution = insulated(heat_j_mol, bonds_mol_m3, capacity_j_m3_k, fine)
    reached = solution.conversion_fraction
    assert np.min(reached) > 0.8
    rise = solution.state.temperature - 298.15
    # the run ends at its own conversion; the rise is proportional to it
    assert rise * conversion / reached == pytest.approx(np.full(10, expected_k), abs=0.1)


def test_mixture_heat_of_udma_and_hema() -> None:
    """4.250 and 7.684 mmol/g, 56 and 49.8 kJ/mol, 70/30 by weight: 281.4 J/g."""
    assert 0.7 * 4.250 * 56.0 + 0.3 * 7.684 * 49.8 == pytest.approx(281.4, abs=0.05)
