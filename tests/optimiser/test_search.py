"""The search on the stand-in simulator: answers, determinism, resumption, infeasible briefs."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser.answer import TIGHT, shadow_prices
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.local import Local, local_search
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.record import JOURNAL, Record, mend
from gelwright.optimiser.relaxing import conflicts
from gelwright.optimiser.search import Found, distinct, search
from gelwright.optimiser.subsets import subsets_of
from gelwright.optimiser.weighable import weighable

MakeProblem = Callable[..., Problem]
TIGHT_LIMITS = Limits(
    second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.8, total_initiator_max_wt_pct=4.0
)


class Memory(dict[str, Local]):
    """A ledger in memory that can crash after some units."""

    def __init__(self, crash_after: int | None = None) -> None:
        super().__init__()
        self.crash_after = crash_after

    def put(self, unit: str, found: Local, seconds: float) -> None:
        if self.crash_after is not None and len(self) >= self.crash_after:
            raise KeyboardInterrupt
        self[unit] = found


def quiet(done: int, total: int, words: str) -> None:
    assert 0 <= done <= total
    assert words


def run(problem: Problem, **options: object) -> Found:
    return search(problem, ledger=Memory(), progress=quiet, **options)  # type: ignore[arg-type]


def test_the_relaxed_search_finds_what_enumeration_finds(make_problem: MakeProblem) -> None:
    few = ("BAPO", "TPO-L", "HCPK", "HMPP", "DMPA", "CQ", "EDB")
    fast = run(make_problem(allowed=few))
    audit = run(make_problem(allowed=few), exhaustive=True)
    assert fast.is_feasible
    assert fast.ranked[0].objective == pytest.approx(audit.ranked[0].objective, rel=0.01)
    assert audit.units == 41  # 6 + 15 + 20 subsets of six initiators, the one type II always with its amine


def test_feasible_blends_keep_every_limit_and_are_ranked(make_problem: MakeProblem) -> None:
    found = run(make_problem(limits=TIGHT_LIMITS))
    feasible = [each for each in found.ranked if each.is_feasible]
    assert len(feasible) >= 2
    assert all(max(each.values) <= 0.0 for each in feasible)
    assert [each.objective for each in feasible] == sorted(each.objective for each in feasible)
    assert len({frozenset(each.blend_wt_pct) for each in found.ranked}) == len(found.ranked)


def test_same_seed_same_bits_other_seed_same_answer(make_problem: MakeProblem) -> None:
    first, again, other = (run(make_problem(seed=seed)) for seed in (1, 1, 2))
    assert first.ranked == again.ranked
    assert other.ranked[0].objective == pytest.approx(first.ranked[0].objective, rel=0.01)


def test_a_run_crashed_and_resumed_gives_the_same_answer(make_problem: MakeProblem) -> None:
    whole = run(make_problem())
    ledger = Memory(crash_after=4)
    with pytest.raises(KeyboardInterrupt):
        search(make_problem(), ledger=ledger, progress=quiet)
    ledger.crash_after = None
    resumed = search(make_problem(), ledger=ledger, progress=quiet)
    assert resumed.reused == 4
    assert resumed.ranked == whole.ranked
    assert resumed.simulations == whole.simulations


def test_the_journal_gives_back_every_bit_and_skips_finished_units(
    make_problem: MakeProblem, tmp_path: Path
) -> None:
    said: list[str] = []
    first = search(
        make_problem(), ledger=Record(tmp_path, "abc", make_problem(), said.append), progress=quiet
    )
    record = Record(tmp_path, "abc", make_problem(), said.append)
    again = search(make_problem(), ledger=record, progress=quiet)
    assert again.ranked == first.ranked
    assert again.reused == again.units == record.finished
    assert said == []
    best = record.study.best_trial
    assert best.value == pytest.approx(first.ranked[0].objective, rel=1e-3)
    assert set(best.constraints) == {row.name for row in make_problem().constraints}


def test_a_torn_journal_is_mended_and_the_rest_used(make_problem: MakeProblem, tmp_path: Path) -> None:
    whole = search(make_problem(), ledger=Record(tmp_path, "abc", make_problem(), print), progress=quiet)
    journal = tmp_path / JOURNAL
    journal.write_bytes(journal.read_bytes()[:-40])
    said: list[str] = []
    record = Record(tmp_path, "abc", make_problem(), said.append)
    assert len(said) == 1
    assert "damaged" in said[0]
    assert (tmp_path / f"{JOURNAL}.damaged_1").exists()
    resumed = search(make_problem(), ledger=record, progress=quiet)
    assert resumed.ranked == whole.ranked
    assert resumed.reused == resumed.units - 1


def test_mending_leaves_a_sound_journal_alone(tmp_path: Path) -> None:
    journal = tmp_path / JOURNAL
    assert mend(journal) == ""
    journal.write_text(json.dumps({"a": 1}) + "\n")
    before = journal.read_bytes()
    assert mend(journal) == ""
    assert journal.read_bytes() == before


def test_another_briefs_folder_is_refused(make_problem: MakeProblem, tmp_path: Path) -> None:
    Record(tmp_path, "abc", make_problem(), print)
    with pytest.raises(InputError, match="record of another brief"):
        Record(tmp_path, "abd", make_problem(), print)


def test_units_of_another_version_stay_in_the_journal_unused(
    make_problem: MakeProblem, tmp_path: Path
) -> None:
    said: list[str] = []
    first = Record(tmp_path, "abc-01", make_problem(), said.append)
    search(make_problem(), ledger=first, progress=quiet)
    assert said == []
    kept = (tmp_path / JOURNAL).read_bytes()
    newer = Record(tmp_path, "abc-02", make_problem(), said.append)
    assert newer.finished == 0
    assert len(said) == 1
    assert "another version" in said[0]
    assert "(01; this one is 02)" in said[0]
    search(make_problem(), ledger=newer, progress=quiet)
    assert (tmp_path / JOURNAL).read_bytes().startswith(kept)
    for digest in ("abc-01", "abc-02"):  # either version finds its own again, and says nothing
        assert Record(tmp_path, digest, make_problem(), said.append).finished == first.finished
    assert len(said) == 1
    with pytest.raises(InputError, match="record of another brief"):
        Record(tmp_path, "abd-02", make_problem(), said.append)


def test_an_impossible_brief_gives_the_nearest_blend_and_the_conflict(make_problem: MakeProblem) -> None:
    limits = Limits(second_cycle_heat_max_ratio=None, nail_bed_max_k=311.15)
    problem = make_problem(limits=limits)
    found = run(problem)
    assert not found.is_feasible
    assert found.ranked[0].violation == min(each.violation for each in found.ranked)
    clash = {each.family: each for each in conflicts(problem, found.ranked, TIGHT)}
    assert set(clash) == {"heat", "cure"}
    assert any(each.broken for each in clash.values())
    # giving way by that much on one side makes the brief possible; by half of it does not
    whole, enough = 311.15, clash["heat"].enough["nail bed peak"]
    for share, possible in ((1.02, True), (0.5, False)):
        relaxed = replace(limits, nail_bed_max_k=whole + share * (enough - whole))
        assert run(make_problem(limits=relaxed)).is_feasible is possible


def test_shadow_prices_agree_with_searching_again(make_problem: MakeProblem) -> None:
    found = run(make_problem()).ranked[0]
    part = make_problem().narrowed(tuple(found.blend_wt_pct))
    price = shadow_prices(part, found)[0]
    assert price.constraint.limit_name == "base conversion"
    assert price.objective_per_unit > 0.0  # a higher limit needs more initiator
    low = np.full(len(part.space.keys), 0.05)
    step = 0.002
    changed = []
    for sign in (-1.0, 1.0):
        least = price.constraint.limit + sign * step
        limits = Limits(
            second_cycle_heat_max_ratio=None,
            bottom_conversion_min_share=None,
            bottom_conversion_min_fraction=least,
        )
        moved = make_problem(limits=limits).narrowed(tuple(found.blend_wt_pct))
        changed.append(local_search(moved, moved.vector(found.blend_wt_pct), low).objective)
    assert (changed[1] - changed[0]) / (2 * step) == pytest.approx(price.objective_per_unit, rel=0.05)


def test_rounded_loadings_can_be_weighed_and_keep_the_limits(make_problem: MakeProblem) -> None:
    feasible = [each for each in run(make_problem(limits=TIGHT_LIMITS)).ranked if each.is_feasible]
    for found in feasible:
        rounded = weighable(make_problem(limits=TIGHT_LIMITS).narrowed(tuple(found.blend_wt_pct)), found)
        assert rounded.is_feasible
        for key, loading in rounded.blend_wt_pct.items():
            assert loading * 1000.0 == pytest.approx(round(loading * 1000.0), abs=1e-6)
            assert abs(loading - found.blend_wt_pct[key]) <= 0.001 + 1e-9


def test_subsets_bring_an_amine_only_beside_type_two(make_problem: MakeProblem) -> None:
    problem = make_problem(allowed=("BAPO", "CQ", "EDB"), max_initiators=2)
    assert subsets_of(problem, ("BAPO", "CQ"), ("EDB",)) == [("BAPO",), ("CQ", "EDB"), ("BAPO", "CQ", "EDB")]


def test_an_idle_member_makes_no_blend_of_its_own() -> None:
    def local(blend: dict[str, float], objective: float) -> Local:
        return Local(
            blend_wt_pct=blend,
            objective=objective,
            limits=("x",),
            values=(-1.0,),
            figures=(0.0,),
            multipliers=(),
            simulations=1,
        )

    pair, idle, useful = (
        local({"A": 1.0, "B": 1.0}, 2.0), local({"A": 1.0, "B": 1.0, "C": 0.05}, 2.001),
        local({"A": 0.5, "B": 0.5, "D": 0.05}, 1.05),
    )  # fmt: skip
    assert distinct([idle, pair, useful]) == [useful, pair]
