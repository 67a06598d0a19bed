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
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

for _pool in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_pool, "1")  # one film on one core, whoever solves it

import numpy as np
import pandas as pd
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
NUMERICS = HERE.parent / "numerics"
sys.path[:0] = [str(HERE), str(NUMERICS)]
from numpy_batch import BatchFilms
from reference_film import ReferenceFilm

from gelwright.lamp_library.errors import SolverError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models import layout as at
from gelwright.models.core_arrays import FilmArrays, State, copy_state
from gelwright.models.core_totals import bottom_value, surface_mean
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.packing import pack
from gelwright.models.solver import SolverSettings, control_row, run_parallel, segment_rows, solve_packed
from gelwright.optimiser.demo_data import load_any_gel

Array = NDArray[np.float64]
FILMS = (
    ("clear_builder", "demo_arch_365_405", 60.0),
    ("base_coat", "demo_narrow_405", 30.0),
    ("top_coat", "demo_strong_395", 20.0),
    ("old_builder_tpo", "demo_fluorescent_365", 60.0),
)
TARGETS = (2e-3, 5e-4, 1e-4)
STEPPER, PEERS = (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5), (1e-3, 1e-4, 1e-5, 1e-6, 1e-7)
SLOW, SLOW_PEERS = ("scipy BDF", "scipy Radau"), (1e-3, 1e-4, 1e-5)
MOST_IN_NUMPY = 16  # films of a batch in NumPy
BATCH_STEPS_S = (2.0, 1.0, 0.5, 0.2)
MARK, END = "<!-- numbers: written by peers.py -->", "<!-- end of numbers -->"


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """A film, its programme, and the right answer at the end of every segment."""

    reference: ReferenceFilm
    exact: Array  # (n_segment, 3)
    doubt: float  # how far a second integrator is from it

    @property
    def film(self) -> FilmArrays:
        return self.reference.film

    @property
    def segments(self) -> Array:
        return self.reference.segments

    def state(self) -> State:
        return copy_state(self.reference.state)

    def error(self, conversion: Sequence[Array]) -> float:
        """Largest error of bottom, surface and mean conversion at the ends of the segments."""
        return float(np.abs(figures(self.film.width, conversion) - self.exact).max())


def figures(width: Array, conversion: Sequence[Array]) -> Array:
    """Bottom, surface and mean conversion of profiles, shape (n_profile, 3)."""
    rows = [
        (bottom_value(width, x), surface_mean(width, x, 0.2), width @ x / width.sum()) for x in conversion
    ]
    return np.array(rows)


def case_of(name: str, lamp: str, seconds: float) -> CureCase:
    return CureCase(gel=load_any_gel(name), lamp=load_lamp(lamp), exposure_s=seconds, rest_s=30.0)


@cache
def problem(
    name: str, lamp: str, seconds: float, cells: int, relative: float = 1e-9, again: float = 0.0
) -> Problem:
    """A film of the demonstration set with its reference solution."""
    case = case_of(name, lamp, seconds)
    reference = ReferenceFilm(film_model(case, SolverSettings(cells=cells)), schedule(case))
    times, width = reference.edges_s[1:], reference.film.width
    exact = figures(width, reference.integrate(times, method="BDF", relative=relative).conversion_fraction)
    doubt = 0.0
    if again > 0.0:
        second = reference.integrate(times, method="Radau", relative=again)
        doubt = float(np.abs(figures(width, second.conversion_fraction) - exact).max())
    return Problem(reference, exact, doubt)


def seconds_of(task: Callable[[], Any], least_s: float = 0.2) -> float:
    """Shortest of several runs; a task of more than half a second is run once."""
    best, spent, runs = np.inf, 0.0, 0
    while (spent < least_s and runs < 50) or (runs < 3 and spent < 0.5):
        began = time.perf_counter()
        task()
        took = time.perf_counter() - began
        best, spent, runs = min(best, took), spent + took, runs + 1
    return float(best)


def stepper_control(tolerance: float) -> Array:
    """All tolerances in the proportions of the default settings."""
    return control_row(
        SolverSettings(
            tolerance_conversion=tolerance,
            tolerance_temperature_k=50.0 * tolerance,
            light_tolerance=tolerance,
        )
    )


def stepper(one: Problem, tolerance: float) -> tuple[float, float]:
    """Error and seconds of the stepper."""
    control = stepper_control(tolerance)
    seen = solve_packed(one.film, one.state(), one.segments, control, record=True)
    ends = np.searchsorted(seen.record[:, at.TIME], one.reference.edges_s[1:] * (1.0 - 1e-9))
    task = lambda: solve_packed(one.film, one.state(), one.segments, control, record=False)
    return one.error(seen.conversion_steps[ends]), seconds_of(task)


def stepper_batch(one: Problem, tolerance: float, count: int, workers: int) -> float:
    """Seconds per film of a batch on threads."""
    control = stepper_control(tolerance)

    def film(_: int) -> None:
        solve_packed(one.film, one.state(), one.segments, control, record=False)

    return seconds_of(lambda: run_parallel(film, count, workers)) / count


def scipy_peer(one: Problem, method: str, relative: float) -> tuple[float, float]:
    """Error and seconds of a method of solve_ivp."""
    times = one.reference.edges_s[1:]
    course = one.reference.integrate(times, method=method, relative=relative)
    task = lambda: one.reference.integrate(times, method=method, relative=relative)
    return one.error(course.conversion_fraction), seconds_of(task)


def _cvode_functions(
    reference: ReferenceFilm, number: int, rows: Array, columns: Array
) -> tuple[Callable[..., None], Callable[..., None]]:
    """Right-hand side and Jacobian in the form CVODE calls them."""
    rates, band = reference.rates(number), reference.band(number)

    def right(t: float, y: Array, out: Array) -> None:
        out[:] = rates(t, np.array(y))

    def jacobian(t: float, y: Array, _: Array, out: Array) -> None:
        out[rows, columns] = band(t, np.array(y))[reference.upper + rows - columns, columns]

    return right, jacobian


def _cvode_run(reference: ReferenceFilm, relative: float) -> list[Array]:
    """Variables at the ends of the segments by CVODE's BDF with a banded matrix."""
    from sksundae.cvode import CVODE

    columns = np.repeat(np.arange(reference.size), reference.lower + reference.upper + 1)
    rows = columns + np.tile(np.arange(-reference.upper, reference.lower + 1), reference.size)
    inside = (rows >= 0) & (rows < reference.size)
    rows, columns = rows[inside], columns[inside]
    y, ends = reference.start, []
    for number, row in enumerate(reference.segments):
        right, jacobian = _cvode_functions(reference, number, rows, columns)
        solver = CVODE(
            right,
            rtol=relative,
            atol=reference.tolerances(relative),
            linsolver="band",
            lband=reference.lower,
            uband=reference.upper,
            max_num_steps=20_000,
            jacfn=jacobian,
        )
        answer = solver.solve([0.0, float(row[at.S_DURATION])], y)
        if not answer.success:
            raise SolverError(f"CVODE in segment {number}: {answer.message}")
        y = answer.y[-1]
        ends.append(np.array(y))
    return ends


def cvode(one: Problem, relative: float) -> tuple[float, float]:
    """Error and seconds of CVODE.

    With its own banded differences it takes up to five times as long or stalls: light couples cells outside the band.
    """
    reference = one.reference
    full = reference.film.initial.sum(axis=0)
    states = [reference.unpack(y) for y in _cvode_run(reference, relative)]
    error = one.error([1.0 - state.bonds.sum(axis=0) / full for state in states])
    return error, seconds_of(lambda: _cvode_run(reference, relative))


def numpy_peer(one: Problem, step_s: float, count: int) -> tuple[float, float]:
    """Error, and seconds per film, of the scheme in NumPy on a batch."""
    films = [(one.film, one.state()) for _ in range(count)]
    began = time.perf_counter()
    ends = BatchFilms(films).run(one.segments, step_s)
    took = time.perf_counter() - began
    return one.error([each[0] for each in ends]), took / count


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


def at_equal_error(table: pd.DataFrame, targets: Sequence[float] = TARGETS) -> pd.DataFrame:
    """Cheapest run of each method that meets an error, and how many times the stepper's time that is."""
    rows = []
    for name, part in table.groupby("method", sort=False):
        row: dict[str, Any] = {"method": name}
        for target in targets:
            took = part.loc[part["error"] <= target, "seconds_per_film"].min()
            ours = table[(table["method"] == "stepper") & (table["error"] <= target)][
                "seconds_per_film"
            ].min()
            row |= {f"ms at {target:g}": 1e3 * took, f"times stepper at {target:g}": took / ours}
        rows.append(row)
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


def draw(table: pd.DataFrame, grown: pd.DataFrame, path: Path) -> None:
    """Error against time per film, and time per step against size."""
    from gelwright.optimiser.plots import COLOURS, new_figure, save

    figure, axes = new_figure(10.0, 4.2, 1, 2)
    for colour, (name, part) in zip(COLOURS, table.groupby("method", sort=False), strict=False):
        axes[0].loglog(1e3 * part["seconds_per_film"], part["error"], "o-", ms=3, color=colour, label=name)
    axes[0].set_xlabel("time per film / ms")
    axes[0].set_ylabel("error of conversion")
    axes[0].legend(frameon=False, fontsize=7)
    for colour, (name, part) in zip(COLOURS, grown.groupby("what"), strict=False):
        axes[1].loglog(part["count"], part["us_per_step"], "o-", ms=3, color=colour, label=name)
    axes[1].set_xlabel("number of cells or bins")
    axes[1].set_ylabel("time per step / µs")
    axes[1].legend(frameon=False, fontsize=8)
    save(figure, path)


def markdown(table: pd.DataFrame) -> str:
    """Table in Markdown."""

    def text(value: Any) -> str:
        return str(value) if not isinstance(value, float) else "-" if np.isnan(value) else f"{value:.3g}"

    lines = ["| " + " | ".join(table.columns) + " |", "|" + "---|" * table.shape[1]]
    lines += ["| " + " | ".join(text(value) for value in row) + " |" for row in table.itertuples(index=False)]
    return "\n".join(lines)


def write_numbers(readme: Path, text: str) -> None:
    """Put text between the marks of a README."""
    before, rest = readme.read_text(encoding="utf-8").split(MARK)
    readme.write_text(before + MARK + "\n\n" + text + "\n\n" + END + rest.split(END)[1], encoding="utf-8")


def report(
    table: pd.DataFrame, grown: pd.DataFrame, cold: tuple[float, float] | None, batch: int, doubt: float
) -> str:
    """The numbers in Markdown."""
    one = table[table["method"] == "stepper, batch on 1 thread"]["seconds_per_film"].to_numpy()
    two = table[table["method"] == "stepper, batch on 2 threads"]["seconds_per_film"].to_numpy()
    used = 100.0 * np.median(one / (2.0 * two))
    slopes = {kind: part["slope"].iloc[0] for kind, part in grown.groupby("what")}
    lines = [
        "Time per film to reach an error, and as a multiple of the stepper's (one film, one thread):",
        "",
        markdown(at_equal_error(table)),
        "",
        "Every run:",
        "",
        markdown(table),
        "",
        "Time per step against size: "
        + ", ".join(f"count^{slope:.2f} in {kind}" for kind, slope in slopes.items())
        + ".",
        "",
        markdown(grown.drop(columns="slope")),
        "",
        f"A batch of {batch} films on two threads uses {used:.0f} % of two cores, time on one over twice that on two.",
    ]
    if cold is not None:
        lines += [
            "",
            f"The reference, BDF at 1e-9, and Radau at 1e-7 agree to {doubt:.1g}.",
            "",
            f"From the start of Python to the first result: {cold[0]:.1f} s with nothing compiled, {cold[1]:.1f} s later.",
        ]
    return "\n".join(lines)


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
    cold = None if small else first_result_s()
    table.to_csv(folder / "peers.csv", index=False, float_format="%.4g")
    grown.to_csv(folder / "scaling.csv", index=False, float_format="%.4g")
    draw(table, grown, folder / "peers.png")
    text = report(table, grown, cold, batch, max(one.doubt for one in problems))
    print(text)
    if readme is not None:
        write_numbers(readme, text)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, default=SolverSettings().cells)
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--small", action="store_true")
    parser.add_argument("--folder", type=Path, default=HERE / "results")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    main(given.folder, given.cells, given.small, given.batch, None if given.small else HERE / "README.md")
