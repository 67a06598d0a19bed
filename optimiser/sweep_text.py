"""A sweep in words and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

from ..lamp_library.units import c_from_k, um_from_m
from ..models.results import CureResult
from .cautions import short_cautions
from .conditions import hand_data
from .constraints import shown, shown_difference
from .cure_run import law_remarks, model_remarks, verdict_of
from .sweep_axes import HAND, LAMP, NAIL, POSITION, SECONDS, THICKNESS
from .sweep_effects import AGAIN, AGAIN_NOTE, ranges_of, ranked
from .sweep_films import SweepFigures
from .sweep_plan import SweepPlan
from .sweep_run import Swept
from .text_columns import text_columns
from .versions import versions

_SEVERAL = {
    (True, True): "cure through and stay cool",
    (True, False): "too hot at the nail bed",
    (False, True): "under-cured at the base",
    (False, False): "under-cured at the base and too hot at the nail bed",
}
_MOVERS = 3  # things told for each figure
ROOM_NOTE = (
    "room: to the nearest limit, in steps of 5 K or 0.05 of conversion; 1 at most where the dose decides"
)
LISTED = 8  # combinations that keep the limits shown on the terminal; all of them are in the table


def sweep_text(swept: Swept, best: Sequence[CureResult], next_step: str = "") -> str:
    """Ranges, effects, what keeps the limits and the best of it.

    Parameters
    ----------
    swept : Swept
        The sweep.
    best : sequence of CureResult
        The best combination cured in full at each of its positions; empty when nothing could be simulated.
    next_step : str
        A command that looks closer at it.
    """
    plan, limits = swept.plan, swept.limits
    lines = [
        f"{plan.gel.name} ({plan.gel.coat}): {plan.count} combinations of "
        + "; ".join(a.text for a in plan.varied)
    ]
    lines.append(fixed_text(plan))
    if plan.is_demonstration:
        lines.append("Invented demonstration data.")
    lines += ["", *_range_lines(swept)]
    lines += ["", *outcome_lines(swept)]
    order = ranked(swept)
    kept = [pair for pair in order if pair[1].passes]
    if kept:
        lines += ["", *text_columns(kept_rows(swept, kept[:LISTED])), ROOM_NOTE]
        if len(kept) > LISTED:
            lines.append(f"... and {len(kept) - LISTED} more; all are in the table of --out.")
    if order:
        what = "Best, with the most room to its nearest limit" if kept else "None keeps the limits. Nearest"
        lines += ["", f"{what}: {combination_text(plan, order[0][0])}.", verdict_of(best, limits).text]
        remarks = model_remarks(best)
        lines += [f"Remarks of the model on it: {' '.join(remarks)}"] if remarks else []
        lines += [next_step] if next_step else []
    law = law_of(plan)
    lines += ["", "Law:", *(f"- {each}" for each in law)] if law else []
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions())]
    return "\n".join(lines)


def fixed_text(plan: SweepPlan) -> str:
    """What stays the same, as a sentence."""
    keys = {axis.key for axis in plan.axes}
    own = {**plan.gel.initiators_wt_pct, **plan.gel.amines_wt_pct}
    blend = [f"{key} {loading:g} wt%" for key, loading in own.items() if key not in keys]
    single = [axis.text for axis in plan.axes if len(axis.values) == 1]
    parts = [*blend, *single]
    parts += [f"wet film {um_from_m(plan.thickness_m):.4g} µm"] if THICKNESS not in keys else []
    parts += [f"{plan.exposure_s:g} s"] if SECONDS not in keys else []
    parts += [f"programme {plan.programme}"] if plan.programme != "steady" else []
    parts += [next(iter(plan.lamps.values())).name] if LAMP not in keys else []
    parts += [f"finger at {c_from_k(plan.hand.start_k):.0f} °C"] if HAND not in keys else []
    parts += [f"nail plate {1e-3 * um_from_m(plan.hand.nail_thickness_m):.2f} mm"] if NAIL not in keys else []
    where = (
        ""
        if POSITION in keys
        else " Judged over every position of a lamp: cure at the least cured, heat at the hottest."
    )
    return f"The same in all: {', '.join(parts)}.{where}"


def combination_text(plan: SweepPlan, number: int) -> str:
    """The varied values of a combination."""
    values = plan.values_of(number)
    return ", ".join(
        f"{axis.words} {axis.shown(values[axis.key])}" if axis.is_number or axis.key in (HAND, NAIL) else str(values[axis.key])
        for axis in plan.varied
    )  # fmt: skip


def range_rows(swept: Swept) -> list[tuple[str, ...]]:
    """Heading and a row per figure: its name, its ends, and what moves it how far."""
    names = {axis.key: axis.words for axis in swept.plan.axes}
    rows: list[tuple[str, ...]] = [
        ("figure", "lowest", "highest", "moved most by (mean move, the others held)")
    ]
    for each in ranges_of(swept):
        moved = [
            f"{names[key]} {shown_difference(span, each.unit).removeprefix('+')}"
            for key, span in each.moved_by[:_MOVERS]
        ]
        rows.append(
            (each.words, shown(each.lowest, each.unit), shown(each.highest, each.unit), ", then ".join(moved))
        )
    return rows


def _range_lines(swept: Swept) -> list[str]:
    rows = range_rows(swept)
    if len(rows) == 1:
        return ["No combination could be simulated."]
    return [*text_columns(rows, left=(0, 3)), *range_notes(swept)]


def range_notes(swept: Swept) -> list[str]:
    """What the marks in the table of ranges mean."""
    return [AGAIN_NOTE] if any(each.figure == AGAIN for each in ranges_of(swept)) else []


def outcome_lines(swept: Swept) -> list[str]:
    """How many keep the limits, what the limits are, and what is left of a second cycle."""
    limits = swept.limits
    counts: dict[str, int] = {}
    for _, each in swept.cured():
        words = _SEVERAL[each.cures, each.stays_cool]
        counts[words] = counts.get(words, 0) + 1
    faults = [each for each in swept.found if isinstance(each, str)]
    share = limits.bottom_conversion_min_share or 0.0
    told = "; ".join(f"{count} {words}" for words, count in sorted(counts.items(), key=lambda pair: -pair[1]))
    lines = [
        f"Of {swept.plan.count} combinations: {told}." if told else "",
    ]
    lines.append(
        f"Limits: base conversion at least {100 * share:.0f} % of the possible, nail bed at most "
        f"{c_from_k(limits.nail_bed_max_k):.0f} °C and {limits.cem43_max_min:g} CEM43 min."
    )
    again = limits.second_cycle_heat_max_ratio
    passing = [each for _, each in swept.cured() if each.passes]
    if again is not None and passing:
        over = sum(each.second_cycle_heat_ratio > again for each in passing)
        lines.append(
            f"Of those that keep them, {over or 'none'} {'gives' if over < 2 else 'give'} more than {100 * again:.0f} % of its heat "
            "again in a second cycle (common practice, no source; not part of the verdict)."
        )
    if faults:
        lines.append(f"{len(faults)} could not be simulated and have no figures: {faults[0]}")
    return [line for line in lines if line]


def kept_rows(swept: Swept, pairs: Sequence[tuple[int, SweepFigures]]) -> list[tuple[str, ...]]:
    """Heading and a row per combination: its varied values and the figures that decide."""
    plan = swept.plan
    head = ("base", "nail bed/C", "CEM43/min", "2nd cycle", "yellowness", "room")
    rows = [(*(axis.label for axis in plan.varied), *head)]
    for number, each in pairs:
        values = plan.values_of(number)
        cells = [
            f"{axis.edge(values[axis.key]):.4g}" if axis.is_number else str(values[axis.key])
            for axis in plan.varied
        ]
        rows.append(
            (
                *cells, f"{each.bottom_conversion_fraction:.3f}", f"{c_from_k(each.nail_bed_peak_k):.1f}", f"{each.cem43_min:.2g}",
                f"{each.second_cycle_heat_ratio:.3f}", f"{each.yellowness_ratio:.1f}", f"{each.room_to_limit_ratio:.2f}",
            )
        )  # fmt: skip
    return rows


def law_of(plan: SweepPlan) -> list[str]:
    """What the law says of the gel with the highest loading of every substance."""
    swept = {axis.key: max(float(v) for v in axis.values) for axis in plan.axes if axis.kind == "loading"}
    first = plan.combination(0)
    loadings = tuple((key, swept.get(key, loading)) for key, loading in first.loadings_wt_pct)
    return law_remarks(replace(first, loadings_wt_pct=loadings).gel(plan.gel))


def sweep_data(swept: Swept, best: Sequence[CureResult]) -> dict[str, Any]:
    """The sweep as plain data, every key with its unit."""
    plan = swept.plan
    order = ranked(swept)
    return {
        "gel": plan.gel.name,
        "lamps": {key: lamp.name for key, lamp in plan.lamps.items()},
        "programme": plan.programme,
        "hand": hand_data(plan.hand),
        "is_demonstration": plan.is_demonstration,
        "axes": [{"key": axis.key, "column": axis.column, "values": list(axis.values)} for axis in plan.axes],
        "limits": asdict(swept.limits),
        "figures": [
            {**asdict(each), "moved_by": [{"key": key, "mean_span": span} for key, span in each.moved_by]}
            for each in ranges_of(swept)
        ],
        "kept": sum(each.passes for _, each in swept.cured()),
        "best": None
        if not order
        else {**_row(swept, order[0][0]), "verdict_text": verdict_of(best, swept.limits).text},
        "law": law_of(plan),
        "remarks_on_best": model_remarks(best),
        "combinations": [_row(swept, number) for number in range(plan.count)],
        "versions": versions(),
        "cautions": short_cautions(),
    }


def _row(swept: Swept, number: int) -> dict[str, Any]:
    each, combination = swept.found[number], swept.plan.combination(number)
    values = swept.plan.values_of(number)
    names = {axis.column: values[axis.key] for axis in swept.plan.axes if axis.key in (HAND, NAIL)}
    return {
        **{f"{key}_wt_pct": loading for key, loading in combination.loadings_wt_pct},
        "lamp": combination.lamp_id,
        "position": combination.position or "all",
        "thickness_m": combination.thickness_m,
        "exposure_s": combination.exposure_s,
        "hand_start_k": combination.hand.start_k,
        "nail_thickness_m": combination.hand.nail_thickness_m,
        **names,
        **({"fault": each} if isinstance(each, str) else {"passes": each.passes, **asdict(each)}),
    }
