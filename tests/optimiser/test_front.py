"""Hypervolume against closed forms and a library, and a front on the stand-in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.constraints import Constraint
from gelwright.optimiser.demo_data import brief_path
from gelwright.optimiser.front import Front, FrontPoint, front_of
from gelwright.optimiser.front_axes import AXES, axes_of, axis_values
from gelwright.optimiser.front_page import front_page
from gelwright.optimiser.front_rounding import rounded_blend, unrounded_words
from gelwright.optimiser.hypervolume import hypervolume, knee, unbeaten
from gelwright.optimiser.local import Local
from gelwright.optimiser.page_html import page_html
from gelwright.optimiser.page_parts import Picture
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.tune import resolve

MakeProblem = Callable[..., Problem]
PRICES = {"BAPO": 120.0, "TPO-L": 75.0, "HCPK": 22.0}


def test_area_below_a_quarter_circle() -> None:
    # points on the arc (1 - cos, 1 - sin): the region beyond a dense row of them tends to a quarter disc, pi / 4
    angle = np.linspace(0.0, np.pi / 2, 4001)
    arc = np.column_stack([1.0 - np.cos(angle), 1.0 - np.sin(angle)])
    assert hypervolume(arc, np.ones(2)) == pytest.approx(np.pi / 4, abs=5e-4)


def test_volume_of_boxes_by_inclusion_and_exclusion() -> None:
    points = np.array([[0.2, 0.5, 0.6], [0.5, 0.2, 0.3], [0.7, 0.6, 0.1]])
    sides = 1.0 - points
    single = sides.prod(axis=1).sum()
    pairs = sum(np.minimum(sides[i], sides[j]).prod() for i, j in ((0, 1), (0, 2), (1, 2)))
    assert hypervolume(points, np.ones(3)) == pytest.approx(single - pairs + sides.min(axis=0).prod())


@pytest.mark.parametrize("axes", [2, 3])
def test_hypervolume_is_that_of_a_library(axes: int) -> None:
    library = pytest.importorskip("optuna._hypervolume")
    rng = np.random.default_rng(axes)
    for _ in range(5):
        points, reference = rng.random((25, axes)), np.full(axes, 0.9)
        inside = points[np.all(points < reference, axis=1)]
        assert hypervolume(points, reference) == pytest.approx(library.compute_hypervolume(inside, reference))


def test_unbeaten_points_and_the_knee() -> None:
    points = np.array([[0.0, 1.0], [1.0, 0.0], [0.2, 0.3], [0.6, 0.6], [0.2, 0.3], [0.5, 0.2]])
    kept = unbeaten(points)
    assert kept.tolist() == [0, 2, 5, 1]
    assert knee(points[kept]) == 1
    with pytest.raises(InputError, match="two or three"):
        hypervolume(np.zeros((1, 4)), np.ones(4))


def test_a_tightened_limit_leaves_the_room_asked_for() -> None:
    plain = {"name": "x", "limit_name": "x", "figure": "f", "scenario": 0, "limit": 2.0, "unit": "k"}
    for sense, logarithmic in ((1, False), (-1, False), (1, True)):
        row = Constraint(**plain, sense=sense, scale=5.0, logarithmic=logarithmic)  # type: ignore[arg-type]
        moved = row.tightened(0.3)
        # on the moved limit the present one has 0.3 to spare
        assert float(row.scaled(np.array(moved.limit))) == pytest.approx(-0.3)
        assert row.tightened(0.0) is row


class Memory(dict[str, Local]):
    def put(self, unit: str, found: Local, seconds: float) -> None:
        self[unit] = found


def traced(problem: Problem, *names: str, levels: int = 4) -> object:
    return front_of(
        problem, axes_of(names, problem), levels=levels, ledger=lambda name, part: Memory(),
        progress=lambda done, total, words: None,
    )  # fmt: skip


def test_a_front_on_the_stand_in(make_problem: MakeProblem) -> None:
    limits = Limits(
        second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.6, total_initiator_max_wt_pct=4.0
    )
    problem = make_problem(limits=limits, prices_per_kg=PRICES)
    found, again = (traced(problem, "cost", "heat") for _ in range(2))
    assert [point.values for point in found.points] == [point.values for point in again.points]  # type: ignore[attr-defined]
    values = np.array([point.values for point in found.points])  # type: ignore[attr-defined]
    assert len(values) >= 2
    assert np.all(np.diff(values[:, 0]) > 0.0)
    assert np.all(np.diff(values[:, 1]) < 0.0)
    assert 0.0 <= found.hypervolume_ratio < 1.0  # type: ignore[attr-defined]
    for point in found.points:  # type: ignore[attr-defined]
        part = problem.narrowed(tuple(point.blend_wt_pct))
        assert part.point(part.vector(point.blend_wt_pct)).violation == pytest.approx(0.0, abs=1e-6)


def test_more_room_costs_more(make_problem: MakeProblem) -> None:
    limits = Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.4)
    problem = make_problem(limits=limits, prices_per_kg=PRICES)
    found = traced(problem, "margin", "initiator")
    assert [axis.key for axis in found.axes] == ["initiator", "margin"]  # type: ignore[attr-defined]
    values = np.array([point.values for point in found.points])  # type: ignore[attr-defined]
    assert np.all(np.diff(values[:, 1]) > 0.0)  # along the front more initiator buys more room


@pytest.mark.parametrize("bed_k", [312.0, 314.0])
@pytest.mark.parametrize("key", ["BAPO", "TPO-L"])
def test_the_front_reaches_the_most_room_there_is(make_problem: MakeProblem, key: str, bed_k: float) -> None:
    limits = Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.6, nail_bed_max_k=bed_k)
    problem = make_problem(limits=limits, prices_per_kg=PRICES).narrowed((key,))
    axes = axes_of(("initiator", "margin"), problem)
    found = traced(problem, "initiator", "margin")
    assert isinstance(found, Front)
    grid = np.geomspace(problem.lowest_wt_pct[0], problem.space.high_wt_pct[0], 400)
    most = max(axis_values(problem, {key: float(loading)}, axes)[1] for loading in grid)
    assert most > 0.1
    assert found.points[-1].values[1] > most - 0.01  # 0.05 K, or 0.0005 of conversion


def test_the_page_of_a_front_draws_its_pictures_itself() -> None:
    inputs = resolve(read_brief(brief_path("demo")))
    axes = tuple(AXES[key] for key in ("cost", "heat", "margin"))
    points = tuple(
        FrontPoint(blend_wt_pct={"BAPO": 0.1 * i, "TPO-L": 0.5}, values=(0.5 + i, 20.0 - i, 0.1 * i)) for i in (1, 2, 4)
    )  # fmt: skip
    found = Front(axes=axes, points=points, knee=1, hypervolume_ratio=0.5, tried=9, films=99)
    page = front_page(found, inputs, {})
    pictures = [block for section in page.sections for block in section.blocks if isinstance(block, Picture)]
    assert len(pictures) == 2  # the first axis against each other one
    for picture in pictures:
        assert "var(--series-0)" in picture.svg  # follows the page's light or dark dress
        assert "3 blends" in picture.alt
        assert "knee TPO-L 0.5 % + BAPO 0.2 %" in picture.alt
    assert "data:image" not in page_html(page)


def test_axes_are_checked(make_problem: MakeProblem) -> None:
    problem = make_problem()
    with pytest.raises(UnknownNameError):
        axes_of(("cost", "beauty"), problem)
    with pytest.raises(InputError, match="two or three"):
        axes_of(("heat",), problem)
    with pytest.raises(InputError, match="lacks"):
        axes_of(("cost", "heat"), problem)


def test_blends_of_a_front_can_be_weighed_and_their_figures_are_of_the_rounded_blend(
    make_problem: MakeProblem,
) -> None:
    limits = Limits(
        second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.6, total_initiator_max_wt_pct=4.0
    )
    problem = make_problem(limits=limits, prices_per_kg=PRICES)
    axes = axes_of(("cost", "heat"), problem)
    found = traced(problem, "cost", "heat", levels=6)
    assert isinstance(found, Front)
    assert found.unrounded == []
    for point in found.points:
        loadings = np.array(list(point.blend_wt_pct.values()))
        assert np.round(loadings, 4) == pytest.approx(loadings, abs=1e-12)
        part = problem.narrowed(tuple(point.blend_wt_pct))
        assert axis_values(part, point.blend_wt_pct, axes) == pytest.approx(point.values)
    values = np.array([point.values for point in found.points])
    assert unbeaten(values).tolist() == list(range(len(values)))
    scaled = (values - values.min(axis=0)) / np.ptp(values, axis=0)
    assert found.hypervolume_ratio == pytest.approx(hypervolume(scaled, np.ones(2)))


def test_a_blend_that_cannot_be_rounded_stays_and_is_told(make_problem: MakeProblem) -> None:
    limits = Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.6)
    problem = make_problem(limits=limits, prices_per_kg=PRICES).narrowed(("BAPO",))
    exact = 0.08237
    at = problem.point(problem.vector({"BAPO": exact}))
    pairs = zip(problem.constraints, at.figures, strict=True)
    least = min(figure for row, figure in pairs if row.figure == "bottom_conversion_fraction")
    # a window of total initiator and of conversion so narrow that neither 0.082, 0.083, 0.0823 nor 0.0824 keeps both
    tight = replace(
        limits,
        total_initiator_max_wt_pct=exact + 1e-6,
        bottom_conversion_min_share=None,
        bottom_conversion_min_fraction=least - 1e-7,
    )
    narrow = make_problem(limits=tight, prices_per_kg=PRICES).narrowed(("BAPO",))
    assert narrow.point(narrow.vector({"BAPO": exact})).violation == 0.0
    blend, is_rounded = rounded_blend(narrow, {"BAPO": exact})
    assert blend == {"BAPO": exact}
    assert not is_rounded
    assert "blend 2" in unrounded_words([2])
    assert unrounded_words([]) == ""
