"""The packaged lamps: made by their script, labelled as invented, believable."""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from gelwright.lamp_library.lamp import LAMPS_FOLDER, list_lamps, load_lamp

FINGERS = ("thumb", "index", "middle", "ring", "little")


@pytest.fixture(scope="module")
def script(load_script: Callable[[str], ModuleType]) -> ModuleType:
    return load_script("studies/make_demo_lamps.py")


def test_running_the_script_changes_no_byte(script: ModuleType, tmp_path: Path) -> None:
    script.main(tmp_path)
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    shipped = {
        path.relative_to(LAMPS_FOLDER): path.read_bytes()
        for path in LAMPS_FOLDER.rglob("*")
        if path.is_file()
    }
    assert sorted(made) == sorted(shipped)
    assert [name for name in made if made[name] != shipped[name]] == []


def test_there_are_five() -> None:
    assert len(list_lamps()) == 5


@pytest.mark.parametrize("name", list_lamps())
def test_every_file_says_invented_in_its_first_line(name: str) -> None:
    for path in (LAMPS_FOLDER / name).iterdir():
        first = path.read_bytes().split(b"\n")[0]
        assert b"invented demonstration data" in first, path


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [
        ("demo_arch_365_405", 300.0, 400.0),
        ("demo_narrow_405", 150.0, 300.0),
        ("demo_narrow_385", 100.0, 250.0),
        ("demo_fluorescent_365", 60.0, 80.0),
        ("demo_strong_395", 700.0, 800.0),
    ],
)
def test_irradiance_and_spread_are_believable(name: str, least: float, most: float) -> None:
    lamp = load_lamp(name)
    assert lamp.positions == FINGERS
    assert lamp.is_demonstration
    assert least < lamp.mean_spectrum().irradiance_w_m2(315.0, 450.0) < most
    assert 0.5 <= round(lamp.uniformity_ratio, 2) <= 0.8
    assert (lamp.weakest, lamp.strongest) == ("thumb", "middle")
    # at most a third of the electrical power leaves through 200 cm2
    assert lamp.electrical_power_w is not None
    assert lamp.mean_spectrum().irradiance_w_m2() * 0.02 < lamp.electrical_power_w / 3.0


@pytest.mark.parametrize(
    ("name", "peaks_nm"),
    [
        ("demo_arch_365_405", [366, 406]),
        ("demo_narrow_405", [408]),
        ("demo_narrow_385", [385]),
        ("demo_fluorescent_365", [366, 405, 436]),
        ("demo_strong_395", [394]),
    ],
)
def test_peaks_stand_where_their_emitters_shine(name: str, peaks_nm: list[int]) -> None:
    peaks = load_lamp(name).mean_spectrum().peaks()
    # measured noise and a 1 nm grid move a maximum by up to 1 nm
    assert [each.wavelength_nm for each in peaks] == pytest.approx(peaks_nm, abs=1.01)


@pytest.mark.parametrize("name", list_lamps())
def test_noise_is_in_the_file_and_not_in_the_light(name: str) -> None:
    lamp = load_lamp(name)
    for position in lamp.positions:
        spectrum = lamp.spectrum(position)
        light = spectrum.light()
        assert spectrum.spectral_irradiance_w_m2_nm.min() < 0.0
        assert np.all(light.at(np.arange(spectrum.wavelength_nm[0], 320.0)) == 0.0)
        # what is left out is under 0.2 % of the power
        assert light.irradiance_w_m2() == pytest.approx(spectrum.irradiance_w_m2(), rel=2e-3)
