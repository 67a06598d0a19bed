"""Every example in a docstring runs and gives what it shows."""

import doctest
import importlib
import pkgutil

import pytest

ROOMS = ("gelwright.lamp_library", "gelwright.models", "gelwright.optimiser")


def module_names() -> list[str]:
    names = []
    for room in ROOMS:
        package = importlib.import_module(room)
        found = pkgutil.walk_packages(package.__path__, prefix=f"{room}.")
        names += [room, *(module.name for module in found if not module.name.endswith("__main__"))]
    return names


@pytest.mark.parametrize("name", module_names())
def test_docstring_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_there_are_examples_to_run() -> None:
    attempted = sum(doctest.testmod(importlib.import_module(name)).attempted for name in module_names())
    assert attempted > 0
