"""The page of a tolerance study: both chances first, then what the doubt comes from, then every limit."""

from __future__ import annotations

from ..lamp_library.units import um_from_m
from .cautions import long_cautions
from .conditions import hand_text
from .doubt import TIGHTEST, Doubt
from .doubt_picture import GROUP_WORDS, draw_chances, draw_shares, shown_shares
from .doubt_text import advice, chance_text
from .matching_text import blend_text
from .page_html import inline_svg
from .page_parts import Block, KeyFigure, Page, Picture, Section, Text, table
from .passing import NOT_VARIED
from .passing_figures import chance_figures, chance_state, chances_words
from .plots import new_figure
from .versions import versions_text


def doubt_page(found: Doubt) -> Page:
    """A tolerance study as a page.

    Parameters
    ----------
    found : Doubt
        What was found.
    """
    case = found.case
    brief = case.problem.brief
    window = f"{um_from_m(brief.thickness_low_m):g} to {um_from_m(brief.thickness_high_m):g} µm"
    return Page(
        kind="How sure a gel is to pass",
        title=f"{case.gel.name} in {', '.join(lamp.name for lamp in case.problem.lamps)}",
        is_demonstration=case.is_demonstration,
        facts=(
            ("film", f"{window}, {case.gel.coat} coat"),
            *(
                (
                    "cure",
                    f"{brief.exposure_in_s(i):g} s, programme {brief.programme_in(i)}, {lamp.name}",
                )
                for i, lamp in enumerate(case.problem.lamps)
            ),
            ("hand", hand_text(case.hand)),
        ),
        headline=chances_words(found.use, found.with_data),
        verdict_state=chance_state(
            min(found.use, found.with_data, key=lambda each: each.probability_fraction)
        ),
        answer=blend_text(case.problem.blend(case.loadings_wt_pct)),
        sentences=(
            "In use: film, lamp, finger, hand, nail, weighing and purity vary, and the model's numbers are taken as right.",
            "With the model's own doubt, its numbers vary as well, as far as their sources leave them open.",
        ),
        figures=(*chance_figures(found.use, found.with_data), *_group_figures(found)),
        sections=(*_shares(found), _limits(found), _varied(found)),
        cautions=tuple(long_cautions(case.law_date)),
        footer="The same in text: doubt.txt; as data: doubt.json, shares.csv. Made with "
        + versions_text()
        + ".",
    )


def _group_figures(found: Doubt) -> tuple[KeyFigure, ...]:
    if TIGHTEST not in found.shares or {each.group for each in found.inputs} != {"use", "data"}:
        return ()
    return (
        KeyFigure(
            label="Scatter from the model's numbers",
            value=f"{100 * found.group_share('data'):.0f} %",
            remark=f"the other {100 * found.group_share('use'):.0f} % from the conditions of use",
        ),
    )


def _shares(found: Doubt) -> tuple[Section, ...]:
    if TIGHTEST not in found.shares:
        return ()
    rows = shown_shares(found)
    figure, axes = new_figure(5.6, 0.9 + 0.34 * len(rows))
    draw_shares(axes[0], found)
    told = "; ".join(f"{each.words} {100 * min(share.total, 1.0):.0f} %" for each, share in rows)
    blocks: tuple[Block, ...] = (
        Picture(
            svg=inline_svg(figure, "shares"),
            alt=f"Share of each input in the scatter of the {TIGHTEST}. {told}.",
            caption=f"Share of each input in the scatter of the {TIGHTEST}: alone, and with what it does together with others.",
        ),
        *([Text(points=tuple(advice(found)))] if advice(found) else []),
        table(
            "Total shares with their 95 % intervals, the largest first",
            ("input", "share", "interval", "kind", "varied"),
            [
                (
                    each.words,
                    f"{100 * min(share.total, 1.0):.0f} %",
                    f"{100 * max(share.total_low, 0.0):.0f} to {100 * min(share.total_high, 1.0):.0f} %",
                    GROUP_WORDS[each.group],
                    each.how,
                )
                for each, share in rows
            ],
        ),
    )
    return (Section(key="shares", title="Where the doubt comes from", blocks=blocks),)


def _limits(found: Doubt) -> Section:
    figure, axes = new_figure(5.6, 1.4 + 0.4 * len(found.use.kept_by_limit))
    draw_chances(axes[0], found)
    rows = [
        (name, chance_text(found.use.kept_by_limit[name]), chance_text(found.with_data.kept_by_limit[name]))
        for name in found.use.kept_by_limit
    ]
    told = "; ".join(f"{name} {use}, with the doubt {doubted}" for name, use, doubted in rows)
    picture = Picture(
        svg=inline_svg(figure, "chances"),
        alt=f"Chance of keeping each limit in use. {told}.",
        caption="Chance of keeping each limit, and all together.",
    )
    caption = f"{found.use.draws} draws each; in brackets the 95 % binomial interval"
    head = ("limit kept", "in use", "with the model's own doubt")
    return Section(key="limits", title="Each limit", blocks=(picture, table(caption, head, rows)))


def _varied(found: Doubt) -> Section:
    rows = [(each.words, GROUP_WORDS[each.group], each.how, each.basis) for each in found.inputs]
    blocks = (table("Every input that was varied", ("input", "kind", "by how much", "why so much"), rows),)
    told = Text(paragraphs=(f"{NOT_VARIED}.",))
    return Section(key="varied", title="What was varied", blocks=(*blocks, told), is_folded=True)
