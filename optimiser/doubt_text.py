"""A tolerance study as text, plain data, tables and a picture."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .cautions import short_cautions
from .conditions import hand_text
from .doubt import TIGHTEST, Doubt, Share
from .passing import NOT_VARIED, Chance, Passing
from .plots import COLOURS, GREY, MARKERS, new_figure, save
from .varied import Group, Varied

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHOWN = 10
_GROUP_WORDS: dict[Group, str] = {"use": "condition of use", "data": "number of the model"}


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
        lines += [_share_line(*pair) for pair in found.ranked()[:SHOWN] if pair[1].total > 0.005]
        lines += [
            "",
            f"In all, {_percent(use)} from the conditions of use and {_percent(data)} from the model's numbers.",
        ]
        lines += ["", *_advice(found)]
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
        f"{_GROUP_WORDS[each.group]}, {each.how}"
    )


def _advice(found: Doubt) -> list[str]:
    """What to look at first, one line for each kind of input."""
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
    """Write text, data, a table of shares and the picture."""
    import pandas as pd

    folder.mkdir(parents=True, exist_ok=True)
    (folder / "doubt.txt").write_text(doubt_text(found) + "\n", encoding="utf-8")
    (folder / "doubt.json").write_text(
        json.dumps(doubt_data(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8"
    )
    pd.DataFrame(share_table(found)).to_csv(folder / "shares.csv", index=False)
    if TIGHTEST in found.shares:
        doubt_picture(found, folder / "shares.png")


def doubt_picture(found: Doubt, path: Path) -> Path:
    """Bars of the largest shares, and the chance of keeping each limit."""
    figure, axes = new_figure(9.5, 4.4, columns=2)
    draw_shares(axes[0], found)
    draw_chances(axes[1], found)
    return save(figure, path)


def draw_shares(axes: Axes, found: Doubt) -> Axes:
    """Total shares of the largest inputs with their intervals; first-order shares darker inside."""
    rows = [pair for pair in found.ranked()[:SHOWN] if pair[1].total > 0.005][::-1]
    colours = {"use": COLOURS[0], "data": COLOURS[1]}
    hatches = {"use": "///", "data": ""}
    for height, (each, share) in enumerate(rows):
        axes.barh(height, 100 * share.total, color=colours[each.group], alpha=0.35, height=0.6)
        axes.barh(
            height,
            100 * min(max(share.first, 0.0), share.total),
            color=colours[each.group],
            hatch=hatches[each.group],
            edgecolor="white",
            lw=0,
            height=0.6,
        )
        axes.plot([100 * share.total_low, 100 * share.total_high], [height, height], color=GREY, lw=1.2)
    for group, colour in colours.items():
        words = _GROUP_WORDS[group]  # type: ignore[index]
        axes.barh(0, 0, color=colour, hatch=hatches[group], edgecolor="white", lw=0, label=words)
    axes.set_yticks(range(len(rows)), [each.words for each, _ in rows])
    axes.set_xlim(0.0, None)
    axes.set_xlabel("share of the scatter / %: alone (full), with others (pale)")
    axes.set_title("Where the doubt comes from", loc="left", fontsize=10, fontweight="bold")
    axes.legend(frameon=False, fontsize=8, loc="lower right")
    return axes


def draw_chances(axes: Axes, found: Doubt) -> Axes:
    """Chance of keeping each limit and all together, with binomial intervals."""
    names = [*found.use.kept_by_limit, "all together"][::-1]
    for shift, words, passing, colour, marker in (
        (0.15, "in use", found.use, COLOURS[0], MARKERS[0]),
        (-0.15, "with the doubt about the model's numbers", found.with_data, COLOURS[1], MARKERS[3]),
    ):
        whole = Chance(
            fraction=passing.probability_fraction,
            low_fraction=passing.low_fraction,
            high_fraction=passing.high_fraction,
        )
        for height, name in enumerate(names):
            chance = passing.kept_by_limit.get(name, whole)
            ends = [100 * chance.low_fraction, 100 * chance.high_fraction]
            axes.plot(ends, [height + shift] * 2, color=colour, lw=2.0, alpha=0.6)
            axes.plot(
                100 * chance.fraction,
                height + shift,
                ls="",
                marker=marker,
                color=colour,
                ms=5,
                label=words if not height else None,
            )
    axes.set_yticks(range(len(names)), names)
    axes.set_xlim(None, 101.0)
    axes.set_xlabel("chance of keeping the limit / %")
    axes.set_title("Chance of passing", loc="left", fontsize=10, fontweight="bold")
    axes.legend(frameon=False, fontsize=8, loc="upper center", bbox_to_anchor=(0.5, -0.14))
    return axes
