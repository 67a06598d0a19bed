"""Chances of a set: what coats share is drawn once, and coat and whole are counted on the same draws."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gelwright.optimiser.demo_data import brief_path
from gelwright.optimiser.set_brief import read_set
from gelwright.optimiser.set_tune import coat_set, resolve_set
from gelwright.optimiser.set_varied import built_under, stack_draws, varied_of_set
from gelwright.optimiser.stack_parts import CoatSet
from gelwright.optimiser.stack_passing import chances_of_set
from gelwright.optimiser.stack_problem import StackProblem
from gelwright.optimiser.varied import unit_draws

BLENDS = np.array([0.18, 0.205])


@pytest.fixture
def coats() -> CoatSet:
    inputs = resolve_set(read_set(Path(brief_path("base_and_builder"))))
    return coat_set(inputs).narrowed([("BAPO",), ("BAPO",)])


def test_an_initiator_and_the_resin_data_are_drawn_once_for_both_gels(coats: CoatSet) -> None:
    problem, inputs = StackProblem(coats=coats), varied_of_set(coats, ("use", "data"))
    assert len({each.key for each in inputs}) == len(inputs)
    draws = stack_draws(problem, inputs, BLENDS, unit_draws(inputs, 8, 1, 2))
    for draw in draws:
        base, builder = draw.changes["base"], draw.changes["builder"]
        assert base["quantum_yield_ratio:BAPO"] == builder["quantum_yield_ratio:BAPO"] != 1.0
        # one number, each gel with the spread of its own resins
        assert (base["propagation_ratio"] > 1.0) is (builder["propagation_ratio"] > 1.0)
    assert len({draw.thickness_m[0] / draw.thickness_m[1] for draw in draws}) == len(draws)


def test_nothing_drawn_is_the_build_itself(coats: CoatSet) -> None:
    problem = StackProblem(coats=coats)
    middle = stack_draws(problem, (), BLENDS, np.zeros((1, 0)))[0]
    corner = next(each for each in coats.corners if each.is_thick)
    drawn = built_under(problem, middle, corner)
    plain = problem.results(BLENDS)[coats.corners.index(corner)]
    assert drawn.nail_bed_peak_k == pytest.approx(plain.nail_bed_peak_k, abs=1e-9)
    assert drawn.bond_side_conversion_fraction == pytest.approx(plain.bond_side_conversion_fraction, abs=1e-9)


def test_a_finger_between_two_positions_gets_light_of_both(coats: CoatSet) -> None:
    problem = StackProblem(coats=coats)
    plain = stack_draws(problem, (), BLENDS, np.zeros((1, 0)))[0]
    lamp = coats.lamp
    first, second = lamp.positions[0], lamp.positions[1]
    own, other = (lamp.spectrum(each).irradiance_w_m2() for each in (first, second))
    moved = replace(plain, placement_fraction=0.25).lamp(lamp, first).spectrum(first).irradiance_w_m2()
    assert moved == pytest.approx(0.75 * own + 0.25 * other, rel=1e-6)
    off_the_end = replace(plain, placement_fraction=-0.25).lamp(lamp, first).spectrum(first).irradiance_w_m2()
    assert off_the_end == pytest.approx(own, rel=1e-12)


def test_whole_and_coats_are_counted_on_the_same_draws(coats: CoatSet) -> None:
    told: list[str] = []
    use, doubted = chances_of_set(
        StackProblem(coats=coats), BLENDS, 16, lambda done, total, words: told.append(words)
    )
    for each in (use, doubted):
        assert set(each.by_coat) == {"base", "builder"}
        assert each.whole.probability_fraction <= min(coat.fraction for coat in each.by_coat.values())
        lost = sum(1.0 - coat.fraction for coat in each.by_coat.values())
        assert each.whole.probability_fraction >= 1.0 - lost - each.whole.broken_by_limit.get(
            "nail bed CEM43", 0.0
        )
        assert each.whole.low_fraction <= each.whole.probability_fraction <= each.whole.high_fraction
    # a film of these figures that is sure in use is not sure of the model
    assert doubted.whole.probability_fraction < use.whole.probability_fraction
    assert any("doubt" in words for words in told)
