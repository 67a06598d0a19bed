"""Gels: checks, files in the chemist's units, and the demonstration recipes."""

import datetime
import pickle
from pathlib import Path
from typing import Any

import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.models.gel import Gel, list_gels, load_gel, save_gel
from gelwright.models.market import market_status
from gelwright.models.materials import photoinitiator

DEMO = Path(__file__).resolve().parents[2] / "optimiser" / "demo" / "gels"

TEXT = """name = "test"
coat = "builder"
thickness_um = 300
[resin_parts]
UDMA = 70
HEMA = 30
[initiators_wt_pct]
TPO-L = 2.0
[stabilisers_wt_pct]
MEHQ = 0.02
"""


def gel(**changes: Any) -> Gel:
    plain: dict[str, Any] = {
        "name": "test",
        "coat": "builder",
        "resin_parts": {"UDMA": 70.0, "HEMA": 30.0},
        "initiators_wt_pct": {"TPO-L": 2.0},
        "stabilisers_wt_pct": {"MEHQ": 0.02},
        "thickness_m": 300e-6,
    }
    return Gel(**{**plain, **changes})


def written(folder: Path, text: str) -> Path:
    path = folder / "my.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_file_is_read_in_chemists_units(tmp_path: Path) -> None:
    read = load_gel(written(tmp_path, TEXT))
    assert read == gel()
    assert read.thickness_m == pytest.approx(300e-6, rel=1e-12)
    assert read.resin_base_wt_pct == pytest.approx(97.98)


def test_saved_gel_reads_back_equal(tmp_path: Path) -> None:
    full = gel(amines_wt_pct={"EDB": 0.7}, note="a note", is_demonstration=True, thickness_m=37e-6)
    save_gel(full, tmp_path / "out.toml")
    again = load_gel(tmp_path / "out.toml")
    assert again.thickness_m == pytest.approx(full.thickness_m, rel=1e-12)
    assert "thickness_um = 37.0\n" in (tmp_path / "out.toml").read_text()
    assert (again.amines_wt_pct, again.note, again.is_demonstration) == ({"EDB": 0.7}, "a note", True)


def test_own_spectrum_is_found_beside_the_gel_file(tmp_path: Path) -> None:
    path = written(tmp_path, TEXT + '[absorption_files]\nTPO-L = "own.csv"\n')
    assert load_gel(path).absorption_files == {"TPO-L": str((tmp_path / "own.csv").resolve())}


def test_other_initiators_keep_the_rest() -> None:
    changed = gel(amines_wt_pct={"EDB": 0.5}).with_initiators({"BAPO": 0.5})
    assert changed.initiators_wt_pct == {"BAPO": 0.5}
    assert changed.amines_wt_pct == {"EDB": 0.5}
    assert changed.resin_parts == gel().resin_parts
    assert gel().with_initiators({"CQ": 0.3}, {"EDB": 0.6}).amines_wt_pct == {"EDB": 0.6}


def test_contents_are_locked_and_survive_pickling() -> None:
    contents = {"TPO-L": 2.0}
    locked = gel(initiators_wt_pct=contents)
    contents["TPO-L"] = 50.0
    assert locked.initiators_wt_pct["TPO-L"] == 2.0
    with pytest.raises(TypeError):
        locked.initiators_wt_pct["TPO-L"] = 3.0  # type: ignore[index]
    copy = pickle.loads(pickle.dumps(locked))
    assert copy == locked
    assert hash(copy) == hash(locked)
    assert copy != gel(initiators_wt_pct={"TPO-L": 2.1})


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"initiators_wt_pct": {"TPO-L": -1.0}}, "TPO-L in initiators_wt_pct is -1 wt%; it must be >= 0"),
        ({"resin_parts": {"UDMA": float("nan")}}, "UDMA in resin_parts is nan parts"),
        (
            {"initiators_wt_pct": {"TPO-L": 60.0, "HCPK": 40.0}},
            r"add up to 100\.02 wt%; they must leave room",
        ),
        ({"resin_parts": {}}, "resin_parts add up to 0"),
        ({"thickness_m": 300.0}, r"thickness is 3e\+08 um; it must lie between 5 and 3000 um"),
    ],
)
def test_impossible_gels_are_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        gel(**changes)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"resin_parts": {"UDME": 1.0}}, "unknown resin 'UDME'; did you mean 'UDMA'"),
        ({"initiators_wt_pct": {"EDB": 1.0}}, "unknown photoinitiator 'EDB'"),
        ({"coat": "primer"}, "unknown coat 'primer'"),
        ({"absorption_files": {"HEMA": "x.csv"}}, "unknown photoinitiator 'HEMA'"),
    ],
)
def test_unknown_substances_are_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(UnknownNameError, match=message):
        gel(**changes)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "thickness_um = 300",
            "thickness_mm = 0.3",
            r"my.toml: unknown key 'thickness_mm'; did you mean 'thickness_um'",
        ),
        ("thickness_um = 300\n", "", "my.toml: thickness_um is missing"),
        (
            "thickness_um = 300",
            'thickness_um = "300"',
            "my.toml: thickness_um is '300'; give a number without quotes",
        ),
        ("thickness_um = 300", "thickness_um = true", "my.toml: thickness_um is True; give a number"),
        ("TPO-L = 2.0", 'TPO-L = "2 %"', "my.toml, [initiators_wt_pct]: TPO-L is '2 %'; give a number"),
        ("TPO-L = 2.0", "TPO-L = -2.0", "my.toml: gel 'test': TPO-L in initiators_wt_pct is -2 wt%"),
        ("TPO-L = 2.0", "TPO-M = 2.0", "my.toml: unknown photoinitiator 'TPO-M'"),
        ("TPO-L = 2.0", "TPO-L = 2.0.0", "my.toml: not valid TOML"),
        ("TPO-L = 2.0", "TPO-L = 1" + "0" * 400, "my.toml, [initiators_wt_pct]: TPO-L has too many digits"),
        ('name = "test"', "name = 7", "my.toml: name is 7; give a text in quotes"),
        ("[stabilisers_wt_pct]\nMEHQ = 0.02", "", "stabilisers_wt_pct"),
    ],
)
def test_bad_files_are_refused_in_one_line(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in TEXT
    if message == "stabilisers_wt_pct":  # may be left out: no stabiliser then
        assert load_gel(written(tmp_path, TEXT.replace(old, new))).stabilisers_wt_pct == {}
        return
    with pytest.raises((InputError, UnknownNameError)) as caught:
        load_gel(written(tmp_path, TEXT.replace(old, new)))
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_table_given_as_a_number_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"my\.toml: amines_wt_pct is 2; give a table"):
        load_gel(written(tmp_path, "amines_wt_pct = 2\n" + TEXT))


def test_a_word_is_an_id_and_a_path_is_a_file(tmp_path: Path) -> None:
    assert load_gel("clear_builder", packaged=DEMO).name == "Clear builder"
    with pytest.raises(UnknownNameError, match="unknown gel 'clear_bulder'; did you mean 'clear_builder'"):
        load_gel("clear_bulder", packaged=DEMO)
    with pytest.raises(UnknownNameError, match="unknown gel"):
        load_gel("clear_builder")
    with pytest.raises(InputError, match="no such file"):
        load_gel("clear_builder.toml", packaged=DEMO)
    with pytest.raises(InputError, match="no such file"):
        load_gel(str(tmp_path / "nothing"))


def test_demonstration_gels() -> None:
    assert list_gels(DEMO) == (
        "base_coat",
        "black_colour",
        "clear_builder",
        "colour_coat",
        "old_builder_tpo",
        "red_colour",
        "sheer_pink",
        "top_coat",
        "white_colour",
        "yellow_colour",
    )


@pytest.mark.parametrize("name", list_gels(DEMO))
def test_demonstration_gels_are_labelled_legal_and_within_usual_levels(name: str) -> None:
    demo = load_gel(name, packaged=DEMO)
    assert demo.is_demonstration
    assert "invented demonstration data" in demo.note
    assert (
        "Invented demonstration data" in (DEMO / f"{name}.toml").read_text(encoding="utf-8").splitlines()[0]
    )
    assert ("TPO" in demo.initiators_wt_pct) == (name == "old_builder_tpo")
    for key, content in demo.initiators_wt_pct.items():
        known = photoinitiator(key)
        assert known.usual_max_wt_pct is not None
        assert content <= known.usual_max_wt_pct
        status = market_status(key, "EU", datetime.date(2026, 11, 25))
        assert status.permits(content) == (key != "TPO")
