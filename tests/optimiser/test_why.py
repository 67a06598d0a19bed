"""Why a substance or a blend is not the answer, on the stand-in simulator."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.optimiser.brief import Limits, Margins
from gelwright.optimiser.local import Local
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.search import Found, search
from gelwright.optimiser.why import as_shown, read_asked, why_not

MakeProblem = Callable[..., Problem]


class Nothing:
    """A ledger that keeps nothing."""

    def get(self, unit: str) -> Local | None:
        return None

    def put(self, unit: str, found: Local, seconds: float) -> None:
        pass


@pytest.fixture
def asked_of(make_problem: MakeProblem) -> Callable[..., tuple[Problem, Found]]:
    def make(**changes: object) -> tuple[Problem, Found]:
        problem = make_problem(**changes)
        return problem, search(problem, ledger=Nothing(), progress=lambda *_: None)

    return make


def test_law_brief_and_light_shut_out(asked_of: Callable[..., tuple[Problem, Found]]) -> None:
    problem, found = asked_of()
    law = why_not(problem, found, "TPO")
    assert law.kind == "excluded"
    assert "not in the brief's list" in law.sentences[0]
    problem, found = asked_of(allowed=("BAPO", "TPO", "TPO-L"))
    law = why_not(problem, found, "TPO")
    assert "prohibited in EU" in law.sentences[0]
    assert "2025/877" in law.sentences[0]


def test_a_rival_ranks_behind_and_the_winner_is_the_answer(
    asked_of: Callable[..., tuple[Problem, Found]],
) -> None:
    problem, searched = asked_of()
    found = as_shown(problem, searched)
    winner = "+".join(found.ranked[0].blend_wt_pct)
    assert why_not(problem, found, winner).kind == "is_answer"
    pair = why_not(problem, found, "BAPO+HCPK")
    assert pair.kind == "ranks_behind"
    assert pair.objective is not None
    assert pair.best_objective is not None
    assert pair.objective > pair.best_objective
    assert "fewer substances" in " ".join(pair.sentences)


def test_the_blend_of_the_report_is_the_first_blend(asked_of: Callable[..., tuple[Problem, Found]]) -> None:
    """Loadings as rounded for weighing: the search's own, a little less, would rank before the answer that people see."""
    problem, searched = asked_of()
    found = as_shown(problem, searched)
    first = found.ranked[0].blend_wt_pct
    assert first != searched.ranked[0].blend_wt_pct
    assert all(round(1000.0 * load, 6) == round(1000.0 * load) for load in first.values())
    told = why_not(problem, found, "+".join(f"{key}={load:g}" for key, load in first.items()))
    assert told.kind == "is_answer"


def test_a_blend_that_breaks_a_limit_is_told_which_by_how_much_and_where(
    asked_of: Callable[..., tuple[Problem, Found]],
) -> None:
    limits = Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.8)
    problem, found = asked_of(limits=limits, margins=Margins(conversion_fraction=0.01))
    told = why_not(problem, found, "BAPO=0.06")
    assert told.kind == "breaks_limits"
    assert told.broken[0]["limit"].startswith("base conversion, thumb")
    assert told.broken[0]["allowed"] == pytest.approx(0.8 * 0.7 + 0.01)
    assert told.broken[0]["excess"] == pytest.approx(told.broken[0]["allowed"] - told.broken[0]["figure"])
    assert "margins of the brief" in told.sentences[0]


def test_what_is_asked_is_read_or_refused() -> None:
    assert read_asked("BAPO=0.2 + HCPK=1") == {"BAPO": 0.2, "HCPK": 1.0}
    assert read_asked("TPO-L") == {"TPO-L": None}
    with pytest.raises(UnknownNameError, match="BAPPO"):
        read_asked("BAPPO")
    with pytest.raises(InputError, match="Give all or none"):
        read_asked("BAPO=1+HCPK")
    with pytest.raises(InputError, match="above 0"):
        read_asked("BAPO=none")
