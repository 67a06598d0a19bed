"""Amine and camphorquinone: dental adhesive study, PMC6718251.

From the abstract: no cure at all with camphorquinone and no amine; 0.5 and 1.0 wt% of amine do not differ. Strength was
measured; here conversion stands for it, and "do not differ" is read as less than 2 points, the repeatability of an
infrared measurement. Recipe and lamp are assumed: 55/45 Bis-GMA/HEMA, 0.5 wt% camphorquinone, 500 mW/cm2 at 467 nm for 40 s.
"""

from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.lamp_library.spectrum import Spectrum
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.film import Oxygen
from gelwright.models.gel import Gel
from gelwright.models.solver import Solution, SolverSettings, solve


def cured(amine_wt_pct: float) -> Solution:
    nm = np.arange(420.0, 511.0)
    shape = Spectrum(nm, np.exp(-4.0 * np.log(2.0) * ((nm - 467.0) / 20.0) ** 2))
    lamp = replace(
        load_lamp("demo_narrow_405"), spectra={"film": shape.scaled(5000.0 / shape.irradiance_w_m2())}
    )
    gel = Gel(
        name="adhesive",
        coat="base",
        resin_parts={"Bis-GMA": 55.0, "HEMA": 45.0},
        initiators_wt_pct={"CQ": 0.5},
        amines_wt_pct={"DMAEMA": amine_wt_pct} if amine_wt_pct else {},
        thickness_m=100e-6,
    )
    case = CureCase(gel=gel, lamp=lamp, exposure_s=40.0)
    model = film_model(case, SolverSettings())
    return solve(
        replace(model, layers=None, temperature_k=298.15, oxygen=Oxygen(atmosphere="closed")), schedule(case)
    )


def test_no_cure_without_amine() -> None:
    end = cured(0.0)
    assert np.all(end.conversion_fraction == 0.0)
    assert end.state.concentration[0] == pytest.approx(end.film.start_concentration[0], rel=1e-12)


def test_half_and_one_per_cent_of_amine_cure_alike() -> None:
    half, one = (float(cured(wt_pct).conversion_fraction.mean()) for wt_pct in (0.5, 1.0))
    assert half > 0.5
    assert abs(one - half) < 0.02
