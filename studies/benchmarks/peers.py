"""How fast is the stepper beside other ways to solve the same equations, at the same error, on the same machine?

The same packed films are solved by the stepper (one film; a batch on one and on two threads), by scipy's LSODA, BDF and Radau,
by CVODE of SUNDIALS where scikit-sundae is installed, and by the stepper's own scheme in vectorised NumPy. All integrators get
the compiled right-hand side and a compiled banded Jacobian (LSODA and CVODE as a band, BDF and Radau as a sparse matrix).
Error: the largest of bottom, surface and mean conversion at the end of light and of dark, mean over the films, against BDF
at 1e-9, which Radau at 1e-7 must bear out. Also measured: growth of the cost with cells and light bins, use of both cores, and the time from the start of Python to
the first result with and without compiled code on disk.

``python studies/benchmarks/peers.py`` (a quiet machine, minutes) writes tables, a picture, and the numbers in README.md.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

for _pool in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_pool, "1")  # one film on one core, whoever solves it

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
NUMERICS = HERE.parent / "numerics"
sys.path[:0] = [str(HERE), str(NUMERICS)]
from peer_methods import (
    Problem,
    case_of,
    cvode,
    numpy_peer,
    problem,
    scipy_peer,
    seconds_of,
    stepper,
    stepper_batch,
    use_of_two_cores,
)
from peer_table import MARKS, draw, report
from readme_section import write_section

from gelwright.models import layout as at
from gelwright.models.core_arrays import copy_state
from gelwright.models.cure import film_model, schedule
from gelwright.models.packing import pack
from gelwright.models.solver import SolverSettings, control_row, segment_rows, solve_packed

FILMS = (
    ("clear_builder", "demo_arch_365_405", 60.0),
    ("base_coat", "demo_narrow_405", 30.0),
    ("top_coat", "demo_strong_395", 20.0),
    ("old_builder_tpo", "demo_fluorescent_365", 60.0),
)
STEPPER, PEERS = (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5), (1e-3, 1e-4, 1e-5, 1e-6, 1e-7)
SLOW, SLOW_PEERS = ("scipy BDF", "scipy Radau"), (1e-3, 1e-4, 1e-5)
MOST_IN_NUMPY = 16  # films of a batch in NumPy
BATCH_STEPS_S = (2.0, 1.0, 0.5, 0.2)


def compare(problems: Sequence[Problem], knobs: dict[str, Sequence[float]], batch: int) -> pd.DataFrame:
    """Error and time per film of every method at every accuracy, mean over the films."""
    together = min(batch, MOST_IN_NUMPY)
    methods: dict[str, Callable[[Problem, float], tuple[float, float]]] = {
        "stepper": stepper,
        f"NumPy, batch of {together}": lambda one, step: numpy_peer(one, step, together),
        **{f"scipy {m}": lambda one, tol, m=m: scipy_peer(one, m, tol) for m in ("LSODA", "BDF", "Radau")},
    }
    try:
        import sksundae  # noqa: F401

        methods["SUNDIALS CVODE"] = cvode
    except ImportError:
        print("CVODE left out: scikit-sundae is not installed (pip install gelwright[benchmarks])")
    rows = []
    for name, method in methods.items():
        key = "NumPy" if name.startswith("NumPy") else "stepper" if name == "stepper" else "peer"
        key = "slow" if name in SLOW else key
        for knob in knobs[key]:
            pairs = []
            for one in problems:
                try:
                    pairs.append(method(one, knob))
                except Exception as problem:  # noqa: BLE001 - a peer that gives up is a result
                    print(f"{name} at {knob:g}: {problem}")
                    pairs.append((np.nan, np.nan))
                    break
            error, took = np.mean(pairs, axis=0)
            print(f"{name} at {knob:g}: {1e3 * took:.3g} ms, error {error:.2g}", file=sys.stderr, flush=True)
            rows.append({"method": name, "accuracy": knob, "error": error, "seconds_per_film": took})
            if name == "stepper":
                for workers in (1, 2):
                    took = np.mean([stepper_batch(one, knob, batch, workers) for one in problems])
                    label = f"stepper, batch on {workers} thread{'s' * (workers > 1)}"
                    rows.append({"method": label, "accuracy": knob, "error": error, "seconds_per_film": took})
    return pd.DataFrame(rows)


def scaling(cells: Sequence[int], bins: Sequence[int]) -> pd.DataFrame:
    """Time per step against cells and against light bins, with the slope in the logarithm."""
    rows = []
    for kind, counts in (("cells", cells), ("light bins", bins)):
        for count in counts:
            settings = (
                SolverSettings(cells=count) if kind == "cells" else SolverSettings(light_bins=count, cells=40)
            )
            case = case_of(*FILMS[0])
            film, state = pack(film_model(case, settings))
            segments, control = segment_rows(schedule(case)), control_row(settings)

            def task(film: Any = film, state: Any = state, segments: Any = segments, c: Any = control) -> Any:
                return solve_packed(film, copy_state(state), segments, c, record=False)

            totals = task().totals
            tries = totals[at.STEPS] + totals[at.REJECTED]
            size = film.width.size if kind == "cells" else film.photons.size
            rows.append({"what": kind, "count": size, "us_per_step": 1e6 * seconds_of(task) / tries})
    table = pd.DataFrame(rows)
    for kind, part in table.groupby("what"):
        if len(part) > 1:
            slope = np.polyfit(np.log(part["count"]), np.log(part["us_per_step"]), 1)[0]
            table.loc[table["what"] == kind, "slope"] = slope
    return table


FIRST_RESULT = """
import sys
sys.path.insert(0, {numerics!r})
import bare_checkout
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.optimiser.demo_data import load_any_gel
cure(load_any_gel("clear_builder"), load_lamp("demo_arch_365_405"), exposure_s=60.0)
"""


def first_result_s() -> tuple[float, float]:
    """Seconds from the start of Python to the first cure: nothing compiled yet, and compiled before."""
    with tempfile.TemporaryDirectory() as folder:
        times = []
        for _ in range(2):
            began = time.perf_counter()
            code = FIRST_RESULT.format(numerics=str(NUMERICS))
            subprocess.run(
                [sys.executable, "-c", code], check=True, env=os.environ | {"NUMBA_CACHE_DIR": folder}
            )
            times.append(time.perf_counter() - began)
    return times[0], times[1]


def main(
    folder: Path, cells: int = 8, small: bool = True, batch: int = 4, readme: Path | None = None
) -> None:
    """Run the comparison; tables and picture into `folder`, numbers into `readme`. The defaults are a small version."""
    films = FILMS[1:2] if small else FILMS
    problems = [problem(*each, cells, *((1e-7,) if small else (1e-9, 1e-7))) for each in films]
    knobs: dict[str, Sequence[float]] = {
        "stepper": STEPPER,
        "peer": PEERS,
        "slow": SLOW_PEERS,
        "NumPy": BATCH_STEPS_S,
    }
    if small:
        knobs = {"stepper": (1e-2, 1e-3), "peer": (1e-3,), "slow": (1e-3,), "NumPy": (1.0,)}
    table = compare(problems, knobs, batch)
    grown = scaling((20, 40), (8, 16)) if small else scaling((20, 40, 80, 160, 320), (4, 8, 16, 32, 64))
    cores = use_of_two_cores(problems[0], *((8, 1) if small else (8 * batch, 5)))
    cold = None if small else first_result_s()
    table.to_csv(folder / "peers.csv", index=False, float_format="%.4g")
    grown.to_csv(folder / "scaling.csv", index=False, float_format="%.4g")
    draw(table, grown, folder / "peers.png")
    text = report(table, grown, cold, cores, max(one.doubt for one in problems))
    print(text)
    if readme is not None:
        write_section(readme, MARKS, text)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, default=SolverSettings().cells)
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--small", action="store_true")
    parser.add_argument("--folder", type=Path, default=HERE / "results")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    main(given.folder, given.cells, given.small, given.batch, None if given.small else HERE / "README.md")
