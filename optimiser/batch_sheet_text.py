"""A batch sheet in words, as data and as a table for the balance."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from ..lamp_library.units import c_from_k, um_from_m
from ..models.materials import amine, photoinitiator, pigment, resin, stabiliser
from ..models.substances import Amine, Photoinitiator, Pigment, Resin, Stabiliser
from .batch_sheet import Sheet
from .cautions import short_cautions
from .premix import Premix
from .trial_figures import INITIATOR_BAND, THICKNESS_BAND, Expected, TrialFigures
from .versions import versions
from .weighing import Line, decimals

PRACTICE = "Order and handling: common practice, no source."
BAND = f"Band: initiators ±{100 * INITIATOR_BAND:g} % (common practice of release), film ±{100 * THICKNESS_BAND:g} % (assumed)."
REFERENCE = (
    "Predicted on a nail, before any calibration; on glass or a tip the rise differs. A first good trial of your own "
    "replaces these figures."
)


def mass(sheet: Sheet, mass_g: float) -> str:
    """A mass with the decimals of the balance."""
    return f"{mass_g:.{decimals(sheet.weighing.resolution_g)}f}"


def trial_sentence(sheet: Sheet) -> str:
    """Lamp, programme, film and finger of the trial."""
    trial = sheet.recipe.trial
    return (
        f"{trial.lamp.name} ({trial.lamp.lamp_id}), programme {trial.programme}, {trial.exposure_s:g} s, film "
        f"{um_from_m(trial.thickness_m):g} µm, finger {c_from_k(trial.hand.start_k):.0f} °C"
    )


def settling_sentence(sheet: Sheet) -> str:
    """How rounding was settled."""
    weighing = sheet.weighing
    head = (
        f"Every line is rounded to the balance's {weighing.resolution_g:g} g; the masses add up to "
        f"{mass(sheet, weighing.batch_g)} g exactly"
    )
    if not weighing.settled_g:
        return f"{head}, with nothing left over."
    return f"{head}: {weighing.settled_in}, the largest line, takes the {weighing.settled_g:+g} g left over."


def light_sentence(sheet: Sheet) -> str:
    """Light protection."""
    if sheet.light_limit_nm is None:
        return "No initiator: no protection from light needed."
    return (
        f"From the first initiator on: amber light and closed, opaque vessels; these initiators absorb up to "
        f"{sheet.light_limit_nm:.0f} nm (1 L/mol/cm)."
    )


def warning_sentences(sheet: Sheet) -> list[str]:
    """What the balance is too coarse for, and the ways out."""
    coarse, advice = sheet.weighing.coarse(sheet.largest_error_pct), sheet.advice
    if advice is None:
        return []
    each = ", ".join(f"{line.key} ±{error_text(line.error_pct)} %" for line in coarse)
    found = [
        f"This balance is too coarse: loading error above {sheet.largest_error_pct:g} % for {each}. "
        + " ".join(_ways_out(sheet))
    ]
    nothing = [line.key for line in coarse if line.steps == 0]
    if nothing:
        found.append(f"{', '.join(nothing)} would be 0 on this balance: do not leave out, weigh by premix.")
    if advice.without:
        found.append(f"No premix on this balance is exact enough for {', '.join(advice.without)}.")
    return found


def _ways_out(sheet: Sheet) -> list[str]:
    advice = sheet.advice
    if advice is None:
        return []
    below = "Use the premix below" if len(advice.premixes) == 1 else "Use the premixes below"
    ways = [below if advice.premixes else "", f"a batch of {advice.batch_g:g} g or more"]
    ways += [f"a balance of {advice.finer_g:.{decimals(advice.finer_g)}f} g"] if advice.finer_g else []
    text = ", or ".join(way for way in ways if way)
    return [text[0].upper() + text[1:] + "."]


def premix_name(sheet: Sheet, premix: Premix) -> str:
    """Letter and contents of a premix."""
    premixes = sheet.advice.premixes if sheet.advice else ()
    return f"Premix {'PQR'[premixes.index(premix)]} ({' + '.join(premix.members)} in {premix.carrier})"


def premix_parts(sheet: Sheet, premix: Premix) -> str:
    """What to weigh into a premix."""
    parts = ", ".join(f"{key} {mass(sheet, grams)} g" for key, grams in premix.parts_g.items())
    return f"{parts}; makes {mass(sheet, premix.size_g)} g"


def premix_dose(sheet: Sheet, premix: Premix) -> str:
    """What of it goes into the batch, and what is left of the loading error."""
    worst = max(premix.error_pct.values())
    return f"{mass(sheet, premix.dose_g)} g in place of {', '.join(premix.members)}; loading error then up to {worst:.2g} %"


def carrier_sentence(sheet: Sheet) -> str:
    """Mass of the carriers still to be weighed by themselves when premixes are used."""
    premixes = sheet.advice.premixes if sheet.advice else ()
    left = {
        each.carrier: each.carrier_left_g for each in premixes
    }  # the last premix of a carrier has the last word
    parts = [
        f"{key} {mass(sheet, grams)} g in place of {mass(sheet, sheet.weighing.line(key).weighed_g)} g"
        for key, grams in left.items()
    ]
    return f"With the premixes weigh {' and '.join(parts)}; the batch stays {mass(sheet, sheet.weighing.batch_g)} g."


def expected_cells(each: Expected) -> tuple[str, ...]:
    """Position, base conversion, rise in the film and at its base, second-cycle share: figure and band."""
    target, low, high = each.target, each.low, each.high

    def band(name: str, factor: float, form: str) -> str:
        middle, least, most = (factor * getattr(one, name) for one in (target, low, high))
        return f"{middle:{form}} ({least:{form}}-{most:{form}})"

    return (
        each.target.position,
        band("bottom_conversion_fraction", 1.0, ".3f"),
        band("interface_peak_rise_k", 1.0, ".1f"),
        band("film_peak_rise_k", 1.0, ".1f"),
        band("second_cycle_heat_ratio", 100.0, ".2f"),
    )


EXPECTED_HEAD = (
    "position",
    "base conversion",
    "peak rise at base / K",
    "in film / K",
    "2nd cycle / % of 1st",
)


def rounding_sentences(sheet: Sheet) -> list[str]:
    """What rounding does to the predicted figures: weighed line by line, and with the premixes."""
    found = [f"Effect of rounding, line by line: {_changes(sheet, sheet.weighed)}."]
    if sheet.premixed:
        found.append(f"With the premixes: {_changes(sheet, sheet.premixed)}.")
    return found


def _changes(sheet: Sheet, others: tuple[TrialFigures, ...]) -> str:
    parts = []
    for each, other in zip(sheet.expected, others, strict=True):
        target = each.target

        def change(
            name: str, places: int, factor: float = 1.0, one: TrialFigures = target, two: TrialFigures = other
        ) -> str:
            moved = round(factor * (getattr(two, name) - getattr(one, name)), places)
            return f"{moved:+.{places}f}" if moved else "0"

        parts.append(
            f"{target.position} base conversion {change('bottom_conversion_fraction', 4)}, rise at base "
            f"{change('interface_peak_rise_k', 2)} K, nail bed {change('nail_bed_peak_k', 2)} K, second cycle "
            f"{change('second_cycle_heat_ratio', 3, 100.0)} points"
        )
    return "; ".join(parts)


def sheet_text(sheet: Sheet) -> str:
    """The sheet for the screen."""
    lines = [f"Batch sheet: {sheet.recipe.title}", sheet.recipe.origin]
    if sheet.recipe.is_demonstration:
        lines.append("Invented demonstration data.")
    head = ("", "role", "wt%", "target/g", "weigh/g", "error/%")
    rows = [head, *_rows(sheet), ("sum", "", "", "", mass(sheet, sheet.weighing.batch_g), "")]
    widths = [max(len(row[i]) for row in rows) for i in range(len(head))]
    lines.append("")
    for row in rows:
        cells = [row[0].ljust(widths[0]), row[1].ljust(widths[1])]
        cells += [cell.rjust(width) for cell, width in zip(row[2:], widths[2:], strict=True)]
        lines.append("  ".join(cells).rstrip())
    lines += ["", settling_sentence(sheet), *warning_sentences(sheet)]
    for each in sheet.advice.premixes if sheet.advice else ():
        lines += [
            f"{premix_name(sheet, each)}: {premix_parts(sheet, each)}.",
            f"  Weigh {premix_dose(sheet, each)}.",
        ]
    lines += [carrier_sentence(sheet)] if sheet.advice and sheet.advice.premixes else []
    lines += ["", "Order:"]
    for number, step in enumerate(sheet.steps, start=1):
        lines.append(f"{number}. {step.words} ({', '.join(step.keys)}): {step.reason}")
    lines += [PRACTICE, light_sentence(sheet), "", f"Expected in the trial: {trial_sentence(sheet)}"]
    for each_figure in sheet.expected:
        cells_of = zip(EXPECTED_HEAD[1:], expected_cells(each_figure)[1:], strict=True)
        lines.append(
            f"{each_figure.target.position}: " + ", ".join(f"{name} {value}" for name, value in cells_of)
        )
    lines += [BAND, REFERENCE, *rounding_sentences(sheet)]
    lines += ["", "Law:", *(f"- {each}" for each in sheet.law)] if sheet.law else []
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions())]
    return "\n".join(lines)


def _rows(sheet: Sheet) -> list[tuple[str, ...]]:
    return [
        (
            key, (line := sheet.weighing.line(key)).role, f"{line.target_wt_pct:.4g}", f"{line.target_g:.5g}",
            mass(sheet, line.weighed_g), error_text(line.error_pct) + (" !" if line.error_pct > sheet.largest_error_pct else ""),
        )
        for step in sheet.steps
        for key in step.keys
    ]  # fmt: skip


def sheet_data(sheet: Sheet) -> dict[str, Any]:
    """The sheet as plain data, ready for JSON."""
    recipe, weighing, advice = sheet.recipe, sheet.weighing, sheet.advice
    return {
        "title": recipe.title,
        "origin": recipe.origin,
        "is_demonstration": recipe.is_demonstration,
        "batch_g": weighing.batch_g,
        "balance_resolution_g": weighing.resolution_g,
        "largest_error_pct": sheet.largest_error_pct,
        "settled_in": weighing.settled_in,
        "settled_g": weighing.settled_g,
        "lines": csv_rows(sheet),
        "premixes": [] if advice is None else [asdict(each) for each in advice.premixes],
        "without_premix": [] if advice is None else list(advice.without),
        "batch_for_direct_weighing_g": None if advice is None else advice.batch_g,
        "balance_for_direct_weighing_g": None if advice is None else advice.finer_g,
        "order": [asdict(step) for step in sheet.steps],
        "light_limit_nm": sheet.light_limit_nm,
        "expected": [asdict(each) for each in sheet.expected],
        "as_weighed": [asdict(each) for each in sheet.weighed],
        "with_premixes": [asdict(each) for each in sheet.premixed],
        "law": list(sheet.law),
        "versions": versions(),
        "cautions": short_cautions(),
    }


def names_of(line: Line) -> Amine | Photoinitiator | Pigment | Resin | Stabiliser:
    """The record of a line's substance, which holds its INCI name and CAS number."""
    match line.role:
        case "resin":
            return resin(line.key)
        case "initiator":
            return photoinitiator(line.key)
        case "amine":
            return amine(line.key)
        case "stabiliser":
            return stabiliser(line.key)
        case _:
            return pigment(line.key)


def csv_rows(sheet: Sheet) -> list[dict[str, Any]]:
    """Rows for the balance, in the order of weighing; empty cells are filled at the balance."""
    found: list[dict[str, Any]] = []
    for step in sheet.steps:
        for key in step.keys:
            line = sheet.weighing.line(key)
            names = names_of(line)
            found.append(
                {
                    "number": len(found) + 1, "key": key, "role": line.role, "inci_name": names.inci_name,
                    "cas": names.cas, "target_wt_pct": _short(line.target_wt_pct), "target_g": _short(line.target_g),
                    "weigh_g": mass(sheet, line.weighed_g), "rounding_pct": _short(line.rounding_pct),
                    "balance_pct": _short(line.balance_pct), "error_pct": _short(line.error_pct), "step": step.words,
                    "needs_amber_light": step.needs_dark, "supplier_lot": "", "expiry": "", "weighed_g": "",
                    "balance_id": "", "initials": "",
                }
            )  # fmt: skip
    return found


def error_text(error_pct: float) -> str:
    """A loading error in two digits, whole per cent from a hundred on."""
    return f"{error_pct:.2g}" if error_pct < 99.5 else f"{error_pct:.0f}"


def _short(value: float) -> float:
    """Six digits, more than any balance shows."""
    return float(f"{value:.6g}")
