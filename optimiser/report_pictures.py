"""The pictures of a run's first blend."""

from __future__ import annotations

from pathlib import Path

from .colour_figures import initiator_absorbance
from .plots import (
    draw_conversion,
    draw_film_temperature,
    draw_light,
    draw_margins,
    draw_nail_bed_temperature,
    new_figure,
    save,
)
from .tune import Outcome


def write_pictures(outcome: Outcome, folder: Path) -> list[Path]:
    """Draw the four pictures of the first blend as PNG files.

    Parameters
    ----------
    outcome : Outcome
        What was found.
    folder : Path
        Where to; files of the same name are replaced.

    Returns
    -------
    list of Path
    """
    return [
        _light(outcome, folder / "light.png"),
        _conversion(outcome, folder / "conversion.png"),
        _temperature(outcome, folder / "temperature.png"),
        _margins(outcome, folder / "margins.png"),
    ]


def _light(outcome: Outcome, path: Path) -> Path:
    lamp, brief = outcome.inputs.lamp, outcome.inputs.brief
    spectrum = lamp.spectrum(lamp.strongest)
    wavelength_nm = spectrum.wavelength_nm
    gel, space = outcome.inputs.gel, outcome.inputs.space
    absorbance = {
        key: initiator_absorbance(gel, key, loading, wavelength_nm, brief.thickness_high_m)
        for key, loading in outcome.candidates[0].blend_wt_pct.items()
        if key in space.initiators
    }
    figure, axes = new_figure(7.0, 3.6)
    draw_light(axes[0], lamp, absorbance, wavelength_nm, brief.thickness_high_m)
    return save(figure, path)


def _conversion(outcome: Outcome, path: Path) -> Path:
    figure, axes = new_figure(6.4, 3.8)
    least = [
        row.limit for row in outcome.candidates[0].constraints if row.figure == "bottom_conversion_fraction"
    ]
    draw_conversion(axes[0], outcome.traces, max(least) if least else None)
    return save(figure, path)


def _temperature(outcome: Outcome, path: Path) -> Path:
    figure, axes = new_figure(9.0, 3.6, columns=2)
    draw_film_temperature(axes[0], outcome.traces)
    draw_nail_bed_temperature(axes[1], outcome.traces, outcome.inputs.brief.limits.nail_bed_max_k)
    return save(figure, path)


def _margins(outcome: Outcome, path: Path) -> Path:
    best = outcome.candidates[0]
    names = {row.limit_name for row in best.constraints}
    figure, axes = new_figure(8.0, 0.9 + 0.4 * len(names))
    draw_margins(axes[0], best.constraints, best.figures)
    return save(figure, path)
