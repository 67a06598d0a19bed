"""An impossible brief answered: the smallest clash, and single changes that do, each checked by searching again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from gelwright.optimiser.brief import Limits
from gelwright.optimiser.giving import without
from gelwright.optimiser.impossible import Impossible, way_out_data, way_out_lines
from gelwright.optimiser.local import Local
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.search import Found, search
from gelwright.optimiser.ways_out import way_out

MakeProblem = Callable[..., Problem]
COOL = Limits(second_cycle_heat_max_ratio=None, nail_bed_max_k=311.15, total_initiator_max_wt_pct=4.0)


class Nothing:
    """A ledger that keeps nothing."""

    def get(self, unit: str) -> Local | None:
        return None

    def put(self, unit: str, found: Local, seconds: float) -> None:
        pass


def searched(problem: Problem) -> Found:
    return search(problem, ledger=Nothing(), progress=lambda *_: None)


_ANSWERED: list[tuple[Problem, Impossible]] = []


@pytest.fixture
def answered(make_problem: MakeProblem) -> tuple[Problem, Impossible]:
    """One impossible brief and its answer, worked out once."""
    if not _ANSWERED:
        problem = make_problem(limits=COOL, allowed=("BAPO", "HCPK"))
        found = searched(problem)
        assert not found.is_feasible
        _ANSWERED.append((problem, way_out(problem, found, lambda *_: None)))
    return _ANSWERED[0]


def test_the_clash_cannot_be_kept_and_loses_its_edge_without_any_member(
    answered: tuple[Problem, Impossible],
) -> None:
    problem, impossible = answered
    names = [row.limit_name for row in impossible.clash]
    assert set(names) == {"nail bed peak", "base conversion"}
    others = [row.limit_name for row in problem.constraints if row.limit_name not in names]
    assert not searched(without(problem, others)).is_feasible
    for name in names:
        assert searched(without(problem, [*others, name])).is_feasible


def test_every_way_out_does_and_the_least_change_comes_first(
    answered: tuple[Problem, Impossible], make_problem: MakeProblem
) -> None:
    _, impossible = answered
    assert [way.size for way in impossible.ways] == sorted(way.size for way in impossible.ways)
    kinds = {way.kind for way in impossible.ways}
    assert {"limit", "thickness"} <= kinds
    thinner = next(way for way in impossible.ways if way.kind == "thickness")
    high_um = float(thinner.words.split("-")[1].split(" ")[0])
    changed = make_problem(
        limits=COOL,
        allowed=("BAPO", "HCPK"),
        thickness_low_m=0.75e-6 * high_um,
        thickness_high_m=1e-6 * high_um,
    )
    assert searched(changed).is_feasible
    thicker = 1.1e-6 * high_um
    assert not searched(
        make_problem(
            limits=COOL, allowed=("BAPO", "HCPK"), thickness_low_m=0.75 * thicker, thickness_high_m=thicker
        )
    ).is_feasible


def test_a_limit_told_to_be_enough_is_enough(
    answered: tuple[Problem, Impossible], make_problem: MakeProblem
) -> None:
    _, impossible = answered
    heat = next(way for way in impossible.ways if way.words.startswith("nail bed peak"))
    asked_c, enough_c = 38.0, float(heat.words.split("raise to ")[1].split(" ")[0])
    for share, possible in ((1.05, True), (0.5, False)):
        limits = replace(COOL, nail_bed_max_k=273.15 + asked_c + share * (enough_c - asked_c))
        assert searched(make_problem(limits=limits, allowed=("BAPO", "HCPK"))).is_feasible is possible


def test_a_clash_says_whether_letting_one_limit_go_is_enough(answered: tuple[Problem, Impossible]) -> None:
    _, impossible = answered
    assert len(impossible.clash) > 1
    assert any(way.kind == "limit" for way in impossible.ways)
    assert "not enough" not in impossible.clash_words
    none_helps = replace(
        impossible, ways=(), failed=tuple(f"easing {row.limit_name}" for row in impossible.clash)
    )
    assert "Letting one of them go is not enough" in none_helps.clash_words


def test_the_answer_is_told_in_words_and_as_data(answered: tuple[Problem, Impossible]) -> None:
    _, impossible = answered
    text = "\n".join(way_out_lines(impossible))
    assert "cannot be kept together" in text
    assert "a choice, not a measurement" in text
    data = way_out_data(impossible)
    assert len(data["ways"]) == len(impossible.ways)  # type: ignore[arg-type]
