"""What the model predicts for a trial, in the terms in which it was measured.

The blank is predicted too: a cured film of the same kind, the lamp's air, or the bare ground, whichever was taken off.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from . import layout as at
from .assembly import CoatCells, gather_light, stack_model
from .balanced import solve_balanced
from .core_arrays import FilmArrays, State
from .cure import exposure_segments, rest_segment
from .cycles import blank_film
from .film import FilmModel, Oxygen
from .formulation import gel_density_kg_m3, mix_resins
from .gel import Gel
from .grid import film_cells
from .packing import pack
from .plain import copy_state
from .sensitisers import with_energy_transfer
from .solver import Segment, Solution, SolverSettings, segment_rows
from .trial import Trial, TrialSignal

Array = NDArray[np.float64]
LEAST_TAIL_S = 60.0  # the run goes on for at least this long after the last exposure
_ADJOINING_S = 1e-6
_BARE_FILM_M = 1.0e-6  # thinnest film the grid allows: stands for no film at all

_TEMPERATURE: Mapping[str, int] = {"interface": at.INTERFACE, "film": at.FILM_MAX, "nail_bed": at.BED}
_CONVERSION: Mapping[str, int] = {"mean": at.MEAN, "bottom": at.BOTTOM, "surface": at.SURFACE}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialPrediction:
    """What the model predicts for a trial.

    Attributes
    ----------
    values : mapping of str to ndarray
        Signal name to predicted values at that signal's times, in its unit.
    time_s, level_ratio, air_k, conversion_mean, reaction_heat_w_m2 : ndarray, shape (nt,)
        Traces of the sample on the trial's clock.
    rises : mapping of str to ndarray, shape (nt,)
        Rise by reaction against a cured blank at "interface", "film" and "nail_bed" [K]; empty where no blank was run.
    heat_by_exposure_j_m2 : ndarray, shape (n_exposure,)
        Heat of reaction from the start of each exposure to the start of the next [J/m2].
    mass_kg_m2 : float
        Gel per area [kg/m2].
    """

    values: Mapping[str, Array]
    time_s: Array
    level_ratio: Array
    air_k: Array
    conversion_mean: Array
    reaction_heat_w_m2: Array
    rises: Mapping[str, Array]
    heat_by_exposure_j_m2: Array
    mass_kg_m2: float


def trial_segments(trial: Trial, until_s: float) -> list[Segment]:
    """Light and dark of a trial in the solver's terms, until `until_s` [s] at least; cycle n is exposure n and its rest."""
    segments: list[Segment] = []
    for number, each in enumerate(trial.exposures):
        segments += exposure_segments(trial.lamp, each.programme, each.duration_s, number)
        last = number + 1 == len(trial.exposures)
        until = max(until_s, each.end_s + LEAST_TAIL_S) if last else trial.exposures[number + 1].start_s
        if until - each.end_s > _ADJOINING_S:
            segments.append(rest_segment(trial.lamp, until - each.end_s, number))
    return segments


def _nitrogen(oxygen: Oxygen) -> Oxygen:
    return replace(oxygen, atmosphere="nitrogen", surface_mol_m3=0.0, initial_mol_m3=0.0)


def _closed(oxygen: Oxygen) -> Oxygen:
    return replace(oxygen, atmosphere="closed")


def trial_film(
    trial: Trial,
    gel: Gel,
    settings: SolverSettings,
    change: Callable[[FilmModel], FilmModel] | None = None,
    thickness_m: float | None = None,
) -> FilmModel:
    """The film of a trial in the solver's terms.

    Parameters
    ----------
    trial : Trial
        Light, ground, atmosphere.
    gel : Gel
        What is cured.
    settings : SolverSettings
        Accuracy.
    change : callable, optional
        Last word on the film: parameters of a fit.
    thickness_m : float, optional
        Another thickness than the trial's [m].
    """
    thickness = trial.thickness_m if thickness_m is None else thickness_m
    coat = CoatCells(gel=gel, width_m=film_cells(thickness, settings.cells))
    light = gather_light([gel], trial.lamp.spectrum(trial.position), settings.light_bins)
    film = stack_model([coat], light, trial.lamp.course, trial.hand, settings)
    film = with_energy_transfer(film, gel)
    if trial.atmosphere != "air":
        change_oxygen = _nitrogen if trial.atmosphere == "nitrogen" else _closed
        oxygen = film.oxygen
        film = replace(
            film,
            oxygen=change_oxygen(oxygen)
            if isinstance(oxygen, Oxygen)
            else [change_oxygen(each) for each in oxygen],
        )
    if trial.isothermal:
        film = replace(film, isothermal=True, temperature_k=trial.hand.start_k)
    return film if change is None else change(film)


def _run(trial: Trial, film: FilmArrays, state: State, segments: Array, settings: SolverSettings) -> Solution:
    what = f"trial {trial.trial_id}"
    return solve_balanced(film, copy_state(state), segments, settings, what, record=True)


def predict(
    trial: Trial,
    *,
    gel: Gel | None = None,
    change: Callable[[FilmModel], FilmModel] | None = None,
    settings: SolverSettings | None = None,
) -> TrialPrediction:
    """What the model predicts for every signal of a trial.

    Parameters
    ----------
    trial : Trial
        What was done and measured.
    gel : Gel, optional
        Another gel than the trial's.
    change : callable, optional
        Changes the film model before the run, for instance with the parameters of a fit; the cured blank is made from it.
    settings : SolverSettings, optional
        Accuracy.

    Returns
    -------
    TrialPrediction

    Raises
    ------
    SolverError
        If a run fails or its balances stay open.

    Notes
    -----
    A reaction temperature is predicted as it was measured. Against a cured sample: sample minus a blank run on the cured film.
    Against the lamp's interior: film minus lamp air, both from their values at switch-on. Against an empty run: sample minus a
    film of one micrometre without initiator, which stands for the bare ground. Heat flow and conversion need no blank.
    """
    accuracy = settings or SolverSettings()
    used = gel or trial.gel
    last = max((float(each.time_s[-1]) for each in trial.signals), default=0.0)
    segments = segment_rows(trial_segments(trial, last))
    film, start = pack(trial_film(trial, used, accuracy, change))
    sample = _run(trial, film, start, segments, accuracy)
    blanks = _blanks(trial, used, accuracy, (film, start, sample), segments)
    mass = trial_mass_kg_m2(trial, used)
    record = sample.record
    clock = record[:, at.TIME]
    rises = {}
    if "cured_sample" in blanks:
        blank = blanks["cured_sample"]
        rises = {
            place: record[:, column] - _at(clock, blank.record[:, at.TIME], blank.record[:, column])
            for place, column in _TEMPERATURE.items()
        }
    return TrialPrediction(
        values=MappingProxyType(
            {each.name: signal_values(each, sample, blanks, mass) for each in trial.signals}
        ),
        time_s=clock,
        level_ratio=record[:, at.LEVEL],
        air_k=record[:, at.AIR],
        conversion_mean=record[:, at.MEAN],
        reaction_heat_w_m2=record[:, at.REACTION_HEAT],
        rises=MappingProxyType(rises),
        heat_by_exposure_j_m2=sample.cycle_heat_j_m2,
        mass_kg_m2=mass,
    )


def _blanks(
    trial: Trial,
    gel: Gel,
    settings: SolverSettings,
    ran: tuple[FilmArrays, State, Solution],
    segments: Array,
) -> dict[str, Solution]:
    """Runs of the blanks that the signals of the trial were measured against."""
    wanted = {each.blank for each in trial.signals}
    found = {}
    if "cured_sample" in wanted:
        film, start, sample = ran
        found["cured_sample"] = _run(trial, *blank_film(film, sample.state, start), segments, settings)
    if "empty_run" in wanted:
        found["empty_run"] = bare_run(trial, gel, settings, segments)
    return found


def bare_run(trial: Trial, gel: Gel, settings: SolverSettings, segments: Array) -> Solution:
    """The empty run of a trial: a film of one micrometre without initiator stands for the bare ground."""
    bare = replace(gel, initiators_wt_pct={}, amines_wt_pct={}, pigments_wt_pct={}, sensitiser_pairs={})
    film, start = pack(trial_film(trial, bare, settings, thickness_m=_BARE_FILM_M))
    return _run(trial, film, start, segments, settings)


def trial_mass_kg_m2(trial: Trial, gel: Gel) -> float:
    """Gel per area [kg/m2]."""
    return trial.thickness_m * gel_density_kg_m3(gel, mix_resins(gel.resin_parts).density_kg_m3)


def signal_values(
    signal: TrialSignal, sample: Solution, blanks: Mapping[str, Solution], mass_kg_m2: float
) -> Array:
    """Predicted values of a signal at its times.

    Parameters
    ----------
    signal : TrialSignal
        Kind, place, blank and times.
    sample : Solution
        The recorded run of the film.
    blanks : mapping of str to Solution
        Recorded runs of the blanks, by name.
    mass_kg_m2 : float
        Gel per area [kg/m2].

    Returns
    -------
    ndarray, shape (n,)
        In the unit of the signal.
    """
    record = sample.record
    time, clock = signal.time_s, record[:, at.TIME]
    if signal.kind == "conversion":
        return _at(time, clock, record[:, _CONVERSION[signal.place]])
    if signal.kind == "heat_flow":
        return np.asarray(_heat_rate_w_m2(time, record) / mass_kg_m2)
    column = _TEMPERATURE[signal.place]
    reading = _at(time, clock, record[:, column])
    if signal.blank == "lamp_interior":
        air = _at(time, clock, record[:, at.AIR])
        return np.asarray((reading - record[0, column]) - (air - record[0, at.AIR]))
    blank = blanks[signal.blank].record
    return np.asarray(reading - _at(time, blank[:, at.TIME], blank[:, column]))


def _heat_rate_w_m2(time_s: Array, record: Array) -> Array:
    """Heat of reaction at some times [W/m2].

    The record holds the mean rate of every step, so the rate is the slope of a smooth monotone curve through the heat given
    off so far; its integral is then the heat itself.
    """
    heat = np.cumsum(record[:, at.STEP] * record[:, at.REACTION_HEAT])
    rate = PchipInterpolator(record[:, at.TIME], heat).derivative()
    return np.asarray(rate(time_s), dtype=np.float64)


def _at(time_s: Array, clock_s: Array, trace: Array) -> Array:
    return np.asarray(np.interp(time_s, clock_s, trace), dtype=np.float64)
