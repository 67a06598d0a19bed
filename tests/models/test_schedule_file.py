"""Schedule files: read back as written, and refused with one line each."""

from pathlib import Path

import pytest

from gelwright.lamp_library.errors import GelwrightError, InputError
from gelwright.models.gel import Gel, save_gel
from gelwright.models.heat import Hand
from gelwright.models.schedule import Apply, Expose, Rest, Schedule, Wipe
from gelwright.models.schedule_file import load_schedule, save_schedule

BASE = Gel(
    name="base", coat="base", resin_parts={"UDMA": 1.0}, initiators_wt_pct={"TPO-L": 3.0}, thickness_m=60e-6
)
TOP = Gel(
    name="top", coat="top", resin_parts={"UDMA": 1.0}, initiators_wt_pct={"BAPO": 1.0}, thickness_m=50e-6
)
EVENTS = (
    Apply(gel=BASE),
    Expose(seconds=30.0),
    Rest(seconds=15.0),
    Wipe(),
    Apply(gel=TOP, thickness_m=40e-6, arrives_k=293.15),
    Expose(seconds=60.0, programme="ramp"),
)


def test_a_schedule_reads_back_as_written(tmp_path: Path) -> None:
    written = Schedule(
        title='a "test"', events=EVENTS, lamp="demo_narrow_405", position="thumb", note="n", is_demonstration=True,
        hand=Hand(start_k=301.15, nail_thickness_m=0.3e-3, perfusion_1_s=0.001),
    )  # fmt: skip
    save_schedule(written, tmp_path / "build.toml")
    read = load_schedule(tmp_path / "build.toml")
    assert [type(event) for event in read.events] == [type(event) for event in EVENTS]
    # a thickness left to the gel is written out as the number it stands for
    assert read.events[0] == Apply(gel=BASE, thickness_m=60e-6)
    assert read.events[1:4] == EVENTS[1:4]
    assert read.applications[1].film_thickness_m == pytest.approx(40e-6, rel=1e-12)
    assert read.events[5] == EVENTS[5]
    assert (read.title, read.lamp, read.position, read.note) == ('a "test"', "demo_narrow_405", "thumb", "n")
    assert read.is_demonstration
    assert read.hand.start_k == pytest.approx(301.15, abs=1e-9)
    assert read.hand.nail_thickness_m == pytest.approx(0.3e-3, rel=1e-9)
    assert read.hand.perfusion_1_s == 0.001


def test_a_hand_the_file_cannot_hold_is_refused(tmp_path: Path) -> None:
    odd = Schedule(title="t", events=EVENTS, hand=Hand(nail_conductivity_w_m_k=0.5))
    with pytest.raises(InputError, match="of the hand it can hold"):
        save_schedule(odd, tmp_path / "build.toml")
    assert not list(tmp_path.iterdir())


def test_paths_are_relative_to_the_file(tmp_path: Path) -> None:
    (tmp_path / "gels").mkdir()
    save_gel(BASE, tmp_path / "gels" / "b.toml")
    text = 'title = "t"\nlamp = "../lamp"\nevents = [{ apply = "gels/b.toml" }, { expose_s = 9 }]\n'
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    read = load_schedule(tmp_path / "s.toml")
    assert read.gels == (BASE,)
    assert read.lamp == str((tmp_path / ".." / "lamp").resolve())


GOOD = '{ apply = "b.toml" }, { expose_s = 9 }'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("title = ", "bad.toml: not valid TOML"),
        (f"events = [{GOOD}]", "bad.toml: title is missing; add a line title = \"...\"."),
        ('title = "t"', "bad.toml: events is missing or empty"),
        ('title = "t"\nevents = []', "bad.toml: events is missing or empty"),
        (f'title = "t"\nevents = [{GOOD}]\ncoats = 3', "unknown key 'coats'"),
        ('title = "t"\nevents = [3]', "event 1 is 3; give a table in braces"),
        ('title = "t"\nevents = [{ expose = 9 }]', "event 1 says expose; it must say one of apply, expose_s"),
        ('title = "t"\nevents = [{ expose_s = 9, rest_s = 3 }]', "event 1 says expose_s and rest_s; it must say one"),
        ('title = "t"\nevents = [{ rest_s = 9, programme = "steady" }]', "event 1: unknown key 'programme'"),
        (f'title = "t"\nevents = [{GOOD}, {{ rest_s = "long" }}]', "event 3: rest_s is 'long'; give a number"),
        (f'title = "t"\nevents = [{GOOD}, {{ rest_s = nan }}]', "event 3: rest_s is nan; give a number"),
        (f'title = "t"\nevents = [{GOOD}, {{ rest_s = true }}]', "event 3: rest_s is True; give a number"),
        (f'title = "t"\nevents = [{GOOD}, {{ wipe = false }}]', "event 3: wipe is False; write wipe = true"),
        ('title = "t"\nevents = [{ apply = 3 }]', "event 1: apply is 3; give a text in quotes"),
        ('title = "t"\nevents = [{ apply = "none.toml" }]', "none.toml: no such file"),
        ('title = "t"\nevents = [{ apply = "clear_builder" }]', "event 1: unknown gel 'clear_builder'"),
        ('title = "t"\nevents = [{ apply = "b.toml" }, { wipe = true }, { expose_s = 9 }]', "event 2 (wipe): the coat"),
        ('title = "t"\nevents = [{ apply = "b.toml", thickness_um = 9000 }, { expose_s = 9 }]', "thickness is 9000 um"),
        (f'title = "t"\nevents = [{GOOD}]\nhand = 3', "hand is 3; give a table"),
        (f'title = "t"\nevents = [{GOOD}]\n[hand]\nwarmth = 3', "[hand]: unknown key 'warmth'"),
        (f'title = "t"\nevents = [{GOOD}]\n[hand]\nstart_c = 60', "bad.toml: hand: start_k is 333.15; it must lie between"),
        (f'title = "t"\nevents = [{GOOD}]\nis_demonstration = 1', "is_demonstration is 1; give true or false."),
    ],
)  # fmt: skip
def test_bad_files_say_what_is_wrong_in_one_line(tmp_path: Path, text: str, message: str) -> None:
    save_gel(BASE, tmp_path / "b.toml")
    (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
    with pytest.raises(GelwrightError) as caught:
        load_schedule(tmp_path / "bad.toml")
    assert message in str(caught.value)
    assert "bad.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml: no such file"):
        load_schedule(tmp_path / "none.toml")
