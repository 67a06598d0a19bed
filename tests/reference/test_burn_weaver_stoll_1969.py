"""Burn damage integral: Weaver & Stoll, Aerosp. Med. 1969, 40, 24 (constants as carried by a public burn code).

P = 2.185e124 1/s and E/R = 93 534.9 K below 50 C, 1.823e51 1/s and 39 109.8 K above. Times from the formula to three
digits: 0.5 %; at 50 C exactly, the upper branch holds.
"""

import pytest

from gelwright.models.tissue import damage_band


@pytest.mark.parametrize(
    ("celsius", "seconds_to_second_degree"),
    [(45.0, 2.20e3), (48.0, 141.0), (50.0, 20.0), (52.0, 9.49), (55.0, 3.16)],
)
def test_time_to_second_degree(celsius: float, seconds_to_second_degree: float) -> None:
    temperature_k = celsius + 273.15
    _, weaver_stoll = damage_band([0.0, seconds_to_second_degree], [temperature_k, temperature_k])
    assert weaver_stoll == pytest.approx(1.0, rel=5e-3)
