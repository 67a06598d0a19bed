"""Numerical benchmark: a thin film with everything at once, against Radau at a relative 1e-10 (no measurement).

dP/dt = -k_I P; R_i = 2 f k_I P; k_p = k_p0/[1 + exp((X - X_v)/w)]; k_t = k_t0 e^(-bX) + C k_p (1-X) M0;
dX/dt = k_p (1-X) R; dO/dt = -k_O O R; dR/dt = R_i - k_t R^2 - k_O O R, with k_p0 1300, k_t0 2e6, b 12, C 3.0, M0 5.8,
X_v 0.70, w 0.03, k_I 0.02, P0 0.02, f 0.6, k_O 5e8, O0 1e-3 (L, mol, s). The table is given to 1e-7; tolerance 1e-5 in X
and, for the four digits of R, 1e-3 relative. At default settings the promise is 0.002 in X.
"""

from types import ModuleType

import numpy as np
import pytest

from gelwright.models.film import Absorber, FilmModel, Kinetics, Light, LinearVitrification, Oxygen
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

CONVERSION = {
    1.0: 0.0000017,
    3.0: 0.0172803,
    5.0: 0.0640116,
    8.0: 0.1589315,
    12.0: 0.3895097,
    20.0: 0.7905803,
    30.0: 0.8400237,
    60.0: 0.8785162,
    120.0: 0.8992133,
}
RADICALS_MOL_L = {
    1.0: 1.793e-9,
    3.0: 1.653e-5,
    5.0: 2.132e-5,
    8.0: 3.565e-5,
    12.0: 1.034e-4,
    20.0: 7.634e-4,
    30.0: 1.398e-3,
    60.0: 1.583e-3,
    120.0: 1.082e-3,
}
AFTER_DARK = {5.0: 0.0700643, 25.0: 0.0722459, 55.0: 0.0733370, 595.0: 0.0767134}
LIT = Segment(duration_s=5.0)


def film() -> FilmModel:
    # optically thin: 20 mol/m3 at 1e-4 m2/mol over 10 um; k_I = yield x absorption x light = 0.02 /s
    return FilmModel(
        width_m=np.full(3, 10e-6 / 3),
        methacrylate_mol_m3=5800.0,
        kinetics=Kinetics(
            methacrylate_propagation_m3_mol_s=1.3,
            termination_m3_mol_s=2.0e3,
            termination_decay=12.0,
            reaction_diffusion_m3_mol=3.0e-3,
            vitrification=LinearVitrification(conversion_fraction=0.70),
            sigmoid_width_fraction=0.03,
        ),
        oxygen=Oxygen(atmosphere="closed", initial_mol_m3=1.0, rate_m3_mol_s=5.0e5),
        light=Light(photon_irradiance_mol_m2_s=[200.0]),
        absorbers=(
            Absorber(
                concentration_mol_m3=20.0,
                napierian_m2_mol=[1e-4],
                quantum_yield=1.0,
                radicals_per_molecule=1.2,
            ),
        ),
    )


def settings_for(seconds: float) -> SolverSettings:
    """Steps as fine as the run is long: about three thousand."""
    return SolverSettings(
        tolerance_conversion=3e-6,
        light_tolerance=0.0,
        first_step_s=1e-3,
        largest_step_s=max(seconds / 3000, 1e-3),
    )


def lit(seconds: float) -> Solution:
    return solve(film(), [Segment(duration_s=seconds)], settings=settings_for(seconds))


@pytest.mark.parametrize(("seconds", "expected"), CONVERSION.items())
def test_conversion(seconds: float, expected: float) -> None:
    assert lit(seconds).conversion_fraction == pytest.approx(np.full(3, expected), abs=1e-5)


@pytest.mark.parametrize(("seconds", "expected"), RADICALS_MOL_L.items())
def test_radicals(seconds: float, expected: float) -> None:
    assert lit(seconds).state.radical / 1e3 == pytest.approx(np.full(3, expected), rel=1e-3)


@pytest.mark.parametrize(("seconds", "expected"), AFTER_DARK.items())
def test_dark_after_five_seconds_of_light(seconds: float, expected: float) -> None:
    dark = Segment(duration_s=seconds, level_start_ratio=0.0, level_end_ratio=0.0)
    solution = solve(film(), [LIT, dark], settings=settings_for(seconds + 5.0))
    assert solution.conversion_fraction == pytest.approx(np.full(3, expected), abs=1e-5)


@pytest.mark.parametrize(("seconds", "expected"), CONVERSION.items())
def test_default_settings_keep_their_promise(seconds: float, expected: float) -> None:
    solution = solve(film(), [Segment(duration_s=seconds)])
    assert solution.conversion_fraction == pytest.approx(np.full(3, expected), abs=2e-3)


def test_the_reference_integrator_gives_the_table(closed_forms: ModuleType) -> None:
    reference = closed_forms.well_mixed_film(list(CONVERSION))
    assert reference[1] == pytest.approx(list(CONVERSION.values()), abs=6e-8)
    assert reference[3] == pytest.approx(list(RADICALS_MOL_L.values()), rel=5e-4)


def test_without_oxygen_against_the_reference_integrator(closed_forms: ModuleType) -> None:
    from dataclasses import replace

    model = replace(film(), oxygen=Oxygen(atmosphere="nitrogen"))
    times = [2.0, 10.0, 40.0]
    reference = closed_forms.well_mixed_film(times, oxygen_start_mol_l=0.0)[1]
    solved = [
        solve(model, [Segment(duration_s=t)], settings=settings_for(t)).conversion_fraction[0] for t in times
    ]
    assert solved == pytest.approx(list(reference), abs=1e-5)
