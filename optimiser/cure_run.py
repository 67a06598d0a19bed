"""Text, data and pictures of one gel cured in one lamp."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp, save_lamp
from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from ..models.cycles import CyclesResult
from ..models.gel import Gel, save_gel
from ..models.heat import Hand
from ..models.market import MARKETS, market_status
from ..models.results import CureResult
from .after_cure_text import after_cure_data, after_cure_lines
from .brief import Limits
from .cautions import short_cautions
from .conditions import hand_data, hand_text, lamp_state_lines
from .curve_data import cure_curves
from .cycles_text import cycle_data, cycle_lines, rise_data, rise_lines
from .own_rules import contents_wt_pct
from .verdict import CureFigures, Verdict, judge
from .versions import versions

_LAST_DAY = datetime.date(2100, 1, 1)  # the latest entry of the table, so that a coming ban is named too
_NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")
SCALARS = (
    "bottom_conversion_fraction", "surface_conversion_fraction", "mean_conversion_fraction", "uncured_layer_m",
    "film_peak_k", "film_peak_time_s", "interface_peak_k", "nail_bed_peak_k", "nail_bed_peak_time_s", "cem43_min",
    "damage_henriques", "damage_weaver_stoll",
)  # fmt: skip
PICTURE_ENDINGS = (".png", ".svg", ".pdf")


def check_picture(path: Path, option: str = "--plot") -> None:
    """Refuse a picture file of an unknown kind or in a missing folder before anything is computed."""
    if path.suffix.lower() not in PICTURE_ENDINGS:
        raise InputError(
            f"{option} {path}: '{path.suffix}' is no known picture; use {', '.join(PICTURE_ENDINGS)}."
        )
    if not path.parent.is_dir():
        raise InputError(f"{option} {path}: the folder {path.parent} does not exist. Make it first.")


def figures(result: CureResult) -> CureFigures:
    """The part of a result a verdict rests on."""
    return CureFigures(
        position=result.position,
        thickness_m=result.thickness_m,
        bottom_conversion_fraction=result.bottom_conversion_fraction,
        conversion_ceiling_fraction=float(result.conversion_ceiling_fraction[-1]),
        film_peak_k=result.film_peak_k,
        nail_bed_peak_k=result.nail_bed_peak_k,
        cem43_min=result.cem43_min,
        uncured_layer_m=result.uncured_layer_m,
    )


def verdict_of(results: Sequence[CureResult], limits: Limits) -> Verdict:
    """Verdict over the positions given: cure by the least cured one, heat by the hottest."""
    each = [figures(result) for result in results]
    least = min(each, key=lambda one: one.bottom_conversion_fraction / one.conversion_ceiling_fraction)
    hottest = max(each, key=lambda one: one.nail_bed_peak_k)
    wettest = max(each, key=lambda one: one.uncured_layer_m / one.thickness_m)
    return judge(least, hottest, limits, wettest=wettest)


def _cycles_and_programme(result: CureResult) -> str:
    """What differs from one steady exposure, for the head of a report."""
    times = f" x {result.cycles}, {result.rest_s:g} s apart" if result.cycles > 1 else ""
    return times + (f", programme {result.programme}," if result.programme != "steady" else "")


def cure_text(
    gel: Gel,
    lamp: Lamp,
    results: Sequence[CureResult],
    hand: Hand | None = None,
    blanks: Sequence[CyclesResult] = (),
) -> str:
    """Verdict, table of positions and cautions as text; `blanks` are the runs with blank of repeated cycles."""
    first = results[0]
    lines = [
        f"{gel.name} ({gel.coat}), {um_from_m(first.thickness_m):g} µm, {first.exposure_s:g} s{_cycles_and_programme(first)} in {lamp.name}",
        hand_text(hand or Hand()),
        *lamp_state_lines(lamp),
    ]
    if gel.is_demonstration or lamp.is_demonstration:
        lines.append("Invented demonstration data.")
    lines += ["", verdict_of(results, Limits()).text, ""]
    head = (
        "position",
        "mW/cm2",
        "base",
        "surface",
        "mean",
        "possible",
        "tacky/um",
        "film/C",
        "nail bed/C",
        "CEM43/min",
    )
    rows = [head, *(_row(lamp, result) for result in results)]
    if first.cycles > 1:
        shares = ["2nd-cycle heat", *(f"{result.second_cycle_heat_ratio or 0.0:.3f}" for result in results)]
        rows = [(*row, share) for row, share in zip(rows, shares, strict=True)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines += ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]
    if first.cycles > 1:
        lines += ["", *cycle_lines(results), *rise_lines(blanks)]
    lines += ["", *after_cure_lines(results)]
    flags = [*law_remarks(gel), *model_remarks(results)]
    if flags:
        lines += ["", "Remarks of the model:", *(f"- {flag}" for flag in flags)]
    lines += ["", "Cautions:", *(f"- {caution}" for caution in short_cautions())]
    return "\n".join(lines)


def law_remarks(gel: Gel) -> list[str]:
    """Substances of a gel that are, or will be, prohibited or restricted somewhere, by the packaged table."""
    found = []
    contents = {**gel.initiators_wt_pct, **gel.amines_wt_pct, **contents_wt_pct(gel)}
    for substance, content in contents.items():
        for market in MARKETS:
            status = market_status(substance, market, _LAST_DAY)
            if status.state in ("prohibited", "restricted"):
                since = f" from {status.from_date}" if status.from_date else ""
                most = "" if status.max_wt_pct is None else f" to {status.max_wt_pct:g} wt%"
                over = " (it is above that)" if most and not status.permits(content * (1.0 - 1e-9)) else ""
                found.append(
                    f"{substance}: {status.state}{most}{over} in {market}{since} ({status.act}); check the law in force."
                )
    return found


def model_remarks(results: Sequence[CureResult]) -> list[str]:
    """Flags of several runs; of those that differ in their figures only, the one with the largest figures, with its position."""
    found: dict[str, tuple[float, str]] = {}
    several = len({result.position for result in results}) > 1
    differing = set()
    for result in results:
        for flag in result.flags:
            kind, size = _NUMBER.sub("#", flag), sum(float(each) for each in _NUMBER.findall(flag))
            if kind in found and found[kind][0] != size:
                differing.add(kind)
            if kind not in found or size > found[kind][0]:
                found[kind] = (size, f"{flag} ({result.position})")
    return [
        text if several and kind in differing else text.rpartition(" (")[0]
        for kind, (_, text) in found.items()
    ]


def _row(lamp: Lamp, result: CureResult) -> tuple[str, ...]:
    irradiance = mw_cm2_from_w_m2(lamp.course.level_ratio * lamp.spectrum(result.position).irradiance_w_m2())
    return (
        result.position, f"{irradiance:.1f}", f"{result.bottom_conversion_fraction:.3f}",
        f"{result.surface_conversion_fraction:.3f}", f"{result.mean_conversion_fraction:.3f}",
        f"{float(result.conversion_ceiling_fraction[-1]):.3f}", f"{um_from_m(result.uncured_layer_m):.1f}",
        f"{c_from_k(result.film_peak_k):.1f}", f"{c_from_k(result.nail_bed_peak_k):.1f}", f"{result.cem43_min:.2g}",
    )  # fmt: skip


def cure_data(
    gel: Gel,
    lamp: Lamp,
    results: Sequence[CureResult],
    hand: Hand | None = None,
    blanks: Sequence[CyclesResult] = (),
) -> dict[str, Any]:
    """The same as plain data."""
    verdict = verdict_of(results, Limits())
    return {
        "gel": gel.name,
        "lamp": lamp.lamp_id,
        "lamp_notes": list(lamp.notes),
        "lamp_level_ratio": float(lamp.course.level_ratio),
        "hand": hand_data(hand or Hand()),
        "is_demonstration": gel.is_demonstration or lamp.is_demonstration,
        "verdict": verdict.headline,
        "verdict_text": verdict.text,
        "cures_through": verdict.cures,
        "stays_cool": verdict.stays_cool,
        "law": law_remarks(gel),
        "positions": [
            {**_data(result), **(rise_data(blanks[number]) if blanks else {})}
            for number, result in enumerate(results)
        ],
        "curves": cure_curves(results),
        "versions": versions(),
        "citations": list(dict.fromkeys(text for result in results for text in result.citations)),
        "cautions": short_cautions(),
    }


def _data(result: CureResult) -> dict[str, Any]:
    found: dict[str, Any] = {
        "position": result.position,
        "thickness_m": result.thickness_m,
        "exposure_s": result.exposure_s,
        "cycles": result.cycles,
        "conversion_ceiling_fraction": float(result.conversion_ceiling_fraction[-1]),
    }
    found |= {name: float(getattr(result, name)) for name in SCALARS}
    found |= cycle_data(result)
    if result.second_cycle_heat_ratio is not None:
        found["second_cycle_heat_ratio"] = float(result.second_cycle_heat_ratio)
    found["residual_initiator_fraction"] = {
        key: float(x) for key, x in result.residual_initiator_fraction.items()
    }
    found["after_cure"] = after_cure_data(result.after_cure)
    found["flags"] = list(result.flags)
    return found


def cure_picture(results: Sequence[CureResult], path: Path) -> Path:
    """Conversion against depth, and film and nail-bed temperature against time, side by side."""
    from .plots import draw_conversion, draw_film_temperature, draw_nail_bed_temperature, new_figure, save

    limits = Limits()
    share = limits.bottom_conversion_min_share or 0.0
    figure, axes = new_figure(12.0, 3.8, columns=3)
    draw_conversion(axes[0], results, share * float(results[0].conversion_ceiling_fraction[-1]))
    draw_film_temperature(axes[1], results)
    draw_nail_bed_temperature(axes[2], results, limits.nail_bed_max_k)
    return save(figure, path)


def write_cure_folder(
    gel: Gel,
    lamp: Lamp,
    results: Sequence[CureResult],
    folder: Path,
    hand: Hand | None = None,
    blanks: Sequence[CyclesResult] = (),
) -> None:
    """Inputs, results.json, depth and time tables, verdict and picture in one folder."""
    import pandas as pd

    from .cure_page import cure_page
    from .page_html import write_page

    folder.mkdir(parents=True, exist_ok=True)
    save_gel(gel, folder / "gel.toml")
    save_lamp(lamp, folder / "lamp", overwrite=True)
    found = cure_data(gel, lamp, results, hand, blanks)
    data = json.dumps(found, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(data + "\n", encoding="utf-8")
    depth = [result.to_frame().assign(position=result.position) for result in results]
    traces = [result.trace_frame().assign(position=result.position) for result in results]
    pd.concat(depth).to_csv(folder / "depth.csv", index=False)
    pd.concat(traces).to_csv(folder / "traces.csv", index=False)
    (folder / "verdict.txt").write_text(cure_text(gel, lamp, results, hand, blanks) + "\n", encoding="utf-8")
    if blanks:
        rises = [each.trace_frame().assign(position=each.position) for each in blanks]
        pd.concat(rises).to_csv(folder / "rise_by_reaction.csv", index=False)
    cure_picture(results, folder / "cure.png")
    write_page(cure_page(gel, lamp, results, hand or Hand()), folder / "report.html")
