"""Pictures of lamps: axes in, axes out. Colours stay apart for colour-blind eyes, lines differ in style too."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lamp_library.errors import InputError
from ..lamp_library.units import mw_cm2_from_w_m2
from .lamp_view import UV_A_NM, LampFigures

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from ..lamp_library.lamp import Lamp

FORMATS = (".png", ".svg", ".pdf")
# Okabe and Ito's palette without its yellow, too pale for thin lines on white
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
STYLES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (8, 2)))
LIGHT_FRACTION = 0.005


def check_format(path: Path) -> None:
    """Raise unless a picture file's ending is one that can be written."""
    if path.suffix.lower() not in FORMATS:
        raise InputError(
            f"{path}: '{path.suffix}' is no picture format written here; use {', '.join(FORMATS)}."
        )


def lit_range_nm(*lamps: Lamp) -> tuple[float, float]:
    """Wavelengths between which any of the lamps shines, with a margin of 8 nm [nm]."""
    import numpy as np

    lower, upper = [], []
    for lamp in lamps:
        spectrum = lamp.mean_spectrum()
        values = spectrum.spectral_irradiance_w_m2_nm
        lit = np.flatnonzero(values > LIGHT_FRACTION * values.max())
        lower.append(float(spectrum.wavelength_nm[lit[0]]))
        upper.append(float(spectrum.wavelength_nm[lit[-1]]))
    return min(lower) - 8.0, max(upper) + 8.0


def _mw_cm2_nm(values_w_m2_nm: NDArray[np.float64]) -> NDArray[np.float64]:
    return mw_cm2_from_w_m2(values_w_m2_nm)


def _frame(axes: Axes, lower_nm: float, upper_nm: float) -> None:
    axes.set_xlim(lower_nm, upper_nm)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("wavelength, nm")
    axes.set_ylabel("spectral irradiance, mW cm$^{-2}$ nm$^{-1}$")
    axes.spines[["top", "right"]].set_visible(False)
    if lower_nm < UV_A_NM[1] < upper_nm:
        axes.axvline(UV_A_NM[1], color="0.75", linewidth=0.8, zorder=0)
        for text, side, shift in (("UV-A", "right", -1.0), ("violet", "left", 1.0)):
            axes.annotate(
                text, (UV_A_NM[1], 1.0), (4.0 * shift, -2.0), xycoords=("data", "axes fraction"),
                textcoords="offset points", ha=side, va="bottom", color="0.45", fontsize=8,
            )  # fmt: skip


def plot_spectra(lamp: Lamp, axes: Axes) -> Axes:
    """Spectrum at every position, strongest first in the legend, which stands beside the data."""
    order = sorted(lamp.positions, key=lambda label: -lamp.spectrum(label).irradiance_w_m2())
    for number, label in enumerate(order):
        spectrum = lamp.spectrum(label)
        axes.plot(
            spectrum.wavelength_nm,
            _mw_cm2_nm(spectrum.spectral_irradiance_w_m2_nm),
            color=COLOURS[number % len(COLOURS)],
            linestyle=STYLES[number % len(STYLES)],
            linewidth=1.5,
            label=label,
        )
    _frame(axes, *lit_range_nm(lamp))
    axes.legend(
        title="position", loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False, handlelength=3.2
    )
    axes.set_title("Light at each position", loc="left", fontsize=10, pad=16.0)
    return axes


def plot_positions(figures: LampFigures, axes: Axes) -> Axes:
    """Irradiance at every position, UV-A and violet stacked, with the mean as a line."""
    labels = [each.position for each in figures.positions]
    uv_a = [mw_cm2_from_w_m2(each.uv_a_irradiance_w_m2) for each in figures.positions]
    violet = [mw_cm2_from_w_m2(each.violet_irradiance_w_m2) for each in figures.positions]
    axes.bar(labels, uv_a, width=0.62, color=COLOURS[0], label="UV-A, 315-400 nm")
    axes.bar(
        labels, violet, width=0.62, bottom=uv_a, color="#E3B7CF", hatch="///", edgecolor="white", linewidth=0.0,
        label="violet, 400-450 nm",
    )  # fmt: skip
    mean = mw_cm2_from_w_m2(figures.mean.uv_a_irradiance_w_m2 + figures.mean.violet_irradiance_w_m2)
    axes.axhline(mean, color="black", linewidth=1.0, linestyle="--", label=f"mean, {mean:.1f}")
    for number, (low, high) in enumerate(zip(uv_a, violet, strict=True)):
        axes.annotate(
            f"{low + high:.1f}", (number, low + high), (0.0, 3.0), textcoords="offset points",
            ha="center", va="bottom", fontsize=8, zorder=4.0,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},  # keeps the mean line off the digits
        )  # fmt: skip
    axes.set_ylabel("irradiance, mW cm$^{-2}$")
    axes.margins(y=0.1)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(axis="x", rotation=0 if len(labels) <= 6 else 45)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False)
    axes.set_title("Irradiance at each position, 315-450 nm", loc="left", fontsize=10)
    return axes


def plot_means(lamps: tuple[Lamp, Lamp], axes: Axes) -> Axes:
    """Mean spectra of two lamps."""
    for number, lamp in enumerate(lamps):
        mean = lamp.mean_spectrum()
        axes.plot(
            mean.wavelength_nm,
            _mw_cm2_nm(mean.spectral_irradiance_w_m2_nm),
            color=COLOURS[number],
            linestyle=STYLES[number],
            linewidth=1.6,
            label=f"{'AB'[number]}  {lamp.lamp_id}",
        )
    _frame(axes, *lit_range_nm(*lamps))
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, frameon=False, handlelength=3.2)
    axes.set_title("Mean over the positions", loc="left", fontsize=10, pad=16.0)
    return axes


def lamp_picture(lamp: Lamp, figures: LampFigures) -> Figure:
    """Spectra above, positions below, on one page."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 6.6), layout="constrained")
    upper, lower = figure.subplots(2, 1, height_ratios=(1.35, 1.0))
    plot_spectra(lamp, upper)
    plot_positions(figures, lower)
    figure.suptitle(
        lamp.name + ("  (invented demonstration data)" if lamp.is_demonstration else ""), fontsize=11
    )
    return figure


def comparison_picture(first: Lamp, second: Lamp) -> Figure:
    """Mean spectra of two lamps on one page."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.2, 4.4), layout="constrained")
    plot_means((first, second), figure.subplots())
    if first.is_demonstration or second.is_demonstration:
        figure.suptitle("Contains invented demonstration data", fontsize=9, color="0.4")
    return figure


def save_picture(figure: Figure, path: Path) -> None:
    """Write a picture; the file's ending chooses the format."""
    check_format(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        figure.savefig(path, dpi=150)
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror}); choose another place.") from error
