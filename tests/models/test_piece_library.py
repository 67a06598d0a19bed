"""Pieces that are neither emitted nor optimised by themselves give what ordinary compiled functions give."""

from typing import Any

import numba
import numpy as np
import pytest

from gelwright.models.core_rates import mean_left
from gelwright.models.piece_library import piece_options

VALUES = np.random.default_rng(3).uniform(-2.0, 2.0, 257)


def chain(**options: Any) -> Any:
    """A function of Python's face over a string of pieces."""

    @numba.njit(error_model="numpy", **options)
    def square(x: float) -> float:
        return x * x + 0.1

    @numba.njit(error_model="numpy", **options)
    def total(values: np.ndarray) -> float:
        found = 0.0
        for i in range(values.size):
            found += square(values[i]) / (1.0 + values[i] * values[i])
        return found

    @numba.njit(error_model="numpy")
    def outer(values: np.ndarray) -> float:
        return total(values)

    return outer


@pytest.mark.parametrize("strings", [False, True])
def test_same_to_the_last_bit(strings: bool) -> None:
    options = piece_options(strings)
    assert options
    pieces = chain(no_cpython_wrapper=True, no_cfunc_wrapper=True, **options)
    assert pieces(VALUES) == chain()(VALUES)


def test_other_versions_of_numba_compile_the_ordinary_way(monkeypatch: pytest.MonkeyPatch) -> None:
    other = numba.version_info._replace(short=(99, 0))
    monkeypatch.setattr(numba, "version_info", other)
    assert piece_options(strings=True) == {}


def test_a_piece_called_from_python_says_what_to_call() -> None:
    with pytest.raises(TypeError, match=r"mean_left: a piece .* mean_left\.py_func"):
        mean_left(1.0)
    assert mean_left.py_func(1.0) > 0.0  # type: ignore[attr-defined]
