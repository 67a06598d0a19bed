"""The page of a tuned set: verdict and key figures first, then every stack and every coat as pictures, then the report."""

from __future__ import annotations

from pathlib import Path

from ..lamp_library.units import c_from_k
from .brief import Margins
from .page_html import write_page
from .page_parts import KeyFigure, Page, Picture, Section, State
from .passing_figures import chance_figures, chance_state, chances_words
from .set_answer import HEAT_FIGURES, SHOWN_BURIED_M, Worst, set_verdict, thickest_buried, worst_rows
from .set_outcome import SetOutcome
from .set_report import hottest_of, is_demonstration, thick_of
from .stack_pictures import coat_pictures, course_picture, stack_picture
from .verdict import dose_text
from .written_page import parts_of, sections_of, without_pictures


def set_page(outcome: SetOutcome, report: str) -> Page:
    """A tuned set as a page.

    Parameters
    ----------
    outcome : SetOutcome
        What was found.
    report : str
        Its written report, Markdown.
    """
    verdict = set_verdict(outcome)
    told = report.replace(f"{verdict.text}\n\n", "")  # on the first screen
    written = parts_of(without_pictures(told))
    blends = blends_words(outcome)
    return Page(
        kind="A set of coats",
        title=written.title,
        is_demonstration=is_demonstration(outcome),
        facts=written.facts,
        headline=f"{verdict.headline}; {chances_words(outcome.passing.whole, outcome.passing_with_data.whole)}"
        if outcome.is_feasible
        else f"no blends found: {verdict.headline}",
        verdict_state=_state(outcome),
        answer=blends if outcome.is_feasible else f"Nearest. {blends}",
        sentences=verdict.sentences,
        figures=set_figures(outcome),
        sections=(
            *(
                Section(key=f"stack-{stack + 1}", title=title, blocks=stack_blocks(outcome, stack))
                for stack, title in enumerate(_titles(outcome))
            ),
            *sections_of(written),
        ),
        cautions=written.cautions,
        footer="The same in text: report.md; as data: results.json.",
    )


def blends_words(outcome: SetOutcome) -> str:
    """The blend of every gel of the set."""
    from .report_text import blend_text

    return "; ".join(f"{name}: {blend_text(blend)}" for name, blend in outcome.blends.items())


def _titles(outcome: SetOutcome) -> list[str]:
    coats = outcome.problem.coats
    names = [coats.stack_name(stack) for stack in range(len(coats.stacks))]
    return [f"Pictures of {name}" if len(names) > 1 else "Pictures" for name in names]


def stack_blocks(outcome: SetOutcome, stack: int) -> tuple[Picture, ...]:
    """Stack, temperatures and every coat of one finished stack.

    Parameters
    ----------
    outcome : SetOutcome
        What was found.
    stack : int
        Which of the finished stacks.
    """
    coats = outcome.problem.coats
    thick = thick_of(outcome, stack)
    soft = min(thick, key=lambda result: result.bond_side_conversion_fraction)
    # the place's name without the stack's, which the heading gives
    places = {
        f"{result.position}, {'thick' if at.is_thick else 'thin'} coats": result
        for at, result in zip(coats.corners, outcome.results, strict=True)
        if at.stack == stack
    }
    limit = outcome.inputs.asked.brief.limits.nail_bed_max_k
    return (
        stack_picture(soft, f"stack-{stack}"),
        course_picture(hottest_of(outcome, stack), limit, f"course-{stack}"),
        *coat_pictures(places, f"coat-{stack}"),
    )


def _state(outcome: SetOutcome) -> State:
    if not outcome.is_feasible:
        return "broken"
    both = (outcome.passing.whole, outcome.passing_with_data.whole)
    likely = all(chance_state(each) == "kept" for each in both)
    return "kept" if likely and thickest_buried(outcome).layer_m <= SHOWN_BURIED_M else "near"


def set_figures(outcome: SetOutcome) -> tuple[KeyFigure, ...]:
    """The numbers of the first screen."""
    rows = worst_rows(outcome)
    kept = "" if outcome.inputs.asked.brief.margins == Margins() else " with the margin"
    cure = next((each for each in rows if each.constraint.figure == "bottom_conversion_fraction"), None)
    heat = next((each for each in rows if each.constraint.figure == HEAT_FIGURES[0]), None)
    bond = min(outcome.results, key=lambda result: result.bond_side_conversion_fraction)
    hot = max(outcome.results, key=lambda result: result.nail_bed_peak_k)
    dose = max(result.cem43_min for result in outcome.results)
    found = [
        KeyFigure(
            label="Bond side at the nail",
            value=f"{bond.bond_side_conversion_fraction:.2f}",
            remark=f"{bond.position}, after everything",
        )
    ]
    if cure is not None:
        found.append(
            KeyFigure(
                label="Base conversion nearest to its limit",
                value=f"{cure.figure:.3f}",
                remark=f"{_where(cure)}; asked {cure.constraint.limit:.3f}{kept}",
                state=_limit_state(cure),
            )
        )
    limit = "" if heat is None else f"; asked at most {c_from_k(heat.constraint.limit):.1f} °C{kept}"
    found += [
        KeyFigure(
            label="Nail bed, hottest",
            value=f"{c_from_k(hot.nail_bed_peak_k):.1f} °C",
            remark=f"{hot.position}{limit}",
            state="plain" if heat is None else _limit_state(heat),
        ),
        KeyFigure(
            label="Thermal dose of the nail bed",
            value=f"{dose_text(dose)} min",
            remark="CEM43, whole schedule",
        ),
        *chance_figures(outcome.passing.whole, outcome.passing_with_data.whole),
    ]
    return tuple(found)


def _where(worst: Worst) -> str:
    return worst.constraint.name.partition(", ")[2]


def _limit_state(worst: Worst) -> State:
    return "broken" if worst.state == "broken" else "kept"


def write_set_page(outcome: SetOutcome, report: Path) -> Path:
    """Write the page beside its written report; the page's path comes back.

    Parameters
    ----------
    outcome : SetOutcome
        What was found.
    report : Path
        ``report.md``, written already.
    """
    return write_page(set_page(outcome, report.read_text(encoding="utf-8")), report.with_suffix(".html"))
