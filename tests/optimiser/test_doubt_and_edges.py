"""Shares of doubt against published indices, and edges found by halving on the stand-in and through the command line."""

from __future__ import annotations

import json
from dataclasses import replace
from html import escape
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.gel import Gel
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.cli import main
from gelwright.optimiser.doubt import TIGHTEST, doubt_of, sobol_shares
from gelwright.optimiser.doubt_page import doubt_page
from gelwright.optimiser.doubt_text import doubt_text, share_table, write_doubt_folder
from gelwright.optimiser.edge_text import edge_text
from gelwright.optimiser.edges import OUTPUT, THICKNESS, _Bench, edge_of
from gelwright.optimiser.gel_case import GelCase, gel_case
from gelwright.optimiser.page_html import page_html


def quiet(done: int, total: int, words: str) -> None:
    assert 0 <= done <= total
    assert words


def case_on(stand_in: type, **limits: object) -> GelCase:
    gel = Gel(
        name="test gel", coat="builder", resin_parts={"UDMA": 70.0, "HPMA": 30.0}, initiators_wt_pct={"BAPO": 0.4},
        thickness_m=300e-6,
    )  # fmt: skip
    asked = Limits(second_cycle_heat_max_ratio=None, **limits)  # type: ignore[arg-type]
    return gel_case(
        gel, load_lamp("demo_arch_365_405"), exposure_s=60.0, limits=asked, draws=32, make_evaluator=stand_in
    )


def test_shares_of_the_ishigami_function() -> None:
    # Ishigami & Homma 1990; indices for a = 7, b = 0.1 as in Sobol & Levitan, Comput. Phys. Commun. 1999, 117, 52
    def ishigami(unit: np.ndarray) -> np.ndarray:
        x = np.pi * (2.0 * unit - 1.0)
        value = np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
        return np.column_stack([value, np.zeros(len(unit)), x[:, 0]])

    whole, still, alone = sobol_shares(ishigami, 3, 2048, np.random.default_rng(1))
    assert [share.first for share in whole] == pytest.approx([0.3139, 0.4424, 0.0], abs=0.02)
    assert [share.total for share in whole] == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.02)
    assert all(share.total_low <= share.total <= share.total_high for share in whole)
    assert still == ()
    assert [share.total for share in alone] == pytest.approx([1.0, 0.0, 0.0], abs=1e-6)


def test_a_study_names_its_inputs_and_repeats_itself(stand_in: type, tmp_path: Path) -> None:
    case = case_on(stand_in)
    found, again = (doubt_of(case, base=16, progress=quiet) for _ in range(2))
    assert share_table(found) == share_table(again)
    assert found.group_share("use") + found.group_share("data") == pytest.approx(1.0)
    # of the model's numbers the stand-in follows the quantum yield alone
    shares = {each.key: share.total for each, share in found.ranked(TIGHTEST)}
    assert shares["propagation_ratio"] == pytest.approx(0.0, abs=1e-12)
    assert shares["quantum_yield_ratio:BAPO"] > 0.0
    write_doubt_folder(found, tmp_path)
    assert {each.name for each in tmp_path.iterdir()} == {
        "report.html",
        "doubt.txt",
        "doubt.json",
        "shares.csv",
        "shares.png",
    }
    text = doubt_text(found)
    assert "Chance of passing in use" in text
    assert "Cautions:" in text
    assert json.loads((tmp_path / "doubt.json").read_text(encoding="utf-8"))["passing"]["draws"] == 32


def test_the_page_of_a_study_says_both_chances_first(stand_in: type) -> None:
    found = doubt_of(case_on(stand_in), base=16, progress=quiet)
    # a gel sure to pass if the model is right, and doubtful if it may be wrong
    sure = replace(found.use, probability_fraction=1.0, low_fraction=0.97, high_fraction=1.0)
    doubted = replace(found.with_data, probability_fraction=0.49, low_fraction=0.4, high_fraction=0.58)
    page = doubt_page(replace(found, use=sure, with_data=doubted))
    assert page.headline == "passes in 100 % of uses if the model is right, in 49 % with its own doubt"
    assert page.verdict_state == "broken"
    assert [(each.value, each.state_words) for each in page.figures[:2]] == [
        ("100 %", "likely"),
        ("49 %", "unlikely"),
    ]
    text = page_html(page).replace("\xa0", " ")
    assert "data:image" not in text
    assert text.count("<svg") == 2
    for each, share in found.ranked(TIGHTEST)[:3]:
        assert (
            f"<td>{100 * min(share.total, 1.0):.0f} %</td>"
            in text.partition(f'<th scope="row">{escape(each.words)}</th>')[2][:40]
        )


def test_the_thickest_coat_passes_and_a_thicker_one_does_not(stand_in: type) -> None:
    case = case_on(stand_in, bottom_conversion_min_share=0.5)
    found = edge_of(case, THICKNESS, quiet)
    assert found.edge is not None
    worst, names = _Bench(case, THICKNESS).worst([found.edge, found.edge * 1.001])
    assert worst[0] <= 0.0 < worst[1]
    assert names[1] == found.stopped_by
    assert found.stretches == 1
    assert found.passing is not None
    assert found.passing.probability_fraction < 0.95
    assert found.sure_value is not None
    assert found.sure_value < found.edge
    assert "plan with this" in edge_text(found)


def test_the_dimmest_lamp_passes_and_a_dimmer_one_does_not(stand_in: type) -> None:
    case = case_on(stand_in, bottom_conversion_min_share=0.5)
    found = edge_of(case, OUTPUT, quiet)
    assert found.edge is not None
    worst, _ = _Bench(case, OUTPUT).worst([found.edge, found.edge * 0.999])
    assert worst[0] <= 0.0 < worst[1]
    assert found.stopped_by == "base conversion"
    assert found.sure_value is None or found.sure_value > found.edge


def test_where_nothing_passes_the_nearest_is_named(stand_in: type) -> None:
    found = edge_of(case_on(stand_in, bottom_conversion_min_fraction=0.99), THICKNESS, quiet)
    assert found.edge is None
    assert found.stopped_by == "base conversion"
    assert "No thickness passes" in edge_text(found)


def test_a_gel_without_initiator_is_refused() -> None:
    gel = Gel(name="bare", coat="top", resin_parts={"UDMA": 1.0}, initiators_wt_pct={}, thickness_m=1e-4)
    with pytest.raises(InputError, match="no photoinitiator"):
        gel_case(gel, load_lamp("demo_arch_365_405"), exposure_s=60.0)


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as leaving:
        main(arguments)
    return int(leaving.value.code or 0)


def test_the_commands_refuse_what_cannot_be_meant(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run("doubt", "clear_builder") == 2
    assert "--lamp and --seconds" in capsys.readouterr().err
    assert (
        run("doubt", "clear_builder", "--lamp", "demo_narrow_405", "--seconds", "60", "--draws", "100") == 2
    )
    assert "power of two" in capsys.readouterr().err
    assert run("doubt", str(tmp_path)) == 2
    assert "holds no brief.toml" in capsys.readouterr().err


def test_dimmest_answers_in_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        run(
            "dimmest",
            "top_coat",
            "--lamp",
            "demo_narrow_405",
            "--seconds",
            "60",
            "--base-share",
            "0.5",
            "--json",
        )
        == 0
    )
    data = json.loads(capsys.readouterr().out)
    assert data["passes_somewhere"]
    assert 0.05 <= data["edge_ratio"] < 1.0
    assert data["cautions"]
