"""Text, report and run folder of a brief with choices: the best blend of each combination, and why the winner won."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from ..lamp_library.units import um_from_m
from .cautions import long_cautions, short_cautions
from .choices import EQUAL, KEPT_BLENDS, ChoicesOutcome, Tried
from .outcome_text import outcome_text
from .page_parts import State
from .passing_figures import chance_state, chances_words
from .problem import OBJECTIVE_WORDS
from .report import write_run_folder
from .report_text import blend_text, objective_words, table
from .run_data import OBJECTIVE_UNIT, limit_rows, outcome_data
from .set_page import blends_words, set_figures
from .set_report import set_data, set_text, write_set_folder
from .tune import Outcome
from .tune_page import key_figures
from .versions import versions, versions_text
from .written_page import FirstScreen, write_written_page

BEST = "best"
METHOD = (
    f"heuristic: the first combination was searched in full, the others by polishing up to {KEPT_BLENDS} blends known by then, "
    "the best one in full again; exact, for the corners judged: every figure shown"
)
STACKED = (
    "several coats: the blend is searched on one thin coat as a film on the nail, then polished and judged in the simulated "
    "stack of all of them, with the rest of the brief between the cures and no wipe"
)


def why(outcome: ChoicesOutcome) -> list[str]:
    """Why the winner won, and what held the others back, in sentences."""
    best, *others = outcome.tried
    if not outcome.is_feasible:
        return ["No combination keeps every limit; the nearest comes first."]
    brief = outcome.brief
    kept = 1 + sum(each.is_feasible for each in others)
    rank = (
        "the only combination that keeps every limit"
        if kept == 1
        else f"the {OBJECTIVE_WORDS[brief.objective]} of {kept} combinations that keep every limit"
    )
    won = f"{best.choice.words} won: {objective_words(brief, best.objective)}, {rank}; it rests on {_rests_on(best)}."
    lines = [won]
    cheaper = [each for each in others if each.is_feasible and each.objective < best.objective]
    lines += [
        f"{each.choice.words} is within {100 * EQUAL:g} % of it ({objective_words(brief, each.objective)}) and takes "
        f"{each.choice.lamp_time_s:g} s of lamp time against {best.choice.lamp_time_s:g} s."
        for each in cheaper
    ]
    for each in others:
        if each in cheaper:
            continue
        if each.why_not:
            lines.append(f"{each.choice.words} cannot run: {each.why_not}")
        elif each.is_feasible:
            lines.append(
                f"{each.choice.words}: {objective_words(brief, each.objective)}; there it rests on {_rests_on(each)}."
            )
        else:
            lines.append(f"{each.choice.words} does not keep every limit: {'; '.join(_broken(each))}.")
    return lines


def _rests_on(tried: Tried) -> str:
    names = [tried.constraints[i].limit_name for i in tried.deciding]
    return ", ".join(dict.fromkeys(names)) or "no limit (the smallest loading or a cap decides)"


def _broken(tried: Tried) -> list[str]:
    found = []
    for i in tried.deciding:
        if tried.values[i] > 0.0:
            row, figure = tried.constraints[i], tried.figures[i]
            found.append(f"{row.name} {row.shown(figure)} ({row.words}, {row.shown_margin(figure)})")
    return found


def choices_text(outcome: ChoicesOutcome) -> str:
    """The answer for the screen: every combination, then the best one in full."""
    brief = outcome.brief
    lines = [brief.title]
    if brief.is_demonstration:
        lines.append("Invented demonstration data.")
    lines.append("")
    for rank, each in enumerate(outcome.tried, start=1):
        if each.why_not:
            lines.append(f"{rank}. {each.choice.words}: cannot run")
            continue
        state = "" if each.is_feasible else "; breaks limits"
        lines.append(
            f"{rank}. {each.choice.words}: {blend_text(each.blend_wt_pct)}; {objective_words(brief, each.objective)}{state}"
        )
    lines += ["", *(f"- {sentence}" for sentence in why(outcome)), "", "The best in full:", ""]
    best = outcome.best
    return "\n".join(lines) + "\n" + (outcome_text(best) if isinstance(best, Outcome) else set_text(best))


def choices_report(outcome: ChoicesOutcome) -> str:
    """The report in Markdown."""
    brief = outcome.brief
    low, high = um_from_m(brief.thickness_low_m), um_from_m(brief.thickness_high_m)
    lines = [f"# {brief.title}", ""]
    if brief.is_demonstration:
        lines += ["**Invented demonstration data.** Not a real lamp, gel or price list.", ""]
    lines += [
        f"Which cure is best for {low:g}-{high:g} µm in all; wanted: {OBJECTIVE_WORDS[brief.objective]}.",
        "",
        "## Combinations",
        "",
        *table(
            ("rank", "cure", "lamp time / s", "best blend / wt%", "objective", "rests on, or breaks"),
            [_row(rank, each, outcome) for rank, each in enumerate(outcome.tried, start=1)],
        ),
        "",
        "Blends before rounding to what can be weighed.",
        "",
        "## Why",
        "",
        *(f"- {sentence}" for sentence in why(outcome)),
        "",
        f"The best combination in full: [{BEST}/report.md]({BEST}/report.md).",
        "",
        "## Cautions",
        "",
        *(f"{i}. {text}" for i, text in enumerate(long_cautions(brief.on_date), start=1)),
        "",
        "## How this was worked out",
        "",
        f"- {METHOD}",
        *([f"- {STACKED}"] if any(each.choice.coats > 1 for each in outcome.tried) else []),
        f"- objectives within {100 * EQUAL:g} % count as equal; then the shorter lamp time wins, then fewer coats",
        f"- seed {brief.seed}",
        "- versions: " + versions_text(),
    ]
    return "\n".join(lines) + "\n"


def _row(rank: int, each: Tried, outcome: ChoicesOutcome) -> tuple[str, ...]:
    if each.why_not:
        return (str(rank), each.choice.words, f"{each.choice.lamp_time_s:g}", "-", "-", "cannot run")
    return (
        str(rank),
        each.choice.words,
        f"{each.choice.lamp_time_s:g}",
        blend_text(each.blend_wt_pct),
        objective_words(outcome.brief, each.objective),
        _rests_on(each) if each.is_feasible else "; ".join(_broken(each)),
    )


def choices_data(outcome: ChoicesOutcome) -> dict[str, Any]:
    """The whole outcome as plain data, ready for JSON."""
    unit = OBJECTIVE_UNIT[outcome.brief.objective]
    best = outcome.best
    return {
        "title": outcome.brief.title,
        "is_demonstration": outcome.brief.is_demonstration,
        "is_feasible": outcome.is_feasible,
        "objective": outcome.brief.objective,
        "choices": [
            {
                "words": each.choice.words,
                "exposure_s": each.choice.exposure_s,
                "programme": each.choice.programme,
                "coats": each.choice.coats,
                "is_feasible": each.is_feasible,
                "is_searched_in_full": each.is_full,
                "loadings_wt_pct": each.blend_wt_pct,
                f"objective_{unit}": None if each.why_not else each.objective,
                "limits": limit_rows(each.constraints, each.figures),
                "deciding_limits": [each.constraints[i].name for i in each.deciding],
                "why_not": each.why_not,
            }
            for each in outcome.tried
        ],
        "why": why(outcome),
        "best": outcome_data(best) if isinstance(best, Outcome) else set_data(best),
        "versions": versions(),
        "cautions": short_cautions(outcome.brief.on_date),
    }


def write_choices_folder(outcome: ChoicesOutcome, file: Path, folder: Path) -> Path:
    """Write everything about a run with choices; the report's path comes back."""
    if file.resolve() != (folder / "brief.toml").resolve():
        shutil.copyfile(file, folder / "brief.toml")
    place, best = folder / BEST, outcome.best
    place.mkdir(exist_ok=True)
    if isinstance(best, Outcome):
        write_run_folder(best, file, place)
    else:
        write_set_folder(best, file, place)
    data = json.dumps(choices_data(outcome), indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(data + "\n", encoding="utf-8")
    report = folder / "report.md"
    report.write_text(choices_report(outcome), encoding="utf-8")
    write_written_page(report, kind="Which cure is best", **first_screen(outcome))
    return report


def first_screen(outcome: ChoicesOutcome) -> FirstScreen:
    """Why the winner won, its blend and its chances."""
    best, headline = outcome.best, why(outcome)[0].rstrip(".")
    if isinstance(best, Outcome):
        shown = best.candidates[0]
        answer, figures = shown.name, key_figures(shown, outcome.brief)
        drawn = [shown.passing, shown.passing_with_data]
    else:
        answer, figures, drawn = (
            blends_words(best),
            set_figures(best),
            [best.passing.whole, best.passing_with_data.whole],
        )
    sure = all(chance_state(each) == "kept" for each in drawn)
    state: State = ("kept" if sure else "near") if outcome.is_feasible else "broken"
    words = f"{headline}; {chances_words(*drawn)}" if outcome.is_feasible else headline
    return {"headline": words, "state": state, "answer": answer, "figures": figures}
