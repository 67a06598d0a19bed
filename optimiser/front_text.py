"""A front in words, as plain data and as a table."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from .cautions import short_cautions
from .front import Front, FrontPoint
from .front_picture import front_picture, shown_of, unit_of
from .front_rounding import ROUNDED, unrounded_words
from .matching_text import blend_text
from .passing import Passing
from .tune import Inputs
from .versions import versions


def front_text(found: Front, inputs: Inputs, passing: dict[int, Passing]) -> str:
    """Every blend of the front with its values, the ends and the knee marked."""
    brief = inputs.brief
    lines = [brief.title]
    if brief.is_demonstration or any(lamp.is_demonstration for lamp in inputs.lamps):
        lines.append("Invented demonstration data.")
    if not found.points:
        lines += [
            "",
            "No blend meets this brief, so there is nothing to weigh up; gelwright tune says what conflicts.",
        ]
        return "\n".join([*lines, "", "Cautions:", *(f"- {each}" for each in short_cautions(brief.on_date))])
    names = " against ".join(axis.words for axis in found.axes)
    lines += ["", f"{names}: {len(found.points)} blends that nothing found beats.", ""]
    lines += _table(found, inputs)
    lines += ["", ends_text(found, inputs)]
    best = found.points[found.knee]
    lines.append(
        f"Knee: {blend_text(best.blend_wt_pct)} ({_values(found, best, inputs)}), furthest from the straight line between the "
        "ends: a suggestion, not the answer."
    )
    for index, chance in passing.items():
        lines.append(
            f"Chance of passing in use of blend {index + 1}: {100 * chance.probability_fraction:.0f} % "
            f"({100 * chance.low_fraction:.0f}-{100 * chance.high_fraction:.0f}, {chance.draws} draws)."
        )
    lines += ["", rounding_text(found), tried_text(found, inputs)]
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(brief.on_date))]
    return "\n".join(lines)


def _values(found: Front, point: FrontPoint, inputs: Inputs) -> str:
    return ", ".join(
        f"{axis.words} {shown_of(found, i, point.values[i])} {unit_of(found, i, inputs)}"
        for i, axis in enumerate(found.axes)
    )


def _table(found: Front, inputs: Inputs) -> list[str]:
    rows = [
        ("", *(axis.words for axis in found.axes), "blend"),
        ("", *(unit_of(found, i, inputs) for i in range(len(found.axes))), ""),
    ]
    for number, point in enumerate(found.points):
        mark = f"{number + 1}{' knee' if number == found.knee else ''}"
        rows.append(
            (
                mark,
                *(shown_of(found, i, value) for i, value in enumerate(point.values)),
                blend_text(point.blend_wt_pct),
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    return [
        "  ".join([*(cell.rjust(width) for cell, width in zip(row, widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    ]


def tried_text(found: Front, inputs: Inputs) -> str:
    """How much of the box the front holds, and what was tried for it."""
    return (
        f"Hypervolume: {found.hypervolume_ratio:.3f} of the box between best and worst of each axis; {found.tried} blends polished, "
        f"{found.films} films simulated, seed {inputs.brief.seed}."
    )


def rounding_text(found: Front) -> str:
    """How the loadings are rounded, what that beat, and which blends stayed unrounded."""
    beaten = (
        f"{found.dropped} blends of the front were beaten once rounded and left out." if found.dropped else ""
    )
    return " ".join(words for words in (ROUNDED, beaten, unrounded_words(found.unrounded)) if words)


def ends_text(found: Front, inputs: Inputs) -> str:
    """The best blend on every axis, in a sentence."""
    parts = []
    for column, axis in enumerate(found.axes):
        best = min(found.points, key=lambda point: axis.sign * point.values[column])
        parts.append(f"best {axis.words}: {blend_text(best.blend_wt_pct)} ({_values(found, best, inputs)})")
    return "Ends: " + "; ".join(parts) + "."


def front_data(found: Front, inputs: Inputs, passing: dict[int, Passing]) -> dict[str, Any]:
    """The front as plain data."""
    brief = inputs.brief
    return {
        "title": brief.title,
        "is_demonstration": brief.is_demonstration or any(lamp.is_demonstration for lamp in inputs.lamps),
        "axes": [{"key": axis.key, "words": axis.words, "unit": unit_of(found, i, inputs), "small_is_good": axis.sign > 0}
                 for i, axis in enumerate(found.axes)],
        "points": [
            {"loadings_wt_pct": point.blend_wt_pct,
             "is_rounded": point.is_rounded,
             "values": dict(zip((axis.key for axis in found.axes), point.values, strict=True)),
             "chance_of_passing_fraction": passing[i].probability_fraction if i in passing else None}
            for i, point in enumerate(found.points)
        ],
        "knee": found.knee if found.points else None,
        "hypervolume_ratio": found.hypervolume_ratio,
        "beaten_once_rounded": found.dropped,
        "blends_polished": found.tried,
        "films_simulated": found.films,
        "seed": brief.seed,
        "versions": versions(),
        "cautions": short_cautions(brief.on_date),
    }  # fmt: skip


def write_front_folder(found: Front, inputs: Inputs, passing: dict[int, Passing], folder: Path) -> None:
    """Write text, data, a table and the picture."""
    import pandas as pd

    (folder / "front.txt").write_text(front_text(found, inputs, passing) + "\n", encoding="utf-8")
    data = json.dumps(front_data(found, inputs, passing), indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "front.json").write_text(data + "\n", encoding="utf-8")
    keys = list(dict.fromkeys(key for point in found.points for key in point.blend_wt_pct))
    rows = [
        {
            **{axis.key: value for axis, value in zip(found.axes, point.values, strict=True)},
            **{f"{key}_wt_pct": point.blend_wt_pct.get(key, 0.0) for key in keys},
            "is_knee": i == found.knee,
            "is_rounded": point.is_rounded,
        }
        for i, point in enumerate(found.points)
    ]
    pd.DataFrame(rows).to_csv(folder / "front.csv", index=False)
    if found.points:
        front_picture(found, inputs, folder / "front.png")
