"""A tolerance study as text, plain data and tables."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from .cautions import short_cautions
from .conditions import hand_text
from .doubt import TIGHTEST, Doubt, Share
from .doubt_picture import GROUP_WORDS, doubt_picture, shown_shares
from .passing import NOT_VARIED, Chance, Passing
from .varied import Varied


def chance_text(chance: Chance | Passing) -> str:
    """A chance with its interval in per cent."""
    fraction = chance.fraction if isinstance(chance, Chance) else chance.probability_fraction
    return f"{100 * fraction:.0f} % ({100 * chance.low_fraction:.0f}-{100 * chance.high_fraction:.0f})"


def doubt_text(found: Doubt) -> str:
    """Chances, what the doubt comes from, and what would lessen it."""
    case = found.case
    blend = " + ".join(
        f"{key} {load:.4g} %" for key, load in case.problem.blend(case.loadings_wt_pct).items()
    )
    lines = [f"{case.gel.name}: {blend}", f"in {', '.join(lamp.name for lamp in case.problem.lamps)}"]
    lines.append(hand_text(case.hand))
    if case.is_demonstration:
        lines.append("Invented demonstration data.")
    lines += ["", f"Chance of passing in use: {chance_text(found.use)}, if the model's numbers were right."]
    lines.append(f"With the doubt about those numbers: {chance_text(found.with_data)}.")
    lines.append(f"({found.use.draws} draws each; in brackets the 95 % binomial interval, per cent.)")
    lines += ["", *_limit_table(found)]
    use, data = found.group_share("use"), found.group_share("data")
    if TIGHTEST in found.shares:
        lines += [
            "",
            f"Where the scatter of the {TIGHTEST} comes from (total share with its 95 % interval):",
            "",
        ]
        lines += [_share_line(*pair) for pair in shown_shares(found)]
        lines += [
            "",
            f"In all, {_percent(use)} from the conditions of use and {_percent(data)} from the model's numbers.",
        ]
        lines += ["", *advice(found)]
    lines += ["", f"{len(found.inputs)} inputs were varied. {NOT_VARIED}."]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(case.law_date))]
    return "\n".join(lines)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _limit_table(found: Doubt) -> list[str]:
    rows = [("limit kept", "in use", "with the doubt")]
    rows += [
        (name, chance_text(found.use.kept_by_limit[name]), chance_text(found.with_data.kept_by_limit[name]))
        for name in found.use.kept_by_limit
    ]
    widths = [max(len(row[i]) for row in rows) for i in range(3)]
    return [
        f"{row[0].ljust(widths[0])}  {row[1].rjust(widths[1])}  {row[2].rjust(widths[2])}" for row in rows
    ]


def _share_line(each: Varied, share: Share) -> str:
    return (
        f"- {each.words}: {_percent(min(share.total, 1.0))} "
        f"({100 * max(share.total_low, 0.0):.0f}-{100 * min(share.total_high, 1.0):.0f}); "
        f"{GROUP_WORDS[each.group]}, {each.how}"
    )


def advice(found: Doubt) -> list[str]:
    """What to look at first, one sentence for each kind of input."""
    lines = []
    for group, words in (
        ("data", "Measure first"),
        ("use", "Hold tighter, or allow for, first"),
    ):
        best = next((pair for pair in found.ranked() if pair[0].group == group), None)
        if best is not None and best[1].total > 0.01:
            lines.append(f"{words}: {best[0].words} ({best[0].basis}).")
    return lines


def doubt_data(found: Doubt) -> dict[str, Any]:
    """The study as plain data."""
    case = found.case
    return {
        "gel": case.gel.name,
        "lamps": [lamp.lamp_id for lamp in case.problem.lamps],
        "is_demonstration": case.is_demonstration,
        "loadings_wt_pct": case.problem.blend(case.loadings_wt_pct),
        "passing": asdict(found.use),
        "passing_with_data": asdict(found.with_data),
        "group_shares": {group: found.group_share(group) for group in ("use", "data")}
        if TIGHTEST in found.shares
        else {},
        "shares": share_table(found),
        "base_draws": found.base,
        "films_simulated": found.films,
        "seed": case.problem.brief.seed,
        "not_varied": NOT_VARIED,
        "cautions": short_cautions(case.law_date),
    }


def share_table(found: Doubt) -> list[dict[str, Any]]:
    """One row per limit and input."""
    return [
        {
            "limit": limit,
            "input": each.key,
            "words": each.words,
            "group": each.group,
            "varied": each.how,
            "basis": each.basis,
            **{f"{name}_share": value for name, value in asdict(share).items()},
        }
        for limit in found.shares
        for each, share in found.ranked(limit)
    ]


def write_doubt_folder(found: Doubt, folder: Path) -> None:
    """Write the page, text, data, a table of shares and the picture."""
    import pandas as pd

    from .doubt_page import doubt_page
    from .page_html import write_page

    folder.mkdir(parents=True, exist_ok=True)
    (folder / "doubt.txt").write_text(doubt_text(found) + "\n", encoding="utf-8")
    (folder / "doubt.json").write_text(
        json.dumps(doubt_data(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8"
    )
    pd.DataFrame(share_table(found)).to_csv(folder / "shares.csv", index=False)
    if TIGHTEST in found.shares:
        doubt_picture(found, folder / "shares.png")
    write_page(doubt_page(found), folder / "report.html")
