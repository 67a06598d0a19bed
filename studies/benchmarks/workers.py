"""What do workers gain, and what does keeping a record cost? One sweep on one and on two workers, and the cost of the logs.

Run with the package installed: `python studies/benchmarks/workers.py`. Ratios of one run count, not seconds; run it on a
quiet machine. Processes and the cluster are left out where the package or Dask is not installed.
"""

import importlib.util
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

import gelwright
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.batch import Scenario
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.demo_data import brief_path, load_any_gel
from gelwright.optimiser.evaluation_log import EvaluationLog
from gelwright.optimiser.evaluators import blend_evaluator
from gelwright.optimiser.local import evaluated
from gelwright.optimiser.record import Record
from gelwright.optimiser.sweep import Sweep, executor_of, grid_of, run_sweep
from gelwright.optimiser.takers import problem_of
from gelwright.optimiser.tune import resolve

SLOW = True
LEVELS, QUICK_LEVELS = 24, 6  # loadings of each substance: in earnest, and just to see that it runs
BATCHES = 12
UNITS = 30


def sweep_rows(levels: int) -> list[tuple[str, int, float, float]]:
    """Executor, workers, seconds and speed over one thread."""
    lamp = load_lamp("demo_arch_365_405")
    scenarios = tuple(
        Scenario(lamp=lamp, position=position, thickness_m=300e-6, exposure_s=60.0, cycles=1)
        for position in (lamp.weakest, lamp.strongest)
    )
    sweep = Sweep(
        gel=load_any_gel("clear_builder").with_initiators({}, {}),
        initiators=("TPO-L", "BAPO"),
        amines=(),
        scenarios=scenarios,
    )
    each = np.geomspace(0.1, 3.0, levels).tolist()
    loadings = grid_of([each, each])
    batch = max(1, len(loadings) // BATCHES)
    rows: list[tuple[str, int, float, float]] = []
    kinds = ["threads"]
    if (
        gelwright.__spec__ is not None
    ):  # child processes cannot import a package that only the tests have put together
        kinds += ["processes"] + (["dask"] if importlib.util.find_spec("distributed") else [])
    for kind in kinds:
        for workers in (1, 2):
            with executor_of(kind, workers) as executor:
                for _ in executor.map(sweep, [loadings[:1]] * (2 * workers)):  # start and compile
                    pass
                began = time.perf_counter()
                run_sweep(sweep, loadings, executor, batch=batch)
                taken = time.perf_counter() - began
            first = rows[0][2] if rows else taken
            rows.append((kind, workers, taken, first / taken))
            print(
                f"{kind:10s} {workers} worker(s) {taken:7.2f} s, {first / taken:.2f} times one thread",
                flush=True,
            )
    return rows


def record_rows() -> list[tuple[str, float, float]]:
    """What is kept, milliseconds each, and that over the simulation it belongs to."""
    inputs = resolve(read_brief(brief_path("demo")))
    problem = problem_of(inputs, workers=1)
    rng = np.random.default_rng(1)
    loadings = rng.uniform(0.1, 1.0, (64, len(problem.space.keys)))
    films = len(loadings) * len(problem.scenarios)
    with TemporaryDirectory() as name:
        folder = Path(name)
        log = EvaluationLog(folder, problem.space.keys)
        log.open(print)
        evaluator = blend_evaluator(
            problem.gel, problem.space.initiators, problem.space.amines, problem.scenarios, workers=1
        )
        evaluator(loadings[:1])
        began = time.perf_counter()
        figures = evaluator(loadings)
        simulated = (time.perf_counter() - began) / films
        began = time.perf_counter()
        log.write(
            problem.space.keys, problem.scenarios, loadings, figures, is_screening=False, is_neighbour=False
        )
        logged = (time.perf_counter() - began) / films
        record = Record(folder, "benchmark", problem, print)
        unit = evaluated(problem, loadings[0], 0)
        began = time.perf_counter()
        for i in range(UNITS):
            record.put(f"unit {i}", unit, 0.0)
        kept = (time.perf_counter() - began) / UNITS
    rows = [
        ("simulated film", 1e3 * simulated, 1.0),
        ("its row in evaluations.csv", 1e3 * logged, logged / simulated),
        ("finished unit in journal.log", 1e3 * kept, kept / simulated),
    ]
    for what, milliseconds, ratio in rows:
        print(f"{what:30s} {milliseconds:8.4f} ms, {ratio:.4f} of a film")
    return rows


def main(folder: Path = Path("benchmark_workers"), levels: int = QUICK_LEVELS) -> None:
    """Print both tables and write them to workers.csv and records.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    workers = [f"{kind},{n},{taken:.3f},{speed:.3f}" for kind, n, taken, speed in sweep_rows(levels)]
    records = [f"{what},{ms:.5f},{ratio:.5f}" for what, ms, ratio in record_rows()]
    (folder / "workers.csv").write_text(
        "\n".join(["executor,workers,s,speed_up", *workers]) + "\n", encoding="utf-8"
    )
    (folder / "records.csv").write_text(
        "\n".join(["what,ms,share_of_a_film", *records]) + "\n", encoding="utf-8"
    )


if __name__ == "__main__":
    main(levels=LEVELS)
