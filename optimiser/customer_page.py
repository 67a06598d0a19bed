"""One page for the customer: question, lamp, blend with its range, prediction with its doubt, what was not tested."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import mw_cm2_from_w_m2, um_from_m
from .allowances import Allowance, loading_allowances, output_allowance
from .answer import Candidate
from .cautions import short_cautions
from .cure_pictures import conversion_picture
from .page_parts import Block, Page, Picture, Section, Text, table
from .passing import Passing
from .problem import OBJECTIVE_WORDS
from .report import chance, status_doubts
from .report_pictures import asked_conversion
from .tune import Inputs, Outcome
from .tune_page import headline_of, in_lamp, key_figures, traces_in, verdict_state

PICTURE_IN = (4.6, 3.0)  # beside the table, on one sheet
HOURS_PER_YEAR = 125  # five clients a day, six cures of a minute, 250 days (estimated)


def customer_page(outcome: Outcome) -> Page:
    """The answer of a run for the customer, on one printed page.

    Parameters
    ----------
    outcome : Outcome
        What was found.
    """
    best, inputs, brief = outcome.candidates[0], outcome.inputs, outcome.inputs.brief
    feasible = outcome.found.is_feasible
    return Page(
        kind="For the customer",
        title=brief.title,
        is_demonstration=brief.is_demonstration or any(lamp.is_demonstration for lamp in inputs.lamps),
        facts=(
            ("question", f"which initiators make this {inputs.gel.coat} coat cure through in {_where(inputs)} and stay cool?"),
            *_lamp_facts(inputs),
            ("film", f"{um_from_m(brief.thickness_low_m):g} to {um_from_m(brief.thickness_high_m):g} µm"),
            ("wanted", OBJECTIVE_WORDS[brief.objective]),
            ("law", f"{', '.join(brief.markets)}, read for {brief.on_date:%d %B %Y}"),
        ),
        headline=headline_of(best, feasible),
        verdict_state=verdict_state(best, feasible),
        answer=f"{inputs.gel.coat.capitalize()} coat: {best.name}",
        sentences=(_predicted(inputs.lamps),),
        figures=key_figures(best, brief),
        sections=(
            Section(key="range", title="Range in which the prediction holds", blocks=_ranges(outcome, best)),
            Section(key="tested", title="What was tested, and what was not", blocks=(_tested(outcome, best),)),
        ),
        cautions=tuple(short_cautions(brief.on_date)),
        footer=f"Fingerprint {outcome.digest}. All figures are predictions of a model.",
        is_one_sheet=True,
    )  # fmt: skip


def _where(inputs: Inputs) -> str:
    return "this lamp" if len(inputs.lamps) == 1 else "these lamps"


def _lamp_facts(inputs: Inputs) -> list[tuple[str, str]]:
    """Each lamp with its light and its cure."""
    found = []
    for i, lamp in enumerate(inputs.lamps):
        weak, strong = (
            mw_cm2_from_w_m2(lamp.spectrum(each).irradiance_w_m2()) for each in (lamp.weakest, lamp.strongest)
        )
        light = f"{lamp.name}: {weak:.0f} mW/cm² at {lamp.weakest} to {strong:.0f} at {lamp.strongest}"
        cure = f"{inputs.brief.exposure_in_s(i):g} s, programme {inputs.brief.programme_in(i)}"
        found += [("lamp", light), ("cure", cure)]
    return found


def _predicted(lamps: Sequence[Lamp]) -> str:
    lamp = lamps[0]
    worst = (
        f"the worst finger, {lamp.weakest} for cure and {lamp.strongest} for heat"
        if len(lamps) == 1
        else f"the worst finger in the worst of the {len(lamps)} lamps"
    )
    return f"Predicted for {worst}. A starting point for a trial, not a release."


def _ends(found: Allowance | None, digits: int, unit: str, scale: float = 1.0) -> str:
    if found is None:
        return "rests on its limits: weigh it exactly"
    low, high = f"{scale * found.low:.{digits}f}", f"{scale * found.high:.{digits}f}"
    beyond = (" or less" if found.reaches_low else "", " or more" if found.reaches_high else "")
    return f"{low}{beyond[0]} to {high}{beyond[1]} {unit}"


def _ranges(outcome: Outcome, best: Candidate) -> tuple[Block, ...]:
    rows = [
        (key, f"{best.blend_wt_pct[key]:.3g} wt%", _ends(found, 3, "wt%"))
        for key, found in loading_allowances(outcome, best).items()
    ]
    output = output_allowance(outcome, best)
    rows.append(("lamp output", "100 % of that measured", _ends(output, 0, "%", 100.0)))
    words = "Each changed alone, every other figure as predicted; ends to within 5 %"
    return (
        _least_cured(outcome, best),
        table(words, ("what", "set to", "every limit kept from / to"), rows),
        Text(paragraphs=(_ageing(output),)),
    )


def _least_cured(outcome: Outcome, best: Candidate) -> Picture:
    """Conversion through the film in the lamp that cures it least."""
    lamps = outcome.inputs.lamps

    def least(lamp: Lamp) -> float:
        return min(
            each.bottom_conversion_fraction / float(each.conversion_ceiling_fraction[-1])
            for each in traces_in(outcome, lamp)
        )

    lamp = min(lamps, key=least)
    drawn = conversion_picture(traces_in(outcome, lamp), asked_conversion(best, lamp), size_in=PICTURE_IN)
    return in_lamp(drawn, lamp, len(lamps))


def _ageing(output: Allowance | None) -> str:
    if output is None:
        return (
            "The blend rests on its limits at the output measured; any loss of output can break them. Tune with a margin before "
            "it is used."
        )
    lowest = output.low
    years = math.log(1.0 / lowest) / math.log(1.0 / 0.7) * 10_000.0 / HOURS_PER_YEAR if lowest < 1.0 else 0.0
    more = f" (about {years:.0f} years of salon use)" if 1.0 <= years <= 40.0 else ""
    return (
        f"Ageing and battery: the limits are kept down to {100 * lowest:.0f} % of the output measured. A lamp that loses 30 % in "
        f"10 000 h (assumed; published 1000 to 30 000 h) gets there after about {_thousands(years * HOURS_PER_YEAR)} h of light{more}. An "
        "unregulated battery lamp falls to 58 % at 3.8 V per cell and 41 % at 3.6 V (hobby bench tests): measure it full and empty."
    )


def _thousands(hours: float) -> str:
    """Hours in two digits, thousands apart."""
    digits = max(0, len(f"{hours:.0f}") - 2)
    return f"{round(hours, -digits):,.0f}".replace(",", " ")


def _tested(outcome: Outcome, best: Candidate) -> Text:
    tested = (
        f"Tested, in the model only: every finger position, both ends of the film window, {best.passing.draws} draws of "
        f"tolerances. Chance of passing {chance(best)}. In use {_broken(best.passing)}; with that doubt "
        f"{_broken(best.passing_with_data)}."
    )
    untested = (
        "Not tested: any gel in any lamp. No trial stands behind these figures unless one is named here. Adhesion, hardness, "
        "wear, colour with pigments, storage and toxicology are outside the model."
    )
    return Text(points=(tested, untested, *status_doubts(outcome, best)))


def _broken(passing: Passing) -> str:
    """Which limits are broken, and how often."""
    worst = sorted(passing.broken_by_limit.items(), key=lambda item: -item[1])
    told = ", ".join(f"{name} is broken in {100 * share:.0f} % of the draws" for name, share in worst)
    return told or "no limit is broken in any draw"
