"""The answer to one brief as text for the screen."""

from __future__ import annotations

from .cautions import short_cautions
from .impossible import way_out_lines
from .report import chance, limited_by, objective_text, status_doubts
from .sure import sure_line
from .tune import Outcome


def outcome_text(outcome: Outcome) -> str:
    """One brief's answer for the screen."""
    brief = outcome.inputs.brief
    lines = [brief.title]
    if brief.is_demonstration or any(lamp.is_demonstration for lamp in outcome.inputs.lamps):
        lines.append("Invented demonstration data.")
    if not outcome.found.is_feasible:
        lines += ["", "No blend meets this brief. Nearest:"]
    for rank, shown in enumerate(outcome.candidates, start=1):
        lines += [
            "",
            f"{rank}. {shown.name}",
            f"   {objective_text(outcome, shown.objective)}; chance of passing {chance(shown)}",
            f"   {shown.verdict.headline}; limited by {', '.join(limited_by(outcome, shown))}",
            *(f"   {doubt}" for doubt in status_doubts(outcome, shown)),
        ]
    sure = sure_line(brief, [shown.passing.probability_fraction for shown in outcome.candidates])
    lines += ["", *sure] if sure else []
    lines += ["", outcome.candidates[0].verdict.text]
    if outcome.conflicts:
        lines += ["", "What conflicts:", *(f"- {each.sentence}" for each in outcome.conflicts)]
    if outcome.impossible is not None:
        lines += ["", *way_out_lines(outcome.impossible)]
    breaches = outcome.inputs.space.law_breaches
    lines += ["", "Above what the law allows:", *(f"- {each}" for each in breaches)] if breaches else []
    lines += ["", "Left out:", *(_left_out(outcome) or ["- none"])]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(brief.on_date))]
    return "\n".join(lines)


def _left_out(outcome: Outcome) -> list[str]:
    """One line for each reason, with the substances it keeps out."""
    keys: dict[str, list[str]] = {}
    for out in outcome.inputs.space.excluded:
        keys.setdefault(out.reason, []).append(out.key)
    return [f"- {', '.join(each)}: {reason}" for reason, each in keys.items()]
