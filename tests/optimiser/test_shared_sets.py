"""Sets and choices that are killed or shared out give the answer of an undisturbed run."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.optimiser import record_shared, set_tune
from gelwright.optimiser.demo_data import DEMO_FOLDER
from gelwright.optimiser.local import Local
from gelwright.optimiser.search import Found
from gelwright.optimiser.set_brief import read_set
from gelwright.optimiser.set_kept import Kept
from gelwright.optimiser.set_tune import polished_stack, resolve_set, set_fingerprint
from gelwright.optimiser.sharing import Shared
from gelwright.optimiser.stack_problem import StackProblem
from gelwright.optimiser.takers import SearchedTaker, problem_of

SET = (
    (DEMO_FOLDER / "sets" / "base_and_builder.toml")
    .read_text(encoding="utf-8")
    .replace('allowed = ["BAPO", "TPO-L", "HCPK"]', 'allowed = ["BAPO"]')
    .replace("low_um = 40", "low_um = 60")
    .replace("low_um = 200", "low_um = 300")
)


def quiet(done: int, total: int, words: str) -> None: ...


class InMemory:
    """What a shared database keeps, of all records made of it."""

    kept: dict[tuple[str, str], Local]

    def __init__(self, url: str, digest: str, **options: Any) -> None:
        self.digest = digest

    def results(self, jobs: Mapping[str, Callable[[], Local]]) -> Iterator[tuple[str, Local, bool]]:
        for unit, job in jobs.items():
            is_known = (self.digest, unit) in self.kept
            if not is_known:
                self.kept[self.digest, unit] = job()
            yield unit, self.kept[self.digest, unit], is_known

    def get(self, unit: str) -> Local | None:
        return self.kept.get((self.digest, unit))

    def put(self, unit: str, found: Local, seconds: float) -> None:
        self.kept[self.digest, unit] = found


def test_a_joint_polish_begun_elsewhere_is_another_unit_of_the_shared_database(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same set begins at the blends of a warm start first and at those of the full search later."""
    monkeypatch.setattr(InMemory, "kept", {}, raising=False)
    monkeypatch.setattr(record_shared, "SharedRecord", InMemory)
    begun: list[list[float]] = []

    def polished(problem: StackProblem, shared: Shared) -> Local:
        start = set_tune.start_of(problem, shared)
        begun.append(start.tolist())
        return local(problem.blend(start))

    monkeypatch.setattr(set_tune, "_polished", polished)
    file = tmp_path / "set.toml"
    file.write_text(SET, encoding="utf-8")
    inputs = resolve_set(read_set(file))

    def found_from(loadings: tuple[float, float]) -> np.ndarray[Any, Any]:
        takers = [
            SearchedTaker(
                name=gel.gel.name,
                problem=problem_of(gel, 1),
                found=Found(ranked=(local({"BAPO": load}),), simulations=0, units=1, reused=0, method=""),
                digest="abc-01",
            )
            for gel, load in zip(inputs.gels, loadings, strict=True)
        ]
        kept = Kept(
            folder=tmp_path, digest=set_fingerprint(inputs, takers), say=print, storage="postgresql://h/d"
        )
        stack = polished_stack(inputs, takers, workers=1, progress=quiet, most_tried=1, kept=kept)
        return stack.problem.vector(stack.found.blend_wt_pct)

    for start in ((0.14, 0.18), (0.15, 0.17), (0.14, 0.18)):
        assert found_from(start) == pytest.approx(start)
    assert begun == [[0.14, 0.18], [0.15, 0.17]]  # what is known is not polished again


def local(blend_wt_pct: dict[str, float]) -> Local:
    plain = Local(
        blend_wt_pct=blend_wt_pct, objective=1.0, limits=(), values=(-1.0,), figures=(), multipliers=(), simulations=0
    )  # fmt: skip
    return replace(plain, objective=sum(blend_wt_pct.values()))
