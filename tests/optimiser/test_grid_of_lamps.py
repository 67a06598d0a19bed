"""Gels against lamps: figures are those of single cures, verdicts and rescues hold when simulated alone."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.models.gel import Gel
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.cli import app
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.grid import Grid, run_grid
from gelwright.optimiser.grid_inputs import load_gels, load_lamps, names_in
from gelwright.optimiser.grid_page import grid_page, grid_text
from gelwright.optimiser.grid_reasons import light_use, reason_of
from gelwright.optimiser.grid_rescue import first_passing
from gelwright.optimiser.page_html import bound, page_html

GELS = ("white_colour", "base_coat", "clear_builder")
LAMPS = ("demo_narrow_385", "demo_arch_365_405")


def laid_on(key: str) -> Gel:
    """The demonstration gel; the white one 15 % thicker than meant, so that one lamp no longer cures it."""
    gel = load_any_gel(key)
    return replace(gel, thickness_m=1.15 * gel.thickness_m) if key == "white_colour" else gel


@pytest.fixture(scope="module")
def grid() -> Grid:
    return run_grid({key: laid_on(key) for key in GELS}, {key: load_lamp(key) for key in LAMPS})


def test_a_cell_holds_the_figures_of_a_single_cure(grid: Grid) -> None:
    cell = grid.cell("base_coat", "demo_narrow_385")
    for found in cell.positions:
        alone = cure(
            load_any_gel("base_coat"), load_lamp("demo_narrow_385"), exposure_s=30.0, position=found.position
        )
        assert found.bottom_conversion_fraction == alone.bottom_conversion_fraction
        assert found.nail_bed_peak_k == alone.nail_bed_peak_k
        assert found.cem43_min == alone.cem43_min


def test_a_gel_is_cured_for_its_own_time_unless_told_otherwise(grid: Grid) -> None:
    assert grid.cell("base_coat", "demo_narrow_385").exposure_s == 30.0
    assert grid.cell("clear_builder", "demo_narrow_385").exposure_s == 60.0
    told = run_grid(
        {"base_coat": load_any_gel("base_coat")},
        {"demo_narrow_385": load_lamp("demo_narrow_385")},
        seconds=10.0,
    )
    assert told.cells[0].exposure_s == 10.0


def test_outcomes_follow_the_limits(grid: Grid) -> None:
    limits = Limits()
    for cell in grid.cells:
        shares = [
            each.bottom_conversion_fraction / each.conversion_ceiling_fraction for each in cell.positions
        ]
        beds = [each.nail_bed_peak_k for each in cell.positions]
        doses = [each.cem43_min for each in cell.positions]
        assert ("under-cured" in cell.outcome) == (min(shares) < (limits.bottom_conversion_min_share or 0.0))
        hot = max(beds) > limits.nail_bed_max_k or max(doses) > limits.cem43_max_min
        assert ("too hot" in cell.outcome) == hot
        assert bool(cell.rescue) == (not cell.passes)
    assert {cell.outcome for cell in grid.cells} >= {"cures and cool", "too hot", "under-cured"}


def test_a_rescue_holds_when_simulated_alone(grid: Grid) -> None:
    cell = grid.cell("white_colour", "demo_narrow_385")
    assert cell.outcome == "under-cured"
    seconds = float(cell.rescue.removeprefix("It would pass with ").split(" s")[0])
    alone = run_grid(
        {"white": laid_on("white_colour")},
        {"demo_narrow_385": load_lamp("demo_narrow_385")},
        seconds=seconds,
    )
    assert alone.cells[0].passes


def test_bisection_finds_the_first_that_passes() -> None:
    asked: list[tuple[int, float]] = []

    def passes(batch: list[tuple[int, float]]) -> list[bool]:
        asked.extend(batch)
        return [value >= 10.0 * key for key, value in batch]

    candidates = {key: tuple(float(x) for x in range(1, 60)) for key in range(8)}
    assert first_passing(candidates, passes) == {key: max(1.0, 10.0 * key) for key in range(6)}
    assert len(asked) < 8 * 8
    assert first_passing({0: ()}, passes) == {}


def test_light_use_is_beer_lambert_for_one_wavelength() -> None:
    gel = load_any_gel("clear_builder").with_initiators({"BAPO": 0.2})
    thin = light_use(gel, load_lamp("demo_narrow_385"), "thumb", 10e-6)
    thick = light_use(gel, load_lamp("demo_narrow_385"), "thumb", 500e-6)
    assert 0.0 < thin.taken_fraction < thick.taken_fraction < 1.0
    assert 0.0 < thick.arriving_fraction < thin.arriving_fraction <= 1.0
    # a lamp of one narrow band: what is not taken arrives, up to the spread of the coefficient over the band
    assert thick.arriving_fraction == pytest.approx(1.0 - thick.taken_fraction, rel=0.05)


def test_a_film_that_air_keeps_from_setting_is_not_blamed_on_the_lamp() -> None:
    gel = replace(load_any_gel("base_coat"), thickness_m=6e-6)
    cell = run_grid({"thin": gel}, {LAMPS[1]: load_lamp(LAMPS[1])}, seconds=30.0).cells[0]
    assert cell.soft.is_liquid
    assert "air keeps the uppermost micrometres" in cell.reason
    assert "take only" not in cell.reason


def test_more_light_that_would_not_help_is_not_called_lacking(grid: Grid) -> None:
    cell = next(each for each in grid.cells if "too little light" in each.reason)
    gel, lamp = grid.gels[cell.gel_key], grid.lamps[cell.lamp_id]
    tried = {"was_tried": True, "times_the_light": None}
    told = reason_of(cell, gel, lamp, Limits(), **tried)  # type: ignore[arg-type]
    assert "twenty times the light would not cure it either" in told
    assert "too little light" not in told
    assert "not of brightness" in told


def test_every_field_of_the_page_opens_its_reason(grid: Grid) -> None:
    text = page_html(grid_page(grid))
    for number, cell in enumerate(grid.cells, start=1):
        assert f'href="#cell-{number}"' in text
        assert f'id="cell-{number}"' in text
        assert bound(cell.reason.split(":")[0]) in text
    assert "Cautions" in text


def test_table_and_text_name_every_pair(grid: Grid) -> None:
    frame = grid.to_frame()
    assert len(frame) == sum(len(cell.positions) for cell in grid.cells)
    text = grid_text(grid)
    assert "Invented demonstration data." in text
    for cell in grid.cells:
        assert cell.passes or cell.reason in text


def test_the_command_writes_page_table_picture_and_data(tmp_path: Path) -> None:
    out = tmp_path / "grid"
    asked = ["grid", "--gels", "base_coat", "--lamps", "demo_narrow_385", "--out", str(out), "--json"]
    found = CliRunner().invoke(app, asked)
    assert found.exit_code == 0, found.output
    data = json.loads((out / "results.json").read_text(encoding="utf-8"))
    assert data["cells"][0]["outcome"] == "cures and cool"
    assert data["cautions"]
    assert {"report.html", "grid.csv", "grid.png", "results.json"} == {each.name for each in out.iterdir()}


def test_names_are_checked() -> None:
    assert names_in(" a, b,,a ", "--gels") == ("a", "b")
    with pytest.raises(InputError, match="names nothing"):
        names_in(" , ", "--gels")
    assert len(load_gels("demo")) > 5
    with pytest.raises(InputError, match="two lamps carry the id"):
        load_lamps(
            "demo_narrow_385,"
            + str(Path(load_lamp.__code__.co_filename).parent / "lamps" / "demo_narrow_385")
        )
