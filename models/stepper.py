"""The time loop of the compiled core: one film through a programme of light, and many films in a row.

Scheme, per step of length h
----------------------------
1. Light at the extrapolated middle of the step; initiators by the exact exponential of their photolysis, amine by its own,
   with the oxygen of the middle where it takes part.
2. Coefficients at the middle of the step (extrapolated from the last step, then once corrected).
3. Oxygen implicitly with its exact radical sink; radicals by the exact Riccati solution; C=C by the exact exponential
   of the radical integral. Where oxygen runs out within the step, radicals live only for the rest of it; where it comes in,
   as in the dark, only until it has taken them.
4. Temperature by a two-stage damped implicit rule with the step's own heat as source.
The correction is left out where a bound on its effect is well below the tolerances; else the difference between the two
passes is the error estimate, joined by what hangs on the course of oxygen within the step. Steps land on programme edges.

A run whose time steps are given (`replay`; a minus sign marks steps of one pass) repeats them without error control: finite differences between a run and its
replay are smooth.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled_entry, compiled_piece, compiled_string
from .core_arrays import FilmArrays, State, Work, accept, fill_work, store_state
from .core_heat import account_heat, conduct, fill_sources, prepare_conduction
from .core_light import account_light, photolyse_corrected
from .core_rates import account_reaction, stabiliser_over_step
from .core_step import (
    extrapolate,
    first_pass_error,
    programme_level,
    react,
    remember_first_pass,
    second_pass_error,
    stabiliser_error,
    step_error,
)
from .core_totals import (
    account_contents,
    account_tissue,
    face_temperature,
    hottest_in_film,
    note_peak,
    observe,
    record_line,
    restart_course,
)
from .oxygen import note_excess

Array = NDArray[np.float64]
MOST_STEPS, MOST_STEPS_PER_SEGMENT = 20_000, 50  # on the whole; on top for each segment
ONE_PASS_BELOW = 0.3  # of the tolerances
STATUS_OK, STATUS_TOO_MANY_STEPS, STATUS_NOT_FINITE = 0.0, 1.0, 2.0


@compiled_string
def try_step(
    film: FilmArrays,
    work: Work,
    control: Array,
    level: float,
    air: float,
    time: float,
    seconds: float,
    last: float,
    passes: int,
    light_to_come: bool,
) -> tuple[float, float, float, float, int]:
    """One or two passes over one step into the new values (`passes` 0 = as many as the error asks for); `last` is the step before it [s].

    Returns oxygen entered and consumed [mol m-2], heat lost [J m-2], the error in units of the tolerances, and the passes.
    """
    cell, heat = work.cell, work.heat
    isothermal = film.boundary[at.ISOTHERMAL] != 0.0
    # Light may not lag by more than the error of the step allows (see `step_error`), or no step would be short enough.
    light_tolerance = min(control[at.LIGHT_TOLERANCE], 5.0 * control[at.TOL_CONVERSION])
    photolyse_corrected(film, work, level, seconds, last, light_tolerance)
    for i in range(cell.shape[1]):
        cell[row.NEW_OXYGEN, i] = cell[row.OXYGEN, i]
    entered, consumed, lost, error, done = 0.0, 0.0, 0.0, 0.0, 2
    for sweep in range(2):
        entered, consumed = react(film, work, seconds, last)
        if not isothermal:
            fill_sources(film, cell, heat, level, time, seconds)
            lost = conduct(film, cell, heat, air, seconds)
        if sweep == 1:
            error = second_pass_error(film, cell, heat, control)
            error = max(error, stabiliser_error(cell, control, seconds))
            break
        error = first_pass_error(film, cell, heat, control)
        error = max(error, stabiliser_error(cell, control, seconds))
        if passes == 1 or (passes == 0 and error < ONE_PASS_BELOW):
            done = 1
            break
        remember_first_pass(cell, heat, isothermal)
    error = step_error(film, work, control, level, error, seconds, last, light_to_come)
    return entered, consumed, lost, error, done


@compiled_piece
def most_steps(segments: int) -> int:
    """Steps after which a run is given up."""
    return MOST_STEPS + MOST_STEPS_PER_SEGMENT * segments


@compiled_piece
def next_step(wanted: float, left: float, largest: float) -> float:
    """Step that lands on the end of the segment without leaving a sliver."""
    step = min(wanted, largest)
    if step >= left * (1.0 - 1e-9):
        return left
    return min(step, 0.5 * left)


def cure_loop(digest: str) -> Callable[..., int]:
    """The compiled loop over time; its machine code is kept under a key that holds `digest` (see `compiled`).

    It is the kept entry itself: a wrapper around it would have LLVM go through all of the core once more.
    """

    @compiled_entry
    def run_film(
        film: FilmArrays,
        state: State,
        work: Work,
        segments: Array,
        control: Array,
        replay: Array,
        totals: Array,
        cycle_heat: Array,
        record: Array,
        profiles: Array,
        taken_steps: Array,
    ) -> int:
        """Cure one film through the segments of a programme; `state` is advanced in place. Returns the accepted steps.

        work, totals, cycle_heat : all zero at the start.
        record, profiles, taken_steps : ndarray, one row per step; with no rows nothing is kept.
        """
        if len(digest) == 0:
            return -1
        fill_work(film, state, work)
        cell, heat = work.cell, work.heat
        prepare_conduction(film, heat)
        bed = int(film.boundary[at.BED_INDEX])
        isothermal = film.boundary[at.ISOTHERMAL] != 0.0
        with_oxygen = film.boundary[at.OXYGEN_MODE] != 0.0
        keep = record.shape[0] > 0
        totals[at.PEAK_FILM] = totals[at.PEAK_INTERFACE] = totals[at.PEAK_BED] = -1.0
        account_contents(film, state, totals, at.RADICALS_START, at.OXYGEN_START, at.STABILISER_START)
        bed_k = face_temperature(film, heat[row.NOW_K], bed)
        hottest = hottest_in_film(film, heat[row.NOW_K])
        bed_course, film_course = work.course[0], work.course[1]
        time, accepted, rejected, step = 0.0, 0, 0, control[at.FIRST_STEP]
        last_lit = -1
        for number in range(segments.shape[0]):
            if segments[number, at.S_LEVEL_START] + segments[number, at.S_LEVEL_END] > 0.0:
                last_lit = number
        for number in range(segments.shape[0]):
            segment = segments[number]
            # the past says nothing about what follows a switch
            since, duration, last = 0.0, segment[at.S_DURATION], 0.0
            step = min(step, control[at.FIRST_STEP])
            restart_course(bed_course, time, bed_k)
            restart_course(film_course, time, hottest)
            while since < duration:
                if accepted + rejected >= most_steps(segments.shape[0]):
                    totals[at.STATUS] = STATUS_TOO_MANY_STEPS
                    return accepted
                left = duration - since
                h, passes = next_step(step, left, control[at.LARGEST_STEP]), 0
                if replay.size > 0:
                    h, passes = abs(replay[accepted]), 1 if replay[accepted] < 0.0 else 2
                level, air = programme_level(segment, film.boundary, since + 0.5 * h)
                extrapolate(cell, heat, 0.5 * h / last if last > 0.0 else 0.0, h)
                entered, consumed, lost, error, passes = try_step(
                    film, work, control, level, air, time, h, last, passes, number < last_lit
                )
                if replay.size == 0:
                    step = h * min(max(0.75 * (error + 1e-9) ** (-1.0 / 3.0), 0.2), 2.5)
                    if error > 1.0 and h > 1e-6:
                        rejected += 1
                        continue
                if error >= 1e6:
                    totals[at.STATUS] = STATUS_NOT_FINITE
                    return accepted
                if level > 0.0:
                    account_light(film, work, totals, level * h)
                stabiliser_over_step(cell)
                reaction = account_reaction(cell, totals, with_oxygen, entered, consumed)
                cycle_heat[int(segment[at.S_CYCLE])] += reaction
                if not isothermal:
                    account_heat(film, heat, totals, lost, time, h)
                if with_oxygen:
                    note_excess(cell, film.boundary[at.O2_SURFACE], h, last)
                accept(work)
                since = duration if h >= left * (1.0 - 1e-9) else since + h
                time += h
                last = h
                before = bed_k
                bed_k = face_temperature(film, heat[row.NOW_K], bed)
                account_tissue(totals, before, bed_k, h)
                hottest = observe(film, work, totals)
                note_peak(totals, at.PEAK_BED, bed_course, time, bed_k)
                note_peak(totals, at.PEAK_FILM, film_course, time, hottest)
                if keep:
                    record_line(film, work, record[accepted], time, bed_k, hottest)
                    record[accepted, at.LEVEL], record[accepted, at.AIR] = level, air
                    record[accepted, at.STEP], record[accepted, at.REACTION_HEAT] = h, reaction / h
                if profiles.shape[0] > 0:
                    for i in range(cell.shape[1]):
                        profiles[accepted, i] = cell[row.CONVERSION, i]
                if taken_steps.size > 0:
                    taken_steps[accepted] = h if passes == 2 else -h
                accepted += 1
        store_state(work, state)
        totals[at.STEPS], totals[at.REJECTED] = accepted, rejected
        account_contents(film, state, totals, at.RADICALS_LEFT, at.OXYGEN_LEFT, at.STABILISER_LEFT)
        return accepted

    return cast(Callable[..., int], run_film)
