"""Repeated exposures: heat of each, and the rise of temperature that the reaction itself brings.

A thermocouple under a lamp reads lamp and reaction together. The laboratory takes the lamp away by a second run on the film
cured before, the blank. Here the blank is the same film at its final conversion with its final colour, in which nothing
reacts: no photolysis, hence no radicals. Sample minus blank is the rise by reaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from . import layout as at
from .balanced import solve_balanced
from .core_arrays import FilmArrays, State
from .cure import CureCase, film_model, heat_ratio, schedule
from .packing import pack
from .sensitisers import with_energy_transfer
from .solver import Solution, SolverSettings, run_parallel, segment_rows

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
FEWEST_CYCLES = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CyclesResult:
    """Repeated exposures of one film and of its blank.

    Attributes
    ----------
    gel_name, lamp_id, position, programme : str
        What was run where.
    exposure_s, rest_s : float
        Lit and dark time of one cycle [s].
    cycles : int
        Number of exposures.
    heat_by_cycle_j_m2, blank_heat_by_cycle_j_m2 : ndarray, shape (cycles,)
        Heat of reaction of the sample, and of the blank, in each cycle [J/m2].
    second_cycle_heat_ratio : float
        Heat of the second cycle over the first [-]; 1 where the first gave none.
    conversion_by_cycle_fraction : ndarray, shape (cycles,)
        Mean conversion at the end of each cycle [-].
    start_rise_by_cycle_k, peak_rise_by_cycle_k : ndarray, shape (cycles,)
        Rise of the film by reaction when a cycle begins, left over from those before; and the most that it goes above that
        within the cycle, which is what the cycle itself brings [K].
    interface_peak_rise_by_cycle_k : ndarray, shape (cycles,)
        The same at the face of film and nail, where a thermocouple would lie [K].
    time_s, level_ratio : ndarray, shape (nt,)
        Common time grid, every step of either run [s], and lamp output [-].
    film_sample_k, film_blank_k, film_rise_k : ndarray, shape (nt,)
        Hottest place of the film: sample, blank, difference [K].
    interface_sample_k, interface_blank_k, interface_rise_k : ndarray, shape (nt,)
        Face of film and nail, where a thermocouple would lie [K].
    nail_bed_sample_k, nail_bed_blank_k, nail_bed_rise_k : ndarray, shape (nt,)
        Nail bed [K].
    """

    gel_name: str
    lamp_id: str
    position: str
    programme: str
    exposure_s: float
    rest_s: float
    cycles: int
    heat_by_cycle_j_m2: Array
    blank_heat_by_cycle_j_m2: Array
    second_cycle_heat_ratio: float
    conversion_by_cycle_fraction: Array
    start_rise_by_cycle_k: Array
    peak_rise_by_cycle_k: Array
    interface_peak_rise_by_cycle_k: Array
    time_s: Array
    level_ratio: Array
    film_sample_k: Array
    film_blank_k: Array
    film_rise_k: Array
    interface_sample_k: Array
    interface_blank_k: Array
    interface_rise_k: Array
    nail_bed_sample_k: Array
    nail_bed_blank_k: Array
    nail_bed_rise_k: Array

    def trace_frame(self) -> pd.DataFrame:
        """Traces against time as a tidy table."""
        import pandas as pd

        names = ("time_s", "level_ratio", *(f"{place}_{run}_k" for place in PLACES for run in RUNS))
        return pd.DataFrame({name: getattr(self, name) for name in names})

    def cycles_frame(self) -> pd.DataFrame:
        """One row per cycle as a tidy table."""
        import pandas as pd

        first = float(self.heat_by_cycle_j_m2[0])
        return pd.DataFrame(
            {
                "cycle": np.arange(1, self.cycles + 1),
                "heat_j_m2": self.heat_by_cycle_j_m2,
                "share_of_first": self.heat_by_cycle_j_m2 / first if first > 0.0 else np.ones(self.cycles),
                "conversion_fraction": self.conversion_by_cycle_fraction,
                "start_rise_k": self.start_rise_by_cycle_k,
                "peak_rise_k": self.peak_rise_by_cycle_k,
                "interface_peak_rise_k": self.interface_peak_rise_by_cycle_k,
            }
        )


PLACES = {"film": at.FILM_MAX, "interface": at.INTERFACE, "nail_bed": at.BED}
RUNS = ("sample", "blank", "rise")


def blank_film(film: FilmArrays, cured: State, start: State) -> tuple[FilmArrays, State]:
    """The cured film in which nothing reacts any more, at the temperatures of `start`.

    Parameters
    ----------
    film : FilmArrays
        The sample.
    cured, start : State
        Its state after the last cycle and before the first.

    Notes
    -----
    Initiators stay as they are after the cure, so that the blank has the sample's final optics; they absorb, but are not
    used up and start no chains.
    """
    cell, species = film.cell.copy(), film.species.copy()
    cell[:, at.FIXED_INITIATION] = 0.0
    species[:, at.QUANTUM_YIELD] = 0.0
    state = State(
        cured.concentration.copy(),
        cured.amine.copy(),
        cured.bonds.copy(),
        np.zeros_like(cured.radical),
        cured.oxygen.copy(),
        start.temperature.copy(),
        cured.stabiliser.copy(),
    )
    return film._replace(cell=cell, species=species), state


def repeated_cycles(case: CureCase, *, settings: SolverSettings | None = None) -> CyclesResult:
    """Expose one film several times, with cooling between, and its blank likewise.

    Parameters
    ----------
    case : CureCase
        Film, lamp, exposure, number of cycles (2 or more) and the rest after each.
    settings : SolverSettings, optional
        Accuracy.

    Returns
    -------
    CyclesResult

    Raises
    ------
    InputError
        If there are fewer than two cycles.
    SolverError
        If a run fails or a balance is off by more than 1e-3.

    Notes
    -----
    In the first cycle the fresh film absorbs light where the blank has bleached, so a little of the difference then is
    light, not reaction, as it is in the laboratory. A finger takes minutes to lose what the first cycle has left warm; the
    peaks of later cycles are counted from there.
    """
    if case.cycles < FEWEST_CYCLES:
        raise InputError(f"cycles: {case.cycles} asked for; a share of the second cycle needs 2 or more.")
    accuracy = settings or SolverSettings()
    segments = segment_rows(schedule(case))
    film, start = pack(with_energy_transfer(film_model(case, accuracy), case.gel))
    what = f"{case.gel.name} in {case.lamp.lamp_id}"
    sample = solve_balanced(film, start, segments, accuracy, what, record=True)
    cured, cold = blank_film(film, sample.state, start)
    blank = solve_balanced(cured, cold, segments, accuracy, f"{what}, blank", record=True)
    return _result(case, sample, blank)


def repeated_cycles_many(
    cases: Sequence[CureCase], *, workers: int | None = None, settings: SolverSettings | None = None
) -> list[CyclesResult]:
    """`repeated_cycles` of many films on parallel threads; results in the order of the cases."""

    def one(index: int) -> CyclesResult:
        return repeated_cycles(cases[index], settings=settings)

    results: list[CyclesResult] = run_parallel(one, len(cases), workers)
    return results


def _result(case: CureCase, sample: Solution, blank: Solution) -> CyclesResult:
    clock = sample.record[:, at.TIME]
    time = np.union1d(clock, blank.record[:, at.TIME])
    heat = sample.cycle_heat_j_m2
    ends = np.asarray((case.exposure_s + case.rest_s) * np.arange(1, case.cycles + 1), dtype=np.float64)
    traces: dict[str, Array] = {}
    for place, column in PLACES.items():
        one, other = (_on_grid(time, run, column) for run in (sample, blank))
        traces |= {f"{place}_sample_k": one, f"{place}_blank_k": other, f"{place}_rise_k": one - other}
    last = np.searchsorted(clock, ends * (1.0 + 1e-9), side="right") - 1
    starts, peaks = _rise_by_cycle(time, traces["film_rise_k"], ends)
    return CyclesResult(
        gel_name=case.gel.name,
        lamp_id=case.lamp.lamp_id,
        position=case.lamp_position,
        programme=case.programme,
        exposure_s=case.exposure_s,
        rest_s=case.rest_s,
        cycles=case.cycles,
        heat_by_cycle_j_m2=heat,
        blank_heat_by_cycle_j_m2=blank.cycle_heat_j_m2,
        second_cycle_heat_ratio=heat_ratio(heat),
        conversion_by_cycle_fraction=sample.record[last, at.MEAN],
        start_rise_by_cycle_k=starts,
        peak_rise_by_cycle_k=peaks,
        interface_peak_rise_by_cycle_k=_rise_by_cycle(time, traces["interface_rise_k"], ends)[1],
        time_s=time,
        level_ratio=_on_grid(time, sample, at.LEVEL),
        **traces,
    )


def _rise_by_cycle(time_s: Array, rise_k: Array, ends_s: Array) -> tuple[Array, Array]:
    """Rise when each cycle begins, and the most that it goes above that within the cycle [K]."""
    first, starts, peaks = 0, [], []
    for end in ends_s:
        beyond = int(np.searchsorted(time_s, end * (1.0 + 1e-9), side="right"))
        starts.append(float(rise_k[first]))
        peaks.append(float(rise_k[first:beyond].max()) - starts[-1])
        first = beyond - 1  # the end of a cycle begins the next
    return np.array(starts), np.array(peaks)


def _on_grid(time_s: Array, run: Solution, column: int) -> Array:
    return np.asarray(np.interp(time_s, run.record[:, at.TIME], run.record[:, column]))
