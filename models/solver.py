"""Run films through programmes of light: the Python face of the compiled core."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, SolverError
from . import layout as at
from .compile_once import ready
from .compiled import source_digest
from .core_arrays import FilmArrays, State, empty_work
from .film import FilmModel
from .packing import pack
from .stepper import MOST_STEPS, MOST_STEPS_PER_SEGMENT, STATUS_NOT_FINITE, STATUS_OK, cure_loop

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolverSettings:
    """Accuracy of a run.

    Attributes
    ----------
    tolerance_conversion, tolerance_temperature_k : float
        Largest difference between the two passes over a step [-], [K].
    light_tolerance : float
        Light is worked out again when an absorber has moved by this share of what is there [-].
    first_step_s, largest_step_s : float
        First step after every switch, and the longest step [s].
    cells, nail_cells, tissue_cells : int
        Cells of film, nail plate and tissue.
    light_bins : int
        Bins of the lamp spectrum.
    """

    tolerance_conversion: float = 1.0e-3
    tolerance_temperature_k: float = 0.05
    light_tolerance: float = 1.0e-3
    first_step_s: float = 0.05
    largest_step_s: float = 10.0
    cells: int = 60
    nail_cells: int = 8
    tissue_cells: int = 12
    light_bins: int = 16

    def __post_init__(self) -> None:
        for name in ("tolerance_conversion", "tolerance_temperature_k", "first_step_s", "largest_step_s"):
            if not getattr(self, name) > 0.0:
                raise InputError(f"solver settings: {name} is {getattr(self, name):g}; it must be above 0.")
        for name, low in (("cells", 3), ("nail_cells", 1), ("tissue_cells", 1), ("light_bins", 1)):
            if getattr(self, name) < low:
                raise InputError(
                    f"solver settings: {name} is {getattr(self, name)}; it must be {low} or more."
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A piece of a programme: output runs linearly between two levels; `cycle` numbers the cure cycle its heat belongs to."""

    duration_s: float
    level_start_ratio: float = 1.0
    level_end_ratio: float = 1.0
    on_time_s: float = 0.0
    air_k: float = 298.15
    air_rise_k: float = 0.0
    air_time_s: float = 1.0
    cycle: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """What a run leaves.

    Attributes
    ----------
    film, state : FilmArrays, State
        The packed film, and its state at the end.
    totals, cycle_heat_j_m2 : ndarray
        Totals in the order of `layout`; heat of reaction of each cycle [J m-2].
    record : ndarray, shape (n_step + 1, N_RECORD)
        One line per step, the first being the start; empty if not recorded.
    conversion_steps : ndarray, shape (n_step + 1, n)
        Conversion in every cell after every step; empty if not recorded.
    steps_s : ndarray
        Steps taken, for a replay (a minus sign marks steps of one pass); empty if not kept.
    """

    film: FilmArrays
    state: State
    totals: Array
    cycle_heat_j_m2: Array
    record: Array
    conversion_steps: Array
    steps_s: Array

    @property
    def depth_m(self) -> Array:
        """Depth of the cell centres below the air side, shape (n,) [m]."""
        return np.asarray(np.cumsum(self.film.width) - 0.5 * self.film.width)

    @property
    def conversion_fraction(self) -> Array:
        """Conversion of C=C in every cell at the end, shape (n,) [-]."""
        return conversion_of(self.film, self.state)


def conversion_of(film: FilmArrays, state: State) -> Array:
    """Conversion of C=C in every cell, shape (n,) [-]; 0 in cells without any."""
    full = film.initial.sum(axis=0)
    return np.asarray(1.0 - state.bonds.sum(axis=0) / np.where(full > 0.0, full, 1.0))


@cache
def _entry() -> Callable[..., int]:
    """The compiled loop; its cache key holds the digest of all sources it is made from (see `compiled`)."""
    return cure_loop(source_digest())


def control_row(settings: SolverSettings) -> Array:
    """Step control in the order of `layout`."""
    row = np.zeros(at.N_CONTROL)
    row[at.TOL_CONVERSION], row[at.TOL_TEMPERATURE] = (
        settings.tolerance_conversion,
        settings.tolerance_temperature_k,
    )
    row[at.FIRST_STEP], row[at.LARGEST_STEP] = settings.first_step_s, settings.largest_step_s
    row[at.LIGHT_TOLERANCE] = settings.light_tolerance
    return row


def segment_rows(segments: Sequence[Segment]) -> Array:
    """Segments in the order of `layout`, shape (n_segment, N_SEGMENT_COLUMNS)."""
    if not segments:
        raise InputError("programme: no segment at all; give at least one.")
    for number, segment in enumerate(segments, start=1):
        if not segment.duration_s > 0.0 or min(segment.level_start_ratio, segment.level_end_ratio) < 0.0:
            raise InputError(
                f"programme, segment {number}: the duration must be above 0 s and no level below 0."
            )
    return np.array(
        [
            (
                part.duration_s,
                part.level_start_ratio,
                part.level_end_ratio,
                part.on_time_s,
                part.air_k,
                part.air_rise_k,
                part.air_time_s,
                part.cycle,
            )
            for part in segments
        ],
        dtype=np.float64,
    )


def _check(status: float, steps: int, time_s: float) -> None:
    if status == STATUS_OK:
        return
    if status == STATUS_NOT_FINITE:
        raise SolverError(
            f"solver: values stopped being finite at {time_s:.3g} s (step {steps}); look for absurd rate constants or temperatures."
        )
    raise SolverError(
        f"solver: {steps} steps did not reach the end ({time_s:.3g} s done); loosen the tolerances or shorten the programme."
    )


def solve_packed(
    film: FilmArrays,
    state: State,
    segments: Array,
    control: Array,
    *,
    record: bool,
    replay: Array | None = None,
    keep_steps: bool = False,
) -> Solution:
    """Run a packed film; `state` is advanced in place."""
    totals = np.zeros(at.N_TOTALS)
    cycle_heat = np.zeros(int(segments[:, at.S_CYCLE].max()) + 1)
    # the core writes one row per accepted step and checks no bounds
    most = MOST_STEPS + MOST_STEPS_PER_SEGMENT * segments.shape[0]
    rows = most if record else 0
    lines, profiles = np.zeros((rows, at.N_RECORD)), np.zeros((rows, film.width.size))
    taken = np.zeros(most if keep_steps or record else 0)
    start = _start_line(film, state) if record else None
    arguments = (
        film,
        state,
        empty_work(film),
        segments,
        control,
        np.zeros(0) if replay is None else replay,
        totals,
        cycle_heat,
        lines,
        profiles,
        taken,
    )
    steps = ready(_entry(), arguments)(*arguments)
    _check(
        float(totals[at.STATUS]), steps, float(lines[max(steps - 1, 0), at.TIME]) if record else float("nan")
    )
    if start is not None:
        lines = np.vstack([start[0], lines[:steps]])
        profiles = np.vstack([start[1], profiles[:steps]])
        lines[0, at.AIR], lines[0, at.LEVEL] = segments[0, at.S_AIR], segments[0, at.S_LEVEL_START]
    return Solution(
        film=film,
        state=state,
        totals=totals,
        cycle_heat_j_m2=cycle_heat,
        record=lines,
        conversion_steps=profiles,
        steps_s=taken[:steps].copy(),
    )


def _start_line(film: FilmArrays, state: State) -> tuple[Array, Array]:
    """First line of the record and the profile before the run."""
    from .plain import face_temperature

    full = film.initial.sum(axis=0)
    conversion = 1.0 - state.bonds.sum(axis=0) / np.where(full > 0.0, full, 1.0)
    line = np.zeros(at.N_RECORD)
    line[at.SURFACE] = line[at.BOTTOM] = line[at.MEAN] = float(
        np.sum(conversion * film.width) / film.width.sum()
    )
    line[at.FILM_MAX] = state.temperature[: film.width.size].max()
    line[at.INTERFACE] = face_temperature(film, state.temperature, film.width.size)
    line[at.BED] = face_temperature(film, state.temperature, int(film.boundary[at.BED_INDEX]))
    line[at.SURFACE_T] = state.temperature[0]
    return line, conversion


def solve(
    model: FilmModel, segments: Sequence[Segment], *, settings: SolverSettings | None = None
) -> Solution:
    """Cure one film through a programme and keep every step.

    Parameters
    ----------
    model : FilmModel
        The film and its surroundings.
    segments : sequence of Segment
        Light over time; level 1 is the light given in the model.
    settings : SolverSettings, optional
        Accuracy.

    Raises
    ------
    InputError
        If the model or the programme makes no sense.
    SolverError
        If the run did not reach its end or left the finite numbers.
    """
    film, state = pack(model)
    return solve_packed(
        film, state, segment_rows(segments), control_row(settings or SolverSettings()), record=True
    )


def run_parallel(task: Callable[[int], Any], count: int, workers: int | None) -> list[Any]:
    """Results of `task(0..count-1)` in order, on threads; the compiled core holds no lock."""
    number = min(workers or os.cpu_count() or 1, count)
    if number <= 1:
        return [task(index) for index in range(count)]
    with ThreadPoolExecutor(number) as pool:
        return list(pool.map(task, range(count)))
