"""Oxygen and the order of the rate: O'Brien & Bowman 2006 (abstract; journal from memory: Macromol. Theory Simul.).

The order of the rate of polymerisation in the rate of initiation is 0.5 without oxygen and 1 in air; a thousandfold rate of
initiation takes the uncured layer from 50 to 5 um in their full model (the steady zero-order limit would give 31.6-fold).
Their conditions beyond this are not in the abstract, so the layer is asserted as a range of ratios, 8 to 35, with an
initiator that is used up; orders 0.5 +- 0.03 and 0.9 to 1.05.
"""

import numpy as np
import pytest

from gelwright.models.core_totals import depth_reaching
from gelwright.models.film import Absorber, FilmModel, Kinetics, Light, Oxygen
from gelwright.models.grid import film_cells
from gelwright.models.solver import Segment, SolverSettings, solve

FINE = SolverSettings(first_step_s=1e-3, largest_step_s=0.05)


def early_rate(initiation: float, oxygen: Oxygen) -> float:
    """Conversion per second between 1.0 and 1.5 s in a film so thin that oxygen reaches all of it."""

    def conversion(seconds: float) -> float:
        model = FilmModel(
            width_m=np.full(40, 5e-6 / 40),
            acrylate_mol_m3=6000.0,
            kinetics=Kinetics(acrylate_propagation_m3_mol_s=13.0, termination_m3_mol_s=2.0e4),
            oxygen=oxygen,
            fixed_initiation_mol_m3_s=initiation,
        )
        return float(np.mean(solve(model, [Segment(duration_s=seconds)], settings=FINE).conversion_fraction))

    return (conversion(1.5) - conversion(1.0)) / 0.5


def orders(initiation: list[float], oxygen: Oxygen) -> np.ndarray:
    rates = [early_rate(value, oxygen) for value in initiation]
    return np.diff(np.log(rates)) / np.diff(np.log(initiation))


def test_order_one_half_without_oxygen() -> None:
    found = orders([0.002, 0.004, 0.008], Oxygen(atmosphere="nitrogen"))
    assert found == pytest.approx(np.full(2, 0.5), abs=0.03)


def test_order_one_in_air() -> None:
    found = orders([0.05, 0.1, 0.2, 0.4], Oxygen(surface_mol_m3=1.0, initial_mol_m3=1.0))
    assert np.all((found > 0.9) & (found < 1.05))


def uncured_layer_um(light_ratio: float, seconds: float) -> float:
    """Depth at which conversion first reaches 0.1, in a film whose initiator is used up (20 mol/m3, 0.005 /s at ratio 1)."""
    model = FilmModel(
        width_m=film_cells(300e-6, 160),
        methacrylate_mol_m3=6000.0,
        kinetics=Kinetics(
            methacrylate_propagation_m3_mol_s=1.3,
            termination_m3_mol_s=2.0e3,
            termination_decay=10.0,
            reaction_diffusion_m3_mol=2.0e-3,
        ),
        oxygen=Oxygen(surface_mol_m3=1.05, initial_mol_m3=1.05, diffusivity_m2_s=1e-10),
        light=Light(photon_irradiance_mol_m2_s=[50.0 * light_ratio]),
        absorbers=(
            Absorber(
                concentration_mol_m3=20.0,
                napierian_m2_mol=[1e-4],
                quantum_yield=1.0,
                radicals_per_molecule=1.2,
            ),
        ),
    )
    end = solve(model, [Segment(duration_s=seconds)])
    return depth_reaching(end.film.width, end.conversion_fraction, 0.1) * 1e6


def test_layer_against_a_thousandfold_initiation() -> None:
    slow, fast = uncured_layer_um(1.0, 600.0), uncured_layer_um(1000.0, 20.0)
    assert 30.0 < slow < 70.0  # the weak end stands near their 50 um, so that like is compared with like
    assert 8.0 < slow / fast < 35.0
