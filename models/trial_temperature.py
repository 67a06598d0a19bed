"""Thermocouples of a trial: from the log's channels to the rise by reaction, its cycles, and faults of the log."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.units import m_from_um
from .cell_heat import Cooling, cooling_of
from .exotherm import (
    Cleaned,
    Peak,
    ReactionTemperature,
    bead_time_constant_s,
    cleaned,
    evenly,
    peak_of,
    reaction_temperature,
    step_response,
)
from .exotherm_cycles import Cycles, cycles_of
from .exposure_edges import shift_onto_s, start_doubt_s, starts_for
from .smoothing import noise_sd
from .temperature_log import TemperatureLog, read_temperature_log
from .trial import TrialSignal
from .trial_sheet import TemperaturePlan, TrialSheet

Array = NDArray[np.float64]

_UM_PER_MM = 1000.0
# the reaction is over and the light's own warming has settled so long after switch-off: assumed
_DARK_SETTLE_S = 5.0
_GIVEN_COOLING_SD = 0.05
_CLEAR_SHIFT_SD = 5.0
_IN_BLANK, _GIVEN = "found in the blank", "given"
AIR_BLANK = "the lamp's air was taken off, which leaves the heat of the light in film and ground in the reading; a cured sample takes it off"
# how well a switch-on is known that a person wrote down: assumed
_GIVEN_START_SD_S = 0.3
NO_REACTION = (
    "the gel shows no heat of reaction although the lamp warmed the probes: the probe may not lie in the gel, or the gel was cured "
    "before"
)
NOT_LIT = "neither probe warms when the lamp should be lit: the lamp was not on, or the times are wrong"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TemperatureAnalysis:
    """What the thermocouples say.

    Attributes
    ----------
    rise : ReactionTemperature
        Sample minus blank, on the log's clock.
    exposures_s : tuple of (float, float)
        Start and end of each exposure on the log's clock [s].
    origin : str
        How the exposures were found.
    start_sd_s : float
        Standard deviation of the first switch-on time [s].
    peaks : tuple of Peak
        Of each cycle.
    cycles : Cycles or None
        Heat of each cycle; None where the cooling constant could not be had.
    probe_s, probe_origin : float, str
        Time constant of the sample's probe, and where it comes from.
    cell_heat_j_m2_k : float or None
        Heat capacity of the cell per area, where it was given [J m-2 K-1].
    """

    rise: ReactionTemperature
    exposures_s: tuple[tuple[float, float], ...]
    origin: str
    start_sd_s: float
    peaks: tuple[Peak, ...]
    cycles: Cycles | None
    probe_s: float
    probe_origin: str
    cell_heat_j_m2_k: float | None


def analyse_temperature(
    sheet: TrialSheet, plan: TemperaturePlan, logs: Path, notes: list[str], faults: list[str]
) -> TemperatureAnalysis:
    """Read and analyse the thermocouples of a sheet.

    Parameters
    ----------
    sheet, plan : TrialSheet, TemperaturePlan
        The sheet, and its part on thermocouples.
    logs : Path
        Folder of the logs.
    notes, faults : list of str
        Remarks, and faults that keep the trial out of a fit, are added to these.

    Raises
    ------
    InputError
        If a log breaks a rule, the lamp never shows, or the exposures are not those said.
    """
    sample, blank, shift = _channels(sheet, plan, logs, notes)
    if shift:
        blank = Cleaned(
            time_s=blank.time_s + shift,
            value_k=blank.value_k,
            gaps_s=_moved(blank.gaps_s, shift),
            spikes=blank.spikes,
        )
        notes.append(f"The blank's clock was moved by {shift:+.2f} s, so that the exposures fall together.")
    exposures, origin = _exposures(sheet, blank)
    _check_within(exposures, sample, plan.log)
    probe_s, probe_origin = _probe(plan, logs)
    rise = reaction_temperature(
        sample,
        blank,
        lit_at_s=exposures[0][0],
        sample_time_constant_s=probe_s,
        blank_time_constant_s=probe_s
        if plan.blank_probe_time_constant_s is None
        else plan.blank_probe_time_constant_s,
        longest_window_s=0.2 * sheet.exposures.seconds,
    )
    for name, channel in (("sample", sample), ("blank", blank)):
        if channel.spikes:
            notes.append(f"{channel.spikes} spike(s) taken out of the {name}.")
        notes += [
            f"No readings of the {name} from {low:.1f} to {high:.1f} s." for low, high in channel.gaps_s
        ]
    edges = [*(start for start, _ in exposures), float(rise.time_s[-1])]
    cycles = _cycles(plan, rise, exposures, notes)
    tau = None if cycles is None else cycles.cooling.time_constant_s
    peaks = tuple(peak_of(rise, a, b, tau) for a, b in itertools.pairwise(edges))
    _find_faults(peaks, cycles, sample, blank, exposures, origin, faults)
    return TemperatureAnalysis(
        rise=rise,
        exposures_s=tuple(exposures),
        origin=origin,
        start_sd_s=_start_sd_s(origin, blank, exposures[0]),
        peaks=peaks,
        cycles=cycles,
        probe_s=probe_s,
        probe_origin=probe_origin,
        cell_heat_j_m2_k=plan.cell_heat_j_m2_k,
    )


def _moved(gaps: Sequence[tuple[float, float]], shift: float) -> tuple[tuple[float, float], ...]:
    return tuple((low + shift, high + shift) for low, high in gaps)


def _channels(
    sheet: TrialSheet, plan: TemperaturePlan, logs: Path, notes: list[str]
) -> tuple[Cleaned, Cleaned, float]:
    """Sample and blank, and what to add to the blank's clock."""

    def read(log: str, channels: Sequence[str]) -> TemperatureLog:
        found = read_temperature_log(
            logs / log, channels, unit=plan.unit, time=plan.time, time_unit=plan.time_unit
        )
        notes.extend(f"{log}: {note}" for note in found.notes)
        return found

    if plan.blank_log is None:
        if plan.sample == plan.blank:
            raise InputError(
                f"{sheet.path}, [temperature]: sample and blank are the same channel '{plan.sample}'."
            )
        log = read(plan.log, (plan.sample, plan.blank))
        return (
            cleaned(log.time_s, log.channels[plan.sample]),
            cleaned(log.time_s, log.channels[plan.blank]),
            0.0,
        )
    first, second = read(plan.log, (plan.sample,)), read(plan.blank_log, (plan.blank,))
    sample = cleaned(first.time_s, first.channels[plan.sample])
    blank = cleaned(second.time_s, second.channels[plan.blank])
    if plan.blank_shift_s is not None:
        return sample, blank, plan.blank_shift_s
    try:
        shift, clear = shift_onto_s(_even(sample), _even(blank))
    except InputError as error:
        raise InputError(f"{plan.blank_log}: {error} Was the lamp lit?") from error
    if clear < _CLEAR_SHIFT_SD:
        raise InputError(
            f"{plan.log}: the lamp does not show in the last exposure, so sample and blank cannot be put on one clock; give "
            "blank_shift_s, the time to add to the blank's clock."
        )
    return sample, blank, shift


def _even(channel: Cleaned) -> tuple[Array, Array, float]:
    step = float(np.median(np.diff(channel.time_s)))
    grid = np.arange(channel.time_s[0], channel.time_s[-1], step)
    return grid, evenly(channel.time_s, channel.value_k, grid), noise_sd(channel.time_s, channel.value_k)


def _exposures(sheet: TrialSheet, blank: Cleaned) -> tuple[list[tuple[float, float]], str]:
    """Start and end of each exposure on the log's clock, and how they were found."""
    plan = sheet.exposures
    if plan.starts_s:
        return [(start, start + plan.seconds) for start in plan.starts_s], _GIVEN
    if sheet.temperature is not None and sheet.temperature.blank_kind == "lamp_interior":
        raise InputError(
            f"{sheet.path.name}: the air in a lamp warms too gently to tell when it was lit; give starts_s in [exposures]."
        )
    try:
        found = starts_for(*_even(blank), plan.seconds, plan.count)
    except InputError as error:
        raise InputError(f"{sheet.path.name}: {error}") from error
    if not found:
        raise InputError(
            f"{sheet.path.name}: the lamp does not show in the blank. Was it lit? If it was, give starts_s in [exposures]."
        )
    return [(start, start + plan.seconds) for start in found], _IN_BLANK


def _start_sd_s(origin: str, blank: Cleaned, first: tuple[float, float]) -> float:
    """How well the first switch-on is known."""
    if origin == _IN_BLANK:
        return start_doubt_s(*_even(blank), first[0], first[1] - first[0])
    return _GIVEN_START_SD_S


def _check_within(exposures: Sequence[tuple[float, float]], sample: Cleaned, log: str) -> None:
    first, last = float(sample.time_s[0]), float(sample.time_s[-1])
    if exposures[0][0] < first or exposures[-1][1] > last:
        raise InputError(
            f"{log}: the log runs from {first:.1f} to {last:.1f} s, the exposures from {exposures[0][0]:.1f} to "
            f"{exposures[-1][1]:.1f} s; correct starts_s, or export the whole log."
        )


def _probe(plan: TemperaturePlan, logs: Path) -> tuple[float, str]:
    """Time constant of the sample's probe and where it comes from."""
    if plan.probe_time_constant_s is not None:
        return plan.probe_time_constant_s, "given"
    if plan.probe_bead_mm is not None:
        tau = bead_time_constant_s(m_from_um(_UM_PER_MM * plan.probe_bead_mm))
        return tau, f"estimated from a bead of {plan.probe_bead_mm:g} mm in gel"
    if plan.probe_step_log is not None:
        channel = plan.probe_step_channel or plan.sample
        log = read_temperature_log(
            logs / plan.probe_step_log, (channel,), unit=plan.unit, time=plan.time, time_unit=plan.time_unit
        )
        seen = np.isfinite(log.channels[channel])
        step = step_response(log.time_s[seen], log.channels[channel][seen])
        return (
            step.time_constant_s,
            f"from a step of {step.step_k:+.1f} K, +- {step.time_constant_se_s:.2g} s",
        )
    return 0.0, "not known, no lag corrected"


def _cycles(
    plan: TemperaturePlan,
    rise: ReactionTemperature,
    exposures: Sequence[tuple[float, float]],
    notes: list[str],
) -> Cycles | None:
    if plan.cell_cooling_s is not None:
        sd = plan.cell_cooling_sd_s
        cooling = Cooling(
            time_constant_s=plan.cell_cooling_s,
            time_constant_sd_s=_GIVEN_COOLING_SD * plan.cell_cooling_s if sd is None else sd,
            origin="given" if sd is not None else "given, taken as good to 5 %",
        )
    else:
        end = exposures[1][0] if len(exposures) > 1 else float(rise.time_s[-1])
        try:
            cooling = cooling_of(rise, exposures[0][1] + _DARK_SETTLE_S, end)
        except InputError as error:
            notes.append(f"No heats: {error}")
            return None
    doubt = AIR_BLANK if plan.blank_kind == "lamp_interior" else ""
    return cycles_of(rise, cooling, [start for start, _ in exposures], float(rise.time_s[-1]), doubt)


def _find_faults(
    peaks: Sequence[Peak],
    cycles: Cycles | None,
    sample: Cleaned,
    blank: Cleaned,
    exposures: Sequence[tuple[float, float]],
    origin: str,
    faults: list[str],
) -> None:
    """Name what makes a log worthless for a fit."""
    warms = [_warming(channel, *exposures[0]) for channel in (sample, blank)]
    if origin == _GIVEN and max(warms) < 5.0:
        faults.append(NOT_LIT)
        return
    first = peaks[0]
    if first.height_k < 3.0 * first.height_sd_k or (cycles is not None and cycles.verdict == "no reaction"):
        faults.append(NO_REACTION)


def _warming(channel: Cleaned, start: float, end: float) -> float:
    """How clearly a channel warms between two times, in standard deviations of one reading."""
    sd = noise_sd(channel.time_s, channel.value_k)
    inside = (channel.time_s >= start) & (channel.time_s <= end)
    if not inside.any():
        return 0.0
    before = channel.value_k[channel.time_s < start]
    return float(np.median(channel.value_k[inside]) - np.median(before)) / sd if before.size else 0.0


def temperature_signal(
    sheet: TrialSheet, plan: TemperaturePlan, analysis: TemperatureAnalysis, faults: Sequence[str]
) -> TrialSignal:
    """Independent points of the rise from the first switch-on, away from switches and gaps."""
    rise, window = analysis.rise, analysis.rise.smoothing.window_s
    zero = analysis.exposures_s[0][0]
    # two points per window, each with the weight of half a window's readings
    step = max(rise.smoothing.points // 2, 1)
    start = int(np.searchsorted(rise.time_s, zero))
    kept = np.arange(start, rise.time_s.size, step)
    switches = np.array([edge for pair in analysis.exposures_s for edge in pair])
    near = np.min(np.abs(rise.time_s[kept][:, np.newaxis] - switches), axis=1) < 0.5 * window
    kept = kept[~near & ~rise.missing[kept]]
    include, reason = sheet.include, sheet.reason
    if faults:
        include, reason = False, "; ".join(faults)
    scatter = float(np.hypot(rise.rise_sd_k * np.sqrt(rise.smoothing.points / step), rise.offset_sd_k))
    # a doubt about when the light went on is a doubt about the rise wherever it is steep
    slope = np.gradient(rise.rise_k, rise.step_s)[kept]
    sd = np.hypot(scatter, analysis.start_sd_s * slope)
    return TrialSignal(
        name="reaction_temperature",
        kind="reaction_temperature",
        place=plan.place,
        blank=plan.blank_kind,  # type: ignore[arg-type]
        time_s=rise.time_s[kept] - zero,
        value=rise.rise_k[kept],
        noise_sd=sd,
        include=include,
        reason=reason,
        provenance={
            "log": plan.log,
            "sample": plan.sample,
            "blank": plan.blank if plan.blank_log is None else f"{plan.blank} in {plan.blank_log}",
            "offset_taken_off_k": f"{rise.offset_k:.3f} +- {rise.offset_sd_k:.3f}",
            "probe_time_constant_s": f"{analysis.probe_s:.3g} ({analysis.probe_origin})",
            "smoothing": f"local parabolas over {window:.3g} s, two points per window",
            "exposures": f"{analysis.origin}, +- {analysis.start_sd_s:.2g} s",
        },
    )
