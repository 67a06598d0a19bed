"""Pictures of a sweep show what its table holds."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.lamp_library.units import c_from_k
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.plots import WARN
from gelwright.optimiser.sweep_effects import by_effect, ranges_of, ranked
from gelwright.optimiser.sweep_films import SweepFigures
from gelwright.optimiser.sweep_picture import sweep_figure, sweep_picture
from gelwright.optimiser.sweep_plan import sweep_plan
from gelwright.optimiser.sweep_run import Swept, run_plan
from gelwright.optimiser.sweep_slices import is_log, slice_of, slices_of

LAMPS = {name: load_lamp(name) for name in ("demo_narrow_405", "demo_strong_395")}
GEL = load_any_gel("top_coat")


@pytest.fixture(scope="module")
def pattern() -> SweepFigures:
    """Figures of a real film, to be varied by hand."""
    plan = sweep_plan(GEL, {"demo_narrow_405": LAMPS["demo_narrow_405"]}, ["TPO-L=1,2"], seconds=10.0)
    with ThreadPoolExecutor(1) as one:
        found = run_plan(plan, one, workers=1).found[0]
    assert isinstance(found, SweepFigures)
    return found


def made(pattern: SweepFigures, *vary: str, lamps: int = 1) -> Swept:
    """A sweep whose figures follow a plain rule, so that every panel can be held against it."""
    plan = sweep_plan(
        GEL, dict(list(LAMPS.items())[:lamps]), vary, seconds=None if "seconds=" in str(vary) else 10.0
    )
    found = []
    for number in range(plan.count):
        each = plan.combination(number)
        loading, film = dict(each.loadings_wt_pct)["TPO-L"], 1e6 * each.thickness_m
        bed = (
            300.0
            + 4.0 * loading
            + 0.05 * film
            + 0.01 * each.exposure_s
            + (2.0 if each.lamp_id == "demo_strong_395" else 0.0)
        )
        base = min(0.5 + 0.2 * loading - 0.0005 * film, 0.95)
        cures, cool = base >= pattern.bottom_conversion_asked_fraction, bed <= Limits().nail_bed_max_k
        found.append(
            replace(
                pattern,
                nail_bed_peak_k=bed,
                bottom_conversion_fraction=base,
                cures=cures,
                stays_cool=cool,
                cem43_min=0.0,
            )
        )
    return Swept(plan=plan, found=tuple(found), limits=Limits())


def texts(figure: Any) -> str:
    axes = figure.axes
    said = [each.get_xlabel() for each in axes] + [each.get_ylabel() for each in axes]
    said += [each.get_title(loc="left") for each in axes] + [figure.get_supxlabel()]
    return "\n".join(said)


def test_one_thing_gives_lines_through_the_table(pattern: SweepFigures) -> None:
    swept = made(pattern, "TPO-L=0.5:3:6")
    figure = sweep_figure(swept)
    assert [each.get_xlabel() for each in figure.axes] == ["TPO-L / wt%"] * 4
    assert [each.get_ylabel() for each in figure.axes][:2] == ["base conversion", "nail-bed peak / °C"]
    line = figure.axes[1].get_lines()[0]
    assert list(line.get_xdata()) == [0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
    assert list(line.get_ydata()) == [c_from_k(each.nail_bed_peak_k) for _, each in swept.cured()]
    filled = figure.axes[1].get_lines()[1]
    assert list(filled.get_xdata()) == [
        swept.plan.values_of(number)["TPO-L"] for number, each in swept.cured() if each.passes
    ]
    limits = [each for each in figure.axes[1].get_lines() if each.get_color() == WARN]
    assert [each.get_ydata()[0] for each in limits] == [pytest.approx(45.0)]


def test_two_scales_give_a_map_with_contour_lines_and_a_mark_for_each_combination(
    pattern: SweepFigures,
) -> None:
    swept = made(pattern, "TPO-L=0.5:3:6", "thickness=50:300:5um")
    slices = slices_of(swept)
    assert slices.is_map
    figure = sweep_figure(swept)
    assert "nail-bed peak / °C, limit 45" in texts(figure)
    assert {each.get_xlabel() for each in figure.axes} | {each.get_ylabel() for each in figure.axes} == {
        "TPO-L / wt%",
        "wet film / µm",
    }
    for axes in figure.axes:
        kept, broken = axes.get_lines()[:2]
        assert len(kept.get_xdata()) == sum(each.passes for _, each in swept.cured()) > 0
        assert len(kept.get_xdata()) + len(broken.get_xdata()) == 30
        star = axes.get_lines()[2]
        best = swept.plan.values_of(ranked(swept)[0][0])
        place = {slices.across.label: star.get_xdata()[0], axes.get_ylabel(): star.get_ydata()[0]}
        assert place == pytest.approx(
            {"TPO-L / wt%": best["TPO-L"], "wet film / µm": 1e6 * float(best["thickness"])}
        )


def test_few_values_give_lines_instead_of_a_map(pattern: SweepFigures) -> None:
    swept = made(pattern, "TPO-L=0.5:3:6", "thickness=50,150,300um")
    assert not slices_of(swept).is_map
    figure = sweep_figure(swept)
    assert [text.get_text() for text in figure.legends[0].get_texts()] == ["50 µm", "150 µm", "300 µm"]
    steep = made(pattern, "TPO-L=0.5:0.7:9", "thickness=50,300um")
    assert [axis.key for axis in by_effect(steep)] == ["thickness", "TPO-L"]
    assert slices_of(steep).across.key == "TPO-L"


@pytest.mark.parametrize(
    "vary",
    [
        ("TPO-L=0.5:3:4", "thickness=50:300:4um", "seconds=10,20,40"),
        ("seconds=10,20", "thickness=300,50um", "TPO-L=3,1,2"),
        ("hand=cold,warm", "TPO-L=0.5:3:4", "seconds=10,20", "thickness=50:300:5um", "nail=thin,thick"),
    ],
)
@pytest.mark.parametrize("lamps", [1, 2])
def test_every_panel_holds_the_figures_of_its_combinations(
    pattern: SweepFigures, vary: tuple[str, ...], lamps: int
) -> None:
    swept = made(pattern, *vary, lamps=lamps)
    slices = slices_of(swept)
    assert slices.other is not None
    assert slices.panels is not None
    drawn = {slices.across.key, slices.other.key, slices.panels.key}
    assert drawn | set(slices.held) == {axis.key for axis in swept.plan.varied}
    by_values = {tuple(swept.plan.values_of(number).values()): each for number, each in swept.cured()}
    for panel in slices.panel_values:
        shown = slice_of(swept, slices, "nail_bed_peak_k", panel)
        assert shown.shape == (len(slices.other.values), len(slices.across.values))
        for (row, up), (column, value) in product(
            enumerate(slices.other.values), enumerate(slices.across.values)
        ):
            values = {**slices.held, slices.panels.key: panel, slices.other.key: up, slices.across.key: value}
            key = tuple(values[axis.key] for axis in swept.plan.axes)
            assert shown[row, column] == by_values[key].nail_bed_peak_k
    said = texts(sweep_figure(swept))
    for axis in swept.plan.varied:
        if axis.key in slices.held:
            assert f"{axis.words} {axis.shown(slices.held[axis.key])}" in said


def test_more_panels_than_there_is_room_for_are_said(pattern: SweepFigures) -> None:
    swept = made(pattern, "TPO-L=0.5:3:8", "thickness=50:300:7um", "seconds=5:60:6")
    slices = slices_of(swept)
    assert slices.panels is not None
    assert slices.panels.key == "seconds"
    assert slices.panel_values == (5.0, 27.0, 38.0, 60.0)
    assert "4 of 6 values of cure time shown" in texts(sweep_figure(swept))


def test_panels_of_a_figure_share_their_scale(pattern: SweepFigures) -> None:
    swept = made(pattern, "TPO-L=0.5:3:4", "hand=cold,warm", "thickness=50,100,300um")
    figure = sweep_figure(swept)
    half = len(figure.axes) // 2
    for row in (figure.axes[:half], figure.axes[half:]):
        assert len({each.get_ylim() for each in row}) == 1


def test_equal_ratios_get_a_logarithmic_scale(pattern: SweepFigures) -> None:
    swept = made(pattern, "TPO-L=0.05:3:6:log", "thickness=50:300:5um")
    keys = {axis.key: is_log(axis) for axis in swept.plan.axes}
    assert keys == {"TPO-L": True, "thickness": False}
    across = slices_of(swept).across
    assert {each.get_xscale() for each in sweep_figure(swept).axes} == {
        "log" if across.key == "TPO-L" else "linear"
    }


@pytest.mark.parametrize(
    "vary",
    [("hand=cold,usual,warm",), ("hand=cold,warm", "nail=thin,thick"), ("TPO-L=0.5:3:4", "thickness=50:300:4um", "nail=thin,thick")],
)  # fmt: skip
def test_pictures_are_written_also_where_films_are_missing(
    pattern: SweepFigures, vary: tuple[str, ...], tmp_path: Path
) -> None:
    swept = made(pattern, *vary)
    torn = replace(swept, found=("stays open", *swept.found[1:]))
    for path in sweep_picture(torn, tmp_path):
        assert path.stat().st_size > 5000
    assert {path.suffix for path in tmp_path.iterdir()} == {".png", ".svg"}


@pytest.mark.parametrize("cool", [True, False])
def test_a_map_without_any_or_with_nothing_but_passes_is_laid_out(
    pattern: SweepFigures, cool: bool, tmp_path: Path
) -> None:
    swept = made(pattern, "TPO-L=0.5:3:6", "thickness=50:300:5um")
    alike = tuple(
        each if isinstance(each, str) else replace(each, cures=True, stays_cool=cool) for each in swept.found
    )
    sweep_picture(
        replace(swept, found=alike), tmp_path
    )  # a layout that fails warns, and a warning is an error here
    assert ("nearest to the limits" in texts(sweep_figure(replace(swept, found=alike)))) is not cool


def test_a_second_cycle_is_told_where_the_first_cures(pattern: SweepFigures) -> None:
    swept = made(pattern, "TPO-L=0.5:3:6", "thickness=50:300:5um")
    wild = tuple(
        each if isinstance(each, str) else replace(each, second_cycle_heat_ratio=0.02 if each.cures else 1e5)
        for each in swept.found
    )
    found = {each.figure: each for each in ranges_of(replace(swept, found=wild))}
    assert found["second_cycle_heat_ratio"].highest == 0.02
    soft = tuple(each if isinstance(each, str) else replace(each, cures=False) for each in wild)
    assert "second_cycle_heat_ratio" not in {each.figure for each in ranges_of(replace(swept, found=soft))}
    assert np.isfinite(found["nail_bed_peak_k"].highest)
