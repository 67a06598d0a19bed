"""Oxygen-inhibited layer of unfilled methacrylates: Endo et al., J. Adhes. Dent. 2007 (abstract).

In air 4, 8, 12 and 23 um on four adhesives, in nitrogen none (one below 3 um); 3-4 um on Bis-GMA/TEGDMA whatever the ratio
(confocal Raman study, abstract). Light and initiator are not given there. Asserted: a layer of 2 to 30 um in air, below
1 um in nitrogen, and no more than 30 % difference between monomer ratios.
"""

from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.core_totals import depth_reaching
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.film import Oxygen
from gelwright.models.gel import Gel
from gelwright.models.solver import SolverSettings, solve

CELLS = SolverSettings(cells=160)
RATIOS = (70.0, 50.0, 30.0)


def layer_um(bis_gma_wt_pct: float, *, nitrogen: bool = False, light_ratio: float = 1.0) -> float:
    gel = Gel(
        name="unfilled dimethacrylate",
        coat="base",
        resin_parts={"Bis-GMA": bis_gma_wt_pct, "TEGDMA": 100.0 - bis_gma_wt_pct},
        initiators_wt_pct={"TPO": 0.42},
        amines_wt_pct={},
        stabilisers_wt_pct={},
        thickness_m=200e-6,
    )
    lamp = load_lamp("demo_narrow_405").with_output(light_ratio)
    case = CureCase(gel=gel, lamp=lamp, exposure_s=20.0)
    model = film_model(case, CELLS)
    if nitrogen:
        model = replace(model, oxygen=Oxygen(atmosphere="nitrogen"))
    end = solve(model, schedule(case), settings=CELLS)
    return depth_reaching(end.film.width, end.conversion_fraction, 0.2) * 1e6


@pytest.mark.parametrize("light_ratio", [1.0, 5.0])
@pytest.mark.parametrize("ratio", RATIOS)
def test_layer_in_air(ratio: float, light_ratio: float) -> None:
    assert 2.0 < layer_um(ratio, light_ratio=light_ratio) < 30.0


@pytest.mark.parametrize("ratio", RATIOS)
def test_none_in_nitrogen(ratio: float) -> None:
    assert layer_um(ratio, nitrogen=True) < 1.0


def test_hardly_any_dependence_on_the_monomer_ratio() -> None:
    layers = np.array([layer_um(ratio) for ratio in RATIOS])
    assert layers.max() / layers.min() < 1.3
