"""Shared by every check in this folder: the exact answers of closed_forms.py, settings, and a calorimeter's film."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from types import ModuleType

import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.film import Oxygen
from gelwright.models.gel import Gel
from gelwright.models.solver import SolverSettings, solve


@pytest.fixture(scope="session")
def closed_forms(load_script: Callable[[str], ModuleType]) -> ModuleType:
    return load_script("tests/reference/closed_forms.py")


@pytest.fixture(scope="session")
def fine() -> SolverSettings:
    """Steps small enough that what is left is the model, not the stepping."""
    return SolverSettings(
        tolerance_conversion=1e-5,
        tolerance_temperature_k=1e-3,
        light_tolerance=0.0,
        first_step_s=1e-3,
        largest_step_s=0.05,
    )


@cache
def _final_conversion(resin_parts: tuple[tuple[str, float], ...]) -> float:
    gel = Gel(
        name="resin",
        coat="base",
        resin_parts=dict(resin_parts),
        initiators_wt_pct={"TPO": 0.5},
        amines_wt_pct={},
        stabilisers_wt_pct={},
        thickness_m=100e-6,
    )
    case = CureCase(gel=gel, lamp=load_lamp("demo_narrow_405").with_output(5.0), exposure_s=60.0)
    model = replace(
        film_model(case, SolverSettings()),
        layers=None,
        temperature_k=298.15,
        oxygen=Oxygen(atmosphere="nitrogen"),
    )
    return float(solve(model, schedule(case)).conversion_fraction.mean())


@pytest.fixture(scope="session")
def final_conversion() -> Callable[[Mapping[str, float]], float]:
    """Conversion of a resin by parts of weight at 25 C in nitrogen, after 60 s of strong light and 60 s of dark."""
    return lambda parts: _final_conversion(tuple(parts.items()))
