"""The build command: text, JSON, files, picture, exit codes."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from gelwright.lamp_library.errors import GelwrightError, InputError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.stack import build
from gelwright.models.stack_results import StackResult
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.build_picture import coat_edges, lit_spans, profiles
from gelwright.optimiser.build_run import build_text, least_coat, verdict_of
from gelwright.optimiser.cautions import short_cautions
from gelwright.optimiser.cli import app
from gelwright.optimiser.demo_data import list_demo_schedules, load_any_schedule

LAMP = load_lamp("demo_arch_365_405")


@pytest.fixture(scope="module")
def result() -> StackResult:
    return build(load_any_schedule("full_build"), LAMP, position="thumb")


@pytest.mark.parametrize("name", list_demo_schedules())
def test_packaged_schedules_load_and_are_marked_as_invented(name: str) -> None:
    schedule = load_any_schedule(name)
    assert schedule.is_demonstration
    assert "invented demonstration data" in schedule.note
    assert schedule.remarks == ()


def test_json_holds_every_coat_and_event(result: StackResult) -> None:
    found = CliRunner().invoke(app, ["build", "full_build", "--position", "thumb", "--json"])
    assert found.exit_code == 0
    data = json.loads(found.stdout)
    assert data["is_demonstration"] is True
    (place,) = data["positions"]
    assert place["position"] == "thumb"
    assert [coat["coat"] for coat in place["coats"]] == ["base", "builder", "colour", "colour", "top"]
    assert len(place["events"]) == len(load_any_schedule("full_build").events)
    assert place["bond_side_conversion_fraction"] == pytest.approx(result.bond_side_conversion_fraction)
    assert data["cautions"] == short_cautions()


def test_folder_holds_inputs_tables_and_picture(tmp_path: Path) -> None:
    folder, picture = tmp_path / "run", tmp_path / "build.svg"
    arguments = ["build", "full_build", "--lamp", "demo_narrow_405", "--position", "middle"]
    found = CliRunner().invoke(app, [*arguments, "--out", str(folder), "--plot", str(picture)])
    assert found.exit_code == 0
    assert "Invented demonstration data." in found.stdout
    assert picture.stat().st_size > 5000
    for name in ("results.json", "depth.csv", "events.csv", "traces.csv", "verdict.txt", "build.png"):
        assert (folder / name).stat().st_size > 100
    again = CliRunner().invoke(
        app, ["build", str(folder / "schedule.toml"), "--lamp", str(folder / "lamp"), "--position", "middle"]
    )
    assert again.exit_code == 0
    assert again.stdout.splitlines()[2:] == found.stdout.splitlines()[2:]


def test_text_says_bond_side_first_and_keeps_film_and_nail_bed_apart(result: StackResult) -> None:
    schedule = load_any_schedule("full_build")
    lines = build_text(schedule, LAMP, [result]).splitlines()
    assert lines[3].startswith("Predicted in this lamp: ")
    assert "The bond side at the nail reaches" in lines[3]
    verdict = verdict_of([result], Limits())
    assert verdict.stays_cool == (result.nail_bed_peak_k <= 318.15 and result.cem43_min <= 1.0)
    share = least_coat(result).bottom_conversion_fraction / least_coat(result).conversion_ceiling_fraction
    assert verdict.cures == (share >= 0.9)
    assert all(f"- {caution}" in lines for caution in short_cautions())


def test_figures_of_the_picture_cover_stack_and_time(result: StackResult) -> None:
    edges = coat_edges(result)
    assert [name for name, _, _ in edges] == ["5 top", "4 colour", "3 colour", "2 builder", "1 base"]
    assert edges[-1][2] == pytest.approx(result.thickness_m, rel=1e-9)
    assert lit_spans(result)[0] == (0.0, 60.0)
    lines = profiles(result)
    for (depth, conversion, _), (_, upper, lower) in zip(lines, edges, strict=True):
        assert depth[0] == pytest.approx(upper)
        assert depth[-1] == pytest.approx(lower)
        assert np.all(np.diff(depth) > 0.0)
        assert conversion.min() >= 0.0
    assert lines[-1][1][-1] == result.bond_side_conversion_fraction


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["no_such_build"], "unknown demonstration schedule 'no_such_build'"),
        (["full_build", "--lamp", "no_lamp"], "unknown lamp 'no_lamp'"),
        (["full_build", "--position", "toe"], "unknown position"),
        (["full_build", "--plot", "x.bmp"], "'.bmp' is no known picture"),
    ],
)
def test_wrong_names_are_one_line(arguments: list[str], message: str) -> None:
    found = CliRunner().invoke(app, ["build", *arguments])
    assert isinstance(found.exception, GelwrightError)
    assert message in str(found.exception)
    assert "\n" not in str(found.exception)


def test_a_schedule_without_a_lamp_asks_for_one(tmp_path: Path) -> None:
    text = 'title = "t"\nevents = [{ apply = "base_coat" }, { expose_s = 9 }]\n'
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    found = CliRunner().invoke(app, ["build", str(tmp_path / "s.toml")])
    assert isinstance(found.exception, InputError)
    assert "names no lamp; give one with --lamp" in str(found.exception)


def test_cure_with_cycles_prints_heat_and_share_of_each() -> None:
    arguments = ["cure", "base_coat", "--lamp", "demo_narrow_405", "--seconds", "20", "--position", "middle"]
    text = CliRunner().invoke(app, [*arguments, "--cycles", "3"]).stdout
    line = next(each for each in text.splitlines() if each.lstrip().startswith("middle") and "%" in each)
    assert line.count("%") == 2
    data = json.loads(CliRunner().invoke(app, [*arguments, "--cycles", "3", "--json"]).stdout)
    (place,) = data["positions"]
    heat = place["heat_by_cycle_j_m2"]
    assert place["heat_share_by_cycle"] == pytest.approx([each / heat[0] for each in heat])
    assert len(heat) == 3
    assert "%" not in CliRunner().invoke(app, arguments).stdout.split("After the cure")[0]
