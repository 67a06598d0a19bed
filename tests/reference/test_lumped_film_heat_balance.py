"""Warmth of a film shared with the plate below, without loss (no publication; first principles).

A film of 0.2 mm that sets free 132 J/cm3 gives 26.4 kJ/m2; film and a plate of 0.4 mm then are 19.8 K warmer (1.98 and 2.34
MJ/m3/K). Tolerance 0.1 K, as the figures are rounded.
"""

import numpy as np
import pytest

from gelwright.models.film import FilmModel, Kinetics
from gelwright.models.heat import lumped_rise_k
from gelwright.models.parts import Slab, layers_of, with_part
from gelwright.models.solver import Segment, solve

HEAT_J_M2 = 0.2e-3 * 132e6


def test_formula() -> None:
    assert lumped_rise_k(HEAT_J_M2, 0.2e-3 * 1.98e6, 0.4e-3 * 2.34e6) == pytest.approx(19.8, abs=0.1)


def test_solver_shares_prescribed_heat_evenly_in_the_end() -> None:
    width = np.full(20, 10e-6)
    layers = layers_of(
        width,
        Slab(thickness_m=0.2e-3, conductivity_w_m_k=0.2, capacity_j_m3_k=1.98e6),
        [Slab(thickness_m=0.4e-3, conductivity_w_m_k=0.21, capacity_j_m3_k=2.34e6)],
    )
    # 132 J/cm3 in the film, dying away with a time constant of 2 s; nothing in the plate
    source = np.where(np.arange(30) < 20, 132e6 / 2.0, 0.0)
    film = FilmModel(width_m=width, kinetics=Kinetics(termination_m3_mol_s=1.0), layers=layers)
    heated = with_part(film, "heat", "prescribed", source_w_m3=source, decay_s=2.0)
    dark = Segment(duration_s=60.0, level_start_ratio=0.0, level_end_ratio=0.0)
    end = solve(heated, [dark]).state.temperature
    assert end - 298.15 == pytest.approx(np.full(30, 19.8), abs=0.1)
