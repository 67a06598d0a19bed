"""The cure command with a schedule: text, JSON, files, picture, exit codes."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from gelwright.lamp_library.errors import GelwrightError, InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.heat import Hand
from gelwright.models.stack import build
from gelwright.models.stack_results import StackResult
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.build_picture import lit_spans
from gelwright.optimiser.build_run import build_text, least_coat, verdict_of
from gelwright.optimiser.cautions import short_cautions
from gelwright.optimiser.cli import app
from gelwright.optimiser.conditions import hand_in_use, lamp_in_use, lamp_state_lines
from gelwright.optimiser.curve_data import coat_edges, profiles
from gelwright.optimiser.demo_data import (
    DEMO_FOLDER,
    is_schedule,
    list_demo_gels,
    list_demo_schedules,
    load_any_schedule,
)

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
    found = CliRunner().invoke(app, ["cure", "full_build", "--position", "thumb", "--json"])
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
    arguments = ["cure", "full_build", "--lamp", "demo_narrow_405", "--position", "middle"]
    found = CliRunner().invoke(app, [*arguments, "--out", str(folder), "--plot", str(picture)])
    assert found.exit_code == 0
    assert "Invented demonstration data." in found.stdout
    assert picture.stat().st_size > 5000
    for name in ("results.json", "depth.csv", "events.csv", "traces.csv", "verdict.txt", "build.png"):
        assert (folder / name).stat().st_size > 100
    # the page shows every coat by itself, and the data beside it hold the same curves
    page = (folder / "report.html").read_text(encoding="utf-8")
    alts = re.findall(r'aria-label="Conversion against depth in coat (\d)', page)
    assert alts == ["1", "2", "3", "4", "5"]
    (curves,) = json.loads((folder / "results.json").read_text(encoding="utf-8"))["curves"]
    assert [coat["number"] for coat in curves["coats"]] == [1, 2, 3, 4, 5]
    depth = pd.read_csv(folder / "depth.csv")
    builder = depth[depth["coat_number"] == 2]["conversion_fraction"].to_numpy()
    assert np.allclose(curves["coats"][1]["conversion_fraction"][1:-1], builder, atol=1e-5)
    assert len(curves["time_s"]) == len(curves["nail_bed_k"]) == len(curves["film_hottest_k"])
    again = CliRunner().invoke(
        app, ["cure", str(folder / "schedule.toml"), "--lamp", str(folder / "lamp"), "--position", "middle"]
    )
    assert again.exit_code == 0
    assert again.stdout.splitlines()[3:] == found.stdout.splitlines()[3:]


def test_text_says_bond_side_first_and_keeps_film_and_nail_bed_apart(result: StackResult) -> None:
    schedule = load_any_schedule("full_build")
    lines = build_text(schedule, LAMP, [result]).splitlines()
    assert lines[1] == "Finger at 33 °C, nail plate 0.45 mm."
    assert lines[4].startswith("Predicted in this lamp: ")
    assert "The bond side at the nail reaches" in lines[4]
    verdict = verdict_of([result], Limits())
    assert verdict.stays_cool == (result.nail_bed_peak_k <= 318.15 and result.cem43_min <= 1.0)
    share = least_coat(result).bottom_conversion_fraction / least_coat(result).conversion_ceiling_fraction
    assert verdict.cures == (share >= 0.9)
    assert all(f"- {caution}" in lines for caution in short_cautions())
    assert any("UDMA: restricted in EU" in line for line in lines)


def test_text_tells_what_is_left_in_every_coat_and_what_was_wiped_off(result: StackResult) -> None:
    text = build_text(load_any_schedule("full_build"), LAMP, [result])
    for coat, found in zip(result.coats, result.after_cure, strict=True):
        for key in (*found.free_monomers, *found.initiators):
            assert any(
                line.startswith(f"{coat.number} {coat.coat}") and f" {key} " in line
                for line in text.splitlines()
            ), key
    wiped = [event for event in result.events if event.removed_thickness_m > 0.0]
    assert len(wiped) == 2
    assert "Wiped off as tacky gel: " in text
    assert "until wiped off at the end" in text
    assert f"yellowness {result.tint.yellowness_index:.1f}" in text
    assert text.count("Known skin sensitisers predicted unreacted") == 1


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
        (["no_such_build"], "unknown demonstration gel or schedule 'no_such_build'"),
        (["full_build", "--lamp", "no_lamp"], "unknown lamp 'no_lamp'"),
        (["full_build", "--position", "toe"], "unknown position"),
        (["full_build", "--plot", "x.bmp"], "'.bmp' is no known picture"),
        (
            ["full_build", "--seconds", "60", "--cycles", "2"],
            "--seconds, --cycles given, but a schedule sets this",
        ),
        (["clear_builder", "--seconds", "60"], "a gel needs a lamp"),
        (["clear_builder", "--lamp", "demo_narrow_405"], "a gel needs the lamp-on time"),
    ],
)
def test_wrong_names_are_one_line(arguments: list[str], message: str) -> None:
    found = CliRunner().invoke(app, ["cure", *arguments])
    assert isinstance(found.exception, GelwrightError)
    assert message in str(found.exception)
    assert "\n" not in str(found.exception)


def test_a_schedule_without_a_lamp_asks_for_one(tmp_path: Path) -> None:
    text = 'title = "t"\nevents = [{ apply = "base_coat" }, { expose_s = 9 }]\n'
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    found = CliRunner().invoke(app, ["cure", str(tmp_path / "s.toml")])
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
    rise = next(each for each in text.splitlines() if "face of film and nail" in each)
    assert rise.lstrip().startswith("middle  hottest place")
    assert len(place["peak_rise_by_cycle_k"]) == 3
    assert place["peak_rise_by_cycle_k"][0] > 20.0 * abs(place["peak_rise_by_cycle_k"][1])
    assert place["blank_heat_by_cycle_j_m2"] == [0.0, 0.0, 0.0]
    assert "%" not in CliRunner().invoke(app, arguments).stdout.split("After the cure")[0]


def test_an_id_is_a_gel_or_a_schedule_and_never_both(tmp_path: Path) -> None:
    assert set(list_demo_gels()).isdisjoint(list_demo_schedules())
    assert is_schedule("full_build")
    assert not is_schedule("clear_builder")
    assert is_schedule(str(DEMO_FOLDER / "schedules" / "full_build.toml"))
    assert not is_schedule(str(DEMO_FOLDER / "gels" / "clear_builder.toml"))
    broken = tmp_path / "broken.toml"
    broken.write_text("events = [", encoding="utf-8")
    found = CliRunner().invoke(app, ["cure", str(broken), "--lamp", "demo_narrow_405", "--seconds", "9"])
    assert isinstance(found.exception, InputError)
    assert "broken.toml" in str(found.exception)


def test_the_separate_build_command_is_gone() -> None:
    found = CliRunner().invoke(app, ["build", "full_build"])
    assert isinstance(found.exception, InputError)
    assert "No such command 'build'" in str(found.exception)


def test_hand_and_nail_replace_only_what_they_name() -> None:
    other = Hand(start_k=300.0, nail_thickness_m=0.3e-3, perfusion_1_s=0.002)
    assert hand_in_use(other, None, None) == other
    assert hand_in_use(other, "warm", None) == replace(other, start_k=308.15)
    assert hand_in_use(other, None, "thick") == replace(other, nail_thickness_m=0.7e-3)
    with pytest.raises(UnknownNameError, match="warmth of the hand 'hot'"):
        hand_in_use(other, "hot", None)


def test_a_used_lamp_gives_less_and_says_why() -> None:
    used = lamp_in_use(LAMP, 10_000.0)
    assert used.course.level_ratio == pytest.approx(0.7 * LAMP.course.level_ratio, rel=1e-12)
    both = lamp_in_use(LAMP, 1000.0, 1000.0, 3.6)
    (line,) = lamp_state_lines(both)
    assert line.startswith("Lamp at 29 % of its measured output: 1000 h of light since")
    assert "3.6 V" in line
    assert lamp_state_lines(LAMP) == []
    assert both.course.level_ratio == pytest.approx(0.7 * 0.41 * LAMP.course.level_ratio, rel=1e-12)
    assert len(both.notes) == len(LAMP.notes) + 2
    assert used.notes[-1].endswith("L70 of 10000 h, which is assumed.")
    assert "assumed" not in both.notes[-2]
    assert lamp_in_use(LAMP) is LAMP
    with pytest.raises(InputError, match="--l70-hours 100 without --lamp-hours"):
        lamp_in_use(LAMP, None, 100.0)


COAT = ("cure", "base_coat", "--lamp", "demo_narrow_405", "--seconds", "10", "--position", "middle", "--json")


def cured(*arguments: str) -> dict[str, Any]:
    found = CliRunner().invoke(app, [*arguments])
    assert found.exit_code == 0
    data: dict[str, Any] = json.loads(found.stdout)
    return data


def test_conditions_of_use_reach_the_result_of_a_gel() -> None:
    plain, used = cured(*COAT), cured(*COAT, "--lamp-hours", "5000", "--l70-hours", "5000")
    dim = cured(*COAT, "--battery-v", "3.4")
    cold = cured(*COAT, "--hand", "cold", "--nail", "thick")
    means = [each["positions"][0]["mean_conversion_fraction"] for each in (plain, used, dim)]
    assert means == sorted(means, reverse=True)
    assert means[2] < means[0]
    assert any("5000 h of light since" in flag for flag in used["positions"][0]["flags"])
    assert any("battery at 3.4 V" in flag for flag in dim["positions"][0]["flags"])
    assert not any("of the measured one" in flag for flag in plain["positions"][0]["flags"])
    assert cold["hand"] == {"start_k": pytest.approx(301.15), "nail_thickness_m": pytest.approx(0.7e-3)}
    assert cold["positions"][0]["nail_bed_peak_k"] < plain["positions"][0]["nail_bed_peak_k"]


def test_conditions_of_use_reach_the_result_of_a_schedule(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    events = 'events = [{ apply = "base_coat" }, { expose_s = 9 }, { rest_s = 30 }]'
    file.write_text(f'title = "t"\n{events}\n[hand]\nnail_thickness_mm = 0.3\n')
    arguments = ("cure", str(file), "--lamp", "demo_narrow_405", "--position", "middle", "--json")
    data = cured(*arguments, "--hand", "cold", "--battery-v", "3.8")
    assert data["hand"] == {"start_k": pytest.approx(301.15), "nail_thickness_m": pytest.approx(0.3e-3)}
    assert any("battery at 3.8 V" in flag for flag in data["positions"][0]["flags"])
    plain = cured(*arguments)["positions"][0]
    assert data["positions"][0]["nail_bed_peak_k"] < plain["nail_bed_peak_k"]
