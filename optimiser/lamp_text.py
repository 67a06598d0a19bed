"""Lamp figures as readable text, in mW/cm2, nm and degrees Celsius."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m, uw_cm2_from_w_m2
from .lamp_view import COMPARED_THICKNESS_M, ExposureFigures, LampFigures

if TYPE_CHECKING:
    from ..lamp_library.spectrum import Peak


def peaks_text(peaks: Sequence[Peak]) -> str:
    """Peaks with their widths, e.g. ``366 (9), 406 (19)``."""
    return ", ".join(f"{each.wavelength_nm:.0f} ({each.fwhm_nm:.0f})" for each in peaks) or "none"


def show_text(figures: LampFigures) -> str:
    """Readable page for one lamp, in mW/cm2 and nm."""
    lines = [f"{figures.name}  [{figures.lamp_id}]"]
    if figures.is_demonstration:
        lines.append("Invented demonstration data, no real lamp.")
    lines += ["", *_positions_table(figures), "", *_facts(figures)]
    if figures.initiators:
        lines += ["", *_initiators_table(figures)]
    if figures.exposure is not None:
        lines += ["", *_exposure_block(figures.exposure)]
    if figures.notes:
        lines += ["", "Notes", *(f"  {note}" for note in figures.notes)]
    if figures.not_recorded:
        wanted = ", ".join(_field_words(key) for key in figures.not_recorded)
        lines += ["", f"Asked for in a lamp report, not recorded: {wanted}."]
    return "\n".join(lines)


def _field_words(key: str) -> str:
    """A provenance key in words, without its unit."""
    for unit in ("_mw_cm2", "_percent", "_nm", "_mm", "_c"):
        key = key.removesuffix(unit)
    return key.replace("_", " ")


def _positions_table(figures: LampFigures) -> list[str]:
    width = max(len(each.position) for each in (*figures.positions, figures.mean)) + 2
    lines = [
        f"{'Irradiance, mW/cm2':<{width + 13}}{'whole':>8}{'UV-A':>9}{'violet':>9}   peaks (width), nm",
        f"{'':<{width + 13}}{'':>8}{'315-400':>9}{'400-450':>9}",
    ]
    for each in (*figures.positions, figures.mean):
        mark = {figures.weakest: "weakest", figures.strongest: "strongest"}.get(each.position, "")
        numbers = (each.irradiance_w_m2, each.uv_a_irradiance_w_m2, each.violet_irradiance_w_m2)
        whole, uv_a, violet = (mw_cm2_from_w_m2(value) for value in numbers)
        row = f"  {each.position:<{width}}{mark:<11}{whole:>8.1f}{uv_a:>9.1f}{violet:>9.1f}"
        lines.append(f"{row}   {peaks_text(each.peaks)}")
    return lines


def _facts(figures: LampFigures) -> list[str]:
    power = figures.electrical_power_w
    start, warm = figures.output_at_switch_on_ratio, figures.output_when_warm_ratio
    rows = [
        ("weakest / mean", f"{figures.uniformity_ratio:.2f}"),
        ("measured range", f"{figures.measured_from_nm:.0f}-{figures.measured_to_nm:.0f} nm"),
        ("electrical power", "not recorded" if power is None else f"{power:.0f} W"),
        ("output over time", f"{start:.2f} at switch-on, {warm:.2f} when warm (1 = as measured)"),
        (
            "air inside",
            f"{c_from_k(figures.air_start_k):.0f} °C at switch-on, {figures.air_rise_k:+.0f} K when warm",
        ),
        ("programmes", ", ".join(figures.programmes)),
    ]
    return [f"{label:<18}{value}" for label, value in rows]


def _initiators_table(figures: LampFigures) -> list[str]:
    width = max(len(each.key) for each in figures.initiators) + 2
    coat = f"1 wt% in {um_from_m(COMPARED_THICKNESS_M):.0f} um"
    lines = [
        f"{'Initiators':<{width}}{'':<9}{'half spent at the lit surface, s':>34}{'photons absorbed':>22}",
        f"{'':<{width}}{'':<9}{'weakest position':>18}{'mean spectrum':>16}{coat:>22}",
    ]
    for each in figures.initiators:
        pair = (each.weakest_photolysis_rate_1_s, each.photolysis_rate_1_s)
        weakest, mean = (half_life_text(rate) for rate in pair)
        mark = "+ amine" if each.mechanism == "type_II" else ""
        gap = "  absorption data start too late" if each.outside_data_fraction > 0.01 else ""
        share = f"{100 * each.absorbed_photon_fraction:.1f} %"
        lines.append(f"{each.key:<{width}}{mark:<9}{weakest:>18}{mean:>16}{share:>22}{gap}")
    return lines


def _exposure_block(exposure: ExposureFigures) -> list[str]:
    weighted = f"{uw_cm2_from_w_m2(exposure.effective_irradiance_w_m2):.2g} uW/cm2 weighted (300-400 nm)"
    uv_a = f"{mw_cm2_from_w_m2(exposure.uv_a_irradiance_w_m2):.3g} mW/cm2 UV-A (315-400 nm)"
    rows = [
        ("skin", f"{weighted}; daily limit after {_limit_time_text(exposure.effective_limit_time_s)}"),
        ("eye in the lamp", f"{uv_a}; daily limit after {_limit_time_text(exposure.eye_limit_time_s)}"),
        (
            "IEC 62471 groups",
            f"skin {exposure.actinic_group_derived}, eye {exposure.near_uv_group_derived} at the film (limits derived)",
        ),
    ]
    lines = [
        f"Light on skin and eye without protection: worst position ({exposure.position}), highest output"
    ]
    lines += [f"  {label:<18}{value}" for label, value in rows]
    sentences = (exposure.session_sentence, "Do not look into the lamp.", *exposure.cautions)
    return [*lines, *textwrap.wrap(" ".join(sentences), 96, initial_indent="  ", subsequent_indent="  ")]


def _limit_time_text(seconds: float | None) -> str:
    """Time to a limit as text; the limits are for 8 hours."""
    if seconds is None or seconds > 8.0 * 3600.0:
        return "more than 8 h"
    return f"{seconds:.0f} s" if seconds < 600.0 else f"{seconds / 60.0:.0f} min"


def half_life_text(rate_1_s: float) -> str:
    """Time for half of a first-order reaction, in seconds, as text; ``never`` when nothing reacts."""
    half_life_s = math.log(2.0) / rate_1_s if rate_1_s > 0.0 else math.inf
    if half_life_s >= 1e4:
        return "never" if math.isinf(half_life_s) else "> 10000"
    return f"{half_life_s:.1f}" if half_life_s < 100.0 else f"{half_life_s:.0f}"


def compare_text(first: LampFigures, second: LampFigures) -> str:
    """Two lamps side by side, in mW/cm2, with the ratio second over first."""
    pairs = (("A", first), ("B", second))
    lines = [*(f"{name}  {each.name}  [{each.lamp_id}]" for name, each in pairs), ""]
    if first.is_demonstration or second.is_demonstration:
        lines[-1:] = ["Contains invented demonstration data.", ""]
    lines.append(f"{'':<40}{'A':>12}{'B':>12}{'B / A':>10}")
    for label, a, b in comparison_rows(first, second):
        lines.append(f"{label:<40}{_short(a):>12}{_short(b):>12}{_ratio_text(a, b):>10}")
    lines += [f"{f'peaks of {name} (width), nm':<40}  {peaks_text(each.mean.peaks)}" for name, each in pairs]
    lines.append(f"{'weakest position':<40}{first.weakest:>12}{second.weakest:>12}")
    lines.append(f"{'strongest position':<40}{first.strongest:>12}{second.strongest:>12}")
    both = {each.key: each for each in second.initiators}
    if first.initiators:
        lines += ["", "Photolysis rate of each initiator at the weakest position, lit surface, 1/s"]
    for each in first.initiators:
        a, b = each.weakest_photolysis_rate_1_s, both[each.key].weakest_photolysis_rate_1_s
        lines.append(f"  {each.key:<38}{a:>12.3g}{b:>12.3g}{_ratio_text(a, b):>10}")
    return "\n".join(lines)


def comparison_rows(first: LampFigures, second: LampFigures) -> list[tuple[str, float, float]]:
    """Label and the two lamps' numbers, irradiances in mW/cm2."""

    def numbers(figures: LampFigures) -> list[float]:
        by_position = {each.position: each for each in figures.positions}
        powers = [
            figures.mean.irradiance_w_m2,
            figures.mean.uv_a_irradiance_w_m2,
            figures.mean.violet_irradiance_w_m2,
            by_position[figures.weakest].irradiance_w_m2,
            by_position[figures.strongest].irradiance_w_m2,
        ]
        return [*(mw_cm2_from_w_m2(value) for value in powers), figures.uniformity_ratio]

    labels = (
        "mean, whole range, mW/cm2",
        "mean, UV-A 315-400 nm, mW/cm2",
        "mean, violet 400-450 nm, mW/cm2",
        "weakest position, mW/cm2",
        "strongest position, mW/cm2",
        "weakest / mean",
    )
    return list(zip(labels, numbers(first), numbers(second), strict=True))


def _short(value: float) -> str:
    return f"{value:.1f}" if value >= 10.0 else f"{value:.2f}"


def _ratio_text(a: float, b: float) -> str:
    return f"{b / a:.2f}" if a > 0.0 and b >= 0.0 else "-"
