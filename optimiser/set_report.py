"""Text, report and run folder of a tuned set."""

from __future__ import annotations

import json
import shutil
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..lamp_library.lamp import save_lamp
from ..lamp_library.units import c_from_k, um_from_m
from ..models.gel import save_gel
from ..models.schedule_file import save_schedule
from ..models.stack_results import StackResult
from .build_run import remarks
from .cautions import long_cautions, short_cautions
from .curve_data import build_curves
from .impossible import way_out_data, way_out_lines
from .problem import OBJECTIVE_WORDS
from .report_text import blend_text, materials_text, objective_words, table
from .run_data import OBJECTIVE_UNIT, limit_rows
from .set_answer import set_verdict, thickest_buried, worst_rows
from .set_brief import CoatAsked
from .set_chances import chance_lines, chance_section
from .set_outcome import SetOutcome
from .versions import versions, versions_text

SHARING_WORDS = {
    "free": "each gel its own best substances",
    "fewest": "as few different initiators and amines as possible first, then the objective",
    "penalised": "objective plus a penalty for every different initiator or amine",
}
NO_WAYS_OUT = (
    "What would help is not searched for a set among choices. `gelwright tune` of the set by itself says which limits clash and "
    "which single changes would do."
)
FIRST_BLENDS = (
    "Blends named with a change keep every limit of the finished stacks at the corners named; they are the first found, not the "
    "best. Tune the changed set for those."
)
METHOD = (
    "exact, for the corners named (all coats thin and all coats thick, weakest and strongest position): verdict and limits, "
    + "read from the simulated finished stack, with warmth, tacky layers and the cure of lower coats through upper ones",
    "exact: which blends share raw materials, among the blends polished for each gel",
    "heuristic: which substances a gel is made of, decided on its coat alone as a film on the nail; the loadings, a local "
    + "optimum of the joint problem begun at the single-coat answers",
    "told, but no limit: a tacky layer that stays uncured under the next coat (mixing with the fresh coat is not modelled)",
    "judged coat by coat only, not in the stack: heat of a second cycle, yellowness",
)


def set_text(outcome: SetOutcome) -> str:
    """The answer for the screen."""
    asked = outcome.inputs.asked
    lines = [asked.title]
    if is_demonstration(outcome):
        lines.append("Invented demonstration data.")
    lines += [""] if outcome.is_feasible else ["", "No blends found that keep every limit. Nearest:"]
    for coat in asked.coats:
        lines.append(f"{coat.name}: {blend_text(outcome.blends[coat.name])}")
        lines.append(f"   {_coat_words(coat)}")
    lines += [
        "",
        f"{objective_words(asked.brief, outcome.objective)}, mean over the gels",
        *chance_lines(outcome),
    ]
    lines.append(materials_text(outcome.materials))
    lines += ["", set_verdict(outcome).text, "", "Limits nearest to the set:"]
    for each in worst_rows(outcome)[:6]:
        lines.append(
            f"- {each.constraint.name}: {each.constraint.shown(each.figure)} ({each.constraint.words})"
        )
    if not outcome.is_feasible:
        lines += ["", *_ways_out(outcome, "")]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(asked.brief.on_date))]
    return "\n".join(lines)


def _ways_out(outcome: SetOutcome, head: str) -> list[str]:
    if outcome.impossible is None:
        return [NO_WAYS_OUT]
    return [*way_out_lines(outcome.impossible, head), "", FIRST_BLENDS]


def is_demonstration(outcome: SetOutcome) -> bool:
    """Whether the set, its lamp or a gel is invented."""
    inputs = outcome.inputs
    return (
        inputs.asked.brief.is_demonstration
        or inputs.lamp.is_demonstration
        or any(gel.gel.is_demonstration for gel in inputs.gels)
    )


def _coat_words(coat: CoatAsked) -> str:
    brief = coat.brief
    low, high = um_from_m(brief.thickness_low_m), um_from_m(brief.thickness_high_m)
    window = f"{high:g} µm" if low == high else f"{low:g}-{high:g} µm"
    times = f"{coat.applications} times " if coat.applications > 1 else ""
    wiped = ", then wiped" if coat.is_wiped else ""
    return f"{times}{window}, {brief.exposure_in_s(0):g} s {brief.programme_in(0)}, rest {brief.rest_s:g} s{wiped}"


def set_report(outcome: SetOutcome) -> str:
    """The report in Markdown."""
    asked, lamp = outcome.inputs.asked, outcome.inputs.lamp
    lines = [f"# {asked.title}", ""]
    if is_demonstration(outcome):
        lines += ["**Invented demonstration data.** Not a real lamp, gel or price list.", ""]
    brief = asked.brief
    lines += [
        f"- lamp: {lamp.name} (`{lamp.lamp_id}`); weakest at {lamp.weakest}, strongest at {lamp.strongest}",
        f"- finger: {c_from_k(brief.hand_start_k):.0f} °C, nail plate {1e-3 * um_from_m(brief.nail_thickness_m):.2f} mm",
        f"- market: {', '.join(brief.markets)} on {brief.on_date:%d %B %Y}, "
        + f"{'professional' if brief.professional_use else 'consumer'} use",
        f"- wanted: {OBJECTIVE_WORDS[brief.objective]}, mean over the gels",
        f"- raw materials: {SHARING_WORDS[asked.raw_materials]}",
        "",
        "## Answer" if outcome.is_feasible else "## No blends found that keep every limit",
        "",
        *_gels(outcome),
        "",
        set_verdict(outcome).text,
        *([] if outcome.is_feasible else ["", *_ways_out(outcome, "### ")]),
        "",
        *chance_section(outcome),
        "",
        *_limits(outcome),
        "",
        *_stacks(outcome),
        "",
        *_left_out(outcome),
        "",
        "## Cautions",
        "",
        *(f"{i}. {text}" for i, text in enumerate(long_cautions(brief.on_date), start=1)),
        "",
        *_method(outcome),
    ]
    return "\n".join(lines) + "\n"


def _gels(outcome: SetOutcome) -> list[str]:
    asked, problem = outcome.inputs.asked, outcome.problem
    rows = []
    for i, (coat, taker, start) in enumerate(
        zip(asked.coats, outcome.takers, outcome.shared.blends, strict=True)
    ):
        alone = taker.found.ranked[0]
        note = "" if alone.is_feasible else ", breaks its limits"
        rows.append(
            (
                coat.name,
                _coat_words(coat),
                f"**{blend_text(outcome.blends[coat.name])}**",
                objective_words(asked.brief, problem.gel_objective(i, outcome.loadings_wt_pct))
                if asked.brief.objective != "least_heat"
                else "-",
                blend_text(start.blend_wt_pct),
                f"{blend_text(alone.blend_wt_pct)}{note}",
            )
        )
    head = (
        "gel",
        "coat",
        "blend in the set / wt%",
        "objective",
        "before the joint polish",
        "best on its own",
    )
    lines = table(head, rows)
    lines += [
        "",
        f"Objective of the set: {objective_words(asked.brief, outcome.objective)} (mean over the gels).",
    ]
    lines.append(
        f"Different initiators and amines: {len(outcome.materials)} ({', '.join(outcome.materials)})."
    )
    return lines


def _limits(outcome: SetOutcome) -> list[str]:
    rows = [
        (
            each.constraint.name,
            each.constraint.words,
            each.constraint.shown(each.figure),
            each.constraint.shown_margin(each.figure),
            each.state,
        )
        for each in worst_rows(outcome)
    ]
    head = ("limit, at its worst place", "asked for", "predicted", "margin", "")
    kept = outcome.inputs.asked.brief.margins
    note = (
        f"What is asked for includes {kept.temperature_k:g} K and {kept.conversion_fraction:g} of conversion kept as margins. "
        if kept.temperature_k or kept.conversion_fraction
        else ""
    )
    return ["## Limits", "", *table(head, rows), "", f"{note}All places are in `limits.csv`."]


def _stacks(outcome: SetOutcome) -> list[str]:
    coats = outcome.problem.coats
    lines = ["## Finished stacks", ""]
    for stack in range(len(coats.stacks)):
        result = hottest_of(outcome, stack)
        lines += [f"**{coats.stack_name(stack)}** ({result.position}, the hottest place):", ""]
        rows = [
            (
                f"{event.start_s:g}-{event.end_s:g}",
                event.words,
                f"{event.coats[0].bottom_conversion_fraction:.3f}",
                f"{um_from_m(event.tacky_layer_m):.1f}",
                f"{c_from_k(event.film_peak_k):.1f}",
                f"{c_from_k(event.nail_bed_peak_k):.1f}",
            )
            for event in result.events
        ]
        head = ("time / s", "event", "bond side", "tacky layer / µm", "film peak / °C", "nail bed peak / °C")
        lines += [*table(head, rows), ""]
        name = f"stack_{stack + 1}"
        lines += [f"![{coats.stack_name(stack)}]({name}/build.png)", ""]
        lines += [f"The same build again: `gelwright cure {name}/schedule.toml --lamp lamp/`.", ""]
    return lines[:-1]


def hottest_of(outcome: SetOutcome, stack: int) -> StackResult:
    """The corner of a stack with the hottest nail bed."""
    corners = outcome.problem.coats.corners
    mine = [result for at, result in zip(corners, outcome.results, strict=True) if at.stack == stack]
    return max(mine, key=lambda result: result.nail_bed_peak_k)


def thick_of(outcome: SetOutcome, stack: int) -> list[StackResult]:
    """The builds of a stack with all coats thick, position by position."""
    corners = outcome.problem.coats.corners
    return [
        result
        for at, result in zip(corners, outcome.results, strict=True)
        if at.stack == stack and at.is_thick
    ]


def _left_out(outcome: SetOutcome) -> list[str]:
    lines = ["## Left out", ""]
    for coat, gel in zip(outcome.inputs.asked.coats, outcome.inputs.gels, strict=True):
        reasons: dict[str, list[str]] = {}
        for out in gel.space.excluded:
            reasons.setdefault(out.reason, []).append(out.key)
        said = "; ".join(f"{', '.join(keys)}: {reason}" for reason, keys in reasons.items())
        lines.append(f"- {coat.name}: {said or 'nothing'}")
        lines += [f"  - {note}" for note in (*gel.space.law_breaches, *gel.space.law_notes)]
    return lines


def _method(outcome: SetOutcome) -> list[str]:
    films = sum(taker.simulations for taker in outcome.takers)
    lines = ["## How this was worked out", "", *(f"- {words}" for words in METHOD)]
    lines += [f"- {words}" for words in outcome.polished]
    lines.append(f"- {films} single films and {outcome.builds} stacks simulated")
    lines.append(f"- seed {outcome.inputs.asked.brief.seed}")
    lines.append("- versions: " + versions_text())
    lines += [f"- remark of the model: {flag}" for flag in remarks(outcome.results)]
    sources = dict.fromkeys(text for result in outcome.results for text in result.citations)
    return [*lines, "", "Sources of the numbers used:", "", *(f"- {text}" for text in sources)]


def set_data(outcome: SetOutcome) -> dict[str, Any]:
    """The whole outcome as plain data, ready for JSON."""
    asked, coats, verdict = outcome.inputs.asked, outcome.problem.coats, set_verdict(outcome)
    unit = OBJECTIVE_UNIT[asked.brief.objective]
    return {
        "title": asked.title,
        "is_demonstration": is_demonstration(outcome),
        "is_feasible": outcome.is_feasible,
        "verdict": verdict.headline,
        "verdict_text": verdict.text,
        "buried_uncured_layer_m": thickest_buried(outcome).layer_m,
        "lamp": outcome.inputs.lamp.lamp_id,
        "objective": asked.brief.objective,
        f"objective_{unit}": outcome.objective,
        f"objective_before_joint_polish_{unit}": outcome.objective_before,
        "raw_materials_rule": asked.raw_materials,
        "raw_materials": list(outcome.materials),
        "gels": [
            {
                "name": coat.name,
                "place": coat.place,
                "applications": coat.applications,
                "is_wiped": coat.is_wiped,
                "exposure_s": coat.brief.exposure_in_s(0),
                "programme": coat.brief.programme_in(0),
                "rest_s": coat.brief.rest_s,
                "thickness_low_m": coat.brief.thickness_low_m,
                "thickness_high_m": coat.brief.thickness_high_m,
                "loadings_wt_pct": outcome.blends[coat.name],
                "alone_loadings_wt_pct": taker.found.ranked[0].blend_wt_pct,
                "alone_is_feasible": taker.found.ranked[0].is_feasible,
            }
            for coat, taker in zip(asked.coats, outcome.takers, strict=True)
        ],
        "stacks": [coats.stack_name(stack) for stack in range(len(coats.stacks))],
        "limits": limit_rows(outcome.problem.constraints, outcome.figures),
        "curves": [
            {"stack": coats.stack_name(at.stack), "is_thick": at.is_thick, **curves}
            for at, curves in zip(coats.corners, build_curves(outcome.results), strict=True)
        ],
        "impossible": None if outcome.impossible is None else way_out_data(outcome.impossible),
        "passing": asdict(outcome.passing.whole),
        "passing_with_data": asdict(outcome.passing_with_data.whole),
        "passing_by_coat": {
            name: {"in_use": asdict(use), "with_data": asdict(outcome.passing_with_data.by_coat[name])}
            for name, use in outcome.passing.by_coat.items()
        },
        "search": {
            "method": list(METHOD),
            "choices": list(outcome.polished),
            "films_simulated": sum(taker.simulations for taker in outcome.takers),
            "stacks_simulated": outcome.builds,
            "seed": asked.brief.seed,
        },
        "versions": versions(),
        "citations": list(dict.fromkeys(text for result in outcome.results for text in result.citations)),
        "cautions": short_cautions(asked.brief.on_date),
    }


def write_set_folder(outcome: SetOutcome, file: Path, folder: Path) -> Path:
    """Write everything about a set; the report's path comes back."""
    import pandas as pd

    from .build_picture import build_picture
    from .set_page import write_set_page

    if file.resolve() != (folder / "brief.toml").resolve():
        shutil.copyfile(file, folder / "brief.toml")
    save_lamp(outcome.inputs.lamp, folder / "lamp", overwrite=True)
    (folder / "gels").mkdir(exist_ok=True)
    own = outcome.problem.by_gel(outcome.loadings_wt_pct)
    for part, loadings in zip(outcome.problem.coats.parts, own, strict=True):
        save_gel(part.blended(loadings), folder / "gels" / f"{part.name}.toml")
    for stack in range(len(outcome.problem.coats.stacks)):
        place = folder / f"stack_{stack + 1}"
        place.mkdir(exist_ok=True)
        save_schedule(outcome.problem.schedule(stack, outcome.loadings_wt_pct), place / "schedule.toml")
        build_picture(thick_of(outcome, stack), place / "build.png")
    data = json.dumps(set_data(outcome), indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(data + "\n", encoding="utf-8")
    pd.DataFrame(limit_rows(outcome.problem.constraints, outcome.figures)).to_csv(
        folder / "limits.csv", index=False
    )
    report = folder / "report.md"
    report.write_text(set_report(outcome), encoding="utf-8")
    write_set_page(outcome, report)
    return report
