"""The page of a front: how many blends, the knee, the picture, the table."""

from __future__ import annotations

from .cautions import long_cautions
from .doubt_text import chance_text
from .front import Front
from .front_picture import front_pictures, shown_of, unit_of
from .front_text import ends_text, rounding_text, tried_text
from .matching_text import blend_text
from .page_parts import Page, Section, Table, Text, table
from .passing import Passing
from .tune import Inputs
from .versions import versions_text


def front_page(found: Front, inputs: Inputs, passing: dict[int, Passing]) -> Page:
    """A front as a page.

    Parameters
    ----------
    found : Front
        With one blend at least.
    inputs : Inputs
        The brief behind it.
    passing : dict of int to Passing
        Chance of passing of some of its blends.
    """
    brief = inputs.brief
    wishes = " against ".join(axis.words for axis in found.axes)
    return Page(
        kind="What one wish costs in terms of another",
        title=brief.title,
        is_demonstration=brief.is_demonstration or any(lamp.is_demonstration for lamp in inputs.lamps),
        facts=(("wishes", wishes), ("hypervolume", f"{found.hypervolume_ratio:.3f} of the box")),
        headline=f"{len(found.points)} blends that nothing found beats",
        verdict_state="plain",
        answer=f"Knee: {blend_text(found.points[found.knee].blend_wt_pct)}",
        sentences=("The knee is a suggestion, not the answer: which wish weighs more is yours to say.",),
        figures=(),
        sections=(
            Section(key="front", title="The front", blocks=front_pictures(found, inputs)),
            Section(
                key="blends",
                title="Every blend",
                blocks=(_table(found, inputs, passing), _told(found, inputs)),
            ),
        ),
        cautions=tuple(long_cautions(brief.on_date)),
        footer="Made with " + versions_text() + ".",
    )


def _table(found: Front, inputs: Inputs, passing: dict[int, Passing]) -> Table:
    head = [f"{axis.words} / {unit_of(found, i, inputs)}" for i, axis in enumerate(found.axes)]
    rows = [
        (
            f"{number + 1}{', the knee' if number == found.knee else ''}",
            blend_text(point.blend_wt_pct),
            *(shown_of(found, i, value) for i, value in enumerate(point.values)),
            chance_text(passing[number]) if number in passing else "not drawn",
        )
        for number, point in enumerate(found.points)
    ]
    drawn = next(iter(passing.values()), None)
    words = "Weight percent of the whole gel" + (
        f"; chance of passing in use by {drawn.draws} draws, in brackets its 95 % interval" if drawn else ""
    )
    return table(words, ("number", "blend", *head, "chance of passing"), rows)


def _told(found: Front, inputs: Inputs) -> Text:
    return Text(paragraphs=(ends_text(found, inputs), rounding_text(found), tried_text(found, inputs)))
