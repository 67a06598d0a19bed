"""The thickest coat and the dimmest lamp in words and as plain data."""

from __future__ import annotations

import math
from typing import Any

from ..lamp_library.units import c_from_k, um_from_m
from .cautions import short_cautions
from .conditions import USUAL_L70_HOURS, hand_text
from .edges import SURE_DRAWS, SURE_FRACTION, THICKNESS, Edge


def shown_value(found: Edge, value: float) -> str:
    """A value of the moved condition as people read it; rounded to the passing side."""
    if found.moved is THICKNESS:
        um = um_from_m(value)
        return f"{math.floor(um) if um >= 20 else math.floor(10 * um) / 10:g} µm"
    return f"{math.ceil(1000 * value) / 10:g} %"


def edge_text(found: Edge) -> str:
    """The answer, what stops it, the figures there, and how sure it is."""
    case = found.case
    brief = case.problem.brief
    lines = [f"{case.gel.name}, {brief.exposure_s:g} s in {case.lamp.name}", hand_text(case.hand)]
    if case.is_demonstration:
        lines.append("Invented demonstration data.")
    lines += ["", *(_thickest(found) if found.moved is THICKNESS else _dimmest(found))]
    if found.edge is not None:
        lines += ["", _figures_text(found), "", _chance_text(found)]
        lines += ["", _shape_text(found)]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions())]
    return "\n".join(lines)


def _range(found: Edge) -> str:
    low, high = found.moved.low, found.moved.high
    if found.moved is THICKNESS:
        return f"{um_from_m(low):g} to {um_from_m(high):g} µm"
    return f"{100 * low:g} to {100 * high:g} % of the measured output"


def _nothing(found: Edge, what: str) -> list[str]:
    nearest = float(found.values[found.worst.argmin()])
    return [
        f"No {what} passes ({_range(found)} tried at every position).",
        f"Nearest is {shown_value(found, nearest)}, stopped by: {found.stopped_by}. {_figures_text(found)}",
    ]


def _thickest(found: Edge) -> list[str]:
    if found.edge is None:
        return _nothing(found, "thickness")
    stop = (
        f"thicker breaks the limit on {found.stopped_by}"
        if found.stopped_by
        else "nothing stopped it in the range tried"
    )
    lines = [f"Thickest coat that passes: {shown_value(found, found.edge)}; {stop}."]
    if found.other_end is not None:
        thinnest = f"{math.ceil(um_from_m(found.other_end)):g} µm"
        lines.append(
            f"Thinnest that passes: {thinnest}; thinner breaks the limit on {found.other_stopped_by}."
        )
    return lines


def _dimmest(found: Edge) -> list[str]:
    if found.edge is None:
        return _nothing(found, "lamp output")
    stop = (
        f"less breaks the limit on {found.stopped_by}"
        if found.stopped_by
        else "nothing stopped it in the range tried"
    )
    lines = [f"Lowest output that passes: {shown_value(found, found.edge)} of the measured output; {stop}."]
    if found.other_end is not None:
        lines.append(
            f"Highest that passes: {math.floor(1000 * found.other_end) / 10:g} %; more breaks the limit on "
            f"{found.other_stopped_by}."
        )
    if found.edge < 1.0 and (found.other_end is None or found.other_end >= 1.0):
        hours = USUAL_L70_HOURS * math.log(found.edge) / math.log(0.7)
        lines.append(
            f"A lamp that falls to 70 % in {USUAL_L70_HOURS:g} h of light (assumed) gets there after about {float(f'{hours:.2g}'):.0f} h."
        )
    if found.other_end is not None and found.other_end < 1.0:
        lines.append("As measured, the lamp is already too strong for this gel.")
    if found.edge > 1.0:
        lines.append("As measured, the lamp is too weak for this gel.")
    return lines


def _figures_text(found: Edge) -> str:
    each = found.figures
    return (
        f"Worst figures there: base conversion {each['bottom_conversion_fraction']:.3f} (about "
        f"{each['conversion_ceiling_fraction']:.3f} is possible in a film at 33 °C), nail bed {c_from_k(each['nail_bed_peak_k']):.1f} °C, dose "
        f"{each['cem43_min']:.2g} CEM43 min, film {c_from_k(each['film_peak_k']):.0f} °C, tacky layer "
        f"{um_from_m(each['uncured_layer_m']):.0f} µm, second-cycle heat {100 * each['second_cycle_heat_ratio']:.1f} %."
    )


def _chance_text(found: Edge) -> str:
    if found.passing is None:
        return ""
    chance = found.passing
    words = (
        f"At this edge {100 * chance.probability_fraction:.0f} % ({100 * chance.low_fraction:.0f}-"
        f"{100 * chance.high_fraction:.0f}) of {chance.draws} draws of the other conditions of use pass"
    )
    if found.sure_value is None:
        return f"{words}; nowhere does the gel pass in {100 * SURE_FRACTION:.0f} % of them."
    if found.sure_value == found.edge:
        return f"{words}."
    return (
        f"{words}. With {100 * SURE_FRACTION:.0f} % of {SURE_DRAWS} draws passing it is "
        f"{shown_value(found, found.sure_value)}: plan with this."
    )


def _shape_text(found: Edge) -> str:
    if found.stretches == 1:
        return f"Checked on {len(found.values)} values over {_range(found)}: one unbroken stretch passes."
    return (
        f"Checked on {len(found.values)} values over {_range(found)}: {found.stretches} separate stretches pass; the edge "
        "is that of the outermost one. Look at the values between before relying on it."
    )


def edge_data(found: Edge) -> dict[str, Any]:
    """The answer as plain data; the moved condition is a thickness in metres or a ratio to the measured output."""
    unit = "m" if found.moved is THICKNESS else "ratio"
    passing = found.passing
    return {
        "gel": found.case.gel.name,
        "lamp": found.case.lamp.lamp_id,
        "is_demonstration": found.case.is_demonstration,
        "passes_somewhere": found.edge is not None,
        f"edge_{unit}": found.edge,
        "stopped_by": found.stopped_by,
        f"other_end_{unit}": found.other_end,
        "other_end_stopped_by": found.other_stopped_by,
        f"with_95_percent_{unit}": found.sure_value,
        "chance_at_edge_fraction": None if passing is None else passing.probability_fraction,
        "chance_low_fraction": None if passing is None else passing.low_fraction,
        "chance_high_fraction": None if passing is None else passing.high_fraction,
        "varied": None if passing is None else passing.included,
        "figures_at_edge": found.figures,
        f"tried_{unit}": found.values.tolist(),
        "tried_passes": [bool(value <= 0.0) for value in found.worst],
        "stretches": found.stretches,
        "cautions": short_cautions(),
    }
