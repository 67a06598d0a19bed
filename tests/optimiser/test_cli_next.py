"""`gelwright next` as its user runs it."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gelwright.lamp_library.errors import UnknownNameError
from gelwright.models.formulation import gel_resin
from gelwright.models.gel import save_gel
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.cli import app
from gelwright.optimiser.constraints import cure_limits
from gelwright.optimiser.demo_data import brief_path, load_any_gel
from gelwright.optimiser.next_command import wanted_conversion


@pytest.fixture(scope="module")
def one_initiator(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("gel") / "one.toml"
    save_gel(load_any_gel("clear_builder").with_initiators({"TPO-L": 1.5}), path)
    return str(path)


@pytest.fixture(scope="module")
def brief(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("brief") / "thick.toml"
    text = brief_path("demo").read_text(encoding="utf-8")
    path.write_text(text.replace("low_um = 200", "low_um = 300"), encoding="utf-8")
    return str(path)


def test_plan_of_three_in_words_and_data(one_initiator: str, brief: str) -> None:
    found = CliRunner().invoke(app, ["next", one_initiator, "--brief", brief, "--json"])
    assert found.exit_code == 0, found.output
    data = json.loads(found.stdout)
    assert data["candidates"] == 18
    assert len(data["plan"]) == 3
    margins = read_brief(Path(brief)).margins
    matters = {"base conversion": margins.conversion_fraction, "nail bed peak": margins.temperature_k}
    courses = [
        [
            figure["sd"] / matters[figure["name"]],
            *(step["sd_after"][i] / matters[figure["name"]] for step in data["plan"]),
        ]
        for i, figure in enumerate(data["figures"])
    ]
    for course in courses:  # a reading never adds to the doubt
        assert course == sorted(course, reverse=True)
        assert course[0] > course[-1]
    # why one plans at all: before, a figure is in doubt by more than the margin that the brief keeps; after, none is
    assert max(course[0] for course in courses) > 1.0
    assert max(course[-1] for course in courses) < 1.0
    assert {step["thickness_m"] for step in data["plan"]} == {300e-6}
    assert data["cautions"]


def test_text_says_where_what_and_why(one_initiator: str, brief: str) -> None:
    found = CliRunner().invoke(
        app,
        ["next", one_initiator, "--brief", brief, "--measure", "conversion", "--noise-conversion", "0.02"],
    )
    assert found.exit_code == 0, found.output
    for words in (
        "The gel is not calibrated",
        "base conversion 0.9",
        "the verdict would turn over in",
        "1. Conversion of",
        "Because it narrows",
        "never on a person",
        "not a safety assessment",
        "Invented demonstration data.",
    ):
        assert words in found.stdout


@pytest.mark.parametrize("start_k", [295.15, 306.15, 311.15])
def test_a_cold_hand_is_not_asked_for_less(start_k: float) -> None:
    """What the plan hangs on is what the search of the same brief asks for, whatever the hand."""
    gel = load_any_gel("clear_builder")
    usual = read_brief(brief_path("demo"))
    asked = replace(usual, hand_start_k=start_k)
    assert asked.limits.bottom_conversion_min_fraction is None  # a share of what is possible
    possible = gel_resin(gel).conversion_ceiling_fraction()
    (searched,) = (
        each["limit"]
        for each in cure_limits(asked, possible)
        if each["figure"] == "bottom_conversion_fraction"
    )
    assert wanted_conversion(gel, asked) == wanted_conversion(gel, usual)
    assert wanted_conversion(gel, asked) + asked.margins.conversion_fraction == pytest.approx(
        searched, rel=1e-12
    )


def test_unknown_measurement_is_named(one_initiator: str) -> None:
    with pytest.raises(UnknownNameError, match="unknown measurement 'heat'"):
        CliRunner().invoke(
            app, ["next", one_initiator, "--brief", "demo", "--measure", "heat"], catch_exceptions=False
        )


def test_missing_brief(one_initiator: str, tmp_path: Path) -> None:
    found = CliRunner().invoke(app, ["next", one_initiator, "--brief", str(tmp_path / "no.toml")])
    assert "there is no such file" in str(found.exception)
