"""Dead-end polymerisation: Tobolsky, J. Am. Chem. Soc. 1958, 80, 5927 (citation from memory; the formula is exact).

X = 1 - exp{-(2 k_p/k_d) sqrt(R_i0/k_t) (1 - exp(-k_d t/2))} for an initiator lost by first order, radicals quasi-steady.
k_p 400, k_t 2.0e6 L/mol/s, R_i0 1e-4 mol/L/s, k_d 0.02 /s. The run has the full radical balance, which lags behind the
quasi-steady formula by the build-up time of 0.07 s: 3e-4 absolute.
"""

import numpy as np
import pytest

from gelwright.models.film import Absorber, FilmModel, Kinetics, Light
from gelwright.models.solver import Segment, SolverSettings, solve

TABLE = {5.0: 0.01369970, 20.0: 0.04997852, 60.0: 0.11980811}
NEVER_ENDING = 0.24636168


def conversion(seconds: float, settings: SolverSettings) -> np.ndarray:
    # optically thin: 5 mol/m3 at 1e-3 m2/mol over 10 um absorb 5e-8 of the light; k_d = yield x absorption x light
    model = FilmModel(
        width_m=np.full(5, 2e-6),
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(methacrylate_propagation_m3_mol_s=0.4, termination_m3_mol_s=2.0e3),
        light=Light(photon_irradiance_mol_m2_s=[20.0]),
        absorbers=(
            Absorber(
                concentration_mol_m3=5.0,
                napierian_m2_mol=[1e-3],
                quantum_yield=1.0,
                radicals_per_molecule=1.0,
            ),
        ),
    )
    return solve(model, [Segment(duration_s=seconds)], settings=settings).conversion_fraction


@pytest.mark.parametrize(("seconds", "expected"), TABLE.items())
def test_table(seconds: float, expected: float, fine: SolverSettings) -> None:
    assert conversion(seconds, fine) == pytest.approx(np.full(5, expected), abs=3e-4)


def test_the_end_of_a_dead_end(fine: SolverSettings) -> None:
    """After 50 half-lives of the radicals' source nothing is left to start chains.

    The last radicals live long: with k_t R = 1/t the radical balance adds a slow dark tail, k_p/k_t ln(t) = 2e-4 per e-fold,
    to the quasi-steady value; the tolerance holds three e-folds.
    """
    coarse = SolverSettings(tolerance_conversion=1e-5, light_tolerance=0.0, largest_step_s=1.0)
    assert conversion(1000.0, coarse) == pytest.approx(np.full(5, NEVER_ENDING), abs=6e-4)
