"""Lamps read again: a known decay comes back, its doubt covers what readings scatter, and muddled input is named."""

import math
from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.ageing import ageing_factor, longest_claim_hours
from gelwright.lamp_library.drift import hours_of_use, lamp_drift, stated_repeat_fraction
from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import Lamp, load_lamp

LAMP = load_lamp("demo_narrow_405")
# L70 of a 365 nm diode at 40 C: 4480 h continuous, 19 814 h switched 30 s on and 30 s off
# (Arques-Orobon et al., Crystals 2020, 10, 1083); 10 000 h usual
LIVES = (4480.0, 10_000.0, 19_814.0)
HOURS = (0.0, 800.0, 2000.0)


def aged(l70: float, errors: tuple[float, ...] = (0.0, 0.0, 0.0)) -> list[Lamp]:
    return [
        LAMP.with_output(ageing_factor(age, l70) * (1.0 + error))
        for age, error in zip(HOURS, errors, strict=True)
    ]


@pytest.mark.parametrize("life", LIVES)
def test_an_exponential_decay_comes_back(life: float) -> None:
    found = lamp_drift(aged(life), HOURS)
    assert found.l70_hours == pytest.approx(life, rel=1e-6)
    assert found.mean_ratio == pytest.approx([ageing_factor(age, life) for age in HOURS])
    assert all(each.ratio == pytest.approx(ageing_factor(2000.0, life)) for each in found.positions)
    assert found.projection_hours == longest_claim_hours(2000.0) == 12_000.0


def test_the_stated_interval_covers_readings_with_errors_of_scale() -> None:
    rng, inside = np.random.default_rng(5), 0
    true = math.log(1.0 / 0.7) / 4480.0
    for _ in range(300):
        errors = tuple(0.02 * rng.standard_normal(3))
        found = lamp_drift(aged(4480.0, errors), HOURS, repeat_fraction=0.02)
        inside += abs(found.rate_1_hours - true) <= 1.645 * found.rate_sd_1_hours
    # 90 % for a known scatter; the scatter found in three readings can only widen it
    assert 0.88 <= inside / 300 <= 0.98


def test_two_readings_within_their_doubt_show_no_ageing() -> None:
    found = lamp_drift([LAMP, LAMP.with_output(0.99)], (0.0, 100.0))
    assert not found.is_clear
    assert found.l70_high_hours == math.inf
    assert found.l70_low_hours < found.l70_hours


def test_hours_until_a_share_follow_the_decay() -> None:
    found = lamp_drift(aged(4480.0), HOURS)
    low, best, high = found.hours_until(0.9)
    assert best == pytest.approx(4480.0 * math.log(0.9) / math.log(0.7), rel=1e-6)
    assert low < best < high
    assert found.hours_until(1.2) == (0.0, 0.0, 0.0)
    with pytest.raises(InputError, match="above 0"):
        found.hours_until(0.0)


def test_hours_and_uncertainty_come_from_the_provenance() -> None:
    one = replace(
        LAMP,
        provenance=dict(LAMP.provenance) | {"hours_of_use": "0 h", "expanded_uncertainty_percent": "6 %"},
    )
    two = replace(one.with_output(0.9), provenance=dict(one.provenance) | {"hours_of_use": "950"})
    assert (hours_of_use(one), hours_of_use(two), hours_of_use(LAMP)) == (0.0, 950.0, None)
    assert stated_repeat_fraction([one, two]) == pytest.approx(0.03)
    assert lamp_drift([one, two]).hours.tolist() == [0.0, 950.0]


@pytest.mark.parametrize(
    ("readings", "hours", "words"),
    [
        ([LAMP], None, "two or more"),
        ([LAMP, LAMP], None, "hours of use are not recorded"),
        ([LAMP, LAMP], (0.0,), "1 hours for 2 readings"),
        ([LAMP, LAMP], (5.0, 5.0), "must ascend"),
        (
            [LAMP, replace(LAMP, spectra={"elsewhere": LAMP.mean_spectrum()})],
            (0.0, 5.0),
            "share no position",
        ),
    ],
)
def test_muddled_readings_are_named(
    readings: list[Lamp], hours: tuple[float, ...] | None, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        lamp_drift(readings, hours)
