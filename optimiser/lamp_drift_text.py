"""Drift of a lamp in words, as data and as a picture; and when the margin of each gel runs out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..lamp_library.drift import SALON_HOURS_PER_YEAR, LampDrift, lamp_drift, stated_repeat_fraction
from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp, load_lamp
from ..lamp_library.units import mw_cm2_from_w_m2
from .cautions import short_cautions
from .demo_data import reread_path

if TYPE_CHECKING:
    from .gel_case import GelCase

_PERCENT = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GelMargin:
    """How long a gel goes on passing in an ageing lamp.

    Attributes
    ----------
    gel_name : str
        The gel.
    lowest_ratio : float or None
        Lowest output at which it passes, over that of the last reading [-]; None where it passes at none.
    stopped_by : str
        The limit that it breaks below.
    low_hours, hours, high_hours : float
        Hours of light left: 90 % interval and best value; infinite where no ageing shows.
    """

    gel_name: str
    lowest_ratio: float | None
    stopped_by: str
    low_hours: float
    hours: float
    high_hours: float


def load_readings(names: Sequence[str]) -> list[Lamp]:
    """Lamps by id or folder; ids of packaged re-reads count too."""
    return [load_lamp(reread_path(name) or name) for name in names]


def drift_of(
    names: Sequence[str], hours: str | None, repeat_percent: float | None
) -> tuple[LampDrift, list[Lamp]]:
    """Drift between readings named on the command line.

    Parameters
    ----------
    names : sequence of str
        Ids or folders, oldest first.
    hours : str or None
        Hours of light at each, separated by commas.
    repeat_percent : float or None
        Standard deviation of a reading's scale [%]; the readings' own statement, or 2 %, when None.
    """
    lamps = load_readings(names)
    given = None if hours is None else _numbers(hours)
    repeat = stated_repeat_fraction(lamps) if repeat_percent is None else repeat_percent / _PERCENT
    return lamp_drift(lamps, given, repeat), lamps


def _numbers(text: str) -> list[float]:
    try:
        return [float(each) for each in text.split(",")]
    except ValueError:
        raise InputError(f"--hours {text}: give numbers separated by commas, for instance 0,400.") from None


def gel_margins(
    drift: LampDrift,
    lamp: Lamp,
    gels: Sequence[str],
    seconds: float | None,
    progress: Callable[[int, int, str], None],
) -> list[GelMargin]:
    """When each gel stops passing in the lamp as last read.

    Parameters
    ----------
    drift : LampDrift
        How fast the lamp ages.
    lamp : Lamp
        The last reading.
    gels : sequence of str
        Gels by id or file, or run folders of `gelwright tune`.
    seconds : float or None
        Lamp-on time [s]; a run folder has its own.
    progress : callable
        Told about each gel.
    """
    from .edges import OUTPUT, edge_of

    found = []
    for number, name in enumerate(gels):
        progress(number, len(gels), name)
        case = _case(name, lamp, seconds)
        gel = case.gel
        edge = edge_of(case, OUTPUT, lambda *_: None, with_chance=False)
        if edge.edge is None:
            found.append(
                GelMargin(
                    gel_name=gel.name, lowest_ratio=None, stopped_by=edge.stopped_by, low_hours=0.0, hours=0.0, high_hours=0.0
                )
            )  # fmt: skip
            continue
        low, best, high = drift.hours_until(edge.edge)
        found.append(
            GelMargin(
                gel_name=gel.name, lowest_ratio=edge.edge, stopped_by=edge.stopped_by, low_hours=low, hours=best, high_hours=high
            )
        )  # fmt: skip
    return found


def _case(name: str, lamp: Lamp, seconds: float | None) -> GelCase:
    """A gel, or the first blend of a run of `gelwright tune` under its own brief, in the lamp as last read."""
    from ..models.gel import load_gel
    from .brief_reader import read_brief
    from .demo_data import load_any_gel
    from .gel_case import gel_case

    folder = Path(name)
    if (folder / "brief.toml").is_file() and (folder / "gel.toml").is_file():
        brief = read_brief(folder / "brief.toml")
        return gel_case(
            load_gel(folder / "gel.toml"), lamp, exposure_s=brief.exposure_s if seconds is None else seconds,
            programme=brief.programme, limits=brief.limits, thickness_m=brief.thickness_high_m,
        )  # fmt: skip
    if seconds is None:
        raise InputError(f"{name}: a gel needs the lamp-on time; give it in seconds with --seconds.")
    return gel_case(load_any_gel(name), lamp, exposure_s=seconds)


def drift_text(drift: LampDrift, lamps: Sequence[Lamp], margins: Sequence[GelMargin]) -> str:
    """The drift as text."""
    lines = [
        f"{lamps[0].name}: read {len(lamps)} times, from {drift.hours[0]:g} to {drift.hours[-1]:g} h of light"
    ]
    dates = [each.provenance.get("measured_on", "not recorded") for each in lamps]
    lines.append(
        "Readings: "
        + ", ".join(
            f"{name} ({age:g} h, {day})"
            for name, age, day in zip(drift.lamp_ids, drift.hours, dates, strict=True)
        )
    )
    if any(each.is_demonstration for each in lamps):
        lines.append("Invented demonstration data.")
    lines += ["", *_table(drift), "", *_ageing(drift)]
    if margins:
        lines += [
            "",
            "How long each gel goes on passing in this lamp (all its limits as in gelwright dimmest):",
        ]
        lines += [f"- {_margin_text(each, drift)}" for each in margins]
        lines += ["", "Cautions:", *(f"- {caution}" for caution in short_cautions())]
    return "\n".join(lines)


def _table(drift: LampDrift) -> list[str]:
    head = ["mW/cm2, 315-450 nm", *(f"{age:g} h" for age in drift.hours), "last/first", "centre moved/nm"]
    rows = [head]
    for each in drift.positions:
        levels = [f"{mw_cm2_from_w_m2(level):.2f}" for level in each.irradiance_w_m2]
        rows.append([each.position, *levels, f"{each.ratio:.3f}", f"{each.centroid_shift_nm:+.2f}"])
    rows.append(
        ["mean of ratios", *(f"{ratio:.3f}" for ratio in drift.mean_ratio), f"{drift.mean_ratio[-1]:.3f}", ""]
    )
    widths = [max(len(row[i]) for row in rows) for i in range(len(head))]
    return ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]


def _ageing(drift: LampDrift) -> list[str]:
    lost = 1.0 - float(drift.mean_ratio[-1])
    doubt = _PERCENT * drift.repeat_fraction * math.sqrt(2.0)
    lines = [
        f"Output fell by {_PERCENT * lost:.1f} % (a difference of two readings is good to +- {doubt:.1f} %); positions differ by "
        f"{_PERCENT * drift.uneven_sd:.1f} %."
        if lost >= 0.0
        else f"Output rose by {-_PERCENT * lost:.1f} %, where a difference of two readings is good to +- {doubt:.1f} %: check the "
        "calibration.",
        f"Ageing rate {drift.rate_1_hours:.2e} +- {drift.rate_sd_1_hours:.1e} per hour of light.",
    ]
    if not drift.is_clear:
        lines.append(
            f"No ageing beyond the doubt of the readings: 70 % is at least {_hours_text(drift.l70_low_hours)} away. Read again later."
        )
        return lines
    lines.append(
        f"70 % of the first reading after {_hours_text(drift.l70_hours)} of light in all (90 % interval "
        f"{_span(drift.l70_low_hours, drift.l70_high_hours)}){_reach(drift, drift.l70_hours)}."
    )
    return lines


def _reach(drift: LampDrift, total_hours: float) -> str:
    """A remark where a time lies further off than the readings may be projected."""
    if total_hours <= drift.projection_hours:
        return ""
    span = drift.hours[-1] - drift.hours[0]
    return (
        f"; readings over {span:g} h may be projected to {drift.projection_hours:.0f} h only (six times their span): take it as an "
        "order of size"
    )


def _span(low: float, high: float) -> str:
    return f"{low:.0f} h and more" if math.isinf(high) else f"{low:.0f} to {high:.0f} h"


def _hours_text(hours: float) -> str:
    if math.isinf(hours):
        return "no end in sight"
    years = hours / SALON_HOURS_PER_YEAR
    return f"{hours:.0f} h ({years:.1f} years at {SALON_HOURS_PER_YEAR:g} h a year)"


def _margin_text(margin: GelMargin, drift: LampDrift) -> str:
    if margin.lowest_ratio is None:
        return f"{margin.gel_name}: passes at no output of this lamp (nearest: {margin.stopped_by})."
    if margin.lowest_ratio >= 1.0:
        return (
            f"{margin.gel_name}: passes only above the output of the last reading ({_PERCENT * margin.lowest_ratio:.0f} % of it; "
            f"{margin.stopped_by}): its margin is gone."
        )
    floor = f"passes down to {_PERCENT * margin.lowest_ratio:.0f} % of the last reading ({margin.stopped_by or 'end of the range tried'})"
    if math.isinf(margin.hours) or not drift.is_clear:
        return f"{margin.gel_name}: {floor}; at least {_hours_text(margin.low_hours)} left."
    total = float(drift.hours[-1]) + margin.hours
    return (
        f"{margin.gel_name}: {floor}; margin used up after {_hours_text(margin.hours)} more (90 % interval "
        f"{_span(margin.low_hours, margin.high_hours)}){_reach(drift, total)}."
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def drift_data(drift: LampDrift, lamps: Sequence[Lamp], margins: Sequence[GelMargin]) -> dict[str, Any]:
    """The same as plain data; None stands for "no end in sight"."""
    return {
        "lamp": lamps[0].name,
        "readings": list(drift.lamp_ids),
        "hours": drift.hours.tolist(),
        "is_demonstration": any(each.is_demonstration for each in lamps),
        "positions": [
            {
                "position": each.position,
                "irradiance_w_m2": list(each.irradiance_w_m2),
                "ratio": each.ratio,
                "centroid_shift_nm": each.centroid_shift_nm,
            }
            for each in drift.positions
        ],
        "mean_ratio": drift.mean_ratio.tolist(),
        "uneven_sd_fraction": drift.uneven_sd,
        "repeat_fraction": drift.repeat_fraction,
        "rate_1_hours": drift.rate_1_hours,
        "rate_sd_1_hours": drift.rate_sd_1_hours,
        "ageing_is_clear": drift.is_clear,
        "l70_hours": _finite(drift.l70_hours),
        "l70_low_hours": _finite(drift.l70_low_hours),
        "l70_high_hours": _finite(drift.l70_high_hours),
        "projection_hours": drift.projection_hours,
        "gels": [
            {
                "gel": each.gel_name,
                "lowest_ratio": each.lowest_ratio,
                "stopped_by": each.stopped_by,
                "low_hours": _finite(each.low_hours),
                "hours": _finite(each.hours),
                "high_hours": _finite(each.high_hours),
            }
            for each in margins
        ],
    }


def drift_picture(drift: LampDrift, margins: Sequence[GelMargin], path: Path) -> Path:
    """Output of every position against hours of light, the ageing line with its band, and the gels' lowest outputs."""
    from .plots import COLOURS, GREY, WARN, new_figure, save

    figure, (axes, *_) = new_figure(7.5, 4.2)
    for colour, each in zip(COLOURS, drift.positions, strict=False):
        level = _PERCENT * np.array(each.irradiance_w_m2) / each.irradiance_w_m2[0]
        axes.plot(drift.hours, level, "o", ms=4, color=colour, label=each.position)
    end = min(drift.projection_hours, max(1.2 * drift.l70_hours, 2.0 * float(drift.hours[-1])))
    age = np.linspace(float(drift.hours[0]), end, 200)
    since = age - float(drift.hours.mean())
    middle = float(np.log(drift.mean_ratio).mean())
    band = [
        _PERCENT * np.exp(middle - (drift.rate_1_hours + sign * 1.645 * drift.rate_sd_1_hours) * since)
        for sign in (-1, 0, 1)
    ]
    axes.fill_between(age, band[0], band[2], color=GREY, alpha=0.2, lw=0)
    axes.plot(age, band[1], color="#333333", lw=1.2, label="ageing, 90 % band")
    axes.axhline(70.0, color=WARN, lw=1.0, ls="--")
    axes.annotate(
        "70 %",
        (1.0, 70.0),
        xycoords=("axes fraction", "data"),
        ha="right",
        va="bottom",
        fontsize=8,
        color=WARN,
    )
    for number, margin in enumerate(margins):
        if margin.lowest_ratio is not None:
            lowest = _PERCENT * margin.lowest_ratio * float(drift.mean_ratio[-1])
            axes.axhline(lowest, color=COLOURS[number % len(COLOURS)], lw=1.0, ls=":")
            axes.annotate(
                f"{margin.gel_name} needs this",
                (1.0, lowest),
                xycoords=("axes fraction", "data"),
                ha="right",
                va="bottom",
                fontsize=8,
            )
    axes.set_ylim(0.0, max(110.0, _PERCENT * float(drift.mean_ratio.max()) + 5.0))
    axes.set_xlabel("hours of light")
    axes.set_ylabel("output, share of the first reading / %")
    axes.set_title("Lamp over time", loc="left", fontsize=10, fontweight="bold")
    axes.legend(frameon=False, fontsize=8, ncols=2, loc="center left")
    return save(figure, path)
