"""Pictures of a calibration: every signal measured against the model with its residuals, and the parameters with their doubt."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..models.fit_outcome import TrialFit
from ..models.trial import Trial, TrialSignal
from ..models.trial_fit import TrialRun
from .fit_text import parameter_range, parameter_value
from .plots import COLOURS, GREY, LIGHT, WARN, new_figure, save

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

_LABELS = {
    "conversion": "conversion of C=C",
    "reaction_temperature": "sample minus blank, K",
    "heat_flow": "heat flow, W per kg gel",
}
_OUTLIER = 3.0


def lit_spans(trial: Trial) -> list[tuple[float, float]]:
    """Begin and end of every exposure [s]."""
    return [(each.start_s, each.end_s) for each in trial.exposures]


def draw_signal(axes: Axes, trial: Trial, signal: TrialSignal, run: TrialRun) -> Axes:
    """Readings with the band of their noise, the model, and when the light was on."""
    for start, end in lit_spans(trial):
        axes.axvspan(start, end, color=LIGHT, alpha=0.15, lw=0)
    axes.plot(signal.time_s, signal.value, ".", ms=3.5, color=GREY, label="measured")
    axes.plot(signal.time_s, run.values[signal.name], color=COLOURS[0], lw=1.6, label="fitted model")
    axes.set_ylabel(_LABELS[signal.kind])
    axes.set_title(f"{trial.trial_id}, {signal.name} ({signal.place})", loc="left", fontsize=9)
    axes.legend(frameon=False, fontsize=8)
    return axes


def draw_residuals(axes: Axes, signal: TrialSignal, run: TrialRun) -> Axes:
    """Measured minus model in standard deviations of the stated noise; readings beyond three in red."""
    gap = (signal.value - run.values[signal.name]) / signal.noise_sd
    far = np.abs(gap) > _OUTLIER
    axes.axhspan(-2.0, 2.0, color="#EEEEEE", lw=0)
    axes.axhline(0.0, color="#666666", lw=0.8)
    axes.plot(signal.time_s[~far], gap[~far], ".", ms=3.5, color=COLOURS[0])
    axes.plot(signal.time_s[far], gap[far], "x", ms=5, color=WARN)
    axes.set_ylim(-1.1 * max(4.0, float(np.abs(gap).max())), 1.1 * max(4.0, float(np.abs(gap).max())))
    axes.set_ylabel("residual, noises")
    axes.set_xlabel("time, s")
    return axes


def draw_parameters(axes: Axes, outcome: TrialFit) -> Axes:
    """Every parameter as a factor on its packaged value: prior grey, data and prior together in colour."""
    for row, name in enumerate(outcome.names):
        mean, spread = float(outcome.prior.mean[row]), float(outcome.prior.sd[row])
        place = len(outcome.names) - 1 - row
        low, high = (
            min(max(end - mean, -3.0 * spread), 3.0 * spread) for end in parameter_range(outcome, row)
        )
        is_kept = outcome.knowledge.verdicts[row] == "kept at prior"
        colour = WARN if is_kept else COLOURS[0]
        axes.barh(place, 2 * 1.645 * spread, left=-1.645 * spread, height=0.62, color="#E4E4E4")
        axes.plot([low, high], [place, place], color=colour, lw=3, solid_capstyle="butt")
        axes.plot(float(outcome.best.values[row]) - mean, place, "o", ms=5, color=colour)
        axes.annotate(
            parameter_value(name, float(outcome.best.values[row])) + (" (kept at prior)" if is_kept else ""),
            (1.01, place),
            xycoords=("axes fraction", "data"),
            va="center",
            fontsize=8,
            color=colour,
            annotation_clip=False,
        )
    axes.axvline(0.0, color="#666666", lw=0.8)
    axes.set_yticks(range(len(outcome.names)), list(reversed(outcome.names)))
    factors = [each for each in (0.2, 0.5, 0.7, 1.0, 1.5, 2.0, 5.0) if abs(math.log(each)) <= _reach(outcome)]
    axes.set_xticks([math.log(each) for each in factors], [f"× {each:g}" for each in factors])
    axes.set_xlabel("factor on the packaged value; grey: prior, colour: after the trials (90 %)")
    return axes


def _reach(outcome: TrialFit) -> float:
    moved = np.abs(outcome.best.values - outcome.prior.mean) + 1.645 * outcome.best.standard_error
    return float(max(1.645 * outcome.prior.sd.max(), moved.max()))


def write_fit_pictures(outcome: TrialFit, folder: Path) -> list[Path]:
    """One picture per trial and one of the parameters; returns the files."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for trial, run in zip(outcome.trials, outcome.runs, strict=True):
        signals = trial.included
        figure, axes = new_figure(4.6 * len(signals), 4.4, 2, len(signals))
        for column, signal in enumerate(signals):
            draw_signal(axes[column], trial, signal, run)
            draw_residuals(axes[len(signals) + column], signal, run)
        written.append(folder / f"fit_{trial.trial_id}.png")
        save(figure, written[-1])
    figure, axes = new_figure(7.2, 0.6 + 0.34 * len(outcome.names))
    draw_parameters(axes[0], outcome)
    written.append(folder / "parameters.png")
    save(figure, written[-1])
    return written
