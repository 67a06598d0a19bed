"""The branch-free functions of the core against numpy and against the formulas written one cell at a time."""

import ast
import math
from collections import Counter
from pathlib import Path

import numba
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from gelwright.models import core_rows as row
from gelwright.models import layout as at
from gelwright.models.core_arrays import FilmArrays, State, Work, empty_work
from gelwright.models.core_arrays import fill_work as fill_work_piece
from gelwright.models.core_light import photolyse as photolyse_piece
from gelwright.models.core_light import scattered_light as scattered_light_piece
from gelwright.models.core_light import straight_light as straight_light_piece
from gelwright.models.core_rates import coefficients as coefficients_piece
from gelwright.models.core_rates import mean_left
from gelwright.models.core_rates import radical_course as radical_course_piece
from gelwright.models.core_step import cell_coefficients, stabiliser_coefficient
from gelwright.models.film import (
    Absorber,
    DiBenedetto,
    FilmModel,
    Kinetics,
    Light,
    LinearVitrification,
    Oxygen,
)
from gelwright.models.kinetics import radical_step
from gelwright.models.optics import light_in_film, light_two_flux
from gelwright.models.packing import pack
from gelwright.models.vector_math import quick_exp as exp_piece
from gelwright.models.vector_math import quick_fall as fall_piece
from gelwright.models.vector_math import quick_log1p as log1p_piece

Array = NDArray[np.float64]
RANDOM = np.random.default_rng(20)


# Pieces of the core have no face to Python (see `compiled`): these callers give them one.
@numba.njit(error_model="numpy")
def fill_work(film: FilmArrays, state: State, work: Work) -> None:
    fill_work_piece(film, state, work)


def new_work(film: FilmArrays, state: State) -> Work:
    work = empty_work(film)
    fill_work(film, state, work)
    return work


@numba.njit(error_model="numpy")
def light_of(film: FilmArrays, work: Work) -> None:
    straight_light_piece(film, work)


@numba.njit(error_model="numpy")
def scattered_light_of(film: FilmArrays, work: Work) -> None:
    scattered_light_piece(film, work)


@numba.njit(error_model="numpy")
def photolyse(film: FilmArrays, work: Work, dose: float, seconds: float) -> None:
    photolyse_piece(film, work.cell, work.absorber, dose, seconds, 0.0)


@numba.njit(error_model="numpy")
def coefficients(cell: Array, heat: Array) -> None:
    coefficients_piece(cell, heat)


@numba.njit(error_model="numpy", fastmath={"contract"})
def quick_exp(x: float) -> float:
    return exp_piece(x)


@numba.njit(error_model="numpy", fastmath={"contract"})
def quick_fall(x: float) -> float:
    return fall_piece(x)


@numba.njit(error_model="numpy", fastmath={"contract"})
def quick_log1p(x: float) -> float:
    return log1p_piece(x)


@numba.njit(error_model="numpy", fastmath={"contract"})
def radical_course(
    formation: float, loss: float, termination: float, radicals: float, seconds: float
) -> tuple[float, float]:
    return radical_course_piece(formation, loss, termination, radicals, seconds)


SIZES = 10.0 ** RANDOM.uniform(-18.0, 2.8, 3000)


def test_exp() -> None:
    x = np.concatenate([SIZES, -SIZES, np.linspace(-700.0, 700.0, 2001), [0.0]])
    assert np.array([quick_exp(v) for v in x]) == pytest.approx(np.exp(x), rel=1e-13)


@pytest.mark.parametrize(("x", "expected"), [(-709.0, 0.0), (-1e300, 0.0), (710.0, math.inf), (0.0, 1.0)])
def test_exp_beyond_its_range(x: float, expected: float) -> None:
    assert quick_exp(x) == expected


def test_fall() -> None:
    """1 - exp(-x), to the last digits also where x is tiny."""
    x = np.concatenate([SIZES, -SIZES, [0.0, 1e4, 1e300]])
    x = x[x > -700.0]
    assert np.array([quick_fall(v) for v in x]) == pytest.approx(-np.expm1(-x), rel=1e-13)


def test_log1p() -> None:
    x = np.concatenate([10.0 ** RANDOM.uniform(-18.0, 12.0, 3000), -SIZES[SIZES < 0.999], [0.0]])
    assert np.array([quick_log1p(v) for v in x]) == pytest.approx(np.log1p(x), rel=1e-13)


def test_not_a_number_is_not_hidden() -> None:
    for function in (quick_exp, quick_fall, quick_log1p):
        assert math.isnan(function(math.nan))


def test_radical_course_is_radical_step() -> None:
    for _ in range(2000):
        formation, termination, radicals, seconds = 10.0 ** RANDOM.uniform([-6, 0, -8, -4], [2, 6, 1, 2])
        loss = float(RANDOM.choice([0.0, 10.0 ** RANDOM.uniform(-3, 6)]))
        arguments = (formation * RANDOM.integers(2), loss, termination, radicals, seconds)
        assert radical_course(*arguments) == pytest.approx(radical_step(*arguments), rel=1e-9, abs=1e-25)


def film(kinetics: Kinetics, acrylate: Array, methacrylate: Array) -> FilmModel:
    return FilmModel(
        width_m=np.geomspace(1e-7, 1e-5, acrylate.size),
        acrylate_mol_m3=acrylate,
        methacrylate_mol_m3=methacrylate,
        kinetics=kinetics,
        oxygen=Oxygen(),
        light=Light(
            photon_irradiance_mol_m2_s=[8e-4, 5e-4, 3e-4],
            photon_energy_j_mol=[3.3e5, 3.1e5, 2.9e5],
            background_1_m=[0.0, 300.0, 20.0],
        ),
        absorbers=(
            Absorber(concentration_mol_m3=30.0, napierian_m2_mol=[100.0, 40.0, 0.0], product_m2_mol=[5.0, 0.0, 0.0],
                     quantum_yield=0.6, radicals_per_molecule=1.2),
            Absorber(concentration_mol_m3=9.0, napierian_m2_mol=[0.0, 70.0, 0.0], quantum_yield=0.3,
                     radicals_per_molecule=0.8, needs_amine=True, amine_half_mol_m3=50.0, oxygen_quenching=20.0),
        ),
        amine_mol_m3=80.0,
    )  # fmt: skip


GLASS = DiBenedetto(tg_monomer_k=213.15, tg_polymer_k=423.15, lambda_ratio=0.5, half_width_k=45.0)


@pytest.mark.parametrize(
    "glass", [GLASS, LinearVitrification(conversion_fraction=0.7, slope_1_k=0.002), None]
)
def test_coefficients_of_rows_are_those_of_cells(glass: DiBenedetto | LinearVitrification | None) -> None:
    kinetics = Kinetics(
        acrylate_propagation_m3_mol_s=15.0, acrylate_energy_j_mol=18e3, methacrylate_propagation_m3_mol_s=0.6,
        methacrylate_energy_j_mol=22e3, acrylate_reactivity_ratio=0.4, methacrylate_reactivity_ratio=2.1,
        termination_m3_mol_s=1e3, termination_energy_j_mol=6e3, termination_decay=12.0,
        reaction_diffusion_m3_mol=3e-3, vitrification=glass, stabiliser_rate_m3_mol_s=0.3,
    )  # fmt: skip
    acrylate = np.array([4000.0, 0.0, 2000.0, 0.0, 1000.0, 5000.0])
    methacrylate = np.array([0.0, 5000.0, 2500.0, 0.0, 3000.0, 1.0])
    arrays, state = pack(film(kinetics, acrylate, methacrylate))
    work = new_work(arrays, state)
    left, kelvin = RANDOM.uniform(0.0, 1.0, 6), RANDOM.uniform(290.0, 360.0, 6)
    work.cell[row.MIDDLE_0], work.cell[row.MIDDLE_1] = acrylate * left, methacrylate * left
    work.heat[row.MIDDLE_K] = kelvin
    coefficients(work.cell, work.heat)
    found = work.cell[[row.LOSS_0, row.LOSS_1, row.TERMINATION]].T
    for i in range(6):
        expected = cell_coefficients(
            arrays.cell[i],
            acrylate[i] * left[i],
            methacrylate[i] * left[i],
            acrylate[i] + methacrylate[i],
            kelvin[i],
        )
        assert found[i] == pytest.approx(expected, rel=1e-12)
        full = acrylate[i] + methacrylate[i]
        if full > 0.0:
            catch = stabiliser_coefficient(arrays.cell[i], 1.0 - left[i], kelvin[i])
            assert work.cell[row.CATCH, i] == pytest.approx(catch, rel=1e-10)


def test_the_mean_stabiliser_of_a_step() -> None:
    """(1 - exp(-x))/x: its stated errors, and that it never rises."""
    used = np.array([0.0, 1e-12, 0.1, 0.3, 1.0, 10.0, 1e6])
    found = np.array([mean_left.py_func(x) for x in used])
    exact = np.append(1.0, -np.expm1(-used[1:]) / used[1:])
    assert found[:4] == pytest.approx(exact[:4], abs=4e-5)
    assert found[4:] == pytest.approx(exact[4:], abs=2e-3)
    assert np.all(np.diff(found) <= 0.0)


def test_light_and_photolysis_of_rows_are_those_of_cells() -> None:
    arrays, state = pack(film(Kinetics(termination_m3_mol_s=1e3), np.full(9, 4000.0), np.zeros(9)))
    work = new_work(arrays, state)
    work.absorber[row.A_LIT] = state.concentration * RANDOM.uniform(0.1, 1.0, state.concentration.shape)
    work.absorber[row.A_LOST] = state.concentration - work.absorber[row.A_LIT]
    light_of(arrays, work)
    uptake, heat, leaving = np.zeros((2, 9)), np.zeros(9), np.zeros(3)
    light_in_film(
        arrays.width, work.absorber[row.A_LIT], work.absorber[row.A_LOST], arrays.napierian, arrays.product,
        arrays.background, arrays.photons, arrays.energy, uptake, heat, leaving,
    )  # fmt: skip
    assert work.absorber[row.A_UPTAKE] == pytest.approx(uptake, rel=1e-12)
    assert work.cell[row.LIGHT_HEAT] == pytest.approx(heat, rel=1e-11)
    assert work.beam[row.LEAVING] == pytest.approx(leaving, rel=1e-12)
    work.absorber[row.A_MIDDLE] = state.concentration
    photolyse(arrays, work, 0.7, 1.4)
    gone = state.concentration - work.absorber[row.A_NEW]
    assert gone[0] == pytest.approx(state.concentration[0] * -np.expm1(-0.6 * uptake[0] * 0.7), rel=1e-9)
    assert work.cell[row.FORMATION] == pytest.approx((1.2 * gone[0] + 0.8 * gone[1]) / 1.4, rel=1e-12)
    # the type II initiator and its amine, one taking one, against scipy's integrator
    for i in range(9):

        def rates(_: float, y: Array, each: float = float(uptake[1, i])) -> list[float]:
            taken = 0.3 * each * y[0] * y[1] / (y[1] + 50.0 + 20.0 * 1.05)
            return [-taken, -taken]

        start = [float(state.concentration[1, i]), 80.0]
        initiator, amine = solve_ivp(rates, (0.0, 0.7), start, rtol=1e-10, atol=1e-12).y[:, -1]
        assert work.absorber[row.A_NEW, 1, i] == pytest.approx(initiator, rel=1e-3)
        assert work.cell[row.NEW_AMINE, i] == pytest.approx(amine, rel=1e-3)


def test_scattered_light_of_rows_is_that_of_cells() -> None:
    """Bins with and without absorption and scattering, faint to opaque, over a bright, a grey and a black floor."""
    arrays, state = pack(film(Kinetics(termination_m3_mol_s=1e3), np.full(9, 4000.0), np.zeros(9)))
    boundary = arrays.boundary.copy()
    boundary[at.TWO_FLUX], boundary[at.SURFACE_REFLECTANCE] = 1.0, 0.6
    for _ in range(50):
        scattering = 10.0 ** RANDOM.uniform(0.0, 8.0, (3, 9)) * RANDOM.integers(2, size=(3, 1))
        arrays = arrays._replace(
            scattering=scattering, floor_reflectance=np.array([0.9, 0.3, 0.0]), boundary=boundary
        )
        work = new_work(arrays, state)
        work.absorber[row.A_LIT] = state.concentration * RANDOM.uniform(0.0, 1.0, state.concentration.shape)
        work.absorber[row.A_LOST] = state.concentration - work.absorber[row.A_LIT]
        scattered_light_of(arrays, work)
        uptake, heat, leaving, reflected = np.zeros((2, 9)), np.zeros(9), np.zeros(3), np.zeros(3)
        light_two_flux(
            arrays.width, work.absorber[row.A_LIT], work.absorber[row.A_LOST], arrays.napierian, arrays.product,
            arrays.background, scattering, arrays.floor_reflectance, 0.6, arrays.photons, arrays.energy,
            uptake, heat, leaving, reflected, np.zeros((6, 10)),
        )  # fmt: skip
        power = (arrays.photons * arrays.energy).sum()
        assert work.absorber[row.A_UPTAKE] == pytest.approx(uptake, rel=1e-7, abs=1e-12)
        assert work.cell[row.LIGHT_HEAT] == pytest.approx(heat, rel=1e-7, abs=1e-13 * power)
        assert work.beam[row.LEAVING] == pytest.approx(leaving, rel=1e-9, abs=1e-16)
        assert work.beam[row.REFLECTED] == pytest.approx(reflected, rel=1e-11)


def test_the_film_table_starts_with_the_cell_properties() -> None:
    arrays, state = pack(film(Kinetics(termination_m3_mol_s=1e3), np.full(4, 4000.0), np.zeros(4)))
    assert new_work(arrays, state).cell[: at.N_CELL_ROWS] == pytest.approx(arrays.cell.T)


def test_no_row_number_is_given_twice() -> None:
    """A name given a second time would send one quantity into the row of another, unnoticed by any linter."""
    names = [node.id for node in ast.walk(ast.parse(Path(row.__file__).read_text(encoding="utf-8")))
             if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)]  # fmt: skip
    assert [name for name, count in Counter(names).items() if count > 1] == []
