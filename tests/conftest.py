"""Lets the tests run from a bare checkout: `gelwright` is then the folder that holds the three rooms."""

import importlib.util
import sys
import types
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from hypothesis import settings

REPOSITORY = Path(__file__).resolve().parents[1]

if importlib.util.find_spec("gelwright") is None:
    package = types.ModuleType("gelwright")
    package.__path__ = [str(REPOSITORY)]
    sys.modules["gelwright"] = package

# The first call of a compiled function takes seconds, so a time limit per example would mean nothing;
# fixed examples keep a failure repeatable on any machine.
settings.register_profile("gelwright", deadline=None, derandomize=True)
settings.load_profile("gelwright")


def pytest_configure(config: pytest.Config) -> None:
    """Compile the solver once before several processes would each do it."""
    if getattr(config.option, "numprocesses", None) and not hasattr(config, "workerinput"):
        from gelwright.lamp_library.lamp import load_lamp
        from gelwright.models.cure import cure
        from gelwright.optimiser.demo_data import load_any_gel

        cure(load_any_gel("clear_builder"), load_lamp("demo_narrow_405"), exposure_s=1.0)


@cache
def _script(path: str) -> types.ModuleType:
    spec = importlib.util.spec_from_file_location(f"script_{Path(path).stem}", REPOSITORY / path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def load_script() -> Callable[[str], types.ModuleType]:
    """A script of the checkout, named by its path there, as a module; loaded once."""
    return _script
