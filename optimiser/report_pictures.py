"""The pictures of a run's first blend."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..lamp_library.lamp import Lamp
from ..models.results import CureResult
from .answer import Candidate
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

# these are drawn once for each lamp
LAMP_PICTURES = ("light.png", "conversion.png", "temperature.png")


def picture_name(name: str, lamp: Lamp, lamps: int) -> str:
    """File of a lamp's picture: the plain name when there is one lamp, else with the lamp's id in it."""
    return name if lamps == 1 else name.replace(".png", f"_{lamp.lamp_id}.png")


def write_pictures(outcome: Outcome, folder: Path) -> list[Path]:
    """Draw the pictures of the first blend as PNG files.

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
    lamps = outcome.inputs.lamps
    drawn = []
    for lamp in lamps:
        traces = [result for result in outcome.traces if result.lamp_id == lamp.lamp_id]
        light, conversion, temperature = (
            folder / picture_name(name, lamp, len(lamps)) for name in LAMP_PICTURES
        )
        drawn += [
            _light(outcome, lamp, light),
            _conversion(outcome, traces, lamp, conversion),
            _temperature(outcome, traces, temperature),
        ]
    return [*drawn, _margins(outcome, folder / "margins.png")]


def _light(outcome: Outcome, lamp: Lamp, path: Path) -> Path:
    brief = outcome.inputs.brief
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


def asked_conversion(shown: Candidate, lamp: Lamp) -> float | None:
    """Conversion asked for at the base in one lamp, where a limit does [-]."""
    least = [
        row.limit
        for row in shown.constraints
        if row.figure == "bottom_conversion_fraction" and row.lamp_id == lamp.lamp_id
    ]
    return max(least) if least else None


def _conversion(outcome: Outcome, traces: Sequence[CureResult], lamp: Lamp, path: Path) -> Path:
    figure, axes = new_figure(6.4, 3.8)
    draw_conversion(axes[0], traces, asked_conversion(outcome.candidates[0], lamp))
    return save(figure, path)


def _temperature(outcome: Outcome, traces: Sequence[CureResult], path: Path) -> Path:
    figure, axes = new_figure(9.0, 3.6, columns=2)
    draw_film_temperature(axes[0], traces)
    draw_nail_bed_temperature(axes[1], traces, outcome.inputs.brief.limits.nail_bed_max_k)
    return save(figure, path)


def _margins(outcome: Outcome, path: Path) -> Path:
    best = outcome.candidates[0]
    names = {row.limit_name for row in best.constraints}
    figure, axes = new_figure(8.0, 0.9 + 0.4 * len(names))
    draw_margins(axes[0], best.constraints, best.figures)
    return save(figure, path)
