"""Blends made sure in use, on the stand-in: the stated chance is reached on fresh draws, and at a price."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser.brief import Limits, Margins
from gelwright.optimiser.local import Local, local_search
from gelwright.optimiser.passing import probability_of_passing
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.sure import made_sure, sure_line

MakeProblem = Callable[..., Problem]
LIMITS = Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.6)


class Memory(dict[str, Local]):
    def put(self, unit: str, found: Local, seconds: float) -> None:
        self[unit] = found


def quiet(done: int, total: int, words: str) -> None:
    assert 0 <= done <= total


def nominal(problem: Problem) -> Local:
    part = problem.narrowed(("TPO-L",))
    return local_search(part, np.array([0.5]), np.array([0.05]))


def test_a_stated_chance_is_reached_on_fresh_draws_and_costs_something(make_problem: MakeProblem) -> None:
    problem = make_problem(limits=LIMITS, chance=0.95)
    start = nominal(problem)
    part = problem.narrowed(("TPO-L",))
    before = probability_of_passing(part, part.vector(start.blend_wt_pct), 256)
    (sure,) = made_sure(problem, [start], ledger=Memory(), progress=quiet)
    after = probability_of_passing(part, part.vector(sure.found.blend_wt_pct), 256)
    assert before.probability_fraction < 0.9
    assert sure.passing.draws == 256
    assert after.probability_fraction >= 0.95
    assert sure.found.objective > start.objective
    (again,) = made_sure(problem, [start], ledger=Memory(), progress=quiet)
    assert again.found == sure.found


def test_the_surest_blend_is_no_less_sure(make_problem: MakeProblem) -> None:
    problem = make_problem(limits=LIMITS, surest=True)
    (sure,) = made_sure(problem, [nominal(problem)], ledger=Memory(), progress=quiet)
    assert sure.passing.probability_fraction >= 0.95
    assert "highest chance" in sure_line(problem.brief, [sure.passing.probability_fraction])[0]


def test_what_contradicts_is_refused(make_brief: Callable[..., object]) -> None:
    with pytest.raises(InputError, match="only one can be sought"):
        make_brief(chance=0.9, surest=True)
    with pytest.raises(InputError, match="takes the place"):
        make_brief(chance=0.9, margins=Margins(temperature_k=1.0))
    brief = replace(make_brief(chance=0.9))  # type: ignore[type-var]
    assert sure_line(brief, [0.95, 0.8]) == [
        "Asked for was a chance of passing in use of 90 %; 1 of the 2 blends shown reaches it."
    ]
    assert "the best 80 %" in sure_line(brief, [0.8, 0.7])[0]
