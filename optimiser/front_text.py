"""A front in words, as plain data, as a table and as a picture."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from .cautions import short_cautions
from .front import Front, FrontPoint
from .matching_text import blend_text
from .passing import Passing
from .plots import COLOURS, GREY, MARKERS, new_figure, save
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
    lines += ["", _ends(found, inputs)]
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
    lines += [
        "",
        f"Hypervolume: {found.hypervolume_ratio:.3f} of the box between best and worst of each axis; {found.tried}",
    ]
    lines[-1] += f" blends polished, {found.films} films simulated, seed {brief.seed}."
    lines += ["", "Cautions:", *(f"- {each}" for each in short_cautions(brief.on_date))]
    return "\n".join(lines)


def _unit(found: Front, column: int, inputs: Inputs) -> str:
    axis = found.axes[column]
    return f"{inputs.brief.currency} {axis.unit}".strip() if axis.key == "cost" else axis.unit


def _shown(found: Front, column: int, value: float) -> str:
    digits = {"cost": 3, "heat": 2, "yellowness": 2, "initiator": 3, "margin": 3}[found.axes[column].key]
    return f"{value:.{digits}f}"


def _values(found: Front, point: FrontPoint, inputs: Inputs) -> str:
    return ", ".join(
        f"{axis.words} {_shown(found, i, point.values[i])} {_unit(found, i, inputs)}"
        for i, axis in enumerate(found.axes)
    )


def _table(found: Front, inputs: Inputs) -> list[str]:
    rows = [
        ("", *(axis.words for axis in found.axes), "blend"),
        ("", *(_unit(found, i, inputs) for i in range(len(found.axes))), ""),
    ]
    for number, point in enumerate(found.points):
        mark = f"{number + 1}{' knee' if number == found.knee else ''}"
        rows.append(
            (
                mark,
                *(_shown(found, i, value) for i, value in enumerate(point.values)),
                blend_text(point.blend_wt_pct),
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    return [
        "  ".join([*(cell.rjust(width) for cell, width in zip(row, widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    ]


def _ends(found: Front, inputs: Inputs) -> str:
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
        "axes": [{"key": axis.key, "words": axis.words, "unit": _unit(found, i, inputs), "small_is_good": axis.sign > 0}
                 for i, axis in enumerate(found.axes)],
        "points": [
            {"loadings_wt_pct": point.blend_wt_pct,
             "values": dict(zip((axis.key for axis in found.axes), point.values, strict=True)),
             "chance_of_passing_fraction": passing[i].probability_fraction if i in passing else None}
            for i, point in enumerate(found.points)
        ],
        "knee": found.knee if found.points else None,
        "hypervolume_ratio": found.hypervolume_ratio,
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
        }
        for i, point in enumerate(found.points)
    ]
    pd.DataFrame(rows).to_csv(folder / "front.csv", index=False)
    if found.points:
        front_picture(found, inputs, folder / "front.png")


def front_picture(found: Front, inputs: Inputs, path: Path) -> Path:
    """The first axis against each of the others, knee and blends named."""
    count = len(found.axes) - 1
    figure, panels = new_figure(6.4 * count, 4.2, columns=count)
    sets = list(dict.fromkeys(tuple(sorted(point.blend_wt_pct)) for point in found.points))
    for column, axes in enumerate(panels, start=1):
        for number, keys in enumerate(sets):
            colour, marker = COLOURS[number % len(COLOURS)], MARKERS[number % len(MARKERS)]
            own = [point for point in found.points if tuple(sorted(point.blend_wt_pct)) == keys]
            axes.plot(
                [point.values[column] for point in own], [point.values[0] for point in own], ls="", marker=marker, color=colour, ms=6,
                label=" + ".join(keys),
            )  # fmt: skip
        if count == 1:
            line = sorted((point.values[column], point.values[0]) for point in found.points)
            axes.plot([x for x, _ in line], [y for _, y in line], color=GREY, lw=0.8, zorder=0)
        best = found.points[found.knee]
        axes.annotate(
            "knee", (best.values[column], best.values[0]), xytext=(10, 14), textcoords="offset points", fontsize=9,
            arrowprops={"arrowstyle": "-", "color": GREY},
        )  # fmt: skip
        axes.set_xlabel(f"{found.axes[column].words} / {_unit(found, column, inputs)}")
        axes.set_ylabel(f"{found.axes[0].words} / {_unit(found, 0, inputs)}")
        axes.legend(frameon=False, fontsize=8)
    panels[0].set_title("Blends that nothing found beats", loc="left", fontsize=10, fontweight="bold")
    return save(figure, path)
