"""Thermal dose CEM43: Sapareto & Dewey, Int. J. Radiat. Oncol. Biol. Phys. 1984, 10, 787-800.

CEM43 = sum of R^(43 - T) dt in minutes, R = 0.5 from 43 C up and 0.25 from 39 to 43 C (the cut-off at 39 C is from
memory). The expected values are powers of two, so the tolerance is their rounding to the digits shown.
"""

import pytest

from gelwright.models.tissue import cem43_min

ZERO_CELSIUS_K = 273.15


@pytest.mark.parametrize(
    ("celsius", "seconds", "expected_min"),
    [
        (43.0, 60.0, 1.0),
        (45.0, 10.0, 0.6667),
        (45.0, 60.0, 4.0),
        (48.0, 30.0, 16.0),
        (50.0, 10.0, 21.333),
        (55.0, 5.0, 341.33),
        (60.0, 4.6e-4, 1.00489),
        (42.0, 60.0, 0.25),
        (41.0, 60.0, 0.0625),
        (38.9, 6000.0, 0.0),
    ],
)
def test_constant_temperature(celsius: float, seconds: float, expected_min: float) -> None:
    temperature_k = celsius + ZERO_CELSIUS_K
    value = cem43_min([0.0, seconds], [temperature_k, temperature_k])
    assert value == pytest.approx(expected_min, rel=1e-4, abs=1e-12)


def test_a_ramp_is_the_sum_of_its_constant_pieces() -> None:
    """From 38 to 50 C in 12 s, against ten thousand constant pieces taken at their middles."""
    pieces = 10_000
    middles_c = [38.0 + 12.0 * (i + 0.5) / pieces for i in range(pieces)]
    base = [(0.0 if t < 39 else 0.25 if t < 43 else 0.5) ** (43.0 - t) if t >= 39 else 0.0 for t in middles_c]
    expected_min = sum(base) * 12.0 / pieces / 60.0
    value = cem43_min([0.0, 12.0], [38.0 + ZERO_CELSIUS_K, 50.0 + ZERO_CELSIUS_K])
    # the sum itself misses the break at 39 C by at most half a piece, below 1e-4 of the total
    assert value == pytest.approx(expected_min, rel=1e-4)
