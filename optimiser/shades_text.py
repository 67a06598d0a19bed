"""The fewest blends for a range of shades, in words and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import um_from_m
from ..models.market import MARKETS, market_status
from .cautions import short_cautions
from .doubt_text import chance_text
from .matching_text import blend_text
from .passing import Passing
from .shades import Cover


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoverAnswer:
    """A cover with what was asked, and the chance of passing of every shade with its blend."""

    cover: Cover
    lamp: Lamp
    exposure_s: float
    law_date: date
    markets: tuple[str, ...]
    excluded: tuple[str, ...]
    passing: dict[int, Passing]

    @property
    def is_demonstration(self) -> bool:
        """Whether lamp or a shade is invented."""
        return self.lamp.is_demonstration or any(shade.is_demonstration for shade in self.cover.shades)


def lawful(key: str, markets: Sequence[str], on_date: date) -> bool:
    """Whether a substance is not prohibited in any of the markets; an unknown status counts as not known to be."""
    for market in markets:
        if market not in MARKETS:
            continue
        if market_status(key, market, on_date).state == "prohibited":
            return False
    return True


def cover_text(answer: CoverAnswer) -> str:
    """The blends, what each serves, and which shades none serves."""
    cover = answer.cover
    lines = [f"{len(cover.shades)} shades, {answer.exposure_s:g} s in {answer.lamp.name}"]
    if answer.is_demonstration:
        lines.append("Invented demonstration data.")
    count = len(cover.chosen)
    covered = len(cover.shades) - len(cover.uncovered)
    if count:
        lines += [
            "",
            f"{count} blend{'s' if count > 1 else ''} cure{'s' if count == 1 else ''} {covered} of {len(cover.shades)} shades",
        ]
        lines[-1] += f"; fewer cannot, of {len(cover.candidates)} tried (proven)."
    else:
        lines += ["", f"None of the {len(cover.candidates)} blends tried cures any of the shades."]
    for number, column in enumerate(cover.chosen, start=1):
        lines += ["", f"{number}. {blend_text(dict(cover.candidates[column]))}"]
        for row in cover.serves[column]:
            shade = cover.shades[row]
            chance = (
                f"; chance of passing in use {chance_text(answer.passing[row])}"
                if row in answer.passing
                else ""
            )
            lines.append(
                f"   {shade.name} ({um_from_m(shade.thickness_m):g} µm): nearest limit {cover.stopped_by[row][column]}{chance}"
            )
        doubts = _unknown(answer, column)
        if doubts:
            lines.append(f"   status unknown: {', '.join(doubts)}; check before use")
    for row in cover.uncovered:
        nearest = int(cover.worst[row].argmin())
        lines += [
            "",
            f"{cover.shades[row].name}: none of the blends cures it. Nearest: {blend_text(dict(cover.candidates[nearest]))},",
        ]
        lines[-1] += f" stopped by {cover.stopped_by[row][nearest]}. A thinner coat or more time would help."
    if answer.excluded:
        lines += ["", f"Left out as prohibited ({', '.join(answer.markets)}): {', '.join(answer.excluded)}"]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(answer.law_date))]
    return "\n".join(lines)


def _unknown(answer: CoverAnswer, column: int) -> list[str]:
    return [
        f"{key} in {market}"
        for key in answer.cover.candidates[column]
        for market in answer.markets
        if market_status(key, market, answer.law_date).state == "unknown"
    ]


def cover_data(answer: CoverAnswer) -> dict[str, Any]:
    """The cover as plain data, with the whole table of what passes."""
    cover = answer.cover
    return {
        "lamp": answer.lamp.lamp_id,
        "exposure_s": answer.exposure_s,
        "is_demonstration": answer.is_demonstration,
        "markets": list(answer.markets),
        "law_date": str(answer.law_date),
        "excluded": list(answer.excluded),
        "blends": [
            {
                "loadings_wt_pct": dict(cover.candidates[column]),
                "shades": [cover.shades[row].name for row in cover.serves[column]],
                "chance_of_passing_fraction": {
                    cover.shades[row].name: answer.passing[row].probability_fraction
                    for row in cover.serves[column]
                    if row in answer.passing
                },
            }
            for column in cover.chosen
        ],
        "uncovered": [cover.shades[row].name for row in cover.uncovered],
        "candidates": [dict(blend) for blend in cover.candidates],
        "passes": {
            shade.name: [bool(value <= 0.0) for value in row]
            for shade, row in zip(cover.shades, cover.worst, strict=True)
        },
        "cautions": short_cautions(answer.law_date),
    }
