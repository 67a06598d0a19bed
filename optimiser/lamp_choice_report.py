"""Text, report and run folder for several lamps: who gets which blend, who gets none, and why."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..models.gel import save_gel
from .brief import Brief
from .cautions import long_cautions, short_cautions
from .lamp_choice import LampsOutcome, Served
from .passing_figures import chance_figures, chance_state, chances_words
from .problem import OBJECTIVE_WORDS
from .report import chance, write_run_folder
from .report_text import blend_text, chance_text, materials_text, objective_words, table
from .run_data import OBJECTIVE_UNIT, limit_rows, outcome_data
from .tune import blended
from .tune_page import key_figures
from .versions import versions, versions_text
from .written_page import FirstScreen, write_written_page

WAYS = {
    "blend_per_lamp": "a blend for each lamp, with as few different initiators and amines as possible",
    "largest_set": "one blend for as many of the lamps as possible",
}
METHOD = {
    "blend_per_lamp": "exact among the blends polished: who takes which (fewest different substances first, then the mean "
    "objective); heuristic: which blends were polished",
    "largest_set": "a set found servable is; a set found not to be may hold a blend that was not tried: each was judged by "
    "polishing the best blends of its lamps for all of them at once; the blend of the answer was searched in full",
}


def lamps_text(outcome: LampsOutcome) -> str:
    """The answer for the screen."""
    brief = outcome.brief
    lines = [brief.title]
    if _is_demonstration(outcome):
        lines.append("Invented demonstration data.")
    lines += ["", *_served_lines(outcome)]
    if outcome.refused:
        lines += ["", "Refused:", *(f"- {each.sentence}" for each in outcome.refused)]
    if outcome.tried:
        lines += ["", "Gone through:", *(f"- {words}" for words in outcome.tried)]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(brief.on_date))]
    return "\n".join(lines)


def _served_lines(outcome: LampsOutcome) -> list[str]:
    brief, lines = outcome.brief, []
    if not outcome.served:
        return ["No lamp can be served."]
    if outcome.one_blend is not None:
        best = outcome.one_blend.candidates[0]
        ids = ", ".join(each.inputs.lamp.lamp_id for each in outcome.served)
        return [
            f"One blend serves {len(outcome.served)} of {len(brief.lamps)} lamps ({ids}):",
            f"{best.name}",
            f"   {objective_words(brief, best.objective)}; chance of passing {chance(best)}",
            f"   {best.verdict.text}",
            *(f"   {_own(each, brief)}" for each in outcome.served),
        ]
    for each in outcome.served:
        lines += [
            f"{each.inputs.lamp.lamp_id}: {each.shown.name}",
            f"   {objective_words(brief, each.shown.objective)}; chance of passing {chance(each.shown)}",
            f"   {each.shown.verdict.text}",
            f"   {_own(each, brief)}",
        ]
    lines.append(materials_text(outcome.materials))
    return lines


def _own(each: Served, brief: Brief) -> str:
    return (
        f"{each.inputs.lamp.lamp_id} on its own: {blend_text(each.own_best.blend_wt_pct)} "
        f"({objective_words(brief, each.own_best.objective)})"
    )


def _is_demonstration(outcome: LampsOutcome) -> bool:
    return outcome.brief.is_demonstration or any(each.lamp.is_demonstration for each in outcome.refused)


def lamps_report(outcome: LampsOutcome) -> str:
    """The report in Markdown."""
    brief = outcome.brief
    lines = [f"# {brief.title}", ""]
    if _is_demonstration(outcome):
        lines += ["**Invented demonstration data.** Not a real lamp, gel or price list.", ""]
    lines += [f"Asked for: {WAYS[brief.serve]}; {OBJECTIVE_WORDS[brief.objective]}.", "", "## Answer", ""]
    if not outcome.served:
        lines.append("No lamp can be served.")
    else:
        rows = [
            (
                each.inputs.lamp.lamp_id,
                f"{each.inputs.brief.exposure_in_s(0):g} s {each.inputs.brief.programme_in(0)}",
                f"**{each.shown.name}**",
                objective_words(brief, each.shown.objective),
                chance_text(each.shown.passing),
                f"{blend_text(each.own_best.blend_wt_pct)}; {objective_words(brief, each.own_best.objective)}",
            )
            for each in outcome.served
        ]
        head = ("lamp", "cure", "blend / wt%", "objective", "chance of passing", "best on its own")
        lines += table(head, rows)
        lines += [
            "",
            f"Different initiators and amines: {len(outcome.materials)} ({', '.join(outcome.materials)}).",
        ]
        shown = [each for each in outcome.served] if outcome.one_blend is None else [outcome.served[0]]
        lines += ["", *(f"- {_where(each, outcome)}{each.shown.verdict.text}" for each in shown)]
    if outcome.refused:
        lines += ["", "## Refused", "", *(f"- {each.sentence}." for each in outcome.refused)]
    lines += ["", "## Limits", "", *_limits(outcome)] if outcome.served else []
    if outcome.one_blend is not None:
        lines += ["", "The blend in full: [one_blend/report.md](one_blend/report.md)."]
    lines += ["", "## Cautions", ""]
    lines += [f"{i}. {text}" for i, text in enumerate(long_cautions(brief.on_date), start=1)]
    lines += ["", "## How this was worked out", "", f"- {METHOD[brief.serve]}"]
    lines += [f"- {words}" for words in outcome.tried]
    lines.append(f"- seed {brief.seed}")
    lines.append("- versions: " + versions_text())
    return "\n".join(lines) + "\n"


def _where(each: Served, outcome: LampsOutcome) -> str:
    return "" if outcome.one_blend is not None else f"{each.inputs.lamp.lamp_id}: "


def _limits(outcome: LampsOutcome) -> list[str]:
    rows = []
    for each in outcome.served if outcome.one_blend is None else outcome.served[:1]:
        lamp = "" if outcome.one_blend is not None else f"{each.inputs.lamp.lamp_id}, "
        for i, (row, figure) in enumerate(zip(each.shown.constraints, each.shown.figures, strict=True)):
            state = "limits the blend" if i in each.shown.binding else ""
            rows.append((f"{lamp}{row.name}", row.words, row.shown(figure), row.shown_margin(figure), state))
    return table(("limit", "asked for", "predicted", "margin", ""), rows)


def lamps_data(outcome: LampsOutcome) -> dict[str, Any]:
    """The whole outcome as plain data, ready for JSON."""
    unit = OBJECTIVE_UNIT[outcome.brief.objective]
    return {
        "title": outcome.brief.title,
        "is_demonstration": _is_demonstration(outcome),
        "serve": outcome.brief.serve,
        "is_feasible": outcome.is_feasible,
        "served": [
            {
                "lamp": each.inputs.lamp.lamp_id,
                "loadings_wt_pct": each.shown.blend_wt_pct,
                f"objective_{unit}": each.shown.objective,
                "verdict": each.shown.verdict.headline,
                "limits": limit_rows(each.shown.constraints, each.shown.figures),
                "chance_of_passing_fraction": each.shown.passing.probability_fraction,
                "own_best_loadings_wt_pct": each.own_best.blend_wt_pct,
                f"own_best_objective_{unit}": each.own_best.objective,
            }
            for each in outcome.served
        ],
        "refused": [
            {
                "lamp": each.lamp.lamp_id,
                "can_be_served_alone": each.nearest_alone is None,
                "broken": limit_rows(
                    [row.constraint for row in each.broken], [row.figure for row in each.broken]
                ),
                "sentence": each.sentence,
            }
            for each in outcome.refused
        ],
        "raw_materials": list(outcome.materials),
        "one_blend": None if outcome.one_blend is None else outcome_data(outcome.one_blend),
        "tried": list(outcome.tried),
        "versions": versions(),
        "cautions": short_cautions(outcome.brief.on_date),
    }


def write_lamps_folder(outcome: LampsOutcome, file: Path, folder: Path) -> Path:
    """Write everything about a run for several lamps; the report's path comes back."""
    if file.resolve() != (folder / "brief.toml").resolve():
        shutil.copyfile(file, folder / "brief.toml")
    (folder / "gels").mkdir(exist_ok=True)
    for each in outcome.served:
        gel = blended(each.inputs, each.shown.blend_wt_pct)
        save_gel(gel, folder / "gels" / f"{each.inputs.lamp.lamp_id}.toml")
    if outcome.one_blend is not None:
        write_run_folder(outcome.one_blend, file, folder / "one_blend")
    data = json.dumps(lamps_data(outcome), indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(data + "\n", encoding="utf-8")
    report = folder / "report.md"
    report.write_text(lamps_report(outcome), encoding="utf-8")
    write_written_page(report, kind="Several lamps", **first_screen(outcome))
    return report


def first_screen(outcome: LampsOutcome) -> FirstScreen:
    """How many lamps are served, with what, and how surely."""
    served, asked = len(outcome.served), len(outcome.brief.lamps)
    headline = f"{served} of {asked} lamps can be served"
    if not served:
        return {"headline": headline, "state": "broken", "answer": "", "figures": ()}
    shown = [each.shown for each in outcome.served]
    ids = [each.inputs.lamp.lamp_id for each in outcome.served]
    if outcome.one_blend is not None:
        best = outcome.one_blend.candidates[0]
        answer, figures = f"{best.name} in {', '.join(ids)}", key_figures(best, outcome.brief)
    else:
        best = min(
            shown,
            key=lambda each: (each.passing.probability_fraction, each.passing_with_data.probability_fraction),
        )
        answer = "; ".join(f"{lamp}: {each.name}" for lamp, each in zip(ids, shown, strict=True))
        figures = tuple(
            replace(chance_figures(each.passing, None)[0], label=f"Chance of passing in {lamp}")
            for lamp, each in zip(ids, shown, strict=True)
        )
    drawn = (best.passing, best.passing_with_data)
    sure = served == asked and all(chance_state(each) == "kept" for each in drawn)
    where = "" if outcome.one_blend is not None or served == 1 else "the least sure of them "
    return {
        "headline": f"{headline}; {where}{chances_words(*drawn)}",
        "state": "kept" if sure else "near",
        "answer": answer,
        "figures": figures,
    }
