"""What a whole build leaves behind, as lines of text: residues of every coat, colour, and what was wiped off."""

from __future__ import annotations

from ..lamp_library.units import m2_from_cm2, um_from_m
from ..models.stack_results import EventResult, StackResult
from .after_cure_text import substance_rows
from .text_columns import text_columns

_MG_PER_KG = 1.0e6
_HEAD = ("coat", "wt% of the coat left, predicted", "mean", "upper fifth", "lower face", "")
_NUMBERS = (2, 3, 4)


def mg_cm2(mass_kg_m2: float) -> float:
    """Mass per area in mg/cm2."""
    return mass_kg_m2 * _MG_PER_KG * m2_from_cm2(1.0)


def _wipes(result: StackResult) -> list[EventResult]:
    return [event for event in result.events if event.removed_thickness_m > 0.0]


def wiped_line(result: StackResult) -> str:
    """One sentence on the tacky layer where the last event wipes it off; empty otherwise."""
    last = result.events[-1]
    if last.removed_thickness_m <= 0.0:
        return ""
    return (
        f"The top {um_from_m(last.removed_thickness_m):.0f} µm were uncured and tacky until wiped off at the end: keep them and "
        "the wipe off the skin."
    )


def remains_lines(result: StackResult) -> list[str]:
    """Residues coat by coat, colour of the binders, and all that was wiped off, at one position.

    Parameters
    ----------
    result : StackResult
        The position to tell about.
    """
    rows: list[tuple[str, ...]] = [_HEAD]
    for coat, found in zip(result.coats, result.after_cure, strict=True):
        name = f"{coat.number} {coat.coat}"
        rows += [(name, *row) for row in substance_rows(found) if not row[0].endswith(" products")]
    left = [column for column in range(len(_HEAD)) if column not in _NUMBERS]
    lines = [f"After the last event at {result.position} (products of the initiators in the data):"]
    lines += text_columns(rows, left)
    tint = result.tint
    lines.append(
        f"Clear binder of all coats over white: b* {tint.cielab_b:.1f}, yellowness {tint.yellowness_index:.1f}; pigments, where "
        "there are any, are not in it."
    )
    wipes = _wipes(result)
    if wipes:
        each = "; ".join(
            f"{um_from_m(event.removed_thickness_m):.1f} µm at {event.start_s:g} s" for event in wipes
        )
        total = sum(mg_cm2(event.removed_mass_kg_m2) for event in wipes)
        lines.append(
            f"Wiped off as tacky gel: {each}; {total:.2f} mg/cm2 in all. It is uncured: keep it off the skin."
        )
    return lines
