"""Exposure in whole lamps: position, output, noise, sessions and the words for them."""

from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.ageing import aged
from gelwright.lamp_library.course import OutputCourse
from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import Lamp, list_lamps, load_lamp
from gelwright.lamp_library.spectrum import Spectrum
from gelwright.models.light_exposure import CAUTION, LightExposure, lamp_exposure, light_exposure

GRID = np.arange(300.0, 500.05, 1.0)


def near_uv(irradiance_w_m2: float) -> Spectrum:
    line = np.exp(-(((GRID - 365.0) / 8.0) ** 2))
    return Spectrum(GRID, line).scaled(irradiance_w_m2 / (8.0 * np.sqrt(np.pi)))


def lamp(**changes) -> Lamp:
    fields = {
        "lamp_id": "client",
        "name": "Client's",
        "spectra": {"thumb": near_uv(40.0), "ring": near_uv(100.0), "little": near_uv(70.0)},
    }
    return Lamp(**{**fields, **changes})


def test_the_worst_position_at_the_highest_output_counts() -> None:
    steady = lamp_exposure(lamp())
    assert steady.position == "ring"
    assert steady.uv_a_irradiance_w_m2 == pytest.approx(100.0, rel=1e-3)
    sagging = OutputCourse(overshoot_fraction=0.1, time_constant_s=330.0)
    rising = OutputCourse(overshoot_fraction=-0.2, time_constant_s=60.0, level_ratio=0.5)
    for course, factor in (
        (sagging, 1.0),
        (replace(sagging, measured_after_s=1e9), 1.1),
        (rising, 0.5 / 0.8),
    ):
        found = lamp_exposure(lamp(course=course))
        assert found.effective_irradiance_w_m2 == pytest.approx(
            factor * steady.effective_irradiance_w_m2, rel=1e-9
        )


def test_the_eye_is_judged_where_uv_a_is_most() -> None:
    violet = Spectrum(GRID, 30.0 * np.exp(-(((GRID - 395.0) / 4.0) ** 2)))
    two = lamp(spectra={"near": near_uv(100.0), "violet": violet})
    found = lamp_exposure(two)
    assert found.position == "near"
    assert found.uv_a_irradiance_w_m2 == light_exposure(violet).uv_a_irradiance_w_m2 > 110.0


def test_an_aged_lamp_gives_less_exposure_in_proportion() -> None:
    new, old = lamp_exposure(lamp()), lamp_exposure(aged(lamp(), 10_000.0, 10_000.0))
    assert old.effective_irradiance_w_m2 == pytest.approx(0.7 * new.effective_irradiance_w_m2, rel=1e-12)


def test_readings_at_the_noise_floor_count_and_are_told() -> None:
    clean = near_uv(100.0)
    floor = Spectrum(GRID, clean.spectral_irradiance_w_m2_nm + 5e-4 * (GRID < 320.0))
    noisy = light_exposure(floor)
    # the floor by hand: trapezia of the published 1 nm points up to 320 nm, the last one halved by the edge of the floor
    points = np.array([0.3, 0.221042, 0.162865, 0.12, 0.084853, 0.06, 0.045404, 0.034358, 0.026, 0.019748, 0.015,
                       0.011052, 0.008143, 0.006, 0.004243, 0.003, 0.0024, 0.002, 0.0016, 0.0012])  # fmt: skip
    extra = noisy.effective_irradiance_w_m2 - light_exposure(clean).effective_irradiance_w_m2
    assert extra == pytest.approx(5e-4 * float(np.trapezoid(points)), rel=0.01)
    assert noisy.noise_share_fraction == pytest.approx(extra / noisy.effective_irradiance_w_m2, rel=0.01)
    strong = light_exposure(Spectrum(GRID, clean.spectral_irradiance_w_m2_nm + 5e-3 * (GRID < 320.0)))
    assert "readings at the noise floor" in " ".join(strong.cautions)
    below = light_exposure(Spectrum(GRID, clean.spectral_irradiance_w_m2_nm - 5e-3 * (GRID < 320.0)))
    assert below.effective_irradiance_w_m2 == light_exposure(clean.light()).effective_irradiance_w_m2
    assert below.noise_share_fraction == 0.0


def test_what_was_not_measured_is_told() -> None:
    assert light_exposure(near_uv(10.0)).cautions == (CAUTION,)
    late = light_exposure(Spectrum([340.0, 365.0, 400.0], [0.0, 1.0, 0.0]))
    assert any("begins at 340 nm" in each for each in late.cautions)


def test_light_below_the_table_is_refused_but_noise_there_is_not() -> None:
    grid = np.arange(250.0, 450.0, 1.0)
    line = np.exp(-(((grid - 365.0) / 8.0) ** 2))
    germicidal = Spectrum(grid, line + np.exp(-(((grid - 254.0) / 2.0) ** 2)))
    with pytest.raises(InputError, match="gives light from 25"):
        light_exposure(germicidal, "thumb")
    noisy = Spectrum(grid, line + 1e-5 * np.cos(grid))
    assert light_exposure(noisy).effective_irradiance_w_m2 > 0.0


@pytest.mark.parametrize(
    ("effective", "words"),
    [
        (0.006, "use 6 % of the occupational limit of a day, well below it; protect the skin anyway"),
        (0.0001, "use less than 1 % of"),
        (0.05, "use 50 % of the occupational limit of a day, below it; protect the skin anyway"),
        (0.2, "exceed the occupational limit of a day (200 %)"),
    ],
)
def test_words_for_a_session(effective: float, words: str) -> None:
    exposure = LightExposure(
        position="nail",
        effective_irradiance_w_m2=effective,
        noise_share_fraction=0.0,
        uv_a_irradiance_w_m2=50.0,
        erythemal_irradiance_w_m2=0.01,
        measured_from_nm=300.0,
    )
    session = exposure.session(5, 60.0)
    assert words in session.sentence
    assert "Consumer advice" not in session.sentence
    assert session.uv_a_dose_j_m2 == pytest.approx(50.0 * 300.0, rel=1e-14)
    assert session.eye_uv_a_limit_fraction == pytest.approx(1.5, rel=1e-14)
    assert session.erythemal_dose_j_m2 == pytest.approx(3.0, rel=1e-14)
    if effective < 0.01:
        assert "not more than 10 min per hand" in exposure.session(11, 60.0).sentence
    for cures, cure_s in ((0, 60.0), (5, 0.0), (5, np.inf)):
        with pytest.raises(InputError, match="give 1 or more cures"):
            exposure.session(cures, cure_s)


@pytest.mark.parametrize("name", list_lamps())
def test_packaged_lamps_lie_where_published_lamps_do(name: str) -> None:
    """Published limit times of nail lamps reach from 30 to 276 min (Dowdy & Sayre 2013, Hacker 2021).

    The packaged lamps are invented; the strongest of them, above any published, is allowed to be quicker.
    """
    time_s = lamp_exposure(load_lamp(name)).effective_limit_time_s
    assert time_s is not None
    assert (10.0 if name == "demo_strong_395" else 20.0) < time_s / 60.0 < 276.0
