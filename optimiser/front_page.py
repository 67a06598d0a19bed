"""The page of a front: how many blends, the knee, the picture, the table."""

from __future__ import annotations

from .cautions import long_cautions
from .front import Front
from .front_picture import front_pictures
from .front_text import front_text
from .matching_text import blend_text
from .page_parts import Page, Prose, Section
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
    text = front_text(found, inputs, passing).split("\nCautions:")[0].strip()
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
            Section(key="in-full", title="In full", blocks=(Prose(markdown=f"```text\n{text}\n```"),)),
        ),
        cautions=tuple(long_cautions(brief.on_date)),
        footer="Made with " + versions_text() + ".",
    )
