"""From a trial sheet and its logs to a trial: what was measured, what it means, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from .curve_log import Curve, read_conversion, read_heat_flow
from .exotherm import (
    Peak,
)
from .exotherm_cycles import GLASSY_WARNING
from .gel import Gel
from .trial import Exposure, Trial, TrialSignal
from .trial_sheet import ConversionPlan, HeatFlowPlan, TrialSheet
from .trial_temperature import TemperatureAnalysis, analyse_temperature, temperature_signal

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialReading:
    """A trial as read, with its analysis, remarks, and faults that keep it out of a fit."""

    trial: Trial
    temperature: TemperatureAnalysis | None
    notes: tuple[str, ...]
    faults: tuple[str, ...]
    missing_record: tuple[str, ...]


def read_trial(sheet: TrialSheet, gel: Gel, lamp: Lamp, logs: Path) -> TrialReading:
    """Read the logs a sheet names.

    Parameters
    ----------
    sheet : TrialSheet
        What was done.
    gel, lamp : Gel, Lamp
        What was cured in what.
    logs : Path
        Folder of the logs; their paths in the sheet are relative to it.

    Raises
    ------
    InputError
        If a log breaks a rule, or the lamp never shows in it.
    """
    notes: list[str] = []
    faults: list[str] = []
    signals: list[TrialSignal] = []
    analysis = None
    exposures = _planned(sheet)
    if sheet.temperature is not None:
        analysis = analyse_temperature(sheet, sheet.temperature, logs, notes, faults)
        zero = analysis.exposures_s[0][0]
        exposures = tuple(
            Exposure(start_s=start - zero, duration_s=end - start, programme=sheet.exposures.programme)
            for start, end in analysis.exposures_s
        )
        signals.append(temperature_signal(sheet, sheet.temperature, analysis, faults))
    for name, plan in sheet.conversions.items():
        signals.append(_conversion_signal(sheet, name, plan, logs, notes))
    for name, flow in sheet.heat_flows.items():
        signals.append(_heat_flow_signal(sheet, name, flow, logs, notes))
    trial = Trial(
        trial_id=sheet.trial_id,
        gel=gel,
        lamp=lamp,
        position=sheet.position,
        thickness_m=sheet.thickness_m,
        exposures=exposures,
        hand=sheet.hand,
        atmosphere=sheet.atmosphere,  # type: ignore[arg-type]
        isothermal=sheet.isothermal,
        signals=tuple(signals),
        record=sheet.record,
        is_demonstration=sheet.is_demonstration or gel.is_demonstration or lamp.is_demonstration,
    )
    return TrialReading(
        trial=trial,
        temperature=analysis,
        notes=tuple(dict.fromkeys(notes)),
        faults=tuple(faults),
        missing_record=sheet.missing_record,
    )


def _planned(sheet: TrialSheet) -> tuple[Exposure, ...]:
    """Exposures as the sheet says them, for trials without a thermocouple."""
    plan = sheet.exposures
    count = plan.count or max(len(plan.starts_s), 1)
    starts = plan.starts_s
    if not starts and count > 1:
        if sheet.temperature is not None:
            starts = tuple(plan.seconds * number for number in range(count))  # replaced by those found
        else:
            raise InputError(f"{sheet.path}: several exposures without starts_s; give their times.")
    starts = starts or (0.0,)
    return tuple(
        Exposure(start_s=each - starts[0], duration_s=plan.seconds, programme=plan.programme)
        for each in starts
    )


def _conversion_signal(
    sheet: TrialSheet, name: str, plan: ConversionPlan, logs: Path, notes: list[str]
) -> TrialSignal:
    curve = read_conversion(
        logs / plan.log,
        plan.value,
        plan.quantity,
        reference=plan.reference,
        time=plan.time,
        time_unit=plan.time_unit,
        light_on_s=plan.light_on_s,
        uncured_ratio=plan.uncured_ratio,
    )
    sd = curve.noise_sd if plan.noise_sd is None else plan.noise_sd
    return _curve_signal(sheet, name, "conversion", plan.place, curve, sd, plan.log, notes)


def _heat_flow_signal(
    sheet: TrialSheet, name: str, plan: HeatFlowPlan, logs: Path, notes: list[str]
) -> TrialSignal:
    curve = read_heat_flow(
        logs / plan.log,
        plan.value,
        plan.unit,
        plan.exothermic,
        mass_mg=plan.mass_mg,
        baseline=None if plan.baseline_log is None else logs / plan.baseline_log,
        time=plan.time,
        time_unit=plan.time_unit,
        light_on_s=plan.light_on_s,
        light_off_s=plan.light_on_s + sheet.exposures.seconds,
    )
    return _curve_signal(sheet, name, "heat_flow", "mean", curve, curve.noise_sd, plan.log, notes)


def _curve_signal(
    sheet: TrialSheet, name: str, kind: str, place: str, curve: Curve, sd: float, log: str, notes: list[str]
) -> TrialSignal:
    notes.extend(f"{log}: {note}" for note in curve.notes)
    return TrialSignal(
        name=name,
        kind=kind,  # type: ignore[arg-type]
        place=place,
        time_s=curve.time_s,
        value=curve.value,
        noise_sd=np.full(curve.time_s.size, sd),
        include=sheet.include,
        reason=sheet.reason,
        provenance={"log": log},
    )


def warnings_of(reading: TrialReading) -> tuple[str, ...]:
    """What a reader of the trial must know beside its figures."""
    analysis = reading.temperature
    if analysis is None or analysis.cycles is None or analysis.cycles.verdict == "no reaction":
        return ()
    return (GLASSY_WARNING,) if analysis.cycles.heat_k.size > 1 else ()


def figures_of(peak: Peak) -> Mapping[str, float]:
    """A peak's figures by name."""
    return {name: float(getattr(peak, name)) for name in Peak.__dataclass_fields__}
