"""Photobleaching front: Terrones & Pearlstein, Macromolecules 2001 (solution of Wegscheider), products transparent.

gamma = absorbance (napierian) above a point, T = yield x absorption x light x time:
C/C0 = 1/[1 + e^-gamma (e^T - 1)], I/I0 = e^T/(e^T + e^gamma - 1). 385 nm, 100 mW/cm2 (3.218349e-3 mol/m2/s), 500 L/mol/cm
(decadic), 0.030 mol/L, yield 0.6, film 500 um. The table is exact; tolerance 1e-4 at 200 cells.
"""

from types import ModuleType

import numpy as np
import pytest

from gelwright.models.film import Absorber, FilmModel, Kinetics, Light
from gelwright.models.optics import light_in_film
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

LIGHT, C0, YIELD, THICKNESS_M = 3.218349e-3, 30.0, 0.6, 500e-6
NAPIERIAN = 50.0 * np.log(10.0)  # m2/mol
DEPTHS_UM = [0.0, 100.0, 250.0, 500.0]
INITIATOR = {
    1.0: [0.800663, 0.850156, 0.904987, 0.957604],
    5.0: [0.329039, 0.409231, 0.537662, 0.733881],
    10.0: [0.108267, 0.146392, 0.223550, 0.405734],
    20.0: [0.011722, 0.016478, 0.027357, 0.062527],
}
LIGHT_LEFT = {
    1.0: [0.751708, 0.476643, 0.212685],
    5.0: [0.880482, 0.689068, 0.396623],
    10.0: [0.957245, 0.870720, 0.666417],
    20.0: [0.995188, 0.984179, 0.948592],
}
MEAN = {1.0: 0.8963515, 5.0: 0.5354958, 10.0: 0.2350054, 20.0: 0.0305609}


def bleach(
    seconds: float, settings: SolverSettings, cells: int = 200, napierian: float = NAPIERIAN
) -> Solution:
    model = FilmModel(
        width_m=np.full(cells, THICKNESS_M / cells),
        kinetics=Kinetics(termination_m3_mol_s=1.0),
        light=Light(photon_irradiance_mol_m2_s=[LIGHT]),
        absorbers=(
            Absorber(
                concentration_mol_m3=C0,
                napierian_m2_mol=[napierian],
                quantum_yield=YIELD,
                radicals_per_molecule=0.0,
            ),
        ),
    )
    return solve(model, [Segment(duration_s=seconds)], settings=settings)


def light_profile(solution: Solution, napierian: float = NAPIERIAN) -> tuple[np.ndarray, np.ndarray]:
    """Light left at the faces of the cells and absorption rate in the cells, both relative to the unbleached surface."""
    concentration, width = solution.state.concentration, solution.film.width
    left = [1.0]
    uptake, heat, leaving = np.zeros_like(concentration), np.zeros(width.size), np.zeros(1)
    for count in range(1, width.size + 1):
        light_in_film(
            width[:count],
            np.ascontiguousarray(concentration[:, :count]),
            np.zeros((1, count)),
            np.array([[napierian]]),
            np.zeros((1, 1)),
            np.zeros((1, count)),
            np.array([LIGHT]),
            np.array([3e5]),
            uptake[:, :count].copy(),
            heat[:count].copy(),
            leaving,
        )
        left.append(leaving[0] / LIGHT)
    faces = np.array(left)
    rate = -np.diff(faces) / (width * C0 * napierian)
    return faces, rate


def at_depths(solution: Solution) -> np.ndarray:
    """Cell values carried to the depths of the table by straight lines between the cell centres."""
    x, y = solution.depth_m * 1e6, solution.state.concentration[0] / C0
    inner = np.interp(DEPTHS_UM, x, y)
    inner[0] = 1.5 * y[0] - 0.5 * y[1]
    inner[-1] = 1.5 * y[-1] - 0.5 * y[-2]
    return inner


@pytest.mark.parametrize("seconds", INITIATOR)
def test_initiator_left(seconds: float, fine: SolverSettings) -> None:
    assert at_depths(bleach(seconds, fine)) == pytest.approx(INITIATOR[seconds], abs=1e-4)


@pytest.mark.parametrize("seconds", LIGHT_LEFT)
def test_light_left(seconds: float, fine: SolverSettings) -> None:
    faces, _ = light_profile(bleach(seconds, fine))
    assert faces[[40, 100, 200]] == pytest.approx(LIGHT_LEFT[seconds], abs=1e-4)


@pytest.mark.parametrize(("seconds", "expected"), MEAN.items())
def test_film_mean(seconds: float, expected: float, fine: SolverSettings) -> None:
    assert np.mean(bleach(seconds, fine).state.concentration[0]) / C0 == pytest.approx(expected, abs=1e-4)


def test_every_cell_against_the_formula(fine: SolverSettings, closed_forms: ModuleType) -> None:
    solution = bleach(10.0, fine)
    exact, _ = closed_forms.bleaching_front(NAPIERIAN * C0 * solution.depth_m, 0.2223157 * 10.0)
    assert solution.state.concentration[0] / C0 == pytest.approx(exact, abs=1e-4)


def test_second_order_in_the_cells(fine: SolverSettings, closed_forms: ModuleType) -> None:
    """Halving the cells divides the error by four (3 to 5 leaves room for the next order)."""

    def error(cells: int) -> float:
        solution = bleach(10.0, fine, cells)
        exact, _ = closed_forms.bleaching_front(NAPIERIAN * C0 * solution.depth_m, 0.2223157 * 10.0)
        return float(np.max(np.abs(solution.state.concentration[0] / C0 - exact)))

    assert 3.0 < error(5) / error(10) < 5.0


def test_front_speed_at_high_absorbance(fine: SolverSettings) -> None:
    """phi I0/C0 = 64.367 um/s whatever the absorption coefficient, here 20 and 40 times higher."""

    def depth_um(seconds: float, napierian: float) -> float:
        solution = bleach(seconds, fine, 400, napierian)
        share = solution.state.concentration[0] / C0
        return float(np.interp(0.5, share, solution.depth_m * 1e6))

    for factor in (20.0, 40.0):
        speed = (depth_um(5.0, factor * NAPIERIAN) - depth_um(3.0, factor * NAPIERIAN)) / 2.0
        assert speed == pytest.approx(64.367, rel=1e-3)


@pytest.mark.parametrize(("dose", "expected"), [(1.0, 0.3954942), (3.0, 0.2630989), (10.0, 0.2500114)])
def test_largest_local_rate(dose: float, expected: float, fine: SolverSettings) -> None:
    napierian = 10.0 * NAPIERIAN
    seconds = dose / (YIELD * napierian * LIGHT)
    _, rate = light_profile(bleach(seconds, fine, 500, napierian), napierian)
    assert np.max(rate) == pytest.approx(expected, abs=1e-4)
