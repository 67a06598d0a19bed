"""The page of a tuning run: the verdict first, then pictures, then the written report."""

from __future__ import annotations

from dataclasses import replace

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, um_from_m
from ..models.results import CureResult
from .answer import Candidate
from .brief import Brief, Margins
from .cautions import long_cautions
from .constraints import Constraint
from .cure_pictures import conversion_picture, light_picture, temperature_pictures
from .page_html import inline_svg
from .page_parts import KeyFigure, Page, Picture, Section, State, state_of
from .passing_figures import chance_figures, chance_state, chances_words
from .plots import draw_margins, margin_bars, new_figure
from .report import report_text
from .report_pictures import asked_conversion
from .tune import Outcome, blended
from .versions import versions_text
from .written_page import parts_of, sections_of

_SHOWN_ELSEWHERE = ("Pictures of the first blend",)


def tune_page(outcome: Outcome) -> Page:
    """Everything about a run as one page.

    Parameters
    ----------
    outcome : Outcome
        What was found.
    """
    best, inputs = outcome.candidates[0], outcome.inputs
    feasible = outcome.found.is_feasible
    written = parts_of(
        report_text(outcome).replace(f"{best.verdict.text}\n\n", "")
    )  # told on the first screen
    return Page(
        kind="Tuning run",
        title=inputs.brief.title,
        is_demonstration=inputs.brief.is_demonstration or inputs.lamp.is_demonstration,
        facts=written.facts,
        headline=headline_of(best, feasible),
        verdict_state=verdict_state(best, feasible),
        answer=best.name if feasible else f"Nearest blend: {best.name}",
        sentences=best.verdict.sentences,
        figures=key_figures(best, inputs.brief),
        sections=(
            Section(key="pictures", title="Pictures of the first blend", blocks=pictures(outcome)),
            *sections_of(written, _SHOWN_ELSEWHERE),
        ),
        cautions=tuple(long_cautions(inputs.brief.on_date)),
        footer=f"Fingerprint {outcome.digest}. " + versions_text() + ".",
    )


def verdict_state(best: Candidate, feasible: bool) -> State:
    """Sign beside the verdict: kept only where both chances are good."""
    if not feasible:
        return "broken"
    sure = all(chance_state(each) == "kept" for each in (best.passing, best.passing_with_data))
    return "kept" if sure else "near"


def headline_of(best: Candidate, feasible: bool) -> str:
    """The verdict with both chances behind it; of an impossible brief, what its nearest blend would do."""
    if not feasible:
        return f"no blend meets this brief; the nearest one: {best.verdict.headline}"
    return f"{best.verdict.headline}; {chances_words(best.passing, best.passing_with_data)}"


def key_figures(shown: Candidate, brief: Brief) -> tuple[KeyFigure, ...]:
    """Base, tacky layer, nail bed, chance of passing and cost of one blend."""
    currency, kept = brief.currency, "" if brief.margins == Margins() else " with the margin"
    soft = min(
        shown.places, key=lambda place: place.bottom_conversion_fraction / place.conversion_ceiling_fraction
    )
    hot = max(shown.places, key=lambda place: place.nail_bed_peak_k)
    wet = max(shown.places, key=lambda place: place.uncured_layer_m)
    asked = _tightest(shown, "bottom_conversion_fraction")
    digits = 2 if asked is None or abs(soft.bottom_conversion_fraction - asked[0].limit) >= 0.01 else 3
    limit = _tightest(shown, "nail_bed_peak_k")
    found = [
        KeyFigure(
            label="Conversion at the base of the coat",
            value=f"{soft.bottom_conversion_fraction:.{digits}f}",
            remark=f"{_place(soft.position, soft.thickness_m)}; possible {soft.conversion_ceiling_fraction:.2f}"
            + (f", asked {asked[0].limit:.{digits}f}{kept}" if asked else ""),
            state=asked[1] if asked else "plain",
        ),
        KeyFigure(
            label="Nail bed, hottest",
            value=f"{c_from_k(hot.nail_bed_peak_k):.1f} °C",
            remark=_place(hot.position, hot.thickness_m)
            + (f"; asked at most {limit[0].shown(limit[0].limit)}{kept}" if limit else ""),
            state=limit[1] if limit else "plain",
        ),
        KeyFigure(
            label="Tacky layer on top",
            value=f"{um_from_m(wet.uncured_layer_m):.0f} µm",
            remark=f"{_place(wet.position, wet.thickness_m)}; uncured gel: wipe it off, keep it off the skin",
        ),
        *chance_figures(shown.passing, shown.passing_with_data),
    ]
    if shown.cost_per_kg is not None:
        found.append(
            KeyFigure(
                label="Initiators' cost",
                value=f"{shown.cost_per_kg:.2f} {currency}".strip(),
                remark="per kg gel" if currency else "per kg gel, in the brief's currency",
            )
        )
    return tuple(found)


def _place(position: str, thickness_m: float) -> str:
    return f"{position}, {um_from_m(thickness_m):g} µm"


def _tightest(shown: Candidate, figure: str) -> tuple[Constraint, State] | None:
    rows = [
        (value, row)
        for row, value in zip(shown.constraints, shown.values, strict=True)
        if row.figure == figure
    ]
    if not rows:
        return None
    value, row = max(rows, key=lambda each: each[0])
    return row, state_of(value, near=1e-9)


def pictures(outcome: Outcome) -> tuple[Picture, ...]:
    """Light, conversion and temperatures of the first blend in every lamp, then its margins."""
    best, inputs = outcome.candidates[0], outcome.inputs
    gel = blended(inputs, best.blend_wt_pct)
    drawn: list[Picture] = []
    for number, lamp in enumerate(inputs.lamps):
        traces = traces_in(outcome, lamp)
        own = (
            light_picture(gel, lamp, gel.initiators_wt_pct, inputs.brief.thickness_high_m, f"light-{number}"),
            conversion_picture(traces, asked_conversion(best, lamp), f"conversion-{number}"),
            *temperature_pictures(traces, inputs.brief.limits.nail_bed_max_k, f"temperature-{number}"),
        )
        drawn += [in_lamp(each, lamp, len(inputs.lamps)) for each in own]
    return (*drawn, margin_picture(best))


def traces_in(outcome: Outcome, lamp: Lamp) -> list[CureResult]:
    """The first blend at every position of one lamp."""
    return [result for result in outcome.traces if result.lamp_id == lamp.lamp_id]


def in_lamp(picture: Picture, lamp: Lamp, lamps: int) -> Picture:
    """A picture that names its lamp where there are several."""
    if lamps == 1:
        return picture
    return replace(picture, alt=f"{lamp.name}. {picture.alt}", caption=f"{lamp.name}. {picture.caption}")


def margin_picture(shown: Candidate) -> Picture:
    """Room left to each limit as bars."""
    rows = margin_bars(shown.constraints, shown.figures)
    figure, axes = new_figure(7.0, 0.8 + 0.32 * len(rows))
    draw_margins(axes[0], shown.constraints, shown.figures)
    return Picture(
        svg=inline_svg(figure, "margins"),
        alt="Room left to each limit. " + "; ".join(f"{name}: {text}" for name, _, text in rows) + ".",
        caption="Room left to each limit in its worst case; a bar to the left is a broken limit.",
        is_wide=True,
    )
