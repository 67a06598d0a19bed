"""Orders of convergence as the study studies/numerics/convergence.py measures them, on a film of a dozen cells."""

from collections.abc import Callable
from types import ModuleType

import pytest

STEPS_S = (0.05, 0.025, 0.0125)
CELLS = 12


@pytest.fixture(scope="module")
def study(load_script: Callable[[str], ModuleType]) -> ModuleType:
    return load_script("studies/numerics/convergence.py")


def test_second_order_in_the_step_in_nitrogen(study: ModuleType) -> None:
    """Film with heat, bleaching, gel effect and vitrification."""
    table = study.in_steps("nitrogen", CELLS, STEPS_S)
    assert table["order_profile_max"].min() > 1.9
    assert table["profile_max"].iloc[-1] < 2e-5


def test_second_order_in_the_step_with_a_type_two_initiator(study: ModuleType) -> None:
    table = study.in_steps("type II in nitrogen", CELLS, (0.025, 0.0125, 0.00625))
    assert table["order_profile_max"].min() > 1.9
    assert table["profile_max"].iloc[-1] < 5e-7


def test_in_air_the_error_falls_with_the_step(study: ModuleType) -> None:
    """Largest error of any one cell, which is the cell at the front of oxygen."""
    table = study.in_steps("air", CELLS, (0.2, 0.05, 0.0125, 0.003125))
    assert table["profile_max"].is_monotonic_decreasing
    assert table["profile_max"].iloc[0] < 3e-3
    assert table["profile_max"].iloc[2] < table["profile_max"].iloc[0] / 8.0
    assert table["profile_max"].iloc[-1] < 1e-4


def test_first_order_in_air_to_the_end(study: ModuleType) -> None:
    table = study.in_steps("air", CELLS, (0.0125, 0.003125))
    assert table["order_profile_max"].min() > 0.9


@pytest.mark.parametrize(
    ("case", "names"), [("nitrogen", ("bottom", "surface", "mean")), ("air", ("surface", "mean"))]
)
def test_cells_converge(study: ModuleType, case: str, names: tuple[str, ...]) -> None:
    """Slope over the whole span: the grids are graded and do not nest, so single slopes scatter."""
    table = study.in_cells(case, (10, 20, 40))
    for name in names:
        assert table[name].iloc[0] / table[name].iloc[-1] > 4.0, name


def test_tighter_tolerances_are_paid_back(study: ModuleType) -> None:
    table = study.in_tolerance("nitrogen", CELLS, (1e-2, 1e-3, 1e-4))
    assert table["profile_max"].is_monotonic_decreasing
    assert table["profile_max"].iloc[-1] < 1e-4
