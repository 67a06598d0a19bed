"""Lamp and its files: positions, round trips, and what a spoilt lamp file says."""

import pickle
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import gelwright.lamp_library as room
from gelwright.lamp_library.course import AirTemperature, OutputCourse, Programme, Segment
from gelwright.lamp_library.errors import GelwrightError, InputError, UnknownNameError
from gelwright.lamp_library.lamp import Lamp, list_lamps, load_lamp, save_lamp
from gelwright.lamp_library.spectrum import Spectrum

GRID = np.linspace(380.0, 420.0, 41)


def make(**changes) -> Lamp:
    line = 10.0 * np.exp(-(((GRID - 400.0) / 8.0) ** 2)) + 1.0 / 3.0 * 1e-3
    fields = {
        "lamp_id": "client_a",
        "name": 'Lamp "A", ängström \\ 5',
        "spectra": {"thumb": Spectrum(GRID, 0.5 * line), "index": Spectrum(GRID, line), "ring": Spectrum(GRID, 1.5 * line)},
        "course": OutputCourse(overshoot_fraction=0.1, time_constant_s=330.0, level_ratio=0.9, measured_after_s=60.0),
        "air": AirTemperature(start_k=298.15, rise_k=6.0, time_constant_s=150.0),
        "programmes": {
            "low heat": Programme(
                name="low heat",
                segments=(Segment(duration_s=60.0, level_start_ratio=0.2, level_end_ratio=1.0),),
                repeat=False,
            )
        },
        "provenance": {"instrument": "array", "note": "line one\nline two"},
        "electrical_power_w": 48.0,
        "notes": ("a note",),
    }  # fmt: skip
    return Lamp(**{**fields, **changes})


def assert_same(one: Lamp, other: Lamp) -> None:
    for name in (
        "lamp_id",
        "name",
        "course",
        "programmes",
        "provenance",
        "electrical_power_w",
        "notes",
        "positions",
    ):
        assert getattr(one, name) == getattr(other, name), name
    assert one.is_demonstration == other.is_demonstration
    assert one.air.start_k == pytest.approx(other.air.start_k, abs=1e-9)
    assert (one.air.rise_k, one.air.time_constant_s) == (other.air.rise_k, other.air.time_constant_s)
    for position in one.positions:
        a, b = one.spectrum(position), other.spectrum(position)
        assert np.array_equal(a.wavelength_nm, b.wavelength_nm)
        assert np.array_equal(a.spectral_irradiance_w_m2_nm, b.spectral_irradiance_w_m2_nm)


def test_positions() -> None:
    lamp = make()
    assert lamp.positions == ("thumb", "index", "ring")
    assert (lamp.weakest, lamp.strongest) == ("thumb", "ring")
    assert lamp.uniformity_ratio == pytest.approx(0.5, rel=1e-12)
    assert lamp.mean_spectrum().irradiance_w_m2() == pytest.approx(
        lamp.spectrum("index").irradiance_w_m2(), rel=1e-12
    )
    with pytest.raises(UnknownNameError, match=r"did you mean 'thumb'.*thumb, index, ring"):
        lamp.spectrum("thum")


def test_notes_of_a_programme_are_kept(tmp_path: Path) -> None:
    dimmed = Programme.pulsed("half", period_s=0.001, duty_fraction=0.5)
    whole = Programme.sequence("whole", [(dimmed, 20.0)])
    lamp = make(programmes={"half": dimmed, "whole": whole})
    save_lamp(lamp, tmp_path / "lamp")
    again = load_lamp(tmp_path / "lamp")
    assert_same(again, lamp)
    assert again.programme("whole").remarks == dimmed.remarks
    text = (tmp_path / "lamp" / "lamp.toml").read_text(encoding="utf-8")
    assert text.count("1000 Hz") == 1  # the fast train itself says it anew each time


def test_programmes_always_hold_steady() -> None:
    lamp = make(programmes={})
    assert lamp.programme("steady").mean_level_ratio(33.0) == 1.0
    with pytest.raises(UnknownNameError, match="programme of lamp client_a"):
        lamp.programme("turbo")


@pytest.mark.parametrize("factor", [0.7, 1.3])
def test_with_output_scales_every_position_and_nothing_else(factor: float) -> None:
    lamp = make()
    aged = lamp.with_output(factor)
    for position in lamp.positions:
        assert aged.spectrum(position).irradiance_w_m2() == pytest.approx(
            factor * lamp.spectrum(position).irradiance_w_m2(), rel=1e-12
        )
    assert aged.course == lamp.course
    assert aged.uniformity_ratio == pytest.approx(lamp.uniformity_ratio, rel=1e-12)


def test_mappings_are_locked() -> None:
    lamp = make()
    for mapping in (lamp.spectra, lamp.programmes, lamp.provenance):
        with pytest.raises(TypeError):
            mapping["new"] = None


def test_pickle_keeps_everything_and_the_locks() -> None:
    lamp = make()
    twin = pickle.loads(pickle.dumps(lamp))
    assert_same(twin, lamp)
    with pytest.raises(TypeError):
        twin.spectra["new"] = None
    with pytest.raises(ValueError, match="read-only"):
        twin.spectrum("thumb").wavelength_nm[0] = 1.0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"lamp_id": "Client A"}, "lower-case letters"),
        ({"lamp_id": "../x"}, "lower-case letters"),
        ({"spectra": {}}, "no position"),
        ({"spectra": {"a": Spectrum([1.0, 2.0], [0.0, 0.0])}}, "gives no light"),
        ({"spectra": {"a": Spectrum([1.0, 2.0], [1.0, 1.0]), "b": Spectrum([1.0, 3.0], [1.0, 1.0])}}, "another wavelength grid"),
        ({"electrical_power_w": 0.0}, "electrical power"),
    ],
)  # fmt: skip
def test_impossible_lamps(changes, says: str) -> None:
    with pytest.raises(InputError, match=says):
        make(**changes)


def test_round_trip_is_exact(tmp_path: Path) -> None:
    lamp = make()
    written = save_lamp(lamp, tmp_path / "a")
    assert written == tmp_path / "a" / "lamp.toml"
    assert_same(load_lamp(written), lamp)
    assert_same(load_lamp(tmp_path / "a"), lamp)
    assert_same(load_lamp(str(tmp_path / "a")), lamp)
    save_lamp(load_lamp(written), tmp_path / "b")
    for name in ("lamp.toml", "spectra.csv"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


@given(
    st.lists(st.floats(1e-3, 1e3), min_size=3, max_size=8),
    st.text(min_size=1, max_size=20),
    st.floats(0.01, 1.0),
)
def test_any_lamp_comes_back(tmp_path_factory, values: list[float], text: str, level: float) -> None:
    grid = 300.0 + np.arange(len(values)) / 3.0
    lamp = make(
        spectra={"one": Spectrum(grid, values)},
        name=text,
        provenance={text: text},
        course=OutputCourse(overshoot_fraction=level, time_constant_s=level, level_ratio=level),
    )
    try:
        text.encode()
    except UnicodeEncodeError:
        return  # a lone surrogate is no text a file can hold
    assert_same(load_lamp(save_lamp(lamp, tmp_path_factory.mktemp("lamp") / "a")), lamp)


def test_existing_lamps_are_not_overwritten_unasked(tmp_path: Path) -> None:
    save_lamp(make(), tmp_path / "a")
    before = (tmp_path / "a" / "lamp.toml").read_bytes()
    with pytest.raises(InputError, match="exists already"):
        save_lamp(make(name="other"), tmp_path / "a")
    assert (tmp_path / "a" / "lamp.toml").read_bytes() == before
    save_lamp(make(name="other"), tmp_path / "a", overwrite=True)
    assert load_lamp(tmp_path / "a").name == "other"


def test_saving_over_a_file_or_with_a_separator_in_a_label(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="is a file"):
        save_lamp(make(), tmp_path / "file")
    odd = make(spectra={"left, thumb": Spectrum([1.0, 2.0], [1.0, 1.0])})
    with pytest.raises(InputError, match="separator or quote"):
        save_lamp(odd, tmp_path / "odd")
    assert not (tmp_path / "odd").exists()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('format = "gelwright lamp 1"', 'format = "other"', "format is 'other'"),
        ("demonstration = false", "demonstration = 0", "demonstration is 0; give true or false"),
        ("demonstration = false", "", "demonstration is missing"),
        ("electrical_power_w = 48.0", 'electrical_power_w = "48"', "give a number without quotes"),
        ("electrical_power_w = 48.0", "watts = 48.0", "unknown key 'watts'"),
        ("overshoot_fraction = 0.1", "overshoot_fraction = -2", "overshoot_fraction is -2"),
        ("overshoot_fraction = 0.1", "overshoot = 0.1", "unknown key 'overshoot'"),
        ("overshoot_fraction = 0.1", "overshoot_fraction = nan", "overshoot_fraction is nan"),
        ("start_c = 25.0", "start_c = 298.15", "start_k is 571.3"),
        ("duration_s = 60.0, level_start", "duration_s = 0, level_start", "duration_s is 0"),
        ("repeat = false", 'repeat = "no"', "repeat is 'no'"),
        ('unit = "W/m2/nm"', 'unit = "mW/cm2"', "unit is 'mW/cm2'"),
        ('positions = ["thumb"', 'positions = ["toe"', "make them equal"),
        ('file = "spectra.csv"', 'file = "none.csv"', "no such file"),
        ("[course]", "[course", "not valid TOML"),
        ('id = "client_a"', 'id = "Client"', "lower-case"),
        ('notes = ["a note"]', "notes = 3", "notes must be a list"),
    ],
)
def test_spoilt_lamp_file(tmp_path: Path, old: str, new: str, says: str) -> None:
    path = save_lamp(make(), tmp_path / "a")
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(GelwrightError) as caught:
        load_lamp(path)
    message = str(caught.value)
    assert re.search(re.escape(says), message), message
    assert "\n" not in message
    assert str(tmp_path / "a") in message


def test_changed_spectra_are_noticed_unless_the_checksum_is_dropped(tmp_path: Path) -> None:
    path = save_lamp(make(), tmp_path / "a")
    spectra = path.with_name("spectra.csv")
    text = spectra.read_text(encoding="utf-8")
    # another line end is no change
    spectra.write_bytes(text.replace("\n", "\r\n").encode())
    load_lamp(path)
    spectra.write_text(text.replace("420.0,", "421.0,"), encoding="utf-8")
    with pytest.raises(InputError, match="sha256 differs"):
        load_lamp(path)
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("sha256")]
    path.write_text("\n".join(lines), encoding="utf-8")
    assert load_lamp(path).spectrum("thumb").wavelength_nm[-1] == 421.0


def test_unsorted_spectra_are_refused_with_their_row(tmp_path: Path) -> None:
    path = save_lamp(make(), tmp_path / "a")
    spectra = path.with_name("spectra.csv")
    lines = spectra.read_text(encoding="utf-8").splitlines()
    lines[4], lines[5] = lines[5], lines[4]
    spectra.write_text("\n".join(lines) + "\n", encoding="utf-8")
    kept = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("sha256")]
    path.write_text("\n".join(kept), encoding="utf-8")
    with pytest.raises(InputError, match="row 6: wavelengths must ascend"):
        load_lamp(path)


def test_units_of_the_lamp_file_are_honoured(tmp_path: Path) -> None:
    path = save_lamp(make(), tmp_path / "a")
    text = path.read_text(encoding="utf-8").replace('unit = "W/m2/nm"', 'unit = "mW/cm2/nm"')
    path.write_text(text, encoding="utf-8")
    ten = load_lamp(path).spectrum("thumb").irradiance_w_m2() / make().spectrum("thumb").irradiance_w_m2()
    assert ten == pytest.approx(10.0, rel=1e-12)


def test_a_word_is_a_packaged_lamp_and_a_path_is_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    name = list_lamps()[0]
    assert load_lamp(name).lamp_id == name
    with pytest.raises(UnknownNameError, match="unknown lamp 'client_a'"):
        load_lamp("client_a")
    with pytest.raises(InputError, match="no lamp file here"):
        load_lamp("./client_a")
    with pytest.raises(InputError, match="no lamp file here"):
        load_lamp(Path(name))
    save_lamp(make(), "client_a")
    assert load_lamp("client_a").lamp_id == "client_a"
    assert load_lamp("client_a/lamp.toml").lamp_id == "client_a"
    # a namesake is never guessed
    save_lamp(make(), name)
    with pytest.raises(InputError, match=f"write ./{name}"):
        load_lamp(name)
    assert load_lamp(f"./{name}").lamp_id == "client_a"


def test_demonstration_data_say_so_in_the_file(tmp_path: Path) -> None:
    path = save_lamp(replace(make(), is_demonstration=True), tmp_path / "a")
    for name in ("lamp.toml", "spectra.csv"):
        assert (
            "invented demonstration data" in path.with_name(name).read_text(encoding="utf-8").splitlines()[0]
        )


def test_the_rooms_public_names_exist_and_unknown_ones_do_not() -> None:
    for name in room.__all__:
        assert getattr(room, name).__name__ == name
    assert set(room.__all__) <= set(dir(room))
    with pytest.raises(AttributeError, match="no attribute 'lamps'"):
        room.lamps  # noqa: B018


def test_a_lamp_is_a_tidy_table_too() -> None:
    lamp = load_lamp("demo_narrow_385")
    frame = lamp.to_frame()
    assert len(frame) == sum(each.wavelength_nm.size for each in lamp.spectra.values())
    thumb = frame[frame["position"] == "thumb"]
    assert list(thumb["spectral_irradiance_w_m2_nm"]) == list(
        lamp.spectrum("thumb").spectral_irradiance_w_m2_nm
    )
