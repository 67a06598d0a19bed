"""Sets and choices that are killed or shared out give the answer of an undisturbed run."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.optimiser import record_shared, set_tune
from gelwright.optimiser.demo_data import DEMO_FOLDER
from gelwright.optimiser.local import Local
from gelwright.optimiser.progress import ProgressBar
from gelwright.optimiser.search import Found
from gelwright.optimiser.set_brief import read_set
from gelwright.optimiser.set_kept import Kept
from gelwright.optimiser.set_tune import polished_stack, resolve_set, set_fingerprint
from gelwright.optimiser.sharing import Shared
from gelwright.optimiser.stack_problem import StackProblem
from gelwright.optimiser.takers import SearchedTaker, problem_of

REPOSITORY = Path(__file__).resolve().parents[2]
DRAWS = 4  # of the chances: how many there are matters to no search

# One worker. Stacks have few cells and loose tolerances; for lists of lamps, which need none, films are those of the stand-in.
WORKER = f"""
import importlib.util, json, sys, types
from dataclasses import replace
from functools import partial
from pathlib import Path
if importlib.util.find_spec("gelwright") is None:
    package = types.ModuleType("gelwright")
    package.__path__ = [{str(REPOSITORY)!r}]
    sys.modules["gelwright"] = package
spec = importlib.util.spec_from_file_location("stand_in", {str(REPOSITORY / "tests/optimiser/conftest.py")!r})
conftest = importlib.util.module_from_spec(spec)
sys.modules["stand_in"] = conftest
spec.loader.exec_module(conftest)
from gelwright.models import stack
from gelwright.optimiser import code_version, record_shared
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.choices import tune_choices
from gelwright.optimiser.choices_report import choices_data
from gelwright.optimiser.lamp_choice import tune_lamps
from gelwright.optimiser.lamp_choice_report import lamps_data
from gelwright.optimiser.set_brief import is_set, read_set
from gelwright.optimiser.set_report import set_data
from gelwright.optimiser.set_tune import resolve_set, tune_set
stack.SolverSettings = partial(
    stack.SolverSettings, cells=20, nail_cells=4, tissue_cells=6, tolerance_conversion=3e-3, tolerance_temperature_k=0.2
)
code_version.code_version = lambda: "01"  # reading all sources takes a second
record_shared.SharedRecord = partial(record_shared.SharedRecord, heartbeat_s=1, grace_s=3)
file, folder, url = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
def fewer_draws(brief):
    return replace(brief, uncertainty=replace(brief.uncertainty, draws={DRAWS}))
if is_set(file):
    asked = read_set(file)
    asked, tune, data = resolve_set(replace(asked, brief=fewer_draws(asked.brief))), tune_set, set_data
else:
    asked = fewer_draws(read_brief(file))
    tune, data = tune_choices, choices_data
    if asked.choices.is_empty:
        tune, data = partial(tune_lamps, make_evaluator=conftest.StandIn), lamps_data
outcome = tune(
    asked, folder, workers=1, progress=lambda done, total, words: None, say=partial(print, flush=True), storage=url or None
)
(folder / "results.json").write_text(json.dumps(data(outcome), indent=1), encoding="utf-8")
"""
SET = (
    (DEMO_FOLDER / "sets" / "base_and_builder.toml")
    .read_text(encoding="utf-8")
    .replace('allowed = ["BAPO", "TPO-L", "HCPK"]', 'allowed = ["BAPO"]')
    .replace("low_um = 40", "low_um = 60")
    .replace("low_um = 200", "low_um = 300")
)


CHOICES = """
title = "one coat or two"
seed = 1
[lamp]
names = ["demo_arch_365_405"]
cure_seconds = 60
[choices]
coats = [1, 2] # too hot in one coat: the second wins, from a warm start first and then searched in full
[gel]
file = "clear_builder"
[thickness]
low_um = 500
high_um = 500
[market]
names = ["EU"]
on_date = 2026-01-15
professional_use = true
[substances]
allowed = ["BAPO"]
smallest_loading_wt_pct = 0.05
[limits]
nail_bed_max_c = 45
bottom_conversion_min_share = 0.9
[objective]
minimise = "least_initiator"
"""


LAMPS = """
title = "which lamps"
seed = 1
[lamp]
names = ["demo_arch_365_405", "demo_narrow_405"]
serve = "largest_set"
cure_seconds = 60
[gel]
file = "clear_builder"
[thickness]
low_um = 150
high_um = 200
[market]
names = ["EU"]
on_date = 2026-01-15
professional_use = true
[substances]
allowed = ["BAPO", "TPO-L"]
[limits]
nail_bed_max_c = 46
[objective]
minimise = "least_initiator"
"""
ASKED = {"set": SET, "choices": CHOICES, "lamps": LAMPS}


def started(what: str, folder: Path, url: str = "") -> subprocess.Popen[str]:
    """A worker on one of the briefs, in a run folder."""
    folder.mkdir(exist_ok=True)
    file = folder.with_suffix(".toml")
    file.write_text(ASKED[what], encoding="utf-8")
    alike = os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
    arguments = [sys.executable, "-c", WORKER, str(file), str(folder), url]
    return subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=alike)


def finished(worker: subprocess.Popen[str]) -> str:
    out, err = worker.communicate(timeout=300)
    assert worker.returncode == 0, err
    return out


def answer(folder: Path) -> Any:
    return json.loads((folder / "results.json").read_text(encoding="utf-8"))


def lines(folder: Path, file: str) -> int:
    return sum(path.read_bytes().count(b"\n") for path in folder.rglob(file))


def killed(worker: subprocess.Popen[str], folder: Path, file: str, at_least: int) -> None:
    """Kill a worker as soon as its files of a name hold that many lines; it must not be through before."""
    end = time.monotonic() + 200.0
    while lines(folder, file) < at_least:
        assert worker.poll() is None, worker.communicate()[1]
        assert time.monotonic() < end
        time.sleep(0.01)
    worker.send_signal(signal.SIGKILL)
    worker.communicate()
    assert worker.returncode == -signal.SIGKILL


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Any]:
    """Answer of a run that nobody disturbs, by what is asked."""

    @cache
    def run(what: str) -> Any:
        folder = tmp_path_factory.mktemp(what) / "alone"
        finished(started(what, folder))
        return answer(folder)

    return run


# in the search of single coats, in the joint polish near its beginning and near its end
MOMENTS = {
    "set": [("builds.jsonl", 4), ("builds.jsonl", 10)],
    "choices": [("evaluations.csv", 60), ("builds.jsonl", 12)],
    "lamps": [("evaluations.csv", 100)],
}


@pytest.mark.skipif(os.name == "nt", reason="no such signal")
@pytest.mark.parametrize("what", ASKED)
def test_killed_and_started_again_it_gives_the_answer_of_an_undisturbed_run(
    what: str, alone: Callable[[str], Any], tmp_path: Path
) -> None:
    folder = tmp_path / "run"
    for file, count in MOMENTS[what]:
        killed(started(what, folder), folder, file, count)
        assert not (folder / "results.json").exists()
    finished(started(what, folder))
    assert answer(folder) == alone(what)


@pytest.mark.parametrize(
    ("what", "dies", "others"),
    [("set", True, ["one", "other"]), ("choices", True, ["one"]), ("lamps", False, ["one", "other"])],
)
def test_workers_of_one_database_give_the_answer_of_one_alone_also_when_one_is_killed(
    what: str, dies: bool, others: list[str], database: str, alone: Callable[[str], Any], tmp_path: Path
) -> None:
    if dies:
        dying = tmp_path / "dying"
        killed(started(what, dying, database), dying, *MOMENTS[what][-1])
    together = [started(what, tmp_path / name, database) for name in others]
    said = [finished(worker) for worker in together]
    for name in others:
        assert answer(tmp_path / name) == alone(what)
    assert "".join(said) == ""


def test_work_of_another_version_in_the_database_is_told_not_used_and_not_lost(
    database: str, tmp_path: Path
) -> None:
    said: list[str] = []
    older, newer = local({"BAPO": 0.1}), local({"BAPO": 0.2})

    def polish(version: str, job: Callable[[], Local]) -> Local:
        kept = Kept(folder=tmp_path, digest=f"set a0b1-{version}", say=said.append, storage=database)
        return kept.polish("choice 1 of substances from c2d3", job)

    def never() -> Local:
        raise AssertionError("known already")

    assert polish("01", lambda: older) == older
    assert said == []
    assert polish("02", lambda: newer) == newer
    assert len(said) == 1
    assert said[0].startswith(
        "--storage: holds work of another version of the search, the model or its data (01; this one is 02). "
    )
    assert "nothing is taken from it: this run starts afresh beside it" in said[0]
    assert "not-to-be-shown" not in said[0]
    assert (polish("01", never), polish("02", never)) == (older, newer)
    assert len(said) == 1  # both versions go on with their own


def test_a_sentence_that_every_gel_of_a_set_says_is_shown_once(capsys: pytest.CaptureFixture[str]) -> None:
    with ProgressBar() as bar:
        for sentence in ("holds work of another version", "holds work of another version", "Written: run"):
            bar.say(sentence)
    assert capsys.readouterr().err == "holds work of another version\nWritten: run\n"


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
