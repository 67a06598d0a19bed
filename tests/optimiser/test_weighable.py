"""Blends as shown: rounded for weighing, and within every limit at every position of the lamp."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from gelwright.optimiser.brief import Margins
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.cli import app
from gelwright.optimiser.demo_data import brief_path
from gelwright.optimiser.evaluators import blend_evaluator
from gelwright.optimiser.local import Local, local_search
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.tune import resolve
from gelwright.optimiser.weighable import held_everywhere, weighable

KEYS = ("BAPO", "HMPP")


@pytest.fixture(scope="module")
def polished() -> tuple[Problem, Local]:
    """A pair that rests on the base conversion of the demonstration brief, without the distance that its margins keep."""
    brief = replace(read_brief(brief_path("demo")), margins=Margins(), allowed=KEYS)
    inputs = resolve(brief)
    problem = Problem(
        brief=brief, lamp=inputs.lamp, gel=inputs.gel, space=inputs.space, make_evaluator=blend_evaluator
    )
    found = local_search(problem, problem.vector({"BAPO": 0.12, "HMPP": 0.12}), 0.1, KEYS)
    assert found.is_feasible
    return problem, found


def lowest_share(problem: Problem, blend: Local) -> tuple[float, str]:
    """Least base conversion over all positions and both films, over what is asked for, and where."""
    lamp = problem.lamp
    spots = [(place, h) for place in lamp.positions for h in problem.brief.thicknesses_m]
    evaluator = problem.new_evaluator([problem.scenario(place, h) for place, h in spots])
    figures = evaluator(problem.vector(blend.blend_wt_pct)[np.newaxis, :])
    asked = (problem.brief.limits.bottom_conversion_min_share or 0.0) * figures.conversion_ceiling_fraction
    shares = (figures.bottom_conversion_fraction / asked)[0]
    return float(shares.min()), spots[int(shares.argmin())][0]


def test_a_limit_holds_between_the_weakest_and_the_strongest_position_too(
    polished: tuple[Problem, Local],
) -> None:
    problem, found = polished
    share, place = lowest_share(problem, weighable(problem, found))
    assert share < 1.0  # by a little, at a place where the search does not look: of another mix of light
    assert place not in (problem.lamp.weakest, problem.lamp.strongest)
    judged, held = held_everywhere(problem, found)
    assert judged.also_at == ((0, place),)
    assert held.is_feasible
    assert len(held.values) == len(judged.constraints) > len(problem.constraints)
    assert lowest_share(problem, held)[0] >= 1.0
    assert held.objective < 1.02 * found.objective
    assert all(round(1000.0 * load, 6) == round(1000.0 * load) for load in held.blend_wt_pct.values())


def test_a_blend_that_holds_everywhere_is_only_rounded(polished: tuple[Problem, Local]) -> None:
    problem, found = polished
    more = {key: 1.2 * load for key, load in found.blend_wt_pct.items()}
    point = problem.point(problem.vector(more))
    roomy = replace(
        found, blend_wt_pct=more, objective=point.objective, values=tuple(map(float, point.values)),
        figures=point.figures,
    )  # fmt: skip
    judged, held = held_everywhere(problem, roomy)
    assert judged is problem
    assert held.blend_wt_pct == weighable(problem, roomy).blend_wt_pct


def test_a_run_folder_is_written_where_the_first_blend_is_held_at_more_positions(tmp_path: Path) -> None:
    text = brief_path("demo").read_text(encoding="utf-8")
    head, rest = text.split("[margins]", 1)
    text = head + "[objective]" + rest.split("[objective]", 1)[1]
    text = text.replace("max_initiators = 3", 'max_initiators = 2\nallowed = ["BAPO", "HMPP"]')
    brief = tmp_path / "brief.toml"
    brief.write_text(text + "\n[uncertainty]\ndraws = 32\n", encoding="utf-8")
    done = CliRunner().invoke(app, ["tune", str(brief), "--out", str(tmp_path / "run"), "--json"])
    assert done.exit_code == 0, done.output
    first = json.loads(done.stdout)["candidates"][0]
    named = [row["limit"] for row in first["limits"] if row["limit"].startswith("base conversion")]
    assert len({name.split(", ")[1] for name in named}) == 3  # the weakest, the strongest, and one between
    assert first["verdict"].startswith("cures through")
    rows = (tmp_path / "run" / "candidates.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) > 2
