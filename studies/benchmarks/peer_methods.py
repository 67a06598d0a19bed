"""The ways to solve a film that the benchmark of peers compares: each gives its error and its seconds."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parents[1] / "numerics")]
from numpy_batch import BatchFilms
from reference_film import ReferenceFilm

from gelwright.lamp_library.errors import SolverError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models import layout as at
from gelwright.models.core_arrays import FilmArrays, State, copy_state
from gelwright.models.core_totals import bottom_value, surface_mean
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.solver import SolverSettings, control_row, run_parallel, solve_packed
from gelwright.optimiser.demo_data import load_any_gel

Array = NDArray[np.float64]


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


def seconds_of(
    task: Callable[[], Any], least_s: float = 0.2, clock: Callable[[], float] = time.process_time
) -> float:
    """Shortest of several runs; a task of more than half a second is run once. Processor time, unless given the wall's clock."""
    best, spent, runs = np.inf, 0.0, 0
    while (spent < least_s and runs < 50) or (runs < 3 and spent < 0.5):
        began = clock()
        task()
        took = clock() - began
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
    """Seconds per film of a batch on threads, by the clock on the wall."""
    control = stepper_control(tolerance)

    def film(_: int) -> None:
        solve_packed(one.film, one.state(), one.segments, control, record=False)

    return seconds_of(lambda: run_parallel(film, count, workers), clock=time.perf_counter) / count


def use_of_two_cores(one: Problem, count: int, rounds: int = 5) -> tuple[float, float]:
    """Shares of two cores that a batch keeps busy and that it gains, medians of rounds taken in turn.

    Busy: processor time over twice the time by the clock. Gained: time on one thread over twice that on two; lower where
    the cores share a cache, memory or, as virtual machines do, with strangers.
    """
    control = stepper_control(1e-3)

    def film(_: int) -> None:
        solve_packed(one.film, one.state(), one.segments, control, record=False)

    busy, gained = [], []
    for _ in range(rounds):
        walls = []
        for workers in (1, 2):
            began, began_cpu = time.perf_counter(), time.process_time()
            run_parallel(film, count, workers)
            walls.append(time.perf_counter() - began)
            used = time.process_time() - began_cpu
        busy.append(used / (2.0 * walls[1]))
        gained.append(walls[0] / (2.0 * walls[1]))
    return float(np.median(busy)), float(np.median(gained))


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
    began = time.process_time()
    ends = BatchFilms(films).run(one.segments, step_s)
    took = time.process_time() - began
    return one.error([each[0] for each in ends]), took / count
