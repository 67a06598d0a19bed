"""Induction by an inhibitor that is used up, and retardation by a weak one, under constant initiation.

Tudos & Foldes-Berezsnich, Prog. Polym. Sci. 1989, 14, 717, section 2 (contents seen, the equations from memory; the same in
Odian, Principles of Polymerization, 4th ed. 2004, section 3-7): an inhibitor that takes every radical, n per molecule, lasts
t_i = n S0 / R_i; until then 1 - X = (1 - t/t_i)^(n k_p/k_s), and afterwards the rate is that without inhibitor.
With termination beside it there is no closed form: integrated to relative 1e-11.
k_p 1300, k_t 2e6 L/mol/s, R_i 1e-4 mol/L/s. Tolerance 1e-3 of t_i and in conversion, that of default steps.
"""

from types import ModuleType

import numpy as np
import pytest

from gelwright.models.balanced import LARGEST_BALANCE_ERROR
from gelwright.models.film import FilmModel, Kinetics
from gelwright.models.results import balances_of
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

K_P, K_T, R_I, S0 = 1.3, 2.0e3, 0.1, 1.8  # SI; S0 as 0.02 wt% 4-methoxyphenol
IDEAL = 1.0e6  # m3/mol/s: twice the rate at which oxygen is caught


def run(seconds: float, k_s: float, radicals: float, dark_s: float = 0.0, **settings: float) -> Solution:
    model = FilmModel(
        width_m=np.full(3, 10e-6),
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(
            methacrylate_propagation_m3_mol_s=K_P,
            termination_m3_mol_s=K_T,
            stabiliser_rate_m3_mol_s=k_s,
            radicals_per_stabiliser=radicals,
        ),
        fixed_initiation_mol_m3_s=R_I,
        stabiliser_mol_m3=S0,
    )
    programme = [Segment(duration_s=seconds)]
    if dark_s > 0.0:
        programme.append(Segment(duration_s=dark_s, level_start_ratio=0.0, level_end_ratio=0.0))
    return solve(model, programme, settings=SolverSettings(**settings))  # type: ignore[arg-type]


@pytest.mark.parametrize("radicals", [1.0, 2.0])
def test_induction_time_of_an_ideal_inhibitor(radicals: float) -> None:
    """The line of steady cure, carried back, meets no cure at n S0/R_i."""
    induction = radicals * S0 / R_I
    course = []
    for seconds in (1.5 * induction, 2.0 * induction):
        course.append(-np.log1p(-run(seconds, IDEAL, radicals).conversion_fraction))
    slope = (course[1] - course[0]) / (0.5 * induction)
    assert slope == pytest.approx(np.full(3, K_P * np.sqrt(R_I / K_T)), rel=1e-3)
    start = 1.5 * induction - course[0] / slope
    # radicals take ln 2/sqrt(k_t R_i) to build up, as without an inhibitor (constant initiation)
    expected = induction + np.log(2.0) / np.sqrt(K_T * R_I)
    assert start == pytest.approx(np.full(3, expected), rel=1e-3)


def test_conversion_within_the_induction_time(closed_forms: ModuleType) -> None:
    k_s, radicals = 1000.0, 2.0
    induction = radicals * S0 / R_I
    for share in (0.3, 0.6, 0.9):
        expected = closed_forms.inhibited_conversion(share * induction, K_P, k_s, radicals, S0, R_I)
        found = run(share * induction, k_s, radicals)
        assert found.conversion_fraction == pytest.approx(np.full(3, expected), rel=1e-2)
        assert found.state.stabiliser / S0 == pytest.approx(np.full(3, 1.0 - share), rel=1e-2)


@pytest.mark.parametrize("k_s", [0.3, 3.0, 30.0, 1000.0])
def test_moderate_inhibitor_against_integration(k_s: float, closed_forms: ModuleType) -> None:
    """From a weak retarder (0.3: the value of the data for 4-methoxyphenol) to one that stops cure for a while."""
    times, off = np.array([2.0, 10.0, 30.0, 60.0, 90.0]), 60.0
    for seconds, expected in zip(
        times,
        closed_forms.inhibited_film(
            times, k_p=K_P, k_t=K_T, k_s=k_s, radicals_per_molecule=2.0, start=S0, initiation_rate=R_I,
            light_off_s=off,
        ).T,
        strict=True,
    ):  # fmt: skip
        found = run(min(seconds, off), k_s, 2.0, dark_s=max(seconds - off, 0.0))
        assert found.conversion_fraction == pytest.approx(np.full(3, expected[0]), abs=1e-3)
        assert found.state.stabiliser / S0 == pytest.approx(np.full(3, expected[2] / S0), abs=1e-3)
        balances = balances_of(found.totals)
        assert max(balances.radicals, balances.stabiliser) <= LARGEST_BALANCE_ERROR


def test_second_order_in_the_step(closed_forms: ModuleType) -> None:
    """Halving the step divides the error by four or more."""
    expected = closed_forms.inhibited_film(
        [20.0], k_p=K_P, k_t=K_T, k_s=30.0, radicals_per_molecule=2.0, start=S0, initiation_rate=R_I,
        light_off_s=20.0,
    )[:, 0]  # fmt: skip
    errors = []
    for step in (1.0, 0.5, 0.25):
        found = run(20.0, 30.0, 2.0, largest_step_s=step, first_step_s=1e-3)
        errors.append(abs(found.conversion_fraction[0] - expected[0]))
    assert errors[0] > 3.5 * errors[1]
    assert errors[1] > 3.5 * errors[2]


def test_loss_that_is_never_used_up_is_another_thing() -> None:
    """The first-order loss of the outside checks takes radicals for ever and leaves the stabiliser alone."""
    model = FilmModel(
        width_m=np.full(3, 10e-6), methacrylate_mol_m3=5000.0, fixed_initiation_mol_m3_s=R_I, stabiliser_mol_m3=S0,
        kinetics=Kinetics(
            methacrylate_propagation_m3_mol_s=K_P, termination_m3_mol_s=0.0, radical_loss_1_s=100.0
        ),
    )  # fmt: skip
    solution = solve(model, [Segment(duration_s=100.0)])
    expected = -np.expm1(-K_P * R_I / 100.0 * (100.0 - 0.01))
    assert solution.conversion_fraction == pytest.approx(np.full(3, expected), abs=1e-4)
    assert np.array_equal(solution.state.stabiliser, np.full(3, S0))
    assert balances_of(solution.totals).radicals <= LARGEST_BALANCE_ERROR
