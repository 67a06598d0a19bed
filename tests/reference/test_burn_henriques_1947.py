"""Burn damage integral: Henriques, Arch. Pathol. 1947, with P = 3.1e98 1/s and E/R = 75 000 K.

The constants belong together: 150 000 cal/mol over 2 cal/mol/K. Pairing P with 6.28e5 J/mol and R = 8.314 makes every
time 5.2 times longer at 50 C. Times are worked out from the formula to three digits, hence 0.5 %.
"""

import math

import pytest

from gelwright.models.tissue import damage_band


def henriques(celsius: float, seconds: float) -> float:
    return damage_band([0.0, seconds], [celsius + 273.15, celsius + 273.15])[0]


@pytest.mark.parametrize(
    ("celsius", "seconds_to_second_degree"),
    [(45.0, 7.73e3), (48.0, 855.0), (50.0, 201.0), (52.0, 48.3), (55.0, 5.87), (58.0, 0.74)],
)
def test_time_to_second_degree(celsius: float, seconds_to_second_degree: float) -> None:
    # 0.74 s has two digits only: 1 %
    assert henriques(celsius, seconds_to_second_degree) == pytest.approx(1.0, rel=1e-2)


def test_the_mismatched_pair_of_constants_is_not_used() -> None:
    mismatched_time_s = 1.0 / (3.1e98 * math.exp(-6.28e5 / 8.314 / 323.15))
    assert mismatched_time_s == pytest.approx(1060.0, rel=1e-2)
    assert henriques(50.0, mismatched_time_s) == pytest.approx(5.25, abs=0.1)


def test_nothing_is_counted_below_44_c() -> None:
    assert henriques(43.9, 600.0) == 0.0
