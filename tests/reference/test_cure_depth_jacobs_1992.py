"""Depth of cure: Jacobs, Rapid Prototyping & Manufacturing 1992 (citation from memory; the working curve is exact).

C_d = D_p ln(E/E_c), D_p 0.160 mm, E_c 12 mJ/cm2. Run as a film that does not bleach, has no oxygen and obeys reciprocity
(radicals lost by first order, so conversion depends on the local radiant exposure only): the gel line must then be straight
in ln E with slope D_p = 1/(ln10 eps c). Tolerance 0.5 %.
"""

import numpy as np
import pytest

from gelwright.models.film import Absorber, FilmModel, Kinetics, Light
from gelwright.models.solver import Segment, SolverSettings, solve

TABLE_MM = {25.0: 0.117435, 50.0: 0.228339, 100.0: 0.339242, 200.0: 0.450146}
CRITICAL_MJ_CM2, CELLS = 12.0, 400


def gel_depth_m(
    exposure_ratio: float, penetration_m: float, settings: SolverSettings, thickness_m: float
) -> float:
    """Depth at which conversion passes the value it has at the surface after an exposure of ratio 1."""
    # yield so small and radicals per molecule so many that nothing bleaches while radicals are made at the same rate
    width = np.full(CELLS, thickness_m / CELLS)
    concentration, seconds = 20.0, 10.0
    light = 1e-3
    rate = light / (penetration_m * concentration)  # photons absorbed per molecule and second at the surface
    radicals = 0.1 / (rate * 1e-9 * concentration)  # 0.1 mol/m3/s at the surface
    model = FilmModel(
        width_m=width,
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(
            methacrylate_propagation_m3_mol_s=1.0, termination_m3_mol_s=0.0, radical_loss_1_s=100.0
        ),
        light=Light(photon_irradiance_mol_m2_s=[light]),
        absorbers=(
            Absorber(
                concentration_mol_m3=concentration,
                napierian_m2_mol=[1.0 / (penetration_m * concentration)],
                quantum_yield=1e-9,
                radicals_per_molecule=radicals,
            ),
        ),
    )
    solution = solve(model, [Segment(duration_s=seconds * exposure_ratio)], settings=settings)
    critical = -np.expm1(-1.0 * 0.1 / 100.0 * seconds)
    x = solution.conversion_fraction
    return float(np.interp(-critical, -x, solution.depth_m))


@pytest.mark.parametrize(("exposure_mj_cm2", "expected_mm"), TABLE_MM.items())
def test_working_curve(exposure_mj_cm2: float, expected_mm: float, fine: SolverSettings) -> None:
    depth = gel_depth_m(exposure_mj_cm2 / CRITICAL_MJ_CM2, 0.160e-3, fine, 0.8e-3)
    assert depth * 1e3 == pytest.approx(expected_mm, rel=5e-3)


def test_slope_is_the_penetration_depth(fine: SolverSettings) -> None:
    """500 L/mol/cm and 0.020 mol/L: 1/(ln10 eps c) = 434.294 um."""
    ratios = np.array([2.0, 3.0, 4.0, 6.0])
    depths = [gel_depth_m(r, 434.294e-6, fine, 1.2e-3) for r in ratios]
    slope, _ = np.polyfit(np.log(ratios), depths, 1)
    assert 1.0 / (np.log(10.0) * 50.0 * 20.0) == pytest.approx(434.294e-6, rel=1e-5)
    assert slope == pytest.approx(434.294e-6, rel=5e-3)
    straight = np.polyval(np.polyfit(np.log(ratios), depths, 1), np.log(ratios))
    assert depths == pytest.approx(straight, rel=5e-3)
