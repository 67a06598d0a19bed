"""Whole builds: coat upon coat on one nail, cured and wiped by a schedule.

Nothing starts afresh between events. Lower coats go on curing in whatever light the upper ones let down; a fresh coat covers
the oxygen and the free monomer of the tacky layer below it, which then cures with it; heat stays where it is.

Not modelled: solvent of the wipe, mixing of a fresh coat with the tacky layer, warmth left in the lamp between exposures,
shrinkage.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from . import layout as at
from .balanced import checked_balances
from .cure import exposure_segments, rest_segment, source_keys
from .cycle_runs import joined_totals
from .flags import calibration_flags, flags_of, lamp_flags, run_flags, thickness_flags
from .formulation import gel_resin
from .materials import citations
from .nail_run import dose_of, stabiliser_share, traces_of
from .perturbed_stack import Changes
from .results import balances_of
from .schedule import KINDS, Event, Expose, Rest, Schedule, Wipe
from .sensitisers import pair_flags
from .solver import Solution, SolverSettings, run_parallel
from .stack_remains import remains_flags, remains_of
from .stack_results import CoatFigures, EventResult, StackResult
from .stack_state import (
    Nail,
    Run,
    apply_coat,
    coat_figures,
    coat_heat_j_m2,
    first_coat,
    let_time_pass,
    wipe_tacky_layer,
)

Array = NDArray[np.float64]
_AT_THE_END = 0.99
_RATE_KNOWN_K = (
    300.0  # inside the range of the rate data: keeps the flag on film heat from repeating with every gel
)


def _event(nail: Nail, number: int, event: Event) -> EventResult:
    """Let one event happen and read the nail."""
    start, before = nail.clock_s, nail.state.bonds.copy()
    if isinstance(event, Expose):
        segments = exposure_segments(nail.lamp, event.programme, event.seconds, 0)
        run = let_time_pass(nail, segments)
        return _timed(nail, number, event, run, coat_heat_j_m2(nail, before), start)
    if isinstance(event, Rest):
        run = let_time_pass(nail, [rest_segment(nail.lamp, event.seconds, 0)])
        return _timed(nail, number, event, run, coat_heat_j_m2(nail, before), start)
    removed = (0.0, 0.0)
    if isinstance(event, Wipe):
        removed = wipe_tacky_layer(nail, f"event {number} (wipe)")
    elif number > 1:
        apply_coat(nail, event)
    n, bed = nail.film.width.size, int(nail.film.boundary[at.BED_INDEX])
    return EventResult(
        number=number,
        kind=KINDS[type(event)],
        words=event.words,
        start_s=start,
        end_s=start,
        coats=coat_figures(nail, [0.0] * len(nail.coats)),
        tacky_layer_m=nail.tacky_layer_m,
        film_peak_k=float(nail.state.temperature[:n].max()),
        interface_peak_k=nail.face_k(n),
        nail_bed_peak_k=nail.face_k(bed),
        nail_bed_peak_time_s=start,
        removed_thickness_m=removed[0],
        removed_mass_kg_m2=removed[1],
    )


def _timed(
    nail: Nail, number: int, event: Event, run: Solution, heat_j_m2: Sequence[float], start_s: float
) -> EventResult:
    """Figures of an event that takes time."""
    totals = run.totals
    return EventResult(
        number=number,
        kind=KINDS[type(event)],
        words=event.words,
        start_s=start_s,
        end_s=nail.clock_s,
        coats=coat_figures(nail, heat_j_m2),
        tacky_layer_m=nail.tacky_layer_m,
        film_peak_k=float(totals[at.PEAK_FILM]),
        interface_peak_k=float(totals[at.PEAK_INTERFACE]),
        nail_bed_peak_k=float(totals[at.PEAK_BED]),
        nail_bed_peak_time_s=start_s + float(totals[at.PEAK_BED_TIME]),
        heat_j_m2=float(totals[at.HEAT_REACTION]),
        cem43_min=float(totals[at.CEM43]),
        balances=balances_of(totals),
    )


def _traces(nail: Nail) -> dict[str, Any]:
    """Records of all runs on the clock of the schedule."""
    pieces, coats = [], []
    for order, run in enumerate(nail.runs):
        skip = 0 if order == 0 else 1  # the first line repeats the last one of the run before
        lines = run.solution.record[skip:].copy()
        lines[:, at.TIME] += run.start_s
        pieces.append(lines)
        coats.append(_coat_means(run, len(nail.schedule.applications))[skip:])
    record = np.vstack(pieces)
    return {
        **traces_of(record),
        "bond_side_conversion_trace": np.array(record[:, at.BOTTOM]),
        "coat_conversion_trace": np.vstack(coats),
    }


def _coat_means(run: Run, count: int) -> Array:
    """Mean conversion of every coat at every step, shape (n_step + 1, count) [-]."""
    steps = run.solution.conversion_steps
    found = np.zeros((steps.shape[0], count))
    for part, number in zip(run.slices, run.numbers, strict=True):
        width = run.solution.film.width[part]
        found[:, number - 1] = steps[:, part] @ width / width.sum()
    return found


def _peak(nail: Nail, value: int, when: int) -> tuple[float, float]:
    """Highest of a peak over all runs [K], and its time on the clock of the schedule [s]."""
    hottest = max(nail.runs, key=lambda run: float(run.solution.totals[value]))
    totals = hottest.solution.totals
    return float(totals[value]), hottest.start_s + float(totals[when])


def _final_coats(events: Sequence[EventResult]) -> tuple[CoatFigures, ...]:
    """Coats at the end with the heat of all events."""
    heat: dict[int, float] = {}
    for event in events:
        for coat in event.coats:
            heat[coat.number] = heat.get(coat.number, 0.0) + coat.heat_j_m2
    return tuple(replace(coat, heat_j_m2=heat[coat.number]) for coat in events[-1].coats)


def _flags(
    nail: Nail, position: str, totals: Array, film_peak_k: float, bed_time_s: float
) -> tuple[str, ...]:
    """What to doubt, each with the gels it concerns."""
    found: dict[str, list[str]] = {}
    gels = list({gel.name: gel for gel in nail.schedule.gels}.values())
    for order, gel in enumerate(gels):
        peak = film_peak_k if order == 0 else _RATE_KNOWN_K
        own = flags_of(gel, nail.lamp, position, gel_resin(gel), peak)
        for flag in (*own, *calibration_flags(gel, {}), *pair_flags(gel)):
            found.setdefault(flag, []).append(gel.name)
    flags = [
        flag if flag.startswith("The film") else f"{', '.join(names)}: {flag}"
        for flag, names in found.items()
    ]
    if bed_time_s >= _AT_THE_END * nail.clock_s:
        flags.append(
            "The nail bed is hottest at the very end of the schedule: let it end with a rest of a minute."
        )
    for number, coat in enumerate(nail.schedule.applications, start=1):
        flags += [f"Coat {number}: {flag}" for flag in thickness_flags(coat.film_thickness_m)]
    flags += run_flags(stabiliser_share(totals), float(nail.conversion.max()))
    programmes = [event.programme for event in nail.schedule.events if isinstance(event, Expose)]
    return (*nail.schedule.remarks, *flags, *lamp_flags(nail.lamp, programmes))


def _result(nail: Nail, position: str, events: Sequence[EventResult]) -> StackResult:
    what = f"{nail.schedule.title} in {nail.lamp.lamp_id}"
    remains, tint = remains_of(nail)
    totals = joined_totals([run.solution.totals for run in nail.runs])
    film_peak_k, film_time_s = _peak(nail, at.PEAK_FILM, at.PEAK_FILM_TIME)
    bed_peak_k, bed_time_s = _peak(nail, at.PEAK_BED, at.PEAK_BED_TIME)
    width, coats = nail.film.width, _final_coats(events)
    ceiling = {coat.number: coat.conversion_ceiling_fraction for coat in coats}
    counts = [coat.width_m.size for coat in nail.coats]
    gels = nail.schedule.gels
    keys = [key for gel in gels for key in source_keys(gel, gel_resin(gel))]
    return StackResult(
        bond_side_conversion_fraction=coats[0].bottom_conversion_fraction,
        title=nail.schedule.title,
        lamp_id=nail.lamp.lamp_id,
        position=position,
        coats=coats,
        events=tuple(events),
        after_cure=remains,
        tint=tint,
        thickness_m=float(width.sum()),
        tacky_layer_m=nail.tacky_layer_m,
        depth_m=np.cumsum(width) - 0.5 * width,
        width_m=width,
        conversion_fraction=nail.conversion,
        conversion_ceiling_fraction=np.repeat([ceiling[number] for number in nail.numbers], counts),
        oxygen_mol_m3=nail.state.oxygen,
        radical_mol_m3=nail.state.radical,
        temperature_k=nail.state.temperature[: width.size].copy(),
        coat_number=np.repeat(nail.numbers, counts),
        film_peak_k=film_peak_k,
        film_peak_time_s=film_time_s,
        nail_bed_peak_k=bed_peak_k,
        nail_bed_peak_time_s=bed_time_s,
        stabiliser_share_fraction=stabiliser_share(totals),
        **dose_of(totals),
        **_traces(nail),
        balances=checked_balances(totals, what),
        flags=(
            *_flags(nail, position, totals, film_peak_k, bed_time_s),
            *remains_flags([coat.number for coat in coats], remains),
        ),
        citations=citations(list(dict.fromkeys(keys))),
        is_demonstration=nail.schedule.is_demonstration
        or nail.lamp.is_demonstration
        or any(gel.is_demonstration for gel in gels),
        steps=int(totals[at.STEPS]),
        rejected_steps=int(totals[at.REJECTED]),
    )


def build(
    schedule: Schedule, lamp: Lamp, *, position: str | None = None, settings: SolverSettings | None = None
) -> StackResult:
    """Build a nail by a schedule in one position of a lamp.

    Parameters
    ----------
    schedule : Schedule
        Coats, exposures, rests and wipes, and the hand.
    lamp : Lamp
        In what; the lamp that the schedule may name is not looked up here.
    position : str, optional
        Finger position; default the schedule's, else the weakest.
    settings : SolverSettings, optional
        Accuracy; `cells` is the number per coat.

    Returns
    -------
    StackResult

    Raises
    ------
    InputError, UnknownNameError
        If the lamp has no such position or programme, or a wipe would take the only coat off.
    SolverError
        If a run fails or a balance over the whole schedule is off by more than 1e-3.
    """
    return build_with_steps(schedule, lamp, position=position, settings=settings)[0]


def build_with_steps(
    schedule: Schedule,
    lamp: Lamp,
    *,
    position: str | None = None,
    settings: SolverSettings | None = None,
    replay: Sequence[Array] = (),
    changes: Changes | None = None,
) -> tuple[StackResult, tuple[Array, ...]]:
    """Build a nail as `build` does, and hand back the time steps of every stretch of time in it.

    Parameters
    ----------
    schedule, lamp, position, settings
        As for `build`.
    replay : sequence of ndarray
        Time steps of a build with the same events, to be repeated: the difference of two such builds is smooth to
        rounding wherever their wipes take the same cells off.
    changes : mapping of str to mapping of str to float, optional
        Other material numbers, by the gel's name (see `perturbed_stack`).

    Returns
    -------
    result : StackResult
    steps_s : tuple of ndarray
        Time steps taken [s], one array for every exposure and rest.
    """
    place = position or schedule.position or lamp.weakest
    for event in schedule.events:
        if isinstance(event, Expose):
            lamp.programme(event.programme)
    nail = first_coat(schedule, lamp, place, settings or SolverSettings(), changes or {})
    nail.replay = tuple(replay)
    events = [_event(nail, number, event) for number, event in enumerate(schedule.events, start=1)]
    return _result(nail, place, events), tuple(run.solution.steps_s for run in nail.runs)


def build_many(
    schedule: Schedule,
    lamp: Lamp,
    positions: Sequence[str],
    *,
    workers: int | None = None,
    settings: SolverSettings | None = None,
) -> list[StackResult]:
    """Build the same nail in several positions on parallel threads; results in their order."""

    def one(index: int) -> StackResult:
        return build(schedule, lamp, position=positions[index], settings=settings)

    results: list[StackResult] = run_parallel(one, len(positions), workers)
    return results
