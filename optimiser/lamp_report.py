"""The lamp report: what a reader of a measured lamp must know, and what nobody has written down yet."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from ..lamp_library.reader import NOT_RECORDED, PROVENANCE_FIELDS
from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2
from .lamp_view import LampFigures

# each field in the words in which it is asked for; their order is that of the report
FIELD_WORDS = {
    "lamp_type": "type of lamp, described without make",
    "serial_number": "serial number",
    "hours_of_use": "hours of light so far, or the day it was bought",
    "supply": "mains or battery; regulated or not; charge when measured",
    "nominal_wavelengths_nm": "nominal wavelengths, nm",
    "dies_per_type": "number of dies of each kind",
    "inner_finish": "inner finish (bare metal, white plastic, ...)",
    "position_map": "position map: x, y, z and normal of each position",
    "distance_mm": "distance of the diffuser from the dies, mm",
    "dummy_hand": "dummy hand in place",
    "ambient_c": "room temperature, C",
    "programme_waveform": "waveform from switch-on, 10 readings a second or more, every programme",
    "instrument": "instrument",
    "instrument_range_nm": "its range, nm",
    "bandwidth_nm": "its bandwidth (full width at half maximum), nm",
    "diffuser": "diffuser: size and cosine response",
    "calibration_date": "day of its calibration",
    "calibration_traceable_to": "what the calibration is traceable to",
    "dark_subtracted": "dark reading subtracted (same integration time)",
    "stray_light_corrected": "stray light corrected",
    "bandwidth_corrected": "bandwidth corrected",
    "expanded_uncertainty_percent": "expanded uncertainty (k = 2), %",
    "repeatability": "repeatability: number of readings and standard deviation",
    "repeat_after_10_cycles": "reading after ten cycles over the first",
    "second_instrument_irradiance_mw_cm2": "irradiance by a second instrument, with its band, mW/cm2",
    "measured_on": "day of the measurement",
    "laboratory": "laboratory and operator",
    "licence": "licence of the data",
}
_IDENTITY = (
    "lamp_type",
    "serial_number",
    "hours_of_use",
    "supply",
    "nominal_wavelengths_nm",
    "dies_per_type",
    "inner_finish",
)
_SET_UP = ("position_map", "distance_mm", "dummy_hand", "ambient_c", "programme_waveform")
_SECTIONS = (
    ("Lamp", _IDENTITY),
    ("Set-up", _SET_UP),
    (
        "Instrument and corrections",
        tuple(each for each in PROVENANCE_FIELDS if each not in (*_IDENTITY, *_SET_UP)),
    ),
)
SPECTRA_PICTURE = "spectra.png"


def missing_fields(lamp: Lamp) -> tuple[str, ...]:
    """Fields of the report that are blank, "not recorded" or absent."""
    return tuple(key for key in PROVENANCE_FIELDS if not _given(lamp, key))


def _given(lamp: Lamp, key: str) -> str:
    value = lamp.provenance.get(key, "").strip()
    return "" if value == NOT_RECORDED else value


def report_text(lamp: Lamp, figures: LampFigures, picture: str | None = None) -> str:
    """The report in Markdown; what is missing is asked for, not invented."""
    lines = [f"# Lamp report: {lamp.name}", ""]
    if lamp.is_demonstration:
        lines += ["**Invented demonstration data.** Not a real lamp.", ""]
    missing = missing_fields(lamp)
    whole = len(PROVENANCE_FIELDS)
    lines += [f"Id `{lamp.lamp_id}`; {whole - len(missing)} of {whole} fields filled in.", ""]
    for title, keys in _SECTIONS:
        lines += [f"## {title}", "", "| field | entry |", "|---|---|"]
        lines += [f"| {FIELD_WORDS[key]} | {_given(lamp, key) or '**asked for**'} |" for key in keys]
        if title == "Lamp":
            power = "**asked for**" if lamp.electrical_power_w is None else f"{lamp.electrical_power_w:g}"
            lines.append(f"| electrical power, W | {power} |")
        lines.append("")
    lines += ["## Irradiance by position", "", *_irradiance(figures), ""]
    if picture:
        lines += [f"![Spectra by position]({picture})", ""]
    lines += ["## Output over time and programmes", "", *_course(lamp, figures), ""]
    if figures.notes:
        lines += ["## Remarks", "", *(f"- {note}" for note in figures.notes), ""]
    if missing:
        lines += ["## Still to be measured or asked for", ""]
        lines += [f"- [ ] {FIELD_WORDS[key]} (`{key}`)" for key in missing]
        lines += ["", "Fill these in under `[provenance]` in `lamp.toml`.", ""]
    return "\n".join(lines)


def _irradiance(figures: LampFigures) -> list[str]:
    lines = [
        "| position | whole range | UV-A 315-400 nm | violet 400-450 nm | peaks (width), nm |",
        "|---|---|---|---|---|",
    ]
    rows = []
    for each in figures.positions:
        values = (each.irradiance_w_m2, each.uv_a_irradiance_w_m2, each.violet_irradiance_w_m2)
        rows.append([mw_cm2_from_w_m2(value) for value in values])
        peaks = ", ".join(f"{peak.wavelength_nm:.1f} ({peak.fwhm_nm:.1f})" for peak in each.peaks) or "none"
        lines.append(
            f"| {each.position} | " + " | ".join(f"{value:.2f}" for value in rows[-1]) + f" | {peaks} |"
        )
    table = np.array(rows)
    statistics = {"least": table.min(axis=0), "mean": table.mean(axis=0), "most": table.max(axis=0)}
    if len(rows) > 1:
        statistics["standard deviation"] = table.std(axis=0, ddof=1)
    for name, values in statistics.items():
        lines.append(f"| *{name}* | " + " | ".join(f"{value:.2f}" for value in values) + " | |")
    low, high = figures.measured_from_nm, figures.measured_to_nm
    lines += [
        "",
        f"All in mW/cm2; whole range {low:.0f}-{high:.0f} nm; weakest / mean {figures.uniformity_ratio:.2f}.",
    ]
    lines.append(
        "Judge cure at the least, heat at the most. A filter meter's value cannot be compared across kinds of diodes."
    )
    return lines


def _course(lamp: Lamp, figures: LampFigures) -> list[str]:
    course = lamp.course
    lines = [
        (
            f"- output {figures.output_at_switch_on_ratio:.3f} at switch-on and {figures.output_when_warm_ratio:.3f} when warm, of the "
            f"reading taken after {course.measured_after_s:g} s; time constant {course.time_constant_s:g} s"
        ),
        (
            f"- air inside {c_from_k(lamp.air.start_k):.1f} C at switch-on, {lamp.air.rise_k:+.1f} K when warm, time constant "
            f"{lamp.air.time_constant_s:g} s"
        ),
    ]
    for name, programme in lamp.programmes.items():
        seconds = sum(part.duration_s for part in programme.segments)
        again = ", then again" if programme.repeat else ", then holds"
        lines.append(f"- programme {name}: {len(programme.segments)} part(s) in {seconds:g} s{again}")
    return lines


def write_report(lamp: Lamp, figures: LampFigures, folder: Path) -> Path:
    """Write ``report.md`` and the picture of the spectra.

    Raises
    ------
    InputError
        If the folder holds a report already, or cannot be written.
    """
    from .lamp_plot import lamp_picture, save_picture

    path = folder / "report.md"
    if path.exists():
        raise InputError(f"{path}: exists already; choose another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        save_picture(lamp_picture(lamp, figures), folder / SPECTRA_PICTURE)
        path.write_text(report_text(lamp, figures, SPECTRA_PICTURE), encoding="utf-8")
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror}); choose another folder.") from error
    return path
