"""One blend for several lamps: limits lamp by lamp, own cure times and programmes, the objective of the worst lamp."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.optimiser.brief import Brief
from gelwright.optimiser.problem import Problem, soft_maximum
from gelwright.optimiser.search import search
from gelwright.optimiser.sequences import with_programme
from gelwright.optimiser.tune import resolve

LAMPS = ("demo_arch_365_405", "demo_narrow_385")


class Nowhere:
    """A ledger that keeps nothing."""

    def get(self, unit: str) -> None:
        return None

    def put(self, unit: str, found: Any, seconds: float) -> None:
        pass


@pytest.fixture
def served(make_brief: Callable[..., Brief], stand_in: type) -> Callable[..., Problem]:
    def make(**changes: Any) -> Problem:
        inputs = resolve(make_brief(**changes))
        return Problem(
            brief=inputs.brief, lamp=inputs.lamp, gel=inputs.gel, space=inputs.space, more_lamps=inputs.more_lamps,
            make_evaluator=stand_in,
        )  # fmt: skip

    return make


def test_every_limit_is_there_once_for_each_scenario_and_lamp(served: Callable[..., Problem]) -> None:
    one, two = served(lamps=LAMPS[:1]), served(lamps=LAMPS)
    assert len(two.constraints) == 2 * len(one.constraints)
    assert {row.lamp_id for row in two.constraints} == set(LAMPS)
    assert len({row.name for row in two.constraints}) == len(two.constraints)
    assert not any(LAMPS[0] in row.name for row in one.constraints)


def test_values_are_those_of_each_lamp_alone(served: Callable[..., Problem]) -> None:
    loadings = np.array([0.3, 0.5, 0.2])
    together = served(lamps=LAMPS)
    values = together.point(loadings).values
    for lamp in LAMPS:
        alone = served(lamps=(lamp,)).point(loadings).values
        mine = [i for i, row in enumerate(together.constraints) if row.lamp_id == lamp]
        assert values[mine] == pytest.approx(alone)


def test_a_lamp_may_have_its_own_time_and_programme(served: Callable[..., Problem]) -> None:
    problem = served(
        lamps=LAMPS, exposures_s={LAMPS[1]: 30.0}, programmes={LAMPS[1]: "low_heat 10 s then steady"}
    )
    by_lamp = {scenario.lamp.lamp_id: scenario for scenario in problem.scenarios}
    assert (by_lamp[LAMPS[0]].exposure_s, by_lamp[LAMPS[0]].programme) == (60.0, "steady")
    assert (by_lamp[LAMPS[1]].exposure_s, by_lamp[LAMPS[1]].programme) == (30.0, "low_heat 10 s then steady")


def test_one_blend_keeps_the_limits_in_every_lamp_and_costs_no_less_than_alone(
    served: Callable[..., Problem],
) -> None:
    def best(*lamps: str) -> float:
        found = search(
            served(lamps=lamps, thickness_low_m=100e-6, thickness_high_m=150e-6),
            ledger=Nowhere(),
            progress=lambda done, total, words: None,
        )
        assert found.is_feasible
        return found.ranked[0].objective

    alone = [best(lamp) for lamp in LAMPS]
    assert best(*LAMPS) >= max(alone) * (1.0 - 1e-3)


def test_the_objective_of_several_lamps_is_close_below_the_worst() -> None:
    values = np.array([[10.0, 12.0, 11.0], [5.0, 5.0, 5.0]])
    smooth = soft_maximum(values, 0.1)[:, 0]
    assert np.all(smooth <= values.max(axis=1))
    assert smooth == pytest.approx(values.max(axis=1), abs=0.1 * np.log(3.0))
    assert soft_maximum(values[:, :1], 0.1)[:, 0] == pytest.approx(values[:, 0])


def test_two_lamps_of_one_id_are_refused(make_brief: Callable[..., Brief]) -> None:
    with pytest.raises(InputError, match="two lamps with the id"):
        resolve(make_brief(lamps=(LAMPS[0], LAMPS[0])))


def test_a_sequence_gives_the_light_of_its_parts() -> None:
    lamp = with_programme(load_lamp(LAMPS[0]), "low_heat 20 s then steady", 60.0)
    sequence = lamp.programme("low_heat 20 s then steady")
    parts = 20.0 * lamp.programme("low_heat").mean_level_ratio(20.0) + 40.0
    assert 60.0 * sequence.mean_level_ratio(60.0) == pytest.approx(parts)
    assert with_programme(lamp, "steady", 60.0) is lamp


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("low_heat then steady", "has no time in seconds"),
        ("low_heat 20 s then steady 40 s", "takes no seconds"),
        ("low_heat 60 s then steady", "leaves 0 s"),
        ("low_heat 0 s then steady", "more than 0 s"),
    ],
)
def test_a_sequence_that_cannot_run_is_refused(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        with_programme(load_lamp(LAMPS[0]), text, 60.0)


def test_a_programme_the_lamp_lacks_is_named() -> None:
    with pytest.raises(UnknownNameError, match="low_heat"):
        with_programme(load_lamp(LAMPS[0]), "low_haet 20 s then steady", 60.0)
