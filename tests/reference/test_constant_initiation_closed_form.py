"""Constant initiation and constant coefficients: exact conversion, radical build-up included (closed form).

R = R_s tanh(t/tau), X = 1 - cosh(t/tau)^(-k_p/k_t). No measurement: the formula is the solution of the radical balance, and
the table was worked out with 50-digit arithmetic. Tolerance 1e-5 absolute, as the table is rounded to 1e-8.
k_p 400 and k_t 2.0e6 L/mol/s, R_i 1e-4 mol/L/s.
"""

from types import ModuleType

import numpy as np
import pytest

from gelwright.models.film import FilmModel, Kinetics
from gelwright.models.solver import Segment, SolverSettings, solve

K_P, K_T, R_I = 0.4, 2.0e3, 0.1  # m3/mol/s, m3/mol/s, mol/m3/s
TABLE = {
    1: 0.00268618,
    5: 0.01390591,
    10: 0.02775324,
    50: 0.13175620,
    100: 0.24625720,
    300: 0.57189617,
}
QUASI_STEADY = {1: 0.00282443, 300: 0.57195551}


def conversion(seconds: float, initiation: float = R_I, settings: SolverSettings | None = None) -> np.ndarray:
    model = FilmModel(
        width_m=np.full(12, 10e-6),
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(methacrylate_propagation_m3_mol_s=K_P, termination_m3_mol_s=K_T),
        fixed_initiation_mol_m3_s=initiation,
    )
    return solve(model, [Segment(duration_s=seconds)], settings=settings).conversion_fraction


@pytest.mark.parametrize(("seconds", "expected"), TABLE.items())
def test_table_at_every_depth(seconds: float, expected: float) -> None:
    assert conversion(seconds) == pytest.approx(np.full(12, expected), abs=1e-5)


@pytest.mark.parametrize(("seconds", "quasi_steady"), QUASI_STEADY.items())
def test_radical_build_up_is_not_left_out(seconds: float, quasi_steady: float) -> None:
    """The quasi-steady formula differs by more than the tolerance of the table, so it would have failed there."""
    assert abs(conversion(seconds)[0] - quasi_steady) > 5e-5


def test_the_closed_form_itself_gives_the_table(closed_forms: ModuleType) -> None:
    exact = closed_forms.constant_initiation_conversion(list(TABLE), K_P, K_T, R_I)
    assert exact == pytest.approx(list(TABLE.values()), abs=5e-9)


def test_four_times_the_initiation_doubles_the_rate(closed_forms: ModuleType) -> None:
    """After the build-up -ln(1 - X)/t goes as the square root of R_i; at 300 s the build-up is below 0.02 %."""
    slow, fast = (-np.log1p(-conversion(300.0, r)[0]) for r in (R_I, 4 * R_I))
    assert fast / slow == pytest.approx(2.0, rel=3e-4)
