"""The page of one gel cured in one lamp, and of a whole build: verdict first, then pictures and tables."""

from __future__ import annotations

from collections.abc import Sequence

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from ..models.gel import Gel
from ..models.heat import Hand
from ..models.results import CureResult
from ..models.schedule import Schedule
from ..models.stack_results import StackResult
from .after_cure_text import film_sentence, substance_rows
from .after_cure_text import least_cured as least_cured_position
from .brief import Limits
from .build_run import build_data, hottest, least_coat, least_cured
from .build_run import remarks as build_remarks
from .build_run import verdict_of as build_verdict
from .cautions import long_cautions
from .conditions import hand_words
from .cure_pictures import SIZE_IN, conversion_picture, light_picture, temperature_pictures
from .cure_run import law_remarks, model_remarks, verdict_of
from .cycles_text import cycle_shares
from .page_html import inline_svg
from .page_parts import KeyFigure, Page, Picture, Section, State, Table, Text, table
from .plots import draw_cycles, new_figure
from .stack_pictures import coat_pictures, course_picture, stack_picture
from .verdict import CureFigures, Verdict, dose_text
from .versions import versions_text


def cure_page(gel: Gel, lamp: Lamp, results: Sequence[CureResult], hand: Hand) -> Page:
    """One gel in one lamp as a page.

    Parameters
    ----------
    gel, lamp, hand : Gel, Lamp, Hand
        What was cured, where, on what.
    results : sequence of CureResult
        One per position.
    """
    limits, first = Limits(), results[0]
    verdict = verdict_of(results, limits)
    asked = (limits.bottom_conversion_min_share or 0.0) * float(first.conversion_ceiling_fraction[-1])
    pictures: list[Picture] = [
        light_picture(gel, lamp, gel.initiators_wt_pct, first.thickness_m),
        conversion_picture(results, asked),
        *temperature_pictures(results, limits.nail_bed_max_k),
    ]
    if first.cycles > 1:
        pictures.append(cycle_picture(results))
    sections = [
        Section(key="pictures", title="Pictures", blocks=tuple(pictures)),
        Section(key="positions", title="Every position", blocks=(position_table(lamp, results),)),
        Section(
            key="left",
            title="After the cure",
            blocks=_after_cure(results),
            is_folded=True,
        ),
        *_doubts(
            [*law_remarks(gel), *model_remarks(results)],
            [text for each in results for text in each.citations],
        ),
    ]
    return Page(
        kind="Cure",
        title=f"{gel.name} in {lamp.name}",
        is_demonstration=gel.is_demonstration or lamp.is_demonstration,
        facts=(
            ("gel", f"{gel.name} ({gel.coat}), {um_from_m(first.thickness_m):g} µm"),
            (
                "initiators",
                ", ".join(f"{key} {load:g} %" for key, load in gel.initiators_wt_pct.items()) or "none",
            ),
            ("lamp", f"{lamp.name} ({lamp.lamp_id}), programme {first.programme}"),
            ("time", f"{first.exposure_s:g} s" + (f", {first.cycles} cycles" if first.cycles > 1 else "")),
            ("finger", hand_words(hand)),
        ),
        headline=verdict.headline,
        verdict_state=_state(verdict),
        answer="",
        sentences=verdict.sentences,
        figures=key_figures(results, limits),
        sections=tuple(sections),
        cautions=tuple(long_cautions()),
        footer=_footer(),
    )


def _after_cure(results: Sequence[CureResult]) -> tuple[Table, Text]:
    result = least_cured_position(results)
    caption = f"Predicted to be left at {result.position}, in wt%; surface: upper fifth, tacky layer included"
    rows = substance_rows(result.after_cure)
    head = ("substance", "mean", "surface", "base", "what it is")
    return table(caption, head, rows), Text(paragraphs=(film_sentence(result),))


def build_page(schedule: Schedule, lamp: Lamp, results: Sequence[StackResult]) -> Page:
    """A whole build as a page.

    Parameters
    ----------
    schedule, lamp : Schedule, Lamp
        What was done, where.
    results : sequence of StackResult
        One per position.
    """
    limits, soft, hot = Limits(), least_cured(results), hottest(results)
    verdict = build_verdict(results, limits)
    data = build_data(schedule, lamp, results)
    sections = [
        Section(
            key="pictures",
            title="Pictures",
            blocks=(stack_picture(soft), course_picture(hot, limits.nail_bed_max_k)),
        ),
        Section(
            key="each-coat",
            title="Each coat by itself",
            blocks=coat_pictures({result.position: result for result in results}),
        ),
        Section(key="coats", title="Coats at the end", blocks=(_coat_table(soft),)),
        Section(key="positions", title="Every position", blocks=(_build_positions(results),)),
        *_doubts([*data["law"], *build_remarks(results)], data["citations"]),
    ]
    return Page(
        kind="Whole build",
        title=f"{schedule.title} in {lamp.name}",
        is_demonstration=bool(data["is_demonstration"]),
        facts=(
            (
                "coats",
                ", ".join(
                    f"{coat.number} {coat.gel_name} {um_from_m(coat.thickness_m):.0f} µm"
                    for coat in soft.coats
                ),
            ),
            ("lamp", f"{lamp.name} ({lamp.lamp_id})"),
            ("finger", hand_words(schedule.hand)),
        ),
        headline=verdict.headline,
        verdict_state=_state(verdict),
        answer="",
        sentences=verdict.sentences,
        figures=_build_figures(results, limits),
        sections=tuple(sections),
        cautions=tuple(long_cautions()),
        footer=_footer(),
    )


def _state(verdict: Verdict) -> State:
    return "kept" if verdict.cures and verdict.stays_cool else "broken"


def _footer() -> str:
    return "Made with " + versions_text() + "."


def _doubts(remarks: Sequence[str], citations: Sequence[str]) -> list[Section]:
    found = []
    if remarks:
        found.append(
            Section(key="remarks", title="Assumed, and to be doubted", blocks=(Text(points=tuple(remarks)),))
        )
    sources = tuple(dict.fromkeys(citations))
    if sources:
        found.append(
            Section(
                key="sources", title="Sources of the numbers", blocks=(Text(points=sources),), is_folded=True
            )
        )
    return found


def _against(kept: bool) -> State:
    return "kept" if kept else "broken"


def figure_cards(soft: CureFigures, hot: CureFigures, limits: Limits) -> tuple[KeyFigure, ...]:
    """Base conversion, nail bed and tacky layer against the limits.

    Parameters
    ----------
    soft, hot : CureFigures
        The least cured and the hottest place.
    limits : Limits
        What is asked for.
    """
    possible = soft.conversion_ceiling_fraction
    asked = limits.bottom_conversion_min_fraction or (limits.bottom_conversion_min_share or 0.0) * possible
    return (
        KeyFigure(
            label="Conversion at the base",
            value=f"{soft.bottom_conversion_fraction:.2f}",
            remark=f"{soft.place}; possible {possible:.2f}, asked {asked:.2f}",
            state=_against(soft.bottom_conversion_fraction >= asked),
        ),
        KeyFigure(
            label="Nail bed, hottest",
            value=f"{c_from_k(hot.nail_bed_peak_k):.1f} °C",
            remark=f"{hot.place}; limit {c_from_k(limits.nail_bed_max_k):.0f} °C",
            state=_against(hot.nail_bed_peak_k <= limits.nail_bed_max_k),
        ),
        KeyFigure(
            label="Thermal dose of the nail bed",
            value=f"{dose_text(hot.cem43_min)} min",
            remark=f"CEM43; limit {limits.cem43_max_min:g} min",
            state=_against(hot.cem43_min <= limits.cem43_max_min),
        ),
        KeyFigure(
            label="Tacky layer on top",
            value=f"{um_from_m(soft.uncured_layer_m):.0f} µm",
            remark="uncured gel: wipe it off, keep it off the skin"
            if soft.uncured_layer_m
            else "none left at the end",
        ),
    )


def key_figures(results: Sequence[CureResult], limits: Limits) -> tuple[KeyFigure, ...]:
    """The first screen's numbers of one gel at several positions."""
    from .cure_run import figures

    each = [figures(result) for result in results]
    soft = min(each, key=lambda one: one.bottom_conversion_fraction / one.conversion_ceiling_fraction)
    return figure_cards(soft, max(each, key=lambda one: one.nail_bed_peak_k), limits)


def _build_figures(results: Sequence[StackResult], limits: Limits) -> tuple[KeyFigure, ...]:
    soft, hot = least_cured(results), hottest(results)
    coat = least_coat(soft)
    bond = min(results, key=lambda result: result.bond_side_conversion_fraction)
    cards = figure_cards(
        CureFigures(
            position=soft.position, thickness_m=coat.thickness_m,
            bottom_conversion_fraction=coat.bottom_conversion_fraction,
            conversion_ceiling_fraction=coat.conversion_ceiling_fraction, film_peak_k=soft.film_peak_k,
            nail_bed_peak_k=soft.nail_bed_peak_k, cem43_min=soft.cem43_min, uncured_layer_m=soft.tacky_layer_m,
        ),
        CureFigures(
            position=hot.position, thickness_m=round(hot.thickness_m, 6), bottom_conversion_fraction=0.0,
            conversion_ceiling_fraction=1.0, film_peak_k=hot.film_peak_k, nail_bed_peak_k=hot.nail_bed_peak_k,
            cem43_min=hot.cem43_min, uncured_layer_m=hot.tacky_layer_m,
        ),
        limits,
    )  # fmt: skip
    first = KeyFigure(
        label="Bond side at the nail",
        value=f"{bond.bond_side_conversion_fraction:.2f}",
        remark=f"{bond.position}, at the end",
    )
    return (first, *cards)


def position_table(lamp: Lamp, results: Sequence[CureResult]) -> Table:
    """Figures at every position."""
    rows = []
    for result in results:
        irradiance = mw_cm2_from_w_m2(
            lamp.course.level_ratio * lamp.spectrum(result.position).irradiance_w_m2()
        )
        rows.append(
            (
                result.position, f"{irradiance:.1f}", f"{result.bottom_conversion_fraction:.3f}",
                f"{result.surface_conversion_fraction:.3f}", f"{result.mean_conversion_fraction:.3f}",
                f"{float(result.conversion_ceiling_fraction[-1]):.3f}", f"{um_from_m(result.uncured_layer_m):.1f}",
                f"{c_from_k(result.film_peak_k):.1f}", f"{c_from_k(result.nail_bed_peak_k):.1f}", dose_text(result.cem43_min),
                *(
                    [" / ".join(f"{100 * share:.1f}" for share in cycle_shares(result))] if result.cycles > 1 else []
                ),
            )
        )  # fmt: skip
    head = (
        "position", "light / mW cm⁻²", "base", "surface", "mean", "possible", "tacky / µm", "film / °C", "nail bed / °C",
        "CEM43 / min", *(["heat by cycle / % of the first"] if results[0].cycles > 1 else []),
    )  # fmt: skip
    return table("Conversion and peak temperatures at every position", head, rows)


def cycle_picture(results: Sequence[CureResult]) -> Picture:
    """Heat of reaction of every cycle as a share of the first."""
    shares = {result.position: cycle_shares(result) for result in results}
    figure, axes = new_figure(*SIZE_IN)
    draw_cycles(axes[0], shares)
    words = "; ".join(
        f"{place} {', '.join(f'{100 * x:.1f} %' for x in each[1:])}" for place, each in shares.items()
    )
    return Picture(
        svg=inline_svg(figure, "cycles"),
        alt=f"Heat of each cycle as a share of the first: {words}.",
        caption="Heat of reaction by cycle; a well cured film gives almost none from the second cycle on.",
    )


def _coat_table(soft: StackResult) -> Table:
    rows = [
        (
            f"{coat.number} {coat.coat}", coat.gel_name, f"{um_from_m(coat.thickness_m):.0f}",
            f"{coat.bottom_conversion_fraction:.3f}", f"{coat.mean_conversion_fraction:.3f}",
            f"{coat.top_conversion_fraction:.3f}", f"{coat.conversion_ceiling_fraction:.3f}",
        )
        for coat in soft.coats
    ]  # fmt: skip
    head = ("coat", "gel", "µm", "lower face", "mean", "upper fifth", "possible")
    return table(f"From the nail upwards, at {soft.position}", head, rows)


def _build_positions(results: Sequence[StackResult]) -> Table:
    rows = [
        (
            result.position, f"{result.bond_side_conversion_fraction:.3f}",
            f"{least_coat(result).bottom_conversion_fraction:.3f} (coat {least_coat(result).number})",
            f"{um_from_m(result.tacky_layer_m):.1f}", f"{c_from_k(result.film_peak_k):.1f}",
            f"{c_from_k(result.nail_bed_peak_k):.1f}", dose_text(result.cem43_min),
        )
        for result in results
    ]  # fmt: skip
    head = (
        "position",
        "bond side",
        "least lower face",
        "tacky / µm",
        "film / °C",
        "nail bed / °C",
        "CEM43 / min",
    )
    return table("At the end of the schedule", head, rows)
