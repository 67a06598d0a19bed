"""Text, data and files of a whole build."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from ..lamp_library.lamp import Lamp, save_lamp
from ..lamp_library.units import c_from_k, m2_from_cm2, mw_cm2_from_w_m2, um_from_m
from ..models.after_cure import AfterCure
from ..models.schedule import Schedule
from ..models.schedule_file import save_schedule
from ..models.stack_remains import SENSITISERS_LEFT
from ..models.stack_results import CoatFigures, EventResult, StackResult
from .after_cure_text import after_cure_data
from .brief import Limits
from .build_remains import mg_cm2, remains_lines, wiped_line
from .cautions import short_cautions
from .conditions import hand_data, hand_text, lamp_state_lines
from .cure_run import law_remarks
from .curve_data import build_curves
from .text_columns import text_columns
from .verdict import CureFigures, Verdict, judge
from .versions import versions

SCALARS = (
    "bond_side_conversion_fraction", "thickness_m", "tacky_layer_m", "film_peak_k", "film_peak_time_s",
    "nail_bed_peak_k", "nail_bed_peak_time_s", "seconds_above_42_c", "seconds_above_43_c", "seconds_above_45_c",
    "cem43_min", "damage_henriques", "damage_weaver_stoll",
)  # fmt: skip


def least_coat(result: StackResult) -> CoatFigures:
    """The coat whose lower face has come least far towards what is possible; the one nearest the nail among equals."""
    return min(
        result.coats, key=lambda coat: coat.bottom_conversion_fraction / coat.conversion_ceiling_fraction
    )


def least_cured(results: Sequence[StackResult]) -> StackResult:
    """The position with the least cured coat."""
    shares = [
        coat.bottom_conversion_fraction / coat.conversion_ceiling_fraction
        for coat in (least_coat(result) for result in results)
    ]
    return results[shares.index(min(shares))]


def hottest(results: Sequence[StackResult]) -> StackResult:
    """The position with the hottest nail bed."""
    return max(results, key=lambda result: result.nail_bed_peak_k)


def _figures(result: StackResult, thickness_m: float) -> CureFigures:
    coat = least_coat(result)
    return CureFigures(
        position=result.position,
        thickness_m=thickness_m,
        bottom_conversion_fraction=coat.bottom_conversion_fraction,
        conversion_ceiling_fraction=coat.conversion_ceiling_fraction,
        film_peak_k=result.film_peak_k,
        nail_bed_peak_k=result.nail_bed_peak_k,
        cem43_min=result.cem43_min,
        uncured_layer_m=result.tacky_layer_m,
    )


def verdict_of(results: Sequence[StackResult], limits: Limits) -> Verdict:
    """Verdict over the positions given: cure by the least cured coat anywhere, heat by the hottest position."""
    soft, hot = least_cured(results), hottest(results)
    coat = least_coat(soft)
    verdict = judge(_figures(soft, coat.thickness_m), _figures(hot, round(hot.thickness_m, 6)), limits)
    share = limits.bottom_conversion_min_share or 0.0
    wanted = limits.bottom_conversion_min_fraction or share * coat.conversion_ceiling_fraction
    bond = min(results, key=lambda result: result.bond_side_conversion_fraction)
    sentence = (
        f"The bond side at the nail reaches a conversion of {bond.bond_side_conversion_fraction:.2f} ({bond.position}). "
        f"The least cured lower face is that of coat {coat.number}, {coat.gel_name}: {coat.bottom_conversion_fraction:.2f} "
        f"({soft.position}); at least {wanted:.2f} is asked for and about {coat.conversion_ceiling_fraction:.2f} is possible at 33 °C."
    )
    tacky = wiped_line(soft) or verdict.sentences[1]
    return replace(verdict, sentences=(sentence, tacky, *verdict.sentences[2:]))


def _position_row(lamp: Lamp, result: StackResult) -> tuple[str, ...]:
    irradiance = mw_cm2_from_w_m2(lamp.course.level_ratio * lamp.spectrum(result.position).irradiance_w_m2())
    coat = least_coat(result)
    return (
        result.position, f"{irradiance:.1f}", f"{result.bond_side_conversion_fraction:.3f}",
        f"{coat.bottom_conversion_fraction:.3f} (coat {coat.number})", f"{um_from_m(result.tacky_layer_m):.1f}",
        f"{c_from_k(result.film_peak_k):.1f}", f"{c_from_k(result.nail_bed_peak_k):.1f}", f"{result.cem43_min:.2g}",
    )  # fmt: skip


def _j_cm2(heat_j_m2: float) -> str:
    return f"{heat_j_m2 * m2_from_cm2(1.0):.3f}"


def _coat_row(coat: CoatFigures, found: AfterCure) -> tuple[str, ...]:
    return (
        f"{coat.number} {coat.coat}", coat.gel_name, f"{um_from_m(coat.thickness_m):.1f}",
        f"{coat.bottom_conversion_fraction:.3f}", f"{coat.mean_conversion_fraction:.3f}",
        f"{coat.top_conversion_fraction:.3f}", f"{coat.conversion_ceiling_fraction:.3f}", _j_cm2(coat.heat_j_m2),
        f"{100.0 * found.shrinkage.mean_volume_fraction:.1f}",
    )  # fmt: skip


def _event_row(event: EventResult) -> tuple[str, ...]:
    wiped = ""
    if event.kind == "wipe":
        mass = mg_cm2(event.removed_mass_kg_m2)
        wiped = f"{um_from_m(event.removed_thickness_m):.1f} µm, {mass:.2f} mg/cm2"
    bond = event.coats[0].bottom_conversion_fraction
    return (
        f"{event.start_s:g}", event.words, f"{bond:.3f}", f"{um_from_m(event.tacky_layer_m):.1f}",
        f"{c_from_k(event.film_peak_k):.1f}", f"{c_from_k(event.nail_bed_peak_k):.1f}", _j_cm2(event.heat_j_m2), wiped,
    )  # fmt: skip


def remarks(results: Sequence[StackResult]) -> list[str]:
    """Flags of several runs, hottest run first; those that differ in their figures only are given once.

    What is left unreacted is told of the least cured position alone.
    """
    found: dict[str, str] = {}
    soft = least_cured(results)
    for result in sorted(results, key=lambda each: -each.nail_bed_peak_k):
        for flag in result.flags:
            if not flag.startswith(SENSITISERS_LEFT):
                found.setdefault(re.sub(r"\d+", "#", flag), flag)
            elif result is soft:
                found[SENSITISERS_LEFT] = f"{flag} ({soft.position})"
    return list(found.values())


def law_of_gels(schedule: Schedule) -> list[str]:
    """Substances of any coat that are, or will be, prohibited or restricted somewhere, each once."""
    return list(dict.fromkeys(remark for gel in schedule.gels for remark in law_remarks(gel)))


def build_text(schedule: Schedule, lamp: Lamp, results: Sequence[StackResult]) -> str:
    """Verdict, positions, coats, events and cautions as text."""
    soft = least_cured(results)
    lines = [
        f"{schedule.title}: {len(schedule.applications)} coats in {lamp.name}",
        hand_text(schedule.hand),
        *lamp_state_lines(lamp),
    ]
    if any(result.is_demonstration for result in results):
        lines.append("Invented demonstration data.")
    head = (
        "position", "mW/cm2", "bond side", "least lower face", "tacky/um", "film/C", "nail bed/C", "CEM43/min",
    )  # fmt: skip
    lines += ["", verdict_of(results, Limits()).text, ""]
    lines += text_columns([head, *(_position_row(lamp, result) for result in results)])
    coats = (
        "coat",
        "gel",
        "um",
        "lower face",
        "mean",
        "upper fifth",
        "possible",
        "heat J/cm2",
        "shrinkage %",
    )
    lines += ["", f"Conversion of the coats at the end, from the nail upwards ({soft.position}):"]
    lines += text_columns([coats, *(map(_coat_row, soft.coats, soft.after_cure))], left=(0, 1))
    events = (
        "from/s", "event", "bond side", "tacky/um", "film/C", "nail bed/C", "heat J/cm2", "wiped off",
    )  # fmt: skip
    lines += ["", f"Events ({soft.position}; temperatures are the highest of each):"]
    lines += text_columns([events, *(_event_row(event) for event in soft.events)], left=(1, 7))
    lines += ["", *remains_lines(soft)]
    flags = [*law_of_gels(schedule), *remarks(results)]
    if flags:
        lines += ["", "Remarks of the model:", *(f"- {flag}" for flag in flags)]
    lines += ["", "Cautions:", *(f"- {caution}" for caution in short_cautions())]
    return "\n".join(lines)


def _data(result: StackResult) -> dict[str, Any]:
    return {
        "position": result.position,
        **{name: float(getattr(result, name)) for name in SCALARS},
        "coats": [
            {**asdict(coat), "after_cure": after_cure_data(found)}
            for coat, found in zip(result.coats, result.after_cure, strict=True)
        ],
        "binder_tint": asdict(result.tint),
        "events": [asdict(event) for event in result.events],
        "flags": list(result.flags),
    }


def build_data(schedule: Schedule, lamp: Lamp, results: Sequence[StackResult]) -> dict[str, Any]:
    """The same as plain data."""
    verdict = verdict_of(results, Limits())
    return {
        "schedule": schedule.title,
        "lamp": lamp.lamp_id,
        "lamp_notes": list(lamp.notes),
        "lamp_level_ratio": float(lamp.course.level_ratio),
        "hand": hand_data(schedule.hand),
        "is_demonstration": any(result.is_demonstration for result in results),
        "verdict": verdict.headline,
        "verdict_text": verdict.text,
        "cures_through": bool(verdict.cures),
        "stays_cool": bool(verdict.stays_cool),
        "law": law_of_gels(schedule),
        "positions": [_data(result) for result in results],
        "curves": build_curves(results),
        "versions": versions(),
        "citations": list(dict.fromkeys(text for result in results for text in result.citations)),
        "cautions": short_cautions(),
    }


def write_build_folder(schedule: Schedule, lamp: Lamp, results: Sequence[StackResult], folder: Path) -> None:
    """Inputs, results.json, tables over depth, events and time, verdict and picture in one folder."""
    import pandas as pd

    from .build_picture import build_picture
    from .cure_page import build_page
    from .page_html import write_page

    folder.mkdir(parents=True, exist_ok=True)
    save_schedule(schedule, folder / "schedule.toml")
    save_lamp(lamp, folder / "lamp", overwrite=True)
    data = json.dumps(build_data(schedule, lamp, results), indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(data + "\n", encoding="utf-8")
    tables = {
        "depth": [result.to_frame().assign(position=result.position) for result in results],
        "events": [result.events_frame().assign(position=result.position) for result in results],
        "traces": [result.trace_frame().assign(position=result.position) for result in results],
    }
    for name, frames in tables.items():
        pd.concat(frames).to_csv(folder / f"{name}.csv", index=False)
    (folder / "verdict.txt").write_text(build_text(schedule, lamp, results) + "\n", encoding="utf-8")
    build_picture(results, folder / "build.png")
    write_page(build_page(schedule, lamp, results), folder / "report.html")
