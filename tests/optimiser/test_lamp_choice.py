"""Several lamps: the largest set one blend serves, a blend per lamp with few raw materials, and why a lamp is refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser.brief import Brief, Limits
from gelwright.optimiser.lamp_choice import LampsOutcome, largest_servable, tune_lamps
from gelwright.optimiser.lamp_choice_report import first_screen, lamps_data, lamps_report, lamps_text
from gelwright.optimiser.local import Local

LAMPS = ("demo_arch_365_405", "demo_narrow_385", "demo_narrow_405")


def found(objective: float, excess: float = -1.0) -> Local:
    return Local(
        blend_wt_pct={"A": 1.0}, objective=objective, limits=("x",), values=(excess,), figures=(0.0,),
        multipliers=(), simulations=0,
    )  # fmt: skip


def test_the_largest_set_is_found_from_above_and_the_better_of_equals_wins() -> None:
    servable = {frozenset("AB"): 2.0, frozenset("BC"): 1.0, frozenset("CD"): 3.0}
    asked: list[frozenset[str]] = []

    def together(some: Sequence[str]) -> Local:
        asked.append(frozenset(some))
        return found(servable[frozenset(some)]) if frozenset(some) in servable else found(9.0, 1.0)

    names, blend = largest_servable("ABCD", together)
    assert set(names) == {"B", "C"}
    assert blend is not None
    assert blend.objective == 1.0
    assert len(asked) == 1 + 4 + len(list(combinations("ABCD", 2)))


def test_one_lamp_or_none_needs_no_search() -> None:
    def never(some: Sequence[str]) -> Local:
        raise AssertionError(some)

    assert largest_servable(("A",), never) == (("A",), None)
    assert largest_servable((), never) == ((), None)


@pytest.fixture
def served(make_brief: Callable[..., Brief], stand_in: type, tmp_path: Path) -> Callable[..., LampsOutcome]:
    def run(serve: str, **changes: Any) -> LampsOutcome:
        common = {"thickness_low_m": 100e-6, "thickness_high_m": 150e-6, "allowed": ("BAPO", "HCPK")}
        brief = make_brief(lamps=LAMPS, serve=serve, **(common | changes))
        return tune_lamps(
            brief, tmp_path, progress=lambda done, total, words: None, say=print, make_evaluator=stand_in
        )

    return run


def test_a_blend_per_lamp_uses_as_few_raw_materials_as_any_choice(
    served: Callable[..., LampsOutcome],
) -> None:
    outcome = served("blend_per_lamp")
    assert outcome.is_feasible
    assert len(outcome.materials) == 1
    assert all(each.shown.is_feasible for each in outcome.served)
    assert all(each.own_best.objective <= each.shown.objective * (1.0 + 2e-2) for each in outcome.served)
    # both rounded for weighing, so that they can be compared
    loads = [load for each in outcome.served for load in each.own_best.blend_wt_pct.values()]
    assert all(round(1000.0 * load, 6) == round(1000.0 * load) for load in loads)
    assert all(lamp in lamps_report(outcome) for lamp in LAMPS)
    assert len(lamps_data(outcome)["served"]) == 3
    screen = first_screen(outcome)
    assert screen["headline"].startswith("3 of 3 lamps can be served; the least sure of them passes in ")
    for each, figure in zip(outcome.served, screen["figures"], strict=True):
        assert f"{each.inputs.lamp.lamp_id}: {each.shown.name}" in screen["answer"]
        assert figure.value == f"{100 * each.shown.passing.probability_fraction:.0f} %"


def test_the_largest_set_leaves_out_the_lamp_that_no_blend_serves_and_says_why(
    served: Callable[..., LampsOutcome],
) -> None:
    # HCPK absorbs next to nothing at 405 nm: alone allowed, it cannot serve that lamp
    outcome = served("largest_set", allowed=("HCPK",), exposures_s={LAMPS[1]: 300.0})
    ids = [each.inputs.lamp.lamp_id for each in outcome.served]
    refused = [each.lamp.lamp_id for each in outcome.refused]
    assert sorted([*ids, *refused]) == sorted(LAMPS)
    assert refused
    for each in outcome.refused:
        assert each.broken
        assert each.lamp.lamp_id in each.sentence
        assert "margin" in each.sentence
        assert all(row.constraint.margin(row.figure) < 0.0 for row in each.broken)
    assert "Refused" in lamps_text(outcome)
    assert outcome.is_feasible == bool(ids)


def test_a_blend_of_the_largest_set_keeps_every_limit_in_each_of_its_lamps(
    served: Callable[..., LampsOutcome],
) -> None:
    outcome = served("largest_set")
    assert outcome.one_blend is not None
    best = outcome.one_blend.candidates[0]
    assert best.is_feasible
    screen = first_screen(outcome)
    assert best.name in screen["answer"]
    assert (
        f"in {100 * best.passing_with_data.probability_fraction:.0f} % with its own doubt"
        in screen["headline"]
    )
    assert {row.lamp_id for row in best.constraints if row.lamp_id} == {
        each.inputs.lamp.lamp_id for each in outcome.served
    }


def test_nothing_served_is_an_answer_too(served: Callable[..., LampsOutcome]) -> None:
    hard = Limits(second_cycle_heat_max_ratio=None, nail_bed_max_k=310.15)
    outcome = served("largest_set", limits=hard)
    assert outcome.served == ()
    assert len(outcome.refused) == 3
    assert not outcome.is_feasible
    assert "No lamp can be served" in lamps_text(outcome)
    assert "No lamp can be served" in lamps_report(outcome)
    assert first_screen(outcome)["state"] == "broken"


def test_one_lamp_cannot_be_served_in_several_ways(make_brief: Callable[..., Brief]) -> None:
    with pytest.raises(InputError, match="needs 2 to 8 lamps"):
        replace(make_brief(), serve="largest_set")
    assert np.isfinite(make_brief(lamps=LAMPS, serve="largest_set").exposure_s)
