"""Diffuse reflection of a smooth surface: Fresnel integrated over the half space.

Closed form: Walsh (Dept. Sci. Ind. Res. Illum. Res. Tech. Paper 2, 1926), as given by Duntley 1942 (from memory).
Published for n = 1.5: 0.0918 from outside, 0.596 from inside (Duntley 1942; Orchard 1969; from memory).
"""

import math

import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.models.fresnel import diffuse_reflectance_inside, diffuse_reflectance_outside


def walsh(n: float) -> float:
    square = n * n
    return (
        0.5
        + (n - 1.0) * (3.0 * n + 1.0) / (6.0 * (n + 1.0) ** 2)
        + square * (square - 1.0) ** 2 / (square + 1.0) ** 3 * math.log((n - 1.0) / (n + 1.0))
        - 2.0 * n**3 * (square + 2.0 * n - 1.0) / ((square + 1.0) * (n**4 - 1.0))
        + 8.0 * n**4 * (n**4 + 1.0) / ((square + 1.0) * (n**4 - 1.0) ** 2) * math.log(n)
    )


@pytest.mark.parametrize("n", [1.2, 1.333, 1.45, 1.5, 1.6, 2.0])
def test_closed_form(n: float) -> None:
    assert diffuse_reflectance_outside(n) == pytest.approx(walsh(n), rel=1e-5)


def test_published_values() -> None:
    assert diffuse_reflectance_outside(1.5) == pytest.approx(0.0918, abs=5e-5)
    assert diffuse_reflectance_inside(1.5) == pytest.approx(0.596, abs=5e-4)


def test_total_reflection_is_the_greater_part_inside() -> None:
    # light steeper than the critical angle: 1/n^2 of the diffuse light
    assert 1.0 - 1.0 / 1.5**2 < diffuse_reflectance_inside(1.5) < 1.0 - 0.9 / 1.5**2


@pytest.mark.parametrize("n", [1.0, 0.9, float("nan")])
def test_impossible_index(n: float) -> None:
    with pytest.raises(InputError, match="it must be above 1"):
        diffuse_reflectance_outside(n)
