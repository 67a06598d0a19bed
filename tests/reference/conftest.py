"""Shared by every check in this folder: the exact answers of closed_forms.py, and accurate solver settings."""

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from gelwright.models.solver import SolverSettings


@pytest.fixture(scope="session")
def closed_forms() -> ModuleType:
    path = Path(__file__).with_name("closed_forms.py")
    spec = importlib.util.spec_from_file_location("closed_forms", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


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
