"""A sweep as a page: how many combinations keep the limits, the best one, pictures, what moves what."""

from __future__ import annotations

from collections.abc import Sequence

from ..models.results import CureResult
from .cautions import long_cautions
from .cure_page import figure_cards
from .cure_run import figures, model_remarks, verdict_of
from .page_parts import Block, Page, Section, Text, points, table
from .sweep_effects import ranked
from .sweep_films import SweepFigures
from .sweep_picture import legend_words, sweep_pictures
from .sweep_run import TABLE, Swept
from .sweep_slices import slices_of
from .sweep_text import (
    ROOM_NOTE,
    combination_text,
    fixed_text,
    kept_rows,
    law_of,
    outcome_lines,
    range_notes,
    range_rows,
)
from .versions import versions_text

LISTED = 40  # combinations that keep the limits shown on the page


def sweep_page(swept: Swept, best: Sequence[CureResult]) -> Page:
    """A sweep as a page.

    Parameters
    ----------
    swept : Swept
        With one combination simulated at least.
    best : sequence of CureResult
        The best combination cured in full at each of its positions.
    """
    plan, order = swept.plan, ranked(swept)
    kept = [pair for pair in order if pair[1].passes]
    soft = min(
        map(figures, best), key=lambda one: one.bottom_conversion_fraction / one.conversion_ceiling_fraction
    )
    hot = max(map(figures, best), key=lambda one: one.nail_bed_peak_k)
    what = "The most room to its nearest limit" if kept else "Nearest to the limits"
    return Page(
        kind="Every combination",
        title=plan.gel.name,
        is_demonstration=plan.is_demonstration,
        facts=tuple(("varied", axis.text) for axis in plan.varied),
        headline=f"{len(kept)} of {plan.count} combinations keep the limits",
        verdict_state="kept" if len(kept) == plan.count else "near" if kept else "broken",
        answer=f"{what}: {combination_text(plan, order[0][0])}",
        sentences=(verdict_of(best, swept.limits).text, *outcome_lines(swept), fixed_text(plan)),
        figures=figure_cards(soft, hot, swept.limits),
        sections=(
            Section(key="pictures", title="What moves what", blocks=(*sweep_pictures(swept), _legend(swept))),
            Section(key="ranges", title="Range of each figure", blocks=_ranges(swept)),
            Section(key="kept", title="What keeps the limits", blocks=_kept(swept, kept)),
            *_remarks(swept, best),
        ),
        cautions=tuple(long_cautions()),
        footer="Made with " + versions_text() + ".",
    )


def _legend(swept: Swept) -> Text:
    words = legend_words(swept, slices_of(swept)).replace(";  ", "; ").split("\n")
    return Text(paragraphs=tuple(f"{each[0].upper()}{each[1:]}." for each in words))


def _ranges(swept: Swept) -> tuple[Block, ...]:
    head, *rows = range_rows(swept)
    return (
        table("Lowest and highest of all combinations", head, rows),
        Text(paragraphs=tuple(range_notes(swept))),
    )


def _kept(swept: Swept, kept: Sequence[tuple[int, SweepFigures]]) -> tuple[Block, ...]:
    if not kept:
        return (Text(paragraphs=("No combination does.",)),)
    head, *rows = kept_rows(swept, kept[:LISTED])
    more = f" {len(kept) - LISTED} more are in {TABLE}." if len(kept) > LISTED else ""
    return (table("The most room first", head, rows), Text(paragraphs=(f"{ROOM_NOTE}.{more}",)))


def _remarks(swept: Swept, best: Sequence[CureResult]) -> tuple[Section, ...]:
    told = [f"On the best: {each}" for each in model_remarks(best)]
    law = [f"Law: {each}" for each in law_of(swept.plan)]
    if not told and not law:
        return ()
    return (Section(key="remarks", title="Remarks", blocks=(points(*law, *told),)),)
