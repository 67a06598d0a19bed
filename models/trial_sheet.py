"""The trial sheet: one TOML file that says what was cured, how it was logged, and what people wrote down.

id = "b12_thumb_1"
[cured]        gel, lamp, position, thickness_um; atmosphere, isothermal: optional
[exposures]    seconds; count, programme, starts_s: optional (starts on the log's clock)
[temperature]  log, sample, blank, blank_kind; unit, time, time_unit, place, blank_log, probe and cell: optional
[conversion.NAME], [heat_flow.NAME]   curves of other instruments
[hand]         start_c and any property of what the film lies on
[record]       the fields of a trial record
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.toml_section import Section
from ..lamp_library.units import m_from_um
from .heat import Hand
from .trial_files import hand_from

_Plan = TypeVar("_Plan")

SHEET_FILE = "sheet.toml"
BLANK_KINDS = ("cured_sample", "lamp_interior", "empty_run")
_TOP = (
    "format", "id", "demonstration", "include", "reason", "cured", "exposures", "temperature", "conversion", "heat_flow",
    "hand", "record",
)  # fmt: skip
FORMAT = "gelwright trial sheet 1"
_CURED = ("gel", "lamp", "position", "thickness_um", "atmosphere", "isothermal")
_EXPOSURES = ("seconds", "count", "programme", "starts_s")
_TEMPERATURE = (
    "log", "unit", "time", "time_unit", "sample", "blank", "blank_kind", "blank_log", "blank_shift_s", "place", "probe_time_constant_s",
    "probe_bead_mm", "probe_step_log", "probe_step_channel", "blank_probe_time_constant_s", "cell_cooling_s",
    "cell_cooling_sd_s", "cell_heat_j_m2_k",
)  # fmt: skip
_CONVERSION = (
    "log", "time", "time_unit", "value", "quantity", "reference", "uncured_ratio", "light_on_s", "place", "noise_sd",
)  # fmt: skip
_HEAT_FLOW = (
    "log", "time", "time_unit", "value", "unit", "exothermic", "mass_mg", "baseline_log", "light_on_s",
)  # fmt: skip

# Fields of a trial record, and what each is; materials and lamp have their own files.
RECORD_FIELDS: Mapping[str, str] = MappingProxyType(
    {
        "date": "day of the trial, as 2026-03-02",
        "operator": "who did it",
        "formula_version": "version of the formula",
        "weighed_amounts": "grams weighed of each part",
        "material_batches": "batch of each material",
        "wet_thickness": "wet thickness as measured, and how",
        "dry_thickness": "cured thickness as measured, and how",
        "substrate": "glass, foil, tip or nail",
        "lamp_hours": "hours of light of the lamp so far",
        "lamp_charge": "mains, or charge of the battery",
        "room_c": "room temperature, C",
        "room_rh_pct": "relative humidity, %",
        "previous_coats": "coats below, and how they were cured",
        "tack": "tack of the surface, wiped or not",
        "base_softness": "softness at the base",
        "film_underside": "underside of the lifted film",
        "hardness": "hardness, with scale",
        "conversion_top_bottom": "conversion by FTIR, top and bottom",
        "probe": "kind of probe, bead, where it lies",
        "wrinkle": "wrinkles or pulling back",
        "colour": "L*a*b* or yellowness index",
        "gloss": "gloss, with angle",
        "adhesion": "adhesion, with method",
        "wear": "days of wear",
        "photo": "file name of a photo",
        "remark": "anything else",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposurePlan:
    """What the sheet says about the light: length [s], number, programme, and starts on the log's clock [s]."""

    seconds: float
    count: int | None = None
    programme: str = "steady"
    starts_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperaturePlan:
    """How the thermocouples were logged; see the module's docstring for the names."""

    log: str
    sample: str
    blank: str
    blank_kind: str
    unit: str | None = None
    time: str | None = None
    time_unit: str | None = None
    blank_log: str | None = None
    blank_shift_s: float | None = None
    place: str = "interface"
    probe_time_constant_s: float | None = None
    probe_bead_mm: float | None = None
    probe_step_log: str | None = None
    probe_step_channel: str | None = None
    blank_probe_time_constant_s: float | None = None
    cell_cooling_s: float | None = None
    cell_cooling_sd_s: float | None = None
    cell_heat_j_m2_k: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConversionPlan:
    """How a conversion curve was logged."""

    log: str
    value: str
    quantity: str
    reference: str | None = None
    uncured_ratio: float | None = None
    time: str | None = None
    time_unit: str | None = None
    light_on_s: float = 0.0
    place: str = "mean"
    noise_sd: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatFlowPlan:
    """How a photocalorimeter run was logged."""

    log: str
    value: str
    unit: str
    exothermic: str
    mass_mg: float | None = None
    baseline_log: str | None = None
    time: str | None = None
    time_unit: str | None = None
    light_on_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialSheet:
    """A sheet as read; gel and lamp are still names, logs still paths relative to the sheet's folder."""

    path: Path
    trial_id: str
    gel: str
    lamp: str
    position: str
    thickness_m: float
    atmosphere: str
    isothermal: bool
    exposures: ExposurePlan
    temperature: TemperaturePlan | None
    conversions: Mapping[str, ConversionPlan]
    heat_flows: Mapping[str, HeatFlowPlan]
    hand: Hand
    record: Mapping[str, str]
    include: bool
    reason: str
    is_demonstration: bool

    @property
    def logs(self) -> tuple[str, ...]:
        """All files the sheet names, each once."""
        found: list[str | None] = []
        if self.temperature is not None:
            plan = self.temperature
            found += [plan.log, plan.blank_log, plan.probe_step_log]
        found += [each.log for each in self.conversions.values()]
        for flow in self.heat_flows.values():
            found += [flow.log, flow.baseline_log]
        return tuple(dict.fromkeys(name for name in found if name))

    @property
    def missing_record(self) -> tuple[str, ...]:
        """Fields of the trial record that nobody filled in."""
        return tuple(name for name in RECORD_FIELDS if not self.record.get(name, "").strip())


def read_sheet(path: Path) -> TrialSheet:
    """Read a trial sheet.

    Raises
    ------
    InputError
        If it is missing, no TOML, or breaks a rule; one line names file, table and key.
    """
    top = Section.of_file(path)
    top.only(*_TOP)
    if top.values.get("format", FORMAT) != FORMAT:
        raise InputError(f"{path}: format is {top.values['format']!r}; it must be '{FORMAT}'.")
    cured = top.table("cured")
    cured.only(*_CURED)
    record = top.table("record", required=False)
    for key in record.values:
        if key not in RECORD_FIELDS:
            raise unknown_name(f"field in {record.name}", key, tuple(RECORD_FIELDS))
    sheet = TrialSheet(
        path=path,
        trial_id=top.text("id"),
        gel=cured.text("gel"),
        lamp=cured.text("lamp"),
        position=cured.text("position"),
        thickness_m=m_from_um(cured.number("thickness_um")),
        atmosphere=_text(cured, "atmosphere") or "air",
        isothermal=cured.flag("isothermal") if "isothermal" in cured.values else False,
        exposures=_exposures(top.table("exposures")),
        temperature=_temperature(top.table("temperature")) if "temperature" in top.values else None,
        conversions=_each(top, "conversion", _conversion),
        heat_flows=_each(top, "heat_flow", _heat_flow),
        hand=hand_from(top.table("hand", required=False)),
        record={key: record.text(key) for key in record.values},
        include=top.flag("include") if "include" in top.values else True,
        reason=_text(top, "reason") or "",
        is_demonstration=top.flag("demonstration") if "demonstration" in top.values else False,
    )
    if sheet.temperature is None and not sheet.conversions and not sheet.heat_flows:
        raise InputError(
            f"{path}: nothing was measured; add [temperature], [conversion.NAME] or [heat_flow.NAME]."
        )
    if not sheet.include and not sheet.reason:
        raise InputError(f'{path}: include = false without a reason; add a line reason = "...".')
    return sheet


def _each(top: Section, key: str, read: Callable[[Section], _Plan]) -> dict[str, _Plan]:
    table = top.table(key, required=False)
    return {name: read(table.table(name)) for name in table.values}


def _text(section: Section, key: str) -> str | None:
    return section.text(key) if key in section.values else None


def _number(section: Section, key: str) -> float | None:
    return section.number(key) if key in section.values else None


def _exposures(section: Section) -> ExposurePlan:
    section.only(*_EXPOSURES)
    count = _number(section, "count")
    starts = section.values.get("starts_s", [])
    if not isinstance(starts, list) or any(
        isinstance(each, bool) or not isinstance(each, int | float) for each in starts
    ):
        raise InputError(f"{section.name}: starts_s must be a list of numbers, seconds on the log's clock.")
    if count is not None and count != int(count):
        raise InputError(f"{section.name}: count is {count:g}; it must be a whole number.")
    if starts and count is not None and len(starts) != int(count):
        raise InputError(
            f"{section.name}: count is {int(count)}, but starts_s lists {len(starts)}; make them equal."
        )
    return ExposurePlan(
        seconds=section.number("seconds"),
        count=None if count is None else int(count),
        programme=_text(section, "programme") or "steady",
        starts_s=tuple(float(each) for each in starts),
    )


def _temperature(section: Section) -> TemperaturePlan:
    section.only(*_TEMPERATURE)
    given: dict[str, Any] = {
        key: section.number(key) if key.endswith(("_s", "_mm", "_k")) else section.text(key)
        for key in _TEMPERATURE
        if key in section.values
    }
    for key in ("log", "sample", "blank", "blank_kind"):
        section.text(key)
    plan = TemperaturePlan(**given)
    if plan.blank_kind not in BLANK_KINDS:
        raise unknown_name(f"blank_kind in {section.name}", plan.blank_kind, BLANK_KINDS)
    lags = [plan.probe_time_constant_s, plan.probe_bead_mm, plan.probe_step_log]
    if sum(each is not None for each in lags) > 1:
        raise InputError(
            f"{section.name}: the probe's lag is given more than once; keep one of probe_time_constant_s, probe_bead_mm, "
            "probe_step_log."
        )
    return plan


def _conversion(section: Section) -> ConversionPlan:
    section.only(*_CONVERSION)
    return ConversionPlan(
        log=section.text("log"),
        value=section.text("value"),
        quantity=section.text("quantity"),
        reference=_text(section, "reference"),
        uncured_ratio=_number(section, "uncured_ratio"),
        time=_text(section, "time"),
        time_unit=_text(section, "time_unit"),
        light_on_s=_number(section, "light_on_s") or 0.0,
        place=_text(section, "place") or "mean",
        noise_sd=_number(section, "noise_sd"),
    )


def _heat_flow(section: Section) -> HeatFlowPlan:
    section.only(*_HEAT_FLOW)
    return HeatFlowPlan(
        log=section.text("log"),
        value=section.text("value"),
        unit=section.text("unit"),
        exothermic=section.text("exothermic"),
        mass_mg=_number(section, "mass_mg"),
        baseline_log=_text(section, "baseline_log"),
        time=_text(section, "time"),
        time_unit=_text(section, "time_unit"),
        light_on_s=_number(section, "light_on_s") or 0.0,
    )
