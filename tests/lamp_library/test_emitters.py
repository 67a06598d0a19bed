"""Emitter shapes against the measured figures they were fitted to."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library import emitters
from gelwright.lamp_library.emitters import emitter_shape, emitter_spectrum, list_emitter_shapes, split_ohno
from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.spectrum import Spectrum

GRID = np.arange(250.0, 600.0, 0.1)
LEDS = [name for name in list_emitter_shapes() if emitter_shape(name).kind == "led"]
TUBES = [name for name in list_emitter_shapes() if emitter_shape(name).kind == "fluorescent"]


def test_ohno_width_and_area() -> None:
    # closed form: FWHM = 0.92182 D, area = 1.11926 D; five printed digits
    line = Spectrum(GRID, split_ohno(GRID, centre_nm=400.0, d_short_nm=12.0, d_long_nm=12.0))
    assert line.peaks()[0].fwhm_nm / 12.0 == pytest.approx(0.92182, abs=1e-4)
    assert line.irradiance_w_m2() / 12.0 == pytest.approx(1.11926, abs=1e-5)
    assert math.sqrt(math.pi) * (1.0 + 2.0 / math.sqrt(5.0)) / 3.0 == pytest.approx(1.11926, abs=1e-5)


def test_split_ohno_adds_the_two_halves() -> None:
    line = Spectrum(GRID, split_ohno(GRID, centre_nm=400.0, d_short_nm=8.0, d_long_nm=16.0))
    assert line.irradiance_w_m2() == pytest.approx(0.55963 * 24.0, rel=1e-4)
    assert line.peaks()[0].fwhm_nm == pytest.approx(0.46091 * 24.0, rel=1e-3)


def test_table_is_the_one_we_know() -> None:
    assert (len(LEDS), len(TUBES)) == (13, 3)
    total = math.fsum(emitter_shape(name).centre_nm for name in LEDS)
    assert total == pytest.approx(5019.7, abs=0.01)


@pytest.mark.parametrize("name", LEDS)
def test_each_diode_comes_back_from_its_parameters(name: str) -> None:
    shape = emitter_shape(name)
    line = Spectrum(GRID, shape.relative(GRID))
    # the fit's own residual: 1 nm, 1.6 nm for the diode with a double hump
    assert line.peaks()[0].fwhm_nm == pytest.approx(shape.fwhm_nm, abs=1.6 if name == "365_c" else 1.0)
    share = line.irradiance_w_m2(250.0, 400.0) / line.irradiance_w_m2()
    # 0.015 is the fit's; the centre is printed to 0.1 nm, half a digit moves the share by its density at 400 nm
    rounding = 0.05 * float(shape.relative(400.0)) / line.irradiance_w_m2()
    assert share == pytest.approx(shape.share_to_400_fraction, abs=0.015 + rounding)


@pytest.mark.parametrize("name", TUBES)
def test_tubes_keep_their_half_widths_and_say_that_they_are_estimated(name: str) -> None:
    shape = emitter_shape(name)
    line = Spectrum(GRID, shape.relative(GRID))
    # the table prints the half widths to 0.1 nm each
    assert line.peaks()[0].fwhm_nm == pytest.approx(shape.fwhm_nm, abs=0.15)
    assert shape.origin == "estimated"


def test_a_uv_a_meter_sees_little_of_a_lamp_with_405_nm_diodes() -> None:
    # 5 mW/cm2 at 365 nm and 15 mW/cm2 at 405 nm (share up to 400 nm 0.16 between the two diodes
    # measured): about 7.4 of 20 mW/cm2; the measured shares 0.13-0.18 allow 7.0 to 7.7
    def reading(violet: str) -> float:
        uv = emitter_spectrum("365_b", GRID, 50.0).irradiance_w_m2(315.0, 400.0)
        return uv + emitter_spectrum(violet, GRID, 150.0).irradiance_w_m2(315.0, 400.0)

    assert 0.5 * (reading("405_a") + reading("405_b")) == pytest.approx(74.0, abs=2.0)


def test_spectrum_has_the_irradiance_asked_for() -> None:
    assert emitter_spectrum("395_b", GRID, 750.0).irradiance_w_m2() == pytest.approx(750.0, rel=1e-12)


def test_bad_requests_are_refused() -> None:
    with pytest.raises(UnknownNameError, match="365_a"):
        emitter_shape("365")
    with pytest.raises(InputError, match="above 0"):
        emitter_spectrum("365_a", GRID, 0.0)
    with pytest.raises(InputError, match="misses the peak"):
        emitter_spectrum("365_a", [400.0, 410.0], 10.0)


def test_every_source_key_resolves() -> None:
    folder = Path(emitters.__file__).parent
    with (folder / "sources.csv").open(encoding="utf-8", newline="") as file:
        known = {row["key"] for row in csv.DictReader(file)}
    assert {emitter_shape(name).source for name in list_emitter_shapes()} <= known
