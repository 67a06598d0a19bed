"""Pictures of a trial: readings, predicted against measured, cycles overlaid, shares as bars, other curves."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..lamp_library.units import c_from_k
from ..models.exotherm_cycles import CURED_SHARE
from ..models.trial import TrialSignal
from ..models.trial_temperature import TemperatureAnalysis
from .brief import COMFORT_K, FILM_COMMON_PRACTICE_K, Limits
from .cure_pictures import SIZE_IN
from .page_html import inline_svg
from .page_parts import Picture
from .plots import COLOURS, DASHES, GREY, LIGHT, WARN, new_figure, save
from .trial_run import TrialRun, percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_UNITS = {
    "reaction_temperature": (1.0, "rise by reaction / K"),
    "conversion": (1.0, "conversion"),
    "heat_flow": (1e-3, "heat flow / W g$^{-1}$"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One picture of a trial: a name for its ids, words for those who cannot see it, a line below it, how it is drawn."""

    name: str
    alt: str
    caption: str
    draw: Callable[[Axes], Axes]


def trial_panels(run: TrialRun) -> list[Panel]:
    """Every picture that a trial has: readings, its signals, and of several exposures the cycles and their heat."""
    analysis = run.reading.temperature
    found = []
    if analysis is not None:
        peaks = ", ".join(f"{each.height_k:.1f} K after {each.time_s:.0f} s" for each in analysis.peaks)
        found.append(
            Panel(
                name="readings",
                alt=f"Readings of sample and blank against time. Peaks of the sample over the blank: {peaks}.",
                caption="Readings of sample and blank, lag and offset corrected.",
                draw=partial(draw_readings, run=run, analysis=analysis),
            )
        )
    for number, signal in enumerate(run.reading.trial.signals):
        told = next((" ".join(each.sentences) for each in run.deviations if each.name == signal.name), "")
        name = signal.name.replace("_", " ")
        found.append(
            Panel(
                name=f"signal-{number}",
                alt=f"{name}, measured and predicted, against time." if run.faults else f"{name}. {told}",
                caption=f"{name[0].upper()}{name[1:]}: measured with its noise, and what the model predicts.",
                draw=partial(draw_signal, run=run, signal=signal),
            )
        )
    if analysis is not None and analysis.cycles is not None:
        shares = ", ".join(f"{percent(each)} %" for each in analysis.cycles.share)
        found.append(
            Panel(
                name="cycles",
                alt=f"Rise by reaction of {analysis.cycles.heat_k.size} exposures, each from its own switch-on.",
                caption="Every exposure counted from its own switch-on.",
                draw=partial(draw_cycles, analysis=analysis),
            )
        )
        found.append(
            Panel(
                name="shares",
                alt=f"Heat of each exposure as a share of the first: {shares}.",
                caption="Heat of each exposure as a share of the first, with 90 % bars.",
                draw=partial(draw_shares, analysis=analysis),
            )
        )
    return found


def trial_pictures(run: TrialRun) -> tuple[Picture, ...]:
    """The panels of a trial for its page, each a picture of its own."""
    found = []
    for panel in trial_panels(run):
        figure, axes = new_figure(*SIZE_IN)
        panel.draw(axes[0])
        found.append(Picture(svg=inline_svg(figure, panel.name), alt=panel.alt, caption=panel.caption))
    return tuple(found)


def trial_picture(run: TrialRun, path: Path) -> Path:
    """All panels that a trial has, in one picture."""
    panels = trial_panels(run)
    columns = 2 if len(panels) > 1 else 1
    rows = -(-len(panels) // columns)
    figure, axes = new_figure(5.6 * columns, 3.5 * rows, rows=rows, columns=columns)
    for panel, place in zip(panels, axes, strict=False):
        panel.draw(place)
    for left in axes[len(panels) :]:
        left.set_visible(False)
    if run.reading.trial.is_demonstration:
        figure.text(
            0.995, 0.002, "invented demonstration data", ha="right", va="bottom", fontsize=7, color=GREY
        )
    return save(figure, path)


def _title(axes: Axes, words: str) -> None:
    axes.set_title(words, loc="left", fontsize=10, fontweight="bold", color="#222222")


def draw_readings(axes: Axes, run: TrialRun, analysis: TemperatureAnalysis) -> Axes:
    """Corrected readings of sample and blank with the lines that apply where the probe lies."""
    rise, zero = analysis.rise, analysis.exposures_s[0][0]
    for start, end in analysis.exposures_s:
        axes.axvspan(start - zero, end - zero, color=LIGHT, alpha=0.35, lw=0)
    time = rise.time_s - zero
    for number, values, label in ((1, rise.sample_k, "sample"), (0, rise.blank_k, "blank")):
        shown = np.where(rise.missing, np.nan, c_from_k(values))
        axes.plot(time, shown, color=COLOURS[number], ls="--" if number == 0 else "-", lw=1.3, label=label)
    place = run.reading.trial.signals[0].place
    lines = (
        ((COMFORT_K, "comfort"), (Limits().nail_bed_max_k, "limit"))
        if place == "nail_bed"
        else ((FILM_COMMON_PRACTICE_K, "film: common practice, no source"),)
    )
    for kelvin, words in lines:
        axes.axhline(c_from_k(kelvin), color=GREY, lw=1.0, ls="--")
        axes.annotate(
            f"{c_from_k(kelvin):.0f} °C {words}", (1.0, c_from_k(kelvin)), xycoords=("axes fraction", "data"),
            xytext=(0, 2), textcoords="offset points", ha="right", va="bottom", fontsize=7.5, color=GREY,
        )  # fmt: skip
    axes.set_xlabel("time from first switch-on / s")
    axes.set_ylabel("reading, lag and offset corrected / °C")
    axes.set_xlim(float(time[0]), float(time[-1]))
    _title(axes, "Sample and blank (lamp on: shaded)")
    axes.legend(frameon=False, fontsize=8)
    return axes


def draw_signal(axes: Axes, run: TrialRun, signal: TrialSignal) -> Axes:
    """One measured signal with its noise, and what was predicted for it."""
    scale, label = _UNITS[signal.kind]
    predicted = scale * run.prediction.values[signal.name]
    value, band = scale * signal.value, 2.0 * scale * signal.noise_sd
    axes.fill_between(signal.time_s, value - band, value + band, color=COLOURS[0], alpha=0.2, lw=0)
    axes.plot(signal.time_s, value, ".", ms=3.0, color=COLOURS[0], label="measured (band: 2 sd)")
    axes.plot(signal.time_s, predicted, color=COLOURS[1], lw=1.5, label="predicted")
    axes.axhline(0.0, color=GREY, lw=0.6)
    axes.set_xlabel("time from first switch-on / s")
    axes.set_ylabel(label)
    if signal.kind == "conversion":
        axes.set_ylim(-0.05, 1.0)
    _title(axes, f"Predicted against measured: {signal.name.replace('_', ' ')}")
    axes.legend(frameon=False, fontsize=8)
    return axes


def draw_cycles(axes: Axes, analysis: TemperatureAnalysis) -> Axes:
    """Rise of every cycle from its own switch-on, counted from where it began."""
    rise, cycles = analysis.rise, analysis.cycles
    if cycles is None:
        return axes
    edges = [*cycles.starts_s, float(rise.time_s[-1])]
    for number, (start, end) in enumerate(itertools.pairwise(edges)):
        inside = (rise.time_s >= start) & (rise.time_s < end)
        shown = np.flatnonzero(inside)
        beyond = rise.beyond_k(start, shown, cycles.cooling.time_constant_s)
        value = np.where(rise.missing[shown], np.nan, beyond)
        axes.plot(
            rise.time_s[inside] - start,
            value,
            color=COLOURS[number % len(COLOURS)],
            ls=DASHES[number % len(DASHES)],
            lw=1.4,
            label=f"cycle {number + 1}",
        )
    axes.axvspan(0.0, analysis.exposures_s[0][1] - analysis.exposures_s[0][0], color=LIGHT, alpha=0.35, lw=0)
    axes.axhline(0.0, color=GREY, lw=0.6)
    axes.set_xlabel("time from switch-on of the cycle / s")
    axes.set_ylabel("rise by this cycle's reaction / K")
    _title(axes, "Cycles overlaid")
    axes.legend(frameon=False, fontsize=8)
    return axes


def draw_shares(axes: Axes, analysis: TemperatureAnalysis) -> Axes:
    """Heat of every cycle as a share of the first, with 90 % bars, the usual line and the noise floor."""
    cycles = analysis.cycles
    if cycles is None:
        return axes
    number = np.arange(1, cycles.heat_k.size + 1)
    colours = [COLOURS[0], *(WARN if each > CURED_SHARE else COLOURS[2] for each in cycles.share[1:])]
    axes.bar(number, 100.0 * cycles.share, color=colours, width=0.55, yerr=164.5 * cycles.share_sd, capsize=3)
    for i, share in zip(number, cycles.share, strict=True):
        axes.annotate(
            f"{percent(share)} %", (i, 100.0 * max(share, CURED_SHARE)), xytext=(0, 6), textcoords="offset points", ha="center",
            fontsize=8,
        )  # fmt: skip
    axes.axhline(
        100.0 * CURED_SHARE, color=GREY, lw=1.0, ls="--", label=f"{100 * CURED_SHARE:g} %: common practice"
    )
    if cycles.heat_k.size > 1:
        axes.axhline(
            100.0 * cycles.floor_share,
            color=WARN,
            lw=1.0,
            ls=":",
            label=f"smallest that shows: {100 * cycles.floor_share:.1f} %",
        )
    axes.set_xticks(number)
    axes.set_xlabel("exposure")
    axes.set_ylabel("heat, share of the first / %")
    axes.set_ylim(min(0.0, 110.0 * float(cycles.share.min())), 118.0 * max(float(cycles.share.max()), 1.0))
    _title(axes, "Heat of each exposure")
    axes.legend(frameon=False, fontsize=8, loc="center right")
    return axes
