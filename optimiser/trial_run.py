"""A trial read and set against its prediction, as text and as data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..lamp_library.units import um_from_m
from ..models.exotherm_cycles import CURED_SHARE, Cycles
from ..models.gel import Gel
from ..models.trial import UNITS
from ..models.trial_model import TrialPrediction
from ..models.trial_reading import TrialReading, figures_of, warnings_of
from ..models.trial_sheet import RECORD_FIELDS
from .cautions import short_cautions
from .deviation import Deviation, deviation_of
from .versions import versions

_BLANKS = {
    "cured_sample": "cured sample",
    "lamp_interior": "lamp interior",
    "empty_run": "empty run",
}
_ATMOSPHERES = {"air": "In air", "nitrogen": "Under nitrogen", "closed": "Covered: no oxygen from outside"}
_PLACES = {"interface": "at the base of the film", "film": "in the film", "nail_bed": "at the nail bed"}
# a prediction this much above a measured peak makes the measurement, not the model, suspect: assumed
_SUSPECT_RATIO = 5.0
_SUSPECT_K = 2.0
_NEARLY_ALL = 0.99  # closer than that, drift of probes and cell decides, not noise


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialRun:
    """A trial as read, the gel it was predicted with, what the model predicts for it, and the deviations."""

    reading: TrialReading
    predicted_gel: Gel
    prediction: TrialPrediction
    deviations: tuple[Deviation, ...]

    @property
    def faults(self) -> tuple[str, ...]:
        """Faults of the log, and of the log beside the prediction."""
        if self.reading.faults:
            return self.reading.faults
        found = [
            f"the model expects {each.predicted_peak:.1f} K, the probe shows {each.measured_peak:.1f} K: look whether the probe "
            "lies in the gel, and whether gel, lamp and position are those of the sheet"
            for each in self.deviations
            if each.kind == "reaction_temperature"
            and each.predicted_peak > max(_SUSPECT_RATIO * each.measured_peak, _SUSPECT_K)
        ]
        return tuple(found)


def run_of(reading: TrialReading, prediction: TrialPrediction, gel: Gel | None = None) -> TrialRun:
    """Set a reading against its prediction, made with the trial's own gel or another."""
    return TrialRun(
        reading=reading,
        predicted_gel=gel or reading.trial.gel,
        prediction=prediction,
        deviations=tuple(deviation_of(each, prediction.values[each.name]) for each in reading.trial.signals),
    )


def percent(fraction: float) -> str:
    """A fraction in per cent with one decimal; nothing is never shown as less than nothing.

    Examples
    --------
    >>> percent(-0.0001), percent(0.3841)
    ('0.0', '38.4')
    """
    return f"{round(100.0 * fraction, 1) + 0.0:.1f}"


def coefficients_words(gel: Gel) -> str:
    """Where the rate coefficients of a gel come from."""
    if gel.calibration is None:
        return "with the packaged rate coefficients (not calibrated)"
    return f"with coefficients fitted to {', '.join(gel.calibration.trials) or 'trials'}"


def trial_text(run: TrialRun) -> str:
    """The whole report as text."""
    parts = (_head, _verdict, _temperature, _signals, _deviations, _remarks, _record)
    lines = [line for part in parts for line in part(run)]
    lines += ["", "Cautions:", *(f"- {caution}" for caution in short_cautions())]
    return "\n".join(lines)


def _head(run: TrialRun) -> list[str]:
    trial = run.reading.trial
    seconds = sorted({round(each.duration_s, 2) for each in trial.exposures})
    exposures = f"{len(trial.exposures)} x {', '.join(f'{each:g}' for each in seconds)} s"
    lines = [
        (
            f"Trial {trial.trial_id}: {trial.gel.name} ({trial.gel.coat}), {um_from_m(trial.thickness_m):g} µm, {exposures} "
            f"({trial.exposures[0].programme}) in {trial.lamp.name}, {trial.position}"
        )
    ]
    if trial.atmosphere != "air" or trial.isothermal:
        held = ", held at its temperature" if trial.isothermal else ""
        lines.append(f"{_ATMOSPHERES[trial.atmosphere]}{held}.")
    if trial.is_demonstration:
        lines.append("Invented demonstration data.")
    return lines


def _verdict(run: TrialRun) -> list[str]:
    lines = [""]
    lines += [f"FAULT: {fault}." for fault in run.faults]
    if run.faults:
        lines.append("The trial is kept, and left out of fits.")
        return lines
    analysis = run.reading.temperature
    if analysis is not None and analysis.cycles is not None:
        cycles = analysis.cycles
        lines.append(cycles.sentence)
        if cycles.heat_k.size > 1 and cycles.verdict != "no reaction":
            lines.append(_completeness(cycles))
        if cycles.heat_k.size > 1 and cycles.share[1] > 1.0:
            lines.append(
                "The second exposure gave more heat than the first: the first was largely spent on oxygen and stabiliser."
            )
        lines += warnings_of(run.reading)
    return lines if len(lines) > 1 else []


def _completeness(cycles: Cycles) -> str:
    low, best, high = cycles.completeness_low, cycles.completeness, cycles.completeness_high
    if low >= _NEARLY_ALL:
        size = f"more than {percent(_NEARLY_ALL)} % has come"
    else:
        size = f"{percent(best)} % has come (90 % interval {percent(low)} to {percent(high)} %)"
    return (
        f"Of the heat that this lamp could bring out, {size} after {cycles.heat_k.size} exposures; further ones are extrapolated as a "
        "geometric series."
    )


def _temperature(run: TrialRun) -> list[str]:
    analysis = run.reading.temperature
    if analysis is None:
        return []
    signal = run.reading.trial.signals[0]
    rise, smooth = analysis.rise, analysis.rise.smoothing
    lines = [
        "",
        f"Reaction temperature {_PLACES[signal.place]}, sample minus {_BLANKS[signal.blank]}:",
        *_cycle_table(run),
        "",
    ]
    if analysis.cycles is not None:
        cooling = analysis.cycles.cooling
        lines.append(
            f"Cooling constant of the cell {cooling.time_constant_s:.1f} +- {cooling.time_constant_sd_s:.1f} s ({cooling.origin}). "
            "Heat is given over the heat capacity of the cell: the rise it would have without loss."
        )
    lines += [
        f"Exposures {analysis.origin} (+- {analysis.start_sd_s:.2g} s): "
        + ", ".join(f"{a:.1f}-{b:.1f} s" for a, b in analysis.exposures_s)
        + " on the log's clock.",
        (
            f"Probe: time constant {analysis.probe_s:.2g} s ({analysis.probe_origin}); offset {rise.offset_k:+.2f} +- "
            f"{rise.offset_sd_k:.2f} K taken off."
        ),
        (
            f"Smoothing: local parabolas over {smooth.window_s:.2g} s ({smooth.points} readings, noise {smooth.noise_sd:.2g} K each). It "
            f"leaves {rise.rise_sd_k:.2g} K of scatter and lowers the highest point by about {max(smooth.peak_bias, 0.01):.1g} K or less; a window across a "
            "switch of the lamp cannot follow the bend."
        ),
    ]
    return lines


def _cycle_table(run: TrialRun) -> list[str]:
    analysis = run.reading.temperature
    if analysis is None:
        return []
    cycles, capacity = analysis.cycles, analysis.cell_heat_j_m2_k
    head = ["cycle", "peak/K", "after/s", "steepest/K s-1", "area/K s"]
    if cycles is not None:
        head += ["heat/K", "share of first/%"]
        if capacity is not None:
            head.append("heat/kJ m-2")
    rows = [head]
    for i, peak in enumerate(analysis.peaks):
        row = [
            str(i + 1),
            f"{peak.height_k:.2f} +- {peak.height_sd_k:.2f}",
            f"{peak.time_s:.1f} +- {peak.time_sd_s:.1f}",
            f"{peak.rate_k_s:.2f} +- {peak.rate_sd_k_s:.2f}",
            f"{peak.area_k_s:.0f} +- {peak.area_sd_k_s:.0f}",
        ]
        if cycles is not None:
            row += [
                f"{cycles.heat_k[i]:.2f} +- {cycles.heat_sd_k[i]:.2f}",
                f"{percent(cycles.share[i])} +- {percent(cycles.share_sd[i])}" if i else "100",
            ]
            if capacity is not None:
                row.append(f"{capacity * cycles.heat_k[i] / 1e3:.1f}")
        rows.append(row)
    return _aligned(rows)


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]


def _signals(run: TrialRun) -> list[str]:
    lines = [""]
    for each in run.reading.trial.signals:
        use = (
            "used in fits"
            if each.include and not run.faults
            else f"left out of fits: {each.reason or '; '.join(run.faults)}"
        )
        lines.append(
            f"Signal {each.name}: {each.time_s.size} points of {each.kind.replace('_', ' ')} [{UNITS[each.kind]}], noise "
            f"{float(each.noise_sd.mean()):.2g}; {use}"
        )
    return lines


def _deviations(run: TrialRun) -> list[str]:
    if run.faults:
        return ["", "Nothing is compared with a prediction: the log is faulty."]
    lines = ["", f"Predicted against measured, {coefficients_words(run.predicted_gel)}:"]
    for each in run.deviations:
        lines += [f"- {each.name}: {sentence}" for sentence in each.sentences]
    heat = run.prediction.heat_by_exposure_j_m2
    if heat.size > 1 and heat[0] > 0.0:
        shares = ", ".join(f"{100.0 * float(each) / float(heat[0]):.1f} %" for each in heat[1:])
        lines.append(
            f"- predicted heat of the later exposures over the first: {shares} (line {100 * CURED_SHARE:g} %)"
        )
    return lines


def _remarks(run: TrialRun) -> list[str]:
    notes = run.reading.notes
    return ["", "Remarks:", *(f"- {note}" for note in notes)] if notes else []


def _record(run: TrialRun) -> list[str]:
    record = run.reading.trial.record
    lines = ["", "Trial record:"]
    lines += [
        f"- {key.replace('_', ' ')}: {record[key]}" for key in RECORD_FIELDS if record.get(key, "").strip()
    ]
    missing = run.reading.missing_record
    if missing:
        lines.append(
            "Asked for in a trial record, not filled in: "
            + ", ".join(key.replace("_", " ") for key in missing)
            + "."
        )
    return lines


def trial_data(run: TrialRun) -> dict[str, Any]:
    """The same as plain data."""
    trial, analysis = run.reading.trial, run.reading.temperature
    found: dict[str, Any] = {
        "trial": trial.trial_id,
        "calibrated_with": list(run.predicted_gel.calibration.trials) if run.predicted_gel.calibration else [],
        "gel": trial.gel.name,
        "lamp": trial.lamp.lamp_id,
        "position": trial.position,
        "thickness_m": trial.thickness_m,
        "is_demonstration": trial.is_demonstration,
        "exposures": [
            {"start_s": each.start_s, "duration_s": each.duration_s, "programme": each.programme}
            for each in trial.exposures
        ],
        "faults": list(run.faults),
        "signals": [
            {"name": each.name, "kind": each.kind, "points": int(each.time_s.size), "include": each.include and not run.faults,
             "reason": each.reason}
            for each in trial.signals
        ],
        "deviations": [
            {name: getattr(each, name) for name in Deviation.__dataclass_fields__} | {"words": list(each.sentences)}
            for each in run.deviations
        ],
        "predicted_heat_by_exposure_j_m2": [float(each) for each in run.prediction.heat_by_exposure_j_m2],
        "notes": list(run.reading.notes),
        "warnings": list(warnings_of(run.reading)),
        "record": dict(trial.record),
        "record_missing": list(run.reading.missing_record),
        "versions": versions(),
        "cautions": short_cautions(),
    }  # fmt: skip
    if analysis is not None:
        rise = analysis.rise
        found["temperature"] = {
            "peaks": [dict(figures_of(peak)) for peak in analysis.peaks],
            "probe_time_constant_s": analysis.probe_s,
            "offset_k": rise.offset_k,
            "offset_sd_k": rise.offset_sd_k,
            "smoothing_window_s": rise.smoothing.window_s,
            "rise_sd_k": rise.rise_sd_k,
            "peak_bias_k": rise.smoothing.peak_bias,
            "exposures_on_log_s": [list(pair) for pair in analysis.exposures_s],
            "exposures_origin": analysis.origin,
            "start_sd_s": analysis.start_sd_s,
        }
        if analysis.cycles is not None:
            cycles = analysis.cycles
            found["cycles"] = {
                "heat_k": cycles.heat_k.tolist(),
                "heat_sd_k": cycles.heat_sd_k.tolist(),
                "share_of_first": cycles.share.tolist(),
                "share_sd": cycles.share_sd.tolist(),
                "floor_share": cycles.floor_share,
                "completeness_low_fraction": cycles.completeness_low,
                "completeness_fraction": cycles.completeness,
                "completeness_high_fraction": cycles.completeness_high,
                "verdict": cycles.verdict,
                "cooling_time_constant_s": cycles.cooling.time_constant_s,
                "cooling_time_constant_sd_s": cycles.cooling.time_constant_sd_s,
            }
    return found
