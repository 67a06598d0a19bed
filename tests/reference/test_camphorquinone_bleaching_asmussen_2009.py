"""Bleaching of camphorquinone: Asmussen, Vallo et al., Eur. Polym. J. 2009, 45, 515, doi 10.1016/j.eurpolymj.2008.11.005.

From the abstract: camphorquinone is lost by first order, at a rate proportional to the irradiance, and only about 20 % of it
has gone when polymerisation has practically stopped; asserted 10 to 30 %. The abstract seen gives neither irradiance nor
recipe: 50 to 400 mW/cm2 of a 467 nm diode on a 0.1 mm film of 70/30 Bis-GMA/TEGDMA with 1 wt% camphorquinone and 1.2 wt% of
amine are assumed, between glass, at 25 C. "Practically stopped" is read as 2 % of the greatest rate.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.lamp_library.spectrum import Spectrum
from gelwright.models import layout as at
from gelwright.models.cure import CureCase, film_model
from gelwright.models.film import FilmModel, Oxygen
from gelwright.models.gel import Gel
from gelwright.models.solver import Segment, SolverSettings, solve

GEL = Gel(
    name="dental resin",
    coat="base",
    resin_parts={"Bis-GMA": 70.0, "TEGDMA": 30.0},
    initiators_wt_pct={"CQ": 1.0},
    amines_wt_pct={"EDB": 1.2},
    thickness_m=100e-6,
)


@cache
def film(irradiance_mw_cm2: float) -> FilmModel:
    nm = np.arange(420.0, 511.0)
    shape = Spectrum(nm, np.exp(-4.0 * np.log(2.0) * ((nm - 467.0) / 20.0) ** 2))
    light = shape.scaled(10.0 * irradiance_mw_cm2 / shape.irradiance_w_m2())
    lamp = replace(load_lamp("demo_narrow_405"), spectra={"film": light})
    model = film_model(CureCase(gel=GEL, lamp=lamp, exposure_s=60.0), SolverSettings())
    return replace(model, layers=None, temperature_k=298.15, oxygen=Oxygen(atmosphere="closed"))


@cache
def left(irradiance_mw_cm2: float, seconds: float) -> float:
    end = solve(film(irradiance_mw_cm2), [Segment(duration_s=seconds)])
    return float(
        end.state.concentration[0] @ end.film.width / (end.film.start_concentration[0] @ end.film.width)
    )


@pytest.mark.parametrize("irradiance_mw_cm2", [50.0, 100.0, 200.0, 400.0])
def test_a_fifth_is_used_when_polymerisation_stops(irradiance_mw_cm2: float) -> None:
    record = solve(film(irradiance_mw_cm2), [Segment(duration_s=600.0)]).record
    rate = np.diff(record[:, at.MEAN]) / np.diff(record[:, at.TIME])
    fastest = int(np.argmax(rate))
    stop = fastest + int(np.flatnonzero(rate[fastest:] < 0.02 * rate[fastest])[0])
    assert 0.10 <= 1.0 - left(irradiance_mw_cm2, float(record[stop, at.TIME])) <= 0.30


def test_loss_is_of_first_order() -> None:
    """Within 3 %: dissolved oxygen quenches the excited ketone for the first seconds, and the film grows clearer."""
    rates = [-np.log(left(100.0, seconds)) / seconds for seconds in (10.0, 30.0, 100.0)]
    assert rates == pytest.approx([rates[0]] * 3, rel=0.03)


def test_rate_is_proportional_to_irradiance() -> None:
    rates = [-np.log(left(mw, 20.0)) / 20.0 / mw for mw in (25.0, 50.0, 100.0, 200.0, 400.0)]
    assert rates == pytest.approx([rates[0]] * 5, rel=0.03)
