"""An old gel beside blends that cure alike, in words and as plain data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from ..lamp_library.units import c_from_k, um_from_m
from ..models.market import market_status
from .cautions import short_cautions
from .conditions import hand_text
from .doubt_text import chance_text
from .matching import SCALES, Match, Matched
from .search_space import FORBIDDEN, HOW_TO_ALLOW
from .verdict import INJURY_K, headline


def match_text(found: Matched) -> str:
    """Old and new side by side at every position."""
    case, brief = found.case, found.brief
    um = um_from_m(case.problem.gel.thickness_m)
    lines = [f"{case.gel.name}, {um:g} µm, {brief.exposure_s:g} s in {case.lamp.name}", hand_text(case.hand)]
    if case.is_demonstration:
        lines.append("Invented demonstration data.")
    lines += ["", f"Old: {blend_text(found.old.blend_wt_pct)}"]
    lines += [f"   {status}" for status in _old_status(found)]
    lines.append(f"   {_verdict(found, found.old)}")
    if found.old.passing is not None:
        lines.append(f"   chance of passing in use {chance_text(found.old.passing)}")
    if found.old.figures["nail_bed_peak_k"].max() > INJURY_K:
        lines.append(
            "   At such a nail-bed temperature tissue is injured within seconds: never try the old gel or its match on a person."
        )
    for rank, each in enumerate(found.matches, start=1):
        lines += [
            "",
            f"{rank}. {blend_text(each.blend_wt_pct)}",
            f"   {_closeness(found, each)}",
            f"   {_verdict(found, each)}",
        ]
        if each.passing is not None:
            lines.append(f"   chance of passing in use {chance_text(each.passing)}")
        flags = [f"{key}: {flag}" for key in each.blend_wt_pct for flag in found.space.substance(key).flags]
        lines += [f"   {flag}" for flag in flags]
    lines += ["", *_table(found)]
    lines += ["", "Left out:", *_left_out(found)]
    lines += [
        "",
        "Matched are base conversion, tacky layer and nail-bed peak, nothing else: colour, hardness, odour, storage",
    ]
    lines.append("and the toxicology of the new blend need their own look.")
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(brief.on_date))]
    return "\n".join(lines)


def blend_text(blend_wt_pct: dict[str, float]) -> str:
    """A blend in one line, the largest loading first."""
    return " + ".join(
        f"{key} {load:.4g} %" for key, load in sorted(blend_wt_pct.items(), key=lambda item: -item[1])
    )


def _old_status(found: Matched) -> list[str]:
    """What the law of the day says against the old blend."""
    brief = found.brief
    return [
        market_status(key, market, brief.on_date).sentence()
        for key in found.old.blend_wt_pct
        for market in brief.markets
        if market_status(key, market, brief.on_date).state in ("prohibited", "restricted")
    ]


def _closeness(found: Matched, each: Match) -> str:
    gaps = {name: float(np.abs(each.figures[name] - found.old.figures[name]).max()) for name in SCALES}
    return (
        f"{'cures alike' if each.is_close else 'does not cure alike'} (distance {each.distance:.2f}): base conversion within "
        f"{gaps['bottom_conversion_fraction']:.3f}, tacky layer within {um_from_m(gaps['uncured_layer_m']):.1f} µm, nail bed "
        f"within {gaps['nail_bed_peak_k']:.2f} K at every position"
    )


def _verdict(found: Matched, each: Match) -> str:
    limits = found.brief.limits
    least = (limits.bottom_conversion_min_share or 0.0) * float(found.case.problem.ceilings[0])
    hottest_k = float(each.figures["nail_bed_peak_k"].max())
    words = headline(
        bool(each.figures["bottom_conversion_fraction"].min() >= least), hottest_k <= limits.nail_bed_max_k
    )
    return f"predicted in this lamp: {words}; nail bed up to {c_from_k(hottest_k):.1f} °C"


def _table(found: Matched) -> list[str]:
    names = ["old", *(str(rank) for rank in range(1, len(found.matches) + 1))]
    rows = [("position", "blend", "base", "tacky/µm", "nail bed/°C")]
    for i, place in enumerate(found.case.lamp.positions):
        for name, each in zip(names, (found.old, *found.matches), strict=True):
            rows.append(
                (
                    place if name == "old" else "", name, f"{each.figures['bottom_conversion_fraction'][i]:.3f}",
                    f"{um_from_m(each.figures['uncured_layer_m'][i]):.1f}",
                    f"{c_from_k(each.figures['nail_bed_peak_k'][i]):.1f}",
                )
            )  # fmt: skip
    widths = [max(len(row[i]) for row in rows) for i in range(5)]
    return ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]


def _left_out(found: Matched) -> list[str]:
    """Substances by the reason that keeps them out, in the words of this command: there is no brief to look into."""
    keys: dict[str, list[str]] = {}
    for out in found.space.excluded:
        reason = "to be done without" if out.reason == FORBIDDEN else out.reason
        keys.setdefault(
            reason.replace(HOW_TO_ALLOW, "name it with --allow to use it all the same"), []
        ).append(out.key)
    return [f"- {', '.join(each)}: {reason}" for reason, each in keys.items()] or ["- none"]


def match_data(found: Matched) -> dict[str, Any]:
    """Old and new as plain data."""
    return {
        "gel": found.case.gel.name,
        "lamp": found.case.lamp.lamp_id,
        "is_demonstration": found.case.is_demonstration,
        "markets": list(found.brief.markets),
        "law_date": str(found.brief.on_date),
        "scales": dict(SCALES),
        "positions": list(found.case.lamp.positions),
        "old": _one(found.old),
        "matches": [_one(each) for each in found.matches],
        "excluded": [{"key": out.key, "reason": out.reason} for out in found.space.excluded],
        "films_simulated": found.films,
        "cautions": short_cautions(found.brief.on_date),
    }


def _one(each: Match) -> dict[str, Any]:
    return {
        "loadings_wt_pct": each.blend_wt_pct,
        "distance": each.distance,
        "is_close": each.is_close,
        "figures": {name: values.tolist() for name, values in each.figures.items()},
        "passing": None if each.passing is None else asdict(each.passing),
    }
