"""Grams that add up, errors a balance really makes, premixes that cure them, and one page whatever the recipe."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import CureCase
from gelwright.models.cycles import repeated_cycles
from gelwright.models.gel import Gel
from gelwright.models.materials import photoinitiator
from gelwright.optimiser.batch_sheet import Sheet, batch_sheet, recipe_of_gel
from gelwright.optimiser.batch_sheet_page import write_page
from gelwright.optimiser.batch_sheet_text import sheet_data, sheet_text
from gelwright.optimiser.cli import main
from gelwright.optimiser.demo_data import list_demo_gels, load_any_gel
from gelwright.optimiser.page_layout import PAPERS_MM, Page
from gelwright.optimiser.premix import advise, batch_with_premixes
from gelwright.optimiser.weighing import as_weighed, contents_wt_pct, weigh
from gelwright.optimiser.weighing_order import light_limit_nm, weighing_steps

RESOLUTIONS_G = (0.1, 0.01, 0.005, 0.001, 0.0001)

# Everything at once: five resins, six initiators and amines, a stabiliser and six pigments
LONGEST = Gel(
    name="Longest recipe", coat="colour", thickness_m=50e-6, is_demonstration=True,
    resin_parts={"UDMA": 40, "UA-1500": 15, "HPMA": 15, "IBOA": 10, "TPGDA": 5},
    initiators_wt_pct={"TPO-L": 2, "BAPO": 0.5, "HCPK": 1, "ITX": 0.2}, amines_wt_pct={"EDB": 0.5},
    stabilisers_wt_pct={"MEHQ": 0.02},
    pigments_wt_pct={"CI-77891": 1, "CI-15850": 0.5, "CI-77491": 0.3, "CI-19140": 0.2, "CI-77266": 0.05, "CI-74160": 0.04},
)  # fmt: skip


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Exit code, standard output and standard error of one command."""

    def go(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            main([str(each) for each in arguments])
        out, err = capsys.readouterr()
        return int(left.value.code or 0), out, err

    return go


def sheet_of(gel: str, batch_g: float, resolution_g: float, largest_error_pct: float = 2.0) -> Sheet:
    return batch_sheet(
        recipe_of_gel(gel, "demo_arch_365_405", 60.0, None, None), batch_g, resolution_g, largest_error_pct
    )


@settings(max_examples=60)
@given(
    name=st.sampled_from(list_demo_gels()),
    resolution_g=st.sampled_from(RESOLUTIONS_G),
    steps=st.integers(min_value=2_000, max_value=900_000),
)
def test_masses_add_up_exactly_and_no_line_but_the_largest_is_off_by_more_than_half_a_step(
    name: str, resolution_g: float, steps: int
) -> None:
    batch_g = float(f"{steps * resolution_g:.10g}")
    weighing = weigh(load_any_gel(name), batch_g, resolution_g)
    assert sum(line.steps for line in weighing.lines) == steps
    for line in weighing.lines:
        off = abs(line.steps - line.target_g / resolution_g)
        if line.key == weighing.settled_in:
            assert off <= 0.5 * len(weighing.lines)
        else:
            assert off <= 0.5 + 1e-6


@pytest.mark.parametrize(
    ("resolution_g", "smallest_g"), [(0.1, 82.0), (0.01, 8.2), (0.001, 0.82), (0.0001, 0.082)]
)
def test_balance_error_is_that_of_the_pharmacopoeia(resolution_g: float, smallest_g: float) -> None:
    # USP <41> and <1251>: repeatability 2 s / m <= 0.10 % with s no less than 0.41 d, so the least net weight is 820 d
    gel = Gel(
        name="x", coat="top", thickness_m=60e-6, resin_parts={"HPMA": 1.0}, initiators_wt_pct={"HCPK": 10.0}
    )
    line = weigh(gel, float(f"{10.0 * smallest_g:.6g}"), resolution_g).line("HCPK")
    assert line.weighed_g == pytest.approx(smallest_g, rel=1e-12)
    assert line.balance_pct == pytest.approx(0.10, rel=1e-9)


def test_contents_come_back_from_the_masses() -> None:
    planned = contents_wt_pct(LONGEST)
    made = as_weighed(LONGEST, {key: 0.5 * content for key, (_, content) in planned.items()})
    again = contents_wt_pct(made)
    assert {key: role for key, (role, _) in again.items()} == {
        key: role for key, (role, _) in planned.items()
    }
    for key, (_, content) in planned.items():
        assert again[key][1] == pytest.approx(content, rel=1e-12)
    assert "BAPO" not in as_weighed(LONGEST, {key: float(key != "BAPO") for key in planned}).initiators_wt_pct


@pytest.mark.parametrize(
    "gel", [load_any_gel("sheer_pink"), load_any_gel("clear_builder"), LONGEST], ids=lambda g: g.name
)
def test_premixes_keep_the_batch_and_the_loading_error_promised(gel: Gel) -> None:
    weighing = weigh(gel, 50.0, 0.01)
    advice = advise(gel, weighing, 2.0)
    assert advice is not None
    assert advice.premixes
    masses = batch_with_premixes(weighing, advice.premixes)
    assert sum(masses.values()) == pytest.approx(50.0, rel=1e-12)
    assert min(masses.values()) > 0.0
    dosed = {key for each in advice.premixes for key in each.members}
    assert dosed | set(advice.without) == {line.key for line in weighing.coarse(2.0)}
    draws = np.random.default_rng(5)
    for each in advice.premixes:
        assert sum(each.parts_g.values()) == pytest.approx(each.size_g, rel=1e-12)
        assert each.dose_g <= each.size_g
        # play both weighings with a balance of the least repeatability: two spreads hold 95 of 100
        dose = each.dose_g + 0.41 * 0.01 * draws.standard_normal(20_000)
        for key in each.members:
            part = each.parts_g[key] + 0.41 * 0.01 * draws.standard_normal(20_000)
            loading = dose * part / (each.size_g - each.parts_g[key] + part)
            off = np.abs(loading / weighing.line(key).target_g - 1.0) * 100.0
            assert np.quantile(off, 0.93) <= each.error_pct[key] <= 2.0
            if weighing.line(key).role == "initiator":
                soluble = photoinitiator(key).solubility_wt_pct
                assert soluble is None or 100.0 * each.parts_g[key] / each.size_g <= soluble


def test_the_batch_and_the_balance_advised_need_no_premix() -> None:
    gel = load_any_gel("clear_builder")
    advice = advise(gel, weigh(gel, 20.0, 0.01), 2.0)
    assert advice is not None
    assert advice.finer_g is not None
    assert advise(gel, weigh(gel, advice.batch_g, 0.01), 2.0) is None
    assert advise(gel, weigh(gel, 20.0, advice.finer_g), 2.0) is None
    assert advise(gel, weigh(gel, 20.0, 10.0 * advice.finer_g), 2.0) is not None


def test_order_holds_every_line_once_and_light_is_shut_out_from_the_first_initiator() -> None:
    lines = weigh(LONGEST, 100.0, 0.001).lines
    steps = weighing_steps(lines)
    assert sorted(key for step in steps for key in step.keys) == sorted(line.key for line in lines)
    assert [step.words for step in steps] == [
        "Thin monomers", "Stabiliser", "Photoinitiators", "Amine", "Thick resins", "Pigments",
    ]  # fmt: skip
    assert [step.needs_dark for step in steps] == [False, False, True, True, True, True]
    limit = light_limit_nm(LONGEST)
    assert limit is not None
    for key in LONGEST.initiators_wt_pct:
        beyond = photoinitiator(key).absorption.at(np.arange(limit + 1.0, 700.0))
        assert float(beyond.max()) < 0.1  # 1 L/mol/cm
    assert light_limit_nm(LONGEST.with_initiators({})) is None


def test_expected_figures_are_those_of_the_repeated_cycles() -> None:
    sheet = sheet_of("clear_builder", 50.0, 0.01)
    lamp, gel = load_lamp("demo_arch_365_405"), load_any_gel("clear_builder")
    assert [each.target.position for each in sheet.expected] == [lamp.weakest, lamp.strongest]
    for each in sheet.expected:
        run = repeated_cycles(
            CureCase(gel=gel, lamp=lamp, exposure_s=60.0, position=each.target.position, cycles=2)
        )
        assert each.target.second_cycle_heat_ratio == run.second_cycle_heat_ratio
        assert each.target.film_peak_rise_k == run.peak_rise_by_cycle_k[0]
        assert each.target.interface_peak_rise_k == run.interface_rise_k[run.time_s <= 120.0].max()
        assert each.low.film_peak_rise_k < each.target.film_peak_rise_k < each.high.film_peak_rise_k


def test_rounding_moves_the_figures_and_premixes_bring_them_back() -> None:
    recipe = recipe_of_gel("clear_builder", "demo_arch_365_405", 60.0, None, None)
    awkward = recipe.gel.with_initiators({"TPO-L": 0.333, "HCPK": 0.123})
    sheet = batch_sheet(replace(recipe, gel=awkward), 20.0, 0.01, 2.0)
    assert sheet.premixed
    for each, direct, premixed in zip(sheet.expected, sheet.weighed, sheet.premixed, strict=True):
        off = abs(direct.interface_peak_rise_k - each.target.interface_peak_rise_k)
        assert off > 0.0
        assert abs(premixed.interface_peak_rise_k - each.target.interface_peak_rise_k) < off


@pytest.mark.parametrize("paper", sorted(PAPERS_MM))
@pytest.mark.parametrize("name", ["clear_builder", "longest"])
def test_it_prints_on_exactly_one_page_with_everything_inside_the_margins(
    paper: str, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from gelwright.models.gel import save_gel

    save_gel(LONGEST, tmp_path / "longest.toml")
    sheet = sheet_of(str(tmp_path / "longest.toml") if name == "longest" else name, 50.0, 0.01)
    drawn: list[Page] = []
    whole = Page.__post_init__

    def remembered(page: Page) -> None:
        whole(page)
        drawn.append(page)

    monkeypatch.setattr(Page, "__post_init__", remembered)
    file = write_page(sheet, tmp_path / "sheet.pdf", paper)
    data = file.read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 1
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", data)
    assert box is not None
    for points, mm in zip(box.groups(), PAPERS_MM[paper], strict=True):
        assert float(points) / 72.0 * 25.4 == pytest.approx(mm, abs=0.01)
    fitting = next(page for page in reversed(drawn) if not page.is_draft)
    assert fitting.left_over_mm >= 0.0
    width, height = PAPERS_MM[paper]
    fitting.figure.set_dpi(72)
    boxes = [text.get_window_extent() for text in fitting.figure.texts if text.get_text()]
    assert len(boxes) > 100
    for each in boxes:  # 72 dots to the inch
        assert each.x0 * 25.4 / 72 >= 9.5
        assert each.x1 * 25.4 / 72 <= width - 9.5
        assert each.y0 * 25.4 / 72 >= 9.0
        assert each.y1 * 25.4 / 72 <= height - 9.0
    shrunk = [each.padded(-1.0) for each in boxes]  # a point of line pitch may overlap
    for i, one in enumerate(shrunk):
        assert not any(one.overlaps(other) for other in shrunk[i + 1 :])


def test_too_much_for_a_page_is_said(tmp_path: Path) -> None:
    from gelwright.optimiser.page_layout import one_page

    with pytest.raises(InputError, match="mm too much for one page"):
        one_page(lambda page: page.paragraph("word " * 8_000), "a4", tmp_path / "x.pdf")


def test_text_names_cautions_practice_and_what_the_balance_cannot_do() -> None:
    text = sheet_text(sheet_of("clear_builder", 50.0, 0.01))
    for part in (
        "Invented demonstration data.", "add up to 50.00 g exactly", "This balance is too coarse", "MEHQ ±82 %",
        "common practice, no source", "amber light", "second cycle", "not a safety assessment", "before any calibration",
    ):  # fmt: skip
        assert part in text, part
    for word in ("fully cured", "hypoallergenic", "approved", " is safe", "nan", "None"):
        assert word not in text, word
    fine = sheet_text(sheet_of("clear_builder", 1000.0, 0.001))
    assert "too coarse" not in fine
    assert "Premix" not in fine


def test_the_command_writes_page_and_table(run: Callable[..., tuple[int, str, str]], tmp_path: Path) -> None:
    code, out, err = run(
        "sheet", "clear_builder", "--lamp", "demo_arch_365_405", "--seconds", 60, "--batch-g", 50, "--json", "--out",
        tmp_path / "sheet",
    )  # fmt: skip
    assert code == 0
    assert err.count("Written: ") == 2
    data = json.loads(out)
    with (tmp_path / "sheet" / "batch_sheet.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["key"] for row in rows] == [line["key"] for line in data["lines"]]
    assert sum(round(100 * float(row["weigh_g"])) for row in rows) == 5000
    assert data == json.loads(json.dumps(sheet_data(sheet_of("clear_builder", 50.0, 0.01))))
    assert (tmp_path / "sheet" / "batch_sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("clear_builder", "--batch-g", 50), "Give --lamp and --seconds"),
        (("clear_builder", "--batch-g", 50.005, "--lamp", "demo_narrow_405", "--seconds", 60), "no multiple"),
        (("clear_builder", "--batch-g", 0, "--lamp", "demo_narrow_405", "--seconds", 60), "between 0.1 and"),
        (
            ("clear_builder", "--batch-g", 50, "--lamp", "demo_narrow_405", "--seconds", 60, "--paper", "a5"),
            "a5",
        ),
        (
            (
                "clear_builder",
                "--batch-g",
                50,
                "--balance-g",
                0,
                "--lamp",
                "demo_narrow_405",
                "--seconds",
                60,
            ),
            "balance",
        ),
        (("nothing", "--batch-g", 50, "--lamp", "demo_narrow_405", "--seconds", 60), "nothing"),
        ((".", "--batch-g", 50), "no results.json"),
        ((".", "--batch-g", 50, "--seconds", 60), "--seconds given"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(
    run: Callable[..., tuple[int, str, str]], arguments: tuple[object, ...], said: str
) -> None:
    code, out, err = run("sheet", *arguments)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert said in err


def test_results_of_another_version_are_one_line(
    run: Callable[..., tuple[int, str, str]], tmp_path: Path
) -> None:
    for text in ("{", "[]", '{"candidates": [{}]}'):
        (tmp_path / "results.json").write_text(text, encoding="utf-8")
        code, _, err = run("sheet", tmp_path, "--batch-g", 50)
        assert code == 2
        assert "Run the same `gelwright tune` again" in err or "no such file" in err
