"""Initiator and exposure reciprocity: Leprince et al., Dent. Mater. 2011, 27, 157 (volume and page from memory).

From the abstract: 50/50 Bis-GMA/TEGDMA with camphorquinone/amine 0.20/0.80 wt% or TPO 0.42 wt% (equimolar); 18 J/cm2 as
400 mW/cm2 for 45 s, 1500 for 12 s, 3000 for 6 s, and 9 J/cm2 as 3000 for 3 s; 70 s of record. TPO cures further than
camphorquinone at equal dose; reciprocity fails; TPO gains conversion with irradiance, camphorquinone loses; depth of cure
goes the other way round, camphorquinone above TPO.

The abstract does not name the lamp. A halogen lamp of 390 to 510 nm is assumed (from memory, spectrum drawn by hand): TPO
then takes a small part of the light and camphorquinone the most. That matters for the depth: under a 400 nm diode of its
own the model lets TPO bleach its way down and cure deeper than camphorquinone. Films between glass, at 25 C; DMAEMA
stands for the amine; depth of cure is where conversion has fallen to half of that at the lit face.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import ArrayLike

from gelwright.lamp_library.lamp import load_lamp
from gelwright.lamp_library.spectrum import Spectrum
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.film import Oxygen
from gelwright.models.gel import Gel
from gelwright.models.solver import Solution, SolverSettings, solve

FULL_DOSE = [(400.0, 45.0), (1500.0, 12.0), (3000.0, 6.0)]
HALF_DOSE = (3000.0, 3.0)
RECIPES: Mapping[str, tuple[dict[str, float], dict[str, float]]] = {
    "CQ": ({"CQ": 0.20}, {"DMAEMA": 0.80}),
    "TPO": ({"TPO": 0.42}, {}),
}


def first(value: ArrayLike) -> float:
    return float(np.ravel(value)[0])


@cache
def cured(initiator: str, irradiance_mw_cm2: float, seconds: float, depth_mm: float) -> Solution:
    """The record covers 70 s in all, dark after the exposure."""
    nm = np.arange(390.0, 511.0)
    shape = Spectrum(nm, np.exp(-4.0 * np.log(2.0) * ((nm - 480.0) / 80.0) ** 2))
    light = shape.scaled(10.0 * irradiance_mw_cm2 / shape.irradiance_w_m2())
    initiators, amines = RECIPES[initiator]
    gel = Gel(
        name="dental resin",
        coat="base",
        resin_parts={"Bis-GMA": 50.0, "TEGDMA": 50.0},
        initiators_wt_pct=initiators,
        amines_wt_pct=amines,
        thickness_m=1e-3,
    )
    case = CureCase(
        gel=gel,
        lamp=replace(load_lamp("demo_narrow_405"), spectra={"film": light}),
        exposure_s=seconds,
        rest_s=70.0 - seconds,
    )
    model = film_model(case, SolverSettings())
    # even cells down to any depth: the film of a gel ends at 3 mm
    deep = replace(
        model,
        width_m=np.full(80, depth_mm * 1e-3 / 80),
        acrylate_mol_m3=first(model.acrylate_mol_m3),
        methacrylate_mol_m3=first(model.methacrylate_mol_m3),
        amine_mol_m3=first(model.amine_mol_m3),
        stabiliser_mol_m3=first(model.stabiliser_mol_m3),
        layer_of_cell=0,
        absorbers=tuple(
            replace(each, concentration_mol_m3=first(each.concentration_mol_m3)) for each in model.absorbers
        ),
        layers=None,
        temperature_k=298.15,
        oxygen=Oxygen(atmosphere="closed"),
    )
    return solve(deep, schedule(case))


def conversion(initiator: str, setting: tuple[float, float]) -> float:
    return float(cured(initiator, *setting, 1.0).conversion_fraction.mean())


def cure_depth_mm(initiator: str, setting: tuple[float, float]) -> float:
    end = cured(initiator, *setting, 10.0)
    profile = end.conversion_fraction
    return float(1e3 * end.depth_m[int(np.flatnonzero(profile < 0.5 * profile[0])[0])])


@pytest.mark.parametrize("setting", [*FULL_DOSE, HALF_DOSE])
def test_tpo_cures_further_than_camphorquinone(setting: tuple[float, float]) -> None:
    assert conversion("TPO", setting) > conversion("CQ", setting)


@pytest.mark.parametrize("initiator", ["TPO", "CQ"])
def test_reciprocity_fails_by_more_than_two_points(initiator: str) -> None:
    found = [conversion(initiator, setting) for setting in FULL_DOSE]
    assert max(found) - min(found) > 0.02


def test_camphorquinone_loses_conversion_with_irradiance() -> None:
    assert np.all(np.diff([conversion("CQ", setting) for setting in FULL_DOSE]) < 0.0)


@pytest.mark.xfail(
    reason="TPO falls from 72 to 57 % in the model: a brief strong light spends it on radicals that meet each other before the "
    "network slows them; letting the film heat up does not turn the sign. Chains that end the sooner the more radicals there are "
    "(chain-length dependence) would only widen the gap. What is missing is a network that lags behind a fast cure and stays "
    "open longer (excess free volume; Kloosterboer 1988, from memory); no numbers for it were found"
)
def test_tpo_gains_conversion_with_irradiance() -> None:
    assert np.all(np.diff([conversion("TPO", setting) for setting in FULL_DOSE]) > 0.0)


@pytest.mark.parametrize(
    "setting",
    [
        *FULL_DOSE,
        pytest.param(
            HALF_DOSE,
            marks=pytest.mark.xfail(
                reason="after 3 s the model's camphorquinone has only just used up the dissolved oxygen"
            ),
        ),
    ],
)
def test_camphorquinone_cures_deeper_than_tpo(setting: tuple[float, float]) -> None:
    assert cure_depth_mm("CQ", setting) > cure_depth_mm("TPO", setting)
