"""Cure in the dark: radicals that outlive the light (closed forms).

Constant k_t: R = R0/(1 + k_t R0 t), M/M0 = (1 + k_t R0 t)^(-k_p/k_t); k_p 1300, k_t 2e6 L/mol/s, R0 7.07107e-6 mol/L.
Reaction diffusion only (k_t = C k_p M): R = R0 exp[-C (M0 - M)]; C 3 L/mol, k_p 1300, M0 4 mol/L, R0 1e-5 mol/L.
Exact tables; tolerance 1e-4 relative.
"""

import numpy as np
import pytest

from gelwright.models.film import FilmModel, Kinetics
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

CONSTANT = {
    1.0: (0.0660409, 0.9982352),
    10.0: (7.02142e-3, 0.9967820),
    60.0: (1.177124e-3, 0.9956256),
    600.0: (1.178372e-4, 0.9941372),
}
REACTION_DIFFUSION = {
    1.0: (3.951955, 8.65772e-6),
    10.0: (3.695769, 4.01441e-6),
    60.0: (3.261125, 1.08976e-6),
    600.0: (2.591689, 1.46263e-7),
}


def dark(
    seconds: float, kinetics: Kinetics, bonds: float, radicals: float, settings: SolverSettings
) -> Solution:
    model = FilmModel(
        width_m=np.full(3, 10e-6),
        methacrylate_mol_m3=bonds,
        kinetics=kinetics,
        initial_radical_mol_m3=radicals,
    )
    programme = [Segment(duration_s=seconds, level_start_ratio=0.0, level_end_ratio=0.0)]
    return solve(model, programme, settings=settings)


@pytest.mark.parametrize(("seconds", "expected"), CONSTANT.items())
def test_constant_termination(seconds: float, expected: tuple[float, float]) -> None:
    kinetics = Kinetics(methacrylate_propagation_m3_mol_s=1.3, termination_m3_mol_s=2.0e3)
    solution = dark(seconds, kinetics, 4000.0, 7.07107e-3, SolverSettings())
    assert solution.state.radical / 7.07107e-3 == pytest.approx(np.full(3, expected[0]), rel=1e-4)
    assert 1 - solution.conversion_fraction == pytest.approx(np.full(3, expected[1]), rel=1e-4)


@pytest.mark.parametrize(("seconds", "expected"), REACTION_DIFFUSION.items())
def test_reaction_diffusion_only(seconds: float, expected: tuple[float, float]) -> None:
    settings = SolverSettings(
        tolerance_conversion=1e-7, first_step_s=1e-3, largest_step_s=max(seconds / 2000, 0.01)
    )
    kinetics = Kinetics(
        methacrylate_propagation_m3_mol_s=1.3, termination_m3_mol_s=0.0, reaction_diffusion_m3_mol=3e-3
    )
    solution = dark(seconds, kinetics, 4000.0, 1e-2, settings)
    assert solution.state.bonds[1] / 1e3 == pytest.approx(np.full(3, expected[0]), rel=1e-4)
    assert solution.state.radical / 1e3 == pytest.approx(np.full(3, expected[1]), rel=1e-4)
