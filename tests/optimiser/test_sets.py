"""Whole sets: the reader, the stacks, and the joint answer against a grid over the real simulation of the stack."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import GelwrightError
from gelwright.optimiser.demo_data import DEMO_FOLDER, brief_path, list_demo_sets
from gelwright.optimiser.set_answer import set_verdict, thickest_buried
from gelwright.optimiser.set_brief import is_set, read_set
from gelwright.optimiser.set_report import NO_WAYS_OUT, set_report, set_text, write_set_folder
from gelwright.optimiser.set_tune import coat_set, joint, resolve_set, tune_set
from gelwright.optimiser.stack_problem import StackProblem

DEMO = (DEMO_FOLDER / "sets" / "base_and_builder.toml").read_text(encoding="utf-8")


@pytest.fixture
def written(tmp_path: Path) -> Callable[[str], Path]:
    def write(text: str) -> Path:
        file = tmp_path / "set.toml"
        file.write_text(text, encoding="utf-8")
        return file

    return write


def test_a_set_is_known_by_its_coats() -> None:
    assert all(is_set(brief_path(name)) for name in list_demo_sets())
    assert not is_set(brief_path("demo"))


def test_every_demonstration_set_can_be_resolved() -> None:
    for name in list_demo_sets():
        asked = read_set(brief_path(name))
        assert asked.brief.is_demonstration
        assert len(resolve_set(asked).gels) == len(asked.coats)


def test_a_coat_takes_what_the_set_says_and_its_own(written: Callable[[str], Path]) -> None:
    text = DEMO.replace("wipe = true", "wipe = true\nlimits = { bottom_conversion_min_fraction = 0.8 }")
    asked = read_set(written(text))
    base, builder = asked.coats
    assert base.brief.exposure_s == 30.0
    assert builder.brief.exposure_s == 60.0
    assert base.brief.rest_s == builder.brief.rest_s == 15.0
    assert base.brief.limits.bottom_conversion_min_share == 0.9
    assert builder.brief.limits.bottom_conversion_min_share is None
    assert builder.brief.limits.bottom_conversion_min_fraction == 0.8
    assert builder.is_wiped
    assert not base.is_wiped


def test_alternatives_of_one_place_make_a_stack_each(written: Callable[[str], Path]) -> None:
    shades = "".join(
        f'\n[[coats]]\nname = "{name}"\nplace = "colour"\ngel = "{name}_colour"\nlow_um = 30\nhigh_um = 50\n'
        for name in ("red", "white")
    )
    assert read_set(written(DEMO + shades)).stacks == ((0, 1, 2), (0, 1, 3))


BROKEN = {
    "one coat": (DEMO[DEMO.index('[[coats]]\nname = "builder"') :], "", "a set has 2 to 12"),
    "unknown coat key": ("wipe = true", "wiped = true", "coats.2 (builder)"),
    "wrong value": ("high_um = 300", "high_um = 9000", "coats.2 (builder), thickness.high_um"),
    "heat of one coat": ("wipe = true", "limits = { nail_bed_max_c = 44 }", "the nail as a whole"),
    "same name": ('name = "builder"', 'name = "base"', "two are named 'base'"),
    "nameless": ('name = "builder"\n', "", "coats.2: name"),
    "unknown sharing": ('raw_materials = "fewest"', 'raw_materials = "few"', "set.raw_materials"),
    "penalty without a price": ('raw_materials = "fewest"', 'raw_materials = "penalised"', "belong together"),
    "objective of single coats": ('"least_initiator"', '"least_yellowing"', "objective.minimise"),
    "two lamps": ('["demo_arch_365_405"]', '["demo_arch_365_405", "demo_narrow_385"]', "one set per lamp"),
    "unknown gel": ('gel = "clear_builder"', 'gel = "clear_bilder"', "coat builder"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_fault_is_one_line_that_names_the_coat(written: Callable[[str], Path], case: str) -> None:
    old, new, said = BROKEN[case]
    assert old in DEMO
    with pytest.raises(GelwrightError) as caught:
        resolve_set(read_set(written(DEMO.replace(old, new, 1))))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


TINY = (
    DEMO.replace('allowed = ["BAPO", "TPO-L", "HCPK"]', 'allowed = ["BAPO"]')
    .replace("low_um = 40", "low_um = 60")
    .replace("low_um = 200", "low_um = 300")
)


@pytest.mark.slow
def test_the_joint_answer_is_as_good_as_a_grid_over_the_finished_stack(
    written: Callable[[str], Path], tmp_path: Path
) -> None:
    inputs = resolve_set(read_set(written(TINY)))
    outcome = tune_set(inputs, tmp_path, progress=lambda done, total, words: None, say=print)
    assert outcome.is_feasible
    problem = StackProblem(coats=coat_set(inputs))
    grid = np.linspace(0.12, 0.28, 6)
    points = [problem.point(np.array([base, builder])) for base in grid for builder in grid]
    brute = min(point.objective for point in points if point.violation == 0.0)
    assert outcome.objective <= brute + 1e-9
    assert (
        brute - outcome.objective <= grid[1] - grid[0]
    )  # the grid came near, so the comparison means something
    # the tacky layer of the base has spent its initiator and stays soft under the builder; the verdict must say so
    last = outcome.results[-1]
    soft = (last.coat_number == 1) & (last.conversion_fraction < 0.2)
    assert thickest_buried(outcome).layer_m >= last.width_m[soft].sum() > 1e-6
    assert "between coats" in set_verdict(outcome).headline
    # the page shows each coat by itself at every place, and the data beside it hold the same
    report = write_set_folder(outcome, written(TINY), tmp_path)
    page = report.with_suffix(".html").read_text(encoding="utf-8")
    assert len(re.findall('aria-label="Conversion against depth in coat', page)) == 2
    assert page.count(set_verdict(outcome).sentences[0].replace(" µm", "\xa0µm")) == 1
    assert "build.png" not in page
    data = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))
    assert len(data["curves"]) == len(outcome.results)
    assert {(each["position"], each["is_thick"]) for each in data["curves"]} >= {("middle", True)}
    # one that nobody can meet, among choices, says where ways out are searched
    hopeless = replace(outcome, values=(1.0, *outcome.values[1:]))
    for told in (set_text, set_report):
        assert NO_WAYS_OUT in told(hopeless)
        assert NO_WAYS_OUT not in told(outcome)
    # a gel that fails on its own may still pass in the stack: its nearest blend is polished there
    taker = outcome.takers[0]
    failing = replace(taker.found.ranked[0], values=(1.0,) * len(taker.found.ranked[0].values))
    broken = replace(taker, found=replace(taker.found, ranked=(failing,)))
    again = joint(inputs, [broken, outcome.takers[1]], workers=None, progress=lambda done, total, words: None)
    assert again.is_feasible
    # the parts alone do not see the stack: what they find is not the joint answer
    assert abs(outcome.objective_before - outcome.objective) > 1e-3


def test_slopes_of_a_stack_are_those_of_wide_differences(written: Callable[[str], Path]) -> None:
    problem = StackProblem(coats=coat_set(resolve_set(read_set(written(TINY)))))
    at, step = np.array([0.2, 0.2]), np.array([1e-3, 1e-3])
    slopes = problem.slopes(at, step)[1]
    for i in range(2):
        # at 0.02 wt% the difference itself bends: it falls from 20.8 to 18.6 and 17.9 per wt% at 0.02, 0.01 and 0.005
        wide = 0.005 * np.eye(2)[i]
        central = (problem.point(at + wide).values - problem.point(at - wide).values) / 0.01
        assert slopes[:, i] == pytest.approx(central, rel=0.15, abs=0.3)
