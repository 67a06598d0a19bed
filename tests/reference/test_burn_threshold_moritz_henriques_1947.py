"""Burns of human skin: Moritz & Henriques, Am. J. Pathol. 1947, 23, 695, as a line through their data.

ln t[s] = 116.4 - 28.3 ln T[C] is the longest exposure that reddened but did not destroy the epidermis (regression as given by a
systematic review of 2021 in PLOS ONE, R2 0.98); 113.4 instead of 116.4 is its safety line. Asserted: the band of the damage
integral covers these people. Its stricter edge (Weaver & Stoll) never calls a burn later than they did, its other edge
(Henriques) stays within a factor of four of them from 45 to 55 C: the formula of Henriques is known to fit the
data behind it poorly.
"""

import numpy as np
import pytest

from gelwright.models.tissue import damage_band

ZERO_C = 273.15


def human_s(temperature_c: float, constant: float = 116.4) -> float:
    return float(np.exp(constant - 28.3 * np.log(temperature_c)))


def seconds_to_burn(temperature_c: float) -> tuple[float, float]:
    """Time at a constant temperature to a damage integral of 1, by both edges of the band."""
    henriques, weaver_stoll = damage_band([0.0, 1.0], [temperature_c + ZERO_C] * 2)
    return 1.0 / henriques, 1.0 / weaver_stoll


@pytest.mark.parametrize(
    ("temperature_c", "constant", "expected_s"),
    [(50.0, 116.4, 296.0), (55.0, 116.4, 19.9), (45.0, 113.4, 290.0)],
)
def test_the_line_as_printed(temperature_c: float, constant: float, expected_s: float) -> None:
    """The constants are rounded to a tenth, which is 5 % in time; the values were worked out from them."""
    assert human_s(temperature_c, constant) == pytest.approx(expected_s, rel=0.005)


@pytest.mark.parametrize("temperature_c", [45.0, 47.0, 48.0, 50.0, 52.0, 53.0, 55.0, 58.0])
def test_the_stricter_edge_never_calls_a_burn_too_late(temperature_c: float) -> None:
    assert seconds_to_burn(temperature_c)[1] <= human_s(temperature_c)


@pytest.mark.parametrize("temperature_c", [45.0, 47.0, 48.0, 50.0, 52.0, 53.0, 55.0])
def test_the_other_edge_stays_near_the_people(temperature_c: float) -> None:
    ratio = seconds_to_burn(temperature_c)[0] / human_s(temperature_c)
    assert abs(np.log(ratio)) < np.log(4.0)
