"""The run folder: inputs, results.json, candidates.csv, pictures and report.md."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Callable
from pathlib import Path

from ..lamp_library.lamp import save_lamp
from ..lamp_library.units import c_from_k, um_from_m
from ..models.gel import save_gel
from .answer import EASING, Candidate, Place
from .brief import Margins
from .cautions import long_cautions
from .cure_run import model_remarks
from .impossible import way_out_lines
from .passing import broken_lines
from .problem import OBJECTIVE_WORDS
from .report_pictures import LAMP_PICTURES, picture_name
from .report_text import chance_text, csv_text, objective_words, table
from .run_data import OBJECTIVE_UNIT, candidate_table, citations, outcome_data
from .tune import Outcome, blended
from .verdict import dose_text
from .versions import versions_text

PICTURES = {
    "light.png": "Lamp light and what each initiator of the blend absorbs of it",
    "conversion.png": "Conversion against depth, thickest film",
    "temperature.png": "Temperatures in the thickest film: film and nail bed apart",
    "margins.png": "Room left to each limit",
}


RESTS = "A blend found by search rests on its limits, so small errors break them. For one that passes more often, "
_AT_ITS_END = 0.995  # of a loading's range, given that loadings are rounded for weighing
ADVICE = (
    f"{RESTS}keep a distance on purpose: add `[margins]` with `temperature_k` and `conversion_fraction` to the brief "
    "and tune again."
)


def write_run_folder(outcome: Outcome, brief_file: Path, folder: Path) -> Path:
    """Write everything about a run.

    Parameters
    ----------
    outcome : Outcome
        What was found.
    brief_file : Path
        The brief as given, copied unchanged.
    folder : Path
        Existing folder; the journal in it is left alone.

    Returns
    -------
    Path
        The report.
    """
    from .customer_page import customer_page
    from .page_html import write_page
    from .report_pictures import write_pictures
    from .tune_page import tune_page

    if brief_file.resolve() != (folder / "brief.toml").resolve():
        shutil.copyfile(brief_file, folder / "brief.toml")
    for lamp in outcome.inputs.lamps:
        several = len(outcome.inputs.lamps) > 1
        save_lamp(lamp, folder / "lamps" / lamp.lamp_id if several else folder / "lamp", overwrite=True)
    gel = blended(outcome.inputs, outcome.candidates[0].blend_wt_pct)
    save_gel(gel, folder / "gel.toml")
    (folder / "results.json").write_text(_json(outcome), encoding="utf-8")
    (folder / "candidates.csv").write_text(csv_text(candidate_table(outcome)), encoding="utf-8", newline="")
    write_pictures(outcome, folder)
    report = folder / "report.md"
    report.write_text(report_text(outcome), encoding="utf-8")
    write_page(tune_page(outcome), folder / "report.html")
    write_page(customer_page(outcome), folder / "customer.html")
    return report


def _json(outcome: Outcome) -> str:
    return json.dumps(outcome_data(outcome), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def report_text(outcome: Outcome) -> str:
    """The report in Markdown."""
    parts: tuple[Callable[[Outcome], list[str]], ...] = (
        _head, _answer, _ranked, _positions, _limits, _pictures, _substances, _cautions, _method,
    )  # fmt: skip
    return "\n".join(line for part in parts for line in [*part(outcome), ""]).rstrip() + "\n"


def _head(outcome: Outcome) -> list[str]:
    inputs, brief = outcome.inputs, outcome.inputs.brief
    lines = [f"# {brief.title}", ""]
    if is_demonstration(outcome):
        lines += ["**Invented demonstration data.** Not a real lamp, gel or price list.", ""]
    window = f"{um_from_m(brief.thickness_low_m):g}-{um_from_m(brief.thickness_high_m):g} µm"
    lines += [
        *(
            f"- lamp: {lamp.name} (`{lamp.lamp_id}`), programme {brief.programme_in(i)}, "
            f"{brief.exposure_in_s(i):g} s; weakest at {lamp.weakest}, strongest at {lamp.strongest}"
            for i, lamp in enumerate(inputs.lamps)
        ),
        f"- coat: {inputs.gel.coat}, {window}, on {_base(outcome)}",
        f"- finger: {c_from_k(brief.hand_start_k):.0f} °C, nail plate {1e-3 * um_from_m(brief.nail_thickness_m):.2f} mm",
        (
            f"- market: {', '.join(brief.markets)} on {brief.on_date:%d %B %Y}, "
            f"{'professional' if brief.professional_use else 'consumer'} use"
        ),
        f"- wanted: {OBJECTIVE_WORDS[brief.objective]}, at most {brief.max_initiators} initiators",
    ]
    return lines


def is_demonstration(outcome: Outcome) -> bool:
    """Whether brief, resin base or a lamp is invented."""
    inputs = outcome.inputs
    return (
        inputs.brief.is_demonstration
        or inputs.gel.is_demonstration
        or any(lamp.is_demonstration for lamp in inputs.lamps)
    )


def _base(outcome: Outcome) -> str:
    parts = outcome.inputs.gel.resin_parts
    whole = sum(parts.values())
    return ", ".join(f"{key} {100.0 * share / whole:.0f} %" for key, share in parts.items())


def chance(shown: Candidate) -> str:
    """The probability of passing in words."""
    passing = shown.passing
    return (
        f"{100 * passing.probability_fraction:.0f} % in use "
        f"({100 * passing.low_fraction:.0f}-{100 * passing.high_fraction:.0f} %, {passing.draws} draws), "
        f"{100 * shown.passing_with_data.probability_fraction:.0f} % with the doubt about the model's numbers"
    )


def status_doubts(outcome: Outcome, shown: Candidate) -> list[str]:
    """One sentence for every substance of a blend whose legal status is unknown in a market of the brief."""
    used = [outcome.inputs.space.substance(key) for key in shown.blend_wt_pct]
    return [
        f"{each.key}: legal status unknown in {', '.join(each.unknown_in)}, allowed by the brief; check before use"
        for each in used
        if each.unknown_in
    ]


def _answer(outcome: Outcome) -> list[str]:
    best, brief = outcome.candidates[0], outcome.inputs.brief
    if outcome.found.is_feasible:
        lines = ["## Answer", "", f"**{best.name}** (weight percent of the whole gel)."]
    else:
        lines = [
            "## No blend meets this brief",
            "",
            f"Nearest blend: **{best.name}** (weight percent of the whole gel).",
        ]
    lines += ["", best.verdict.text, "", f"Predicted chance of passing: **{chance(best)}**."]
    lines += broken_lines(best.passing, best.passing_with_data)
    lines += ["", "What was varied, and by how much, stands under *How this was worked out*."]
    doubts = status_doubts(outcome, best)
    lines += ["", *(f"- {doubt}" for doubt in doubts)] if doubts else []
    if outcome.found.is_feasible:
        lines += ["", ADVICE if brief.margins == Margins() else f"{RESTS}widen `[margins]` and tune again."]
    if outcome.conflicts:
        lines += ["", "### What conflicts", "", *(f"- {each.sentence}" for each in outcome.conflicts)]
    if outcome.impossible is not None:
        lines += ["", *way_out_lines(outcome.impossible, "### ")]
    return lines


def objective_text(outcome: Outcome, value: float) -> str:
    """The objective with its unit."""
    return objective_words(outcome.inputs.brief, value)


def limited_by(outcome: Outcome, shown: Candidate) -> list[str]:
    """What keeps a blend from being better, in words: limits of the brief, and substances at the ends of what is searched."""
    ends = [
        f"{key} at its most, {each.high_wt_pct:g} % ({each.high_because})"
        for key, loading in shown.blend_wt_pct.items()
        if loading >= _AT_ITS_END * (each := outcome.inputs.space.substance(key)).high_wt_pct
    ]
    low = outcome.inputs.brief.smallest_loading_wt_pct
    least = [key for key, loading in shown.blend_wt_pct.items() if loading <= low / _AT_ITS_END]
    if least:
        ends.append(f"{' and '.join(least)} at the smallest loading worth weighing, {low:g} %")
    if not shown.binding and outcome.inputs.brief.is_robust:
        ends.append("the chance of passing in use")
    return [*(() if ends and not shown.binding else shown.limits_near), *ends]


def _ranked(outcome: Outcome) -> list[str]:
    rows = []
    is_priced = any(shown.cost_per_kg is not None for shown in outcome.candidates)
    for rank, shown in enumerate(outcome.candidates, start=1):
        cost = ["no price" if each is None else f"{each:.2f}" for each in [shown.cost_per_kg] if is_priced]
        yellow = "no data" if shown.yellowness_ratio is None else f"{shown.yellowness_ratio:.1f}"
        hottest = max(shown.places, key=lambda place: place.nail_bed_peak_k)
        softest = min(shown.places, key=lambda place: place.bottom_conversion_fraction)
        rows.append(
            (
                str(rank), f"**{shown.name}**", objective_text(outcome, shown.objective),
                f"{softest.bottom_conversion_fraction:.3f}", f"{c_from_k(hottest.nail_bed_peak_k):.1f}",
                *cost, yellow, chance_text(shown.passing),
                f"{100 * shown.passing_with_data.probability_fraction:.0f} %", "; ".join(limited_by(outcome, shown)),
            )
        )  # fmt: skip
    currency = outcome.inputs.brief.currency or "any currency"
    head = (
        "rank", "blend / wt%", "objective", "lowest base conversion", "highest nail bed / °C",
        *([f"cost / {currency} per kg gel"] if is_priced else []), "yellowness (E313)", "chance of passing in use",
        "with the model's doubt", "what limits it",
    )  # fmt: skip
    others = len(outcome.found.ranked) - len(outcome.candidates)
    lines = ["## Ranked blends", "", *table(head, rows)]
    doubts = dict.fromkeys(doubt for shown in outcome.candidates for doubt in status_doubts(outcome, shown))
    lines += ["", *(f"- {doubt}" for doubt in doubts)] if doubts else []
    if others > 0:
        lines += ["", f"{others} more distinct blends, feasible or not, are listed in `candidates.csv`."]
    return lines


def _positions(outcome: Outcome) -> list[str]:
    lines = [
        "## Every position",
        "",
        "After one cure; the tacky layer is what stays below 20 % conversion at the top.",
    ]
    for rank, shown in enumerate(outcome.candidates, start=1):
        head, rows = list(_PLACE_HEAD), [_place_row(place) for place in shown.places]
        if len(outcome.inputs.lamps) > 1:
            head = ["lamp", *head]
            rows = [(place.lamp_id, *row) for place, row in zip(shown.places, rows, strict=True)]
        lines += ["", f"**{rank}. {shown.name}**", "", *table(head, rows)]
    return lines


_PLACE_HEAD = (
    "position", "film / µm", "base", "surface", "mean", "possible", "tacky layer / µm", "film peak / °C",
    "nail bed peak / °C", "CEM43 / min", "damage integral (Henriques to Weaver-Stoll)", "initiator left / wt%",
)  # fmt: skip


def _place_row(place: Place) -> tuple[str, ...]:
    return (
        place.position, f"{um_from_m(place.thickness_m):g}", f"{place.bottom_conversion_fraction:.3f}",
        f"{place.surface_conversion_fraction:.3f}", f"{place.mean_conversion_fraction:.3f}",
        f"{place.conversion_ceiling_fraction:.3f}", f"{um_from_m(place.uncured_layer_m):.1f}",
        f"{c_from_k(place.film_peak_k):.1f}", f"{c_from_k(place.nail_bed_peak_k):.1f}", dose_text(place.cem43_min),
        _damage(place), f"{place.residual_initiator_wt_pct:.3f}",
    )  # fmt: skip


def _damage(place: Place) -> str:
    if place.damage_weaver_stoll < 1e-3 and place.damage_henriques < 1e-3:
        return "below 0.001"
    return f"{place.damage_henriques:.1g} to {place.damage_weaver_stoll:.1g}"


def _limits(outcome: Outcome) -> list[str]:
    best = outcome.candidates[0]
    rows = []
    for i, (row, figure) in enumerate(zip(best.constraints, best.figures, strict=True)):
        state = "broken" if best.values[i] > 0 else "limits the blend" if i in best.binding else ""
        rows.append((row.name, row.words, row.shown(figure), row.shown_margin(figure), state))
    lines = ["## Limits and margins of the first blend", ""]
    lines += table(("limit", "asked for", "predicted", "margin", ""), rows)
    kept = outcome.inputs.brief.margins
    if kept != Margins():
        words = (
            f"What is asked for includes the margins of the brief: {kept.temperature_k:g} K below every temperature "
            f"limit and {kept.conversion_fraction:g} of conversion above every cure limit. The chance of passing is "
            "counted without them."
        )
        lines += ["", words]
    if outcome.prices:
        lines += ["", "What a limit costs:", ""]
        lines += [_price(outcome, i) for i in range(len(outcome.prices))]
    return lines


def _price(outcome: Outcome, index: int) -> str:
    price = outcome.prices[index]
    words = EASING[price.constraint.unit][1]
    first_order = abs(price.objective_per_unit) * price.step
    unit = {"k": "K", "wt_pct": "wt%", "per_kg": f"{outcome.inputs.brief.currency} per kg gel", "ratio": "YI"}
    shown_unit = unit[OBJECTIVE_UNIT[outcome.inputs.brief.objective]]
    moved = "more allowed" if price.constraint.sense > 0 else "less asked for"
    told = f"{price.constraint.name}: {words} {moved} would save"
    if math.isnan(price.saved):
        return f"- {told} about {first_order:.2g} {shown_unit} (to first order)"
    return (
        f"- {told} {price.saved:.2g} {shown_unit} with the same substances (searched again; {first_order:.2g} to first "
        "order)"
    )


def _pictures(outcome: Outcome) -> list[str]:
    lines = ["## Pictures of the first blend"]
    lamps = outcome.inputs.lamps
    for name, words in PICTURES.items():
        for lamp in lamps if name in LAMP_PICTURES else lamps[:1]:
            file = picture_name(name, lamp, len(lamps)) if name in LAMP_PICTURES else name
            caption = f"{words}: {lamp.name}" if file != name else words
            lines += ["", f"![{caption}]({file})", "", f"*{caption}.*"]
    return lines


def _substances(outcome: Outcome) -> list[str]:
    space = outcome.inputs.space
    proposed = dict.fromkeys(key for shown in outcome.candidates for key in shown.blend_wt_pct)
    lines = ["## Substances", "", "Proposed:", ""]
    for key in proposed:
        each = space.substance(key)
        notes = "; ".join(each.flags) or "no remark"
        lines.append(
            f"- {key} ({each.name}): searched up to {each.high_wt_pct:g} wt% ({each.high_because}); {notes}"
        )
    lines += [
        "",
        "Searched, but not in the blends above: " + _rest(outcome, proposed) + ".",
        "",
        "Left out:",
        "",
    ]
    reasons: dict[str, list[str]] = {}
    for out in space.excluded:
        reasons.setdefault(out.reason, []).append(
            f"{out.key} ({out.name})" if out.name != out.key else out.key
        )
    lines += [f"- {', '.join(named)}: {reason}" for reason, named in reasons.items()] or ["- none"]
    if space.law_notes:
        lines += ["", "Resin base, stabilisers and pigments:", ""]
        lines += [f"- {note}" for note in (*space.law_breaches, *space.law_notes)]
    return lines


def _rest(outcome: Outcome, proposed: dict[str, None]) -> str:
    return ", ".join(key for key in outcome.inputs.space.keys if key not in proposed) or "none"


def _cautions(outcome: Outcome) -> list[str]:
    paragraphs = long_cautions(outcome.inputs.brief.on_date)
    return ["## Cautions", "", *(f"{i}. {text}" for i, text in enumerate(paragraphs, start=1))]


def _method(outcome: Outcome) -> list[str]:
    found, brief = outcome.found, outcome.inputs.brief
    flags = model_remarks(outcome.traces)
    lines = ["## How this was worked out", ""]
    lines.append(f"- {found.method}; {found.units} local searches, {outcome.simulations} films simulated")
    ends = "; ".join(f"{lamp.weakest}, {lamp.strongest}" for lamp in outcome.inputs.lamps)
    lines.append(
        f"- cure judged at the weakest and the strongest position ({ends}), heat at the strongest, at both ends of the "
        "thickness window; every position recomputed for the blends shown"
    )
    varied = outcome.candidates[0].passing_with_data.included
    lines.append(
        f"- chance of passing: share of the draws that keep every limit when these are varied. {varied}"
    )
    lines.append(f"- seed {brief.seed}, fingerprint {outcome.digest}")
    lines.append("- versions: " + versions_text())
    lines += [f"- remark of the model: {flag}" for flag in flags]
    sources = citations(outcome)
    if sources:
        lines += ["", "Sources of the numbers used:", "", *(f"- {text}" for text in sources)]
    return lines
