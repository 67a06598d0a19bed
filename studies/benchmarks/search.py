"""Does the search find the best blend there is, and what does it cost beside other ways to search?

Twelve briefs that can be met and three that cannot (invented demonstration data, in `briefs`) are searched by the product and by
its peers (`search_methods.py`), all on the same simulator at the same coarse accuracy. A run succeeds when it comes within
1 % of the best blend anybody found, the audit of every combination included; for a brief that cannot be
met, when its violation is within 1 % of the least. The measure is films simulated until then. A peer stops at success or at its budget.

``python studies/benchmarks/search.py --seeds 10`` runs what is not yet in `results/search_runs.csv`, in an order that keeps
every part table balanced, and writes table, picture and the section of README.md. Stop it at any time; it goes on where it was.
"""

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

for _pool in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_pool, "1")

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "numerics")]
from search_methods import KEPT, METHODS, Enough, Watch
from search_table import write_results

from gelwright.models.solver import SolverSettings
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.evaluators import blend_evaluator
from gelwright.optimiser.local import Local
from gelwright.optimiser.problem import Point, Problem
from gelwright.optimiser.search import search
from gelwright.optimiser.tune import resolve

BRIEFS = tuple(sorted((HERE / "briefs").glob("*.toml")))
# accuracy of every method in this comparison: about 0.01 of conversion and 0.3 K off, at a third of the cost
COARSE = SolverSettings(
    cells=16, light_bins=6, tolerance_conversion=4e-3, tolerance_temperature_k=0.2, light_tolerance=4e-3
)
OURS, AUDIT = "gelwright", "gelwright, every combination"
NEAR_ENOUGH = 1.005  # a peer stops here; success is counted at 1.01
COLUMNS = (
    "brief", "method", "seed", "films", "cpu_s", "best_objective", "best_violation", "course", "note",
)  # fmt: skip


class WatchedProblem(Problem):
    """A problem that shows every full-accuracy blend to a watch."""

    watch: Watch | None = None
    made: list[Problem] = []  # noqa: RUF012  emptied for every run

    def __post_init__(self) -> None:
        super().__post_init__()
        WatchedProblem.made.append(self)

    def narrowed(self, keys: Sequence[str], *, screening: bool = False) -> Problem:
        return replace(self, space=self.space.subset(keys), is_screening=screening)

    def _points(self, loadings_wt_pct: Any, figures: Any) -> list[Point]:
        points = super()._points(loadings_wt_pct, figures)
        if WatchedProblem.watch is not None and not self.is_screening:
            for point in points:
                WatchedProblem.watch.see(point)
        return points


def problem_of(file: Path, seed: int) -> Problem:
    """One brief on the coarse simulator, one thread; the seed also shuffles the order of the substances."""
    inputs = resolve(replace(read_brief(file), seed=seed))
    substances = list(inputs.space.substances)
    if seed > 1:
        np.random.default_rng(seed).shuffle(substances)  # type: ignore[arg-type]
        substances.sort(key=lambda each: each.is_amine)
    inputs = replace(inputs, space=replace(inputs.space, substances=tuple(substances)))
    return WatchedProblem(
        brief=inputs.brief, lamp=inputs.lamp, gel=inputs.gel, space=inputs.space, more_lamps=inputs.more_lamps, workers=1,
        make_evaluator=partial(blend_evaluator, settings=COARSE),
    )  # fmt: skip


class _Nothing:
    """A ledger that keeps nothing."""

    def get(self, unit: str) -> Local | None:
        return None

    def put(self, unit: str, found: Local, seconds: float) -> None:
        pass


def run_one(file: Path, method: str, seed: int, most_films: int, goal: tuple[float, float]) -> dict[str, Any]:
    """One search of one brief by one method."""
    WatchedProblem.made.clear()
    problem = problem_of(file, seed)
    watch = Watch(
        problem=problem, most_films=most_films, goal=goal[1], is_possible=goal[0] == 0.0,
        counted=lambda: sum(each.simulations for each in WatchedProblem.made),
    )  # fmt: skip
    note = ""
    began = time.process_time()
    WatchedProblem.watch = watch
    try:
        if method.startswith(OURS):
            search(problem, ledger=_Nothing(), progress=lambda *_: None, exhaustive=method == AUDIT)
        else:
            METHODS[method](watch, seed)
    except Enough:
        pass
    except ImportError as missing:
        note = f"skipped: {missing}"
    finally:
        WatchedProblem.watch = None
    course = watch.course
    kept = not course or course[-1][1] == 0.0
    return {
        "brief": file.stem, "method": method, "seed": seed, "films": watch.films,
        "cpu_s": round(time.process_time() - began, 3),
        "best_objective": course[-1][2] if course and kept else np.nan,
        "best_violation": 0.0 if kept else course[-1][2],
        "course": json.dumps([[row[0], row[1], float(f"{row[2]:.7g}"), round(row[3], 3)] for row in course]),
        "note": note,
    }  # fmt: skip


def best_known(runs: pd.DataFrame, brief: str) -> tuple[float, float]:
    """(0, least objective) of a brief that can be met, else (1, least violation); (0, -inf) when nothing is known."""
    part = runs[(runs["brief"] == brief) & (runs["note"] == "")]
    met = part["best_objective"].dropna()
    if len(met):
        return 0.0, float(met.min())
    broken = part["best_violation"]
    return (1.0, float(broken.min())) if len(broken) else (0.0, -np.inf)


def wanted(methods: Sequence[str], seeds: int, briefs: Sequence[Path]) -> Iterator[tuple[Path, str, int]]:
    """All runs, seeds outermost, so that a part table is balanced."""
    for seed in range(1, seeds + 1):
        for file in briefs:
            for method in methods:
                if method != AUDIT or seed == 1:
                    yield file, method, seed


def read_runs(table: Path) -> pd.DataFrame:
    """Runs kept so far."""
    if not table.exists():
        return pd.DataFrame(columns=list(COLUMNS))
    return pd.read_csv(table, keep_default_na=False, na_values={"best_objective": [""]})


def main(
    folder: Path, seeds: int = 1, most_films: int = 60, briefs: Sequence[Path] = BRIEFS[9:10],
    methods: Sequence[str] = ("chance", "TPE (optuna)"), readme: Path | None = None,
) -> None:  # fmt: skip
    """Run what is missing; table and picture into `folder`. The defaults are a small version."""
    table = folder / "search_runs.csv"
    runs = read_runs(table)
    done = set(zip(runs["brief"], runs["method"], runs["seed"].astype(int), strict=True))
    left = [each for each in wanted(methods, seeds, briefs) if (each[0].stem, *each[1:]) not in done]
    for count, (file, method, seed) in enumerate(left, start=1):
        goal = best_known(runs, file.stem)
        row = run_one(file, method, seed, most_films, (goal[0], goal[1] * NEAR_ENOUGH))
        runs = pd.concat([runs, pd.DataFrame([row])], ignore_index=True) if len(runs) else pd.DataFrame([row])
        pd.DataFrame([row]).to_csv(table, mode="a", header=not table.exists(), index=False)
        best = row["best_violation"] or row["best_objective"]
        print(
            f"{count}/{len(left)} {file.stem}, {method}, seed {seed}: {row['films']} films, "
            f"{row['cpu_s']:.1f} s, best {best:.5g}{' (violation)' if row['best_violation'] > KEPT else ''} "
            f"{row['note']}", flush=True,
        )  # fmt: skip
    write_results(runs, folder, readme)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--films", type=int, default=2000, help="budget of a run")
    parser.add_argument("--briefs", nargs="*", default=[file.stem for file in BRIEFS])
    parser.add_argument("--methods", nargs="*", default=[AUDIT, OURS, *METHODS])
    parser.add_argument("--folder", type=Path, default=HERE / "results")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    main(
        given.folder, given.seeds, given.films,
        [file for file in BRIEFS if any(file.stem.startswith(name) for name in given.briefs)],
        given.methods, HERE / "README.md",
    )  # fmt: skip
