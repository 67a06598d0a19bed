"""Pictures of a cure and of a search: figures are worked out first, drawn second; axes in, axes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from .brief import COMFORT_K, FILM_COMMON_PRACTICE_K
from .constraints import Constraint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..models.results import CureResult

Floats = NDArray[np.float64]

# Okabe and Ito's palette, told apart with any colour vision
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#555555", "#8C6D31")
LIGHT, GREY, WARN = "#B8A2D6", "#888888", "#B22222"
_STYLE: dict[Any, Any] = {
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "#666666",
    "axes.labelcolor": "#333333",
    "svg.hashsalt": "gelwright",
}
# With the colours, so that lines can be told apart in grey too.
DASHES: tuple[Any, ...] = (
    "-",
    (0, (5, 1.5)),
    (0, (1.2, 1.2)),
    (0, (6, 1.5, 1.2, 1.5)),
    (0, (3, 1, 1, 1, 1, 1)),
    (0, (9, 2)),
)
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<")
PNG_DPI, SVG_DPI = 150, 72  # matplotlib writes SVG at 72 whatever it is asked
SHOWN_LIGHT_FRACTION = 5e-3  # wavelengths with less than this share of the peak are not drawn


def new_figure(
    width_in: float, height_in: float, rows: int = 1, columns: int = 1
) -> tuple[Figure, list[Axes]]:
    """A figure with its axes in the house style, made without touching any global state.

    Parameters
    ----------
    width_in, height_in : float
        Size in inches.
    rows, columns : int
        Grid of axes.

    Returns
    -------
    figure : Figure
    axes : list of Axes
        Row by row.
    """
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(width_in, height_in), layout="constrained")
        grid = figure.subplots(rows, columns, squeeze=False)
    return figure, list(grid.flat)


def svg_style(salt: str) -> dict[Any, Any]:
    """Settings for a figure written as SVG inside a page: text stays text, ids repeat from run to run."""
    return {**_STYLE, "svg.fonttype": "none", "svg.hashsalt": salt}


def line_styles(count: int) -> list[dict[str, Any]]:
    """Colour and dashes of so many lines; they start again when they run out."""
    return [{"color": COLOURS[i % len(COLOURS)], "ls": DASHES[i % len(DASHES)]} for i in range(count)]


def save(figure: Figure, path: Path) -> Path:
    """Write a figure; the ending of the path decides between PNG, SVG and PDF."""
    import matplotlib

    with matplotlib.rc_context(_STYLE):
        if path.suffix == ".png":
            lay_out(figure, "png")
        figure.savefig(path, dpi=PNG_DPI)
    return path


def lay_out(figure: Figure, ending: Literal["png", "svg"]) -> None:
    """Fix the places of the axes, so that writing the figure draws it once.

    While a figure still has its layout engine, matplotlib draws all of it once more, into nothing, only to have the
    engine run: half the time of a picture.

    Parameters
    ----------
    figure : Figure
        A finished figure of `new_figure`.
    ending : {"png", "svg"}
        What it will be written as; the room that words need differs a little.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    engine = figure.get_layout_engine()
    if engine is None:
        return
    if ending == "png":
        FigureCanvasAgg(figure)
        figure.set_dpi(PNG_DPI)
    else:
        FigureCanvasSVG(figure)
        figure.set_dpi(SVG_DPI)
    engine.execute(figure)
    figure.set_layout_engine("none")


def draw_light(
    axes: Axes, lamp: Lamp, absorbance: Mapping[str, Floats], wavelength_nm: Floats, thickness_m: float
) -> Axes:
    """Lamp light at its weakest and strongest position against what each initiator's film absorbs; what all together take is hatched.

    Parameters
    ----------
    axes : Axes
        Where to draw; a second axis is added at the right.
    lamp : Lamp
        The lamp.
    absorbance : mapping of str to ndarray, shape (n_wavelength,)
        Decadic absorbance of the fresh film through each initiator [-].
    wavelength_nm : ndarray, shape (n_wavelength,)
        Grid of the absorbances [nm].
    thickness_m : float
        Film thickness they hold for [m].
    """
    strong, weak = lamp.spectrum(lamp.strongest), lamp.spectrum(lamp.weakest)
    shown = [mw_cm2_from_w_m2(each.spectral_irradiance_w_m2_nm) for each in (strong, weak)]
    axes.fill_between(strong.wavelength_nm, shown[0], color=LIGHT, alpha=0.35, lw=0)
    axes.fill_between(weak.wavelength_nm, shown[1], color=LIGHT, alpha=0.55, lw=0)
    together = sum(absorbance.values(), np.zeros_like(wavelength_nm))
    taken = np.interp(strong.wavelength_nm, wavelength_nm, 1.0 - 10.0**-together) * shown[0]
    axes.fill_between(
        strong.wavelength_nm, taken, facecolor="none", edgecolor="#6A4C93", hatch="////", lw=0.6
    )
    axes.set_xlabel("wavelength / nm")
    axes.set_ylabel("lamp light / mW cm$^{-2}$ nm$^{-1}$", color="#6A4C93")
    axes.set_ylim(0.0, 1.18 * float(np.max(shown[0])))
    lit = strong.wavelength_nm[shown[0] > SHOWN_LIGHT_FRACTION * np.max(shown[0])]
    axes.set_xlim(float(lit[0]) - 8.0, float(lit[-1]) + 8.0)
    right = axes.twinx()
    for style, (key, each) in zip(line_styles(len(absorbance)), absorbance.items(), strict=True):
        right.plot(wavelength_nm, 100.0 * (1.0 - 10.0**-each), lw=1.8, label=key, **style)
    highest = max(float(np.max(100.0 * (1.0 - 10.0**-each))) for each in absorbance.values())
    right.set_ylim(0.0, min(105.0, max(10.0, 1.3 * highest)))
    right.set_ylabel(f"absorbed in {um_from_m(thickness_m):g} µm / %", fontsize=9, color="#333333")
    right.tick_params(labelsize=9)
    right.spines["right"].set_visible(True)
    _legend(right, loc="upper right")
    axes.annotate(
        f"pale: {lamp.strongest}, darker: {lamp.weakest}", (0.01, 0.99), xycoords="axes fraction", va="top",
        fontsize=8, color="#6A4C93",
    )  # fmt: skip
    _title(axes, "Lamp light, and what the fresh film takes of it")
    return axes


def draw_conversion(
    axes: Axes,
    results: Sequence[CureResult],
    least_fraction: float | None,
    title: str = "Conversion against depth",
    names_tacky: bool = True,
) -> Axes:
    """Conversion against depth, one line per position, with the possible and the asked-for conversion and the tacky layer."""
    for style, result in zip(line_styles(len(results)), results, strict=True):
        axes.plot(
            um_from_m(result.depth_m), result.conversion_fraction, lw=1.6, label=result.position, **style
        )
    first = results[0]
    axes.plot(
        um_from_m(first.depth_m),
        first.conversion_ceiling_fraction,
        color=GREY,
        lw=1.0,
        ls=":",
        label="possible",
    )
    if least_fraction is not None:
        axes.axhline(least_fraction, color=WARN, lw=1.0, ls="--", label="least at the base")
    _tacky_band(axes, results, names_tacky)
    axes.set_xlim(0.0, float(um_from_m(first.thickness_m)))
    axes.set_ylim(0.0, 1.05)
    axes.set_xlabel("depth below the surface / µm")
    axes.set_ylabel("conversion")
    _title(axes, title)
    _legend(axes, loc="best", ncols=3)
    return axes


def _tacky_band(axes: Axes, results: Sequence[CureResult], is_named: bool) -> None:
    """Shade, and name if asked, the tacky layer of the worst position, where the film below it has set."""
    worst = max(results, key=lambda result: result.uncured_layer_m)
    deep = float(worst.uncured_layer_m)
    inside = (worst.depth_m > 1.5 * deep) & (worst.depth_m < 0.5 * worst.thickness_m)
    if deep <= 0.0 or not inside.any() or float(worst.conversion_fraction[inside].min()) < 0.7:
        return
    axes.axvspan(0.0, um_from_m(deep), color=GREY, alpha=0.18, lw=0)
    if not is_named:
        return
    axes.annotate(
        f"tacky under air,\n{um_from_m(deep):.0f} µm at {worst.position}", (um_from_m(deep), 0.5), xytext=(14, 0),
        textcoords="offset points", va="center", fontsize=8, color="#333333",
        arrowprops={"arrowstyle": "-", "color": "#666666", "lw": 0.8},
    )  # fmt: skip


def draw_film_temperature(axes: Axes, results: Sequence[CureResult]) -> Axes:
    """Hottest film temperature against time; the trade's 71 °C line is marked as having no source."""
    top = max(float(np.max(c_from_k(result.film_max_k))) for result in results)
    for style, result in zip(line_styles(len(results)), results, strict=True):
        axes.plot(result.time_s, c_from_k(result.film_max_k), lw=1.6, label=result.position, **style)
    line = c_from_k(FILM_COMMON_PRACTICE_K)
    axes.axhline(line, color=GREY, lw=1.0, ls="--")
    _note(axes, line, "71 °C: common practice, no source", GREY)
    _time_axis(axes, results, "film, hottest place / °C", "Film")
    _legend(axes, loc="center right")
    axes.set_ylim(None, 1.08 * max(top, line))
    return axes


def draw_nail_bed_temperature(axes: Axes, results: Sequence[CureResult], limit_k: float) -> Axes:
    """Nail-bed temperature against time with the comfort line and the limit."""
    for style, result in zip(line_styles(len(results)), results, strict=True):
        axes.plot(result.time_s, c_from_k(result.nail_bed_k), lw=1.6, label=result.position, **style)
    top = max(float(np.max(c_from_k(result.nail_bed_k))) for result in results)
    for line_k, words, colour in ((COMFORT_K, "comfort", GREY), (limit_k, "limit", WARN)):
        line = c_from_k(line_k)
        axes.axhline(line, color=colour, lw=1.0, ls="--")
        _note(axes, line, f"{line:.0f} °C {words}", colour, is_below=words == "comfort")
    _time_axis(axes, results, "nail bed / °C", "Nail bed")
    axes.set_ylim(None, max(top, c_from_k(limit_k)) + 2.0)
    return axes


def _time_axis(axes: Axes, results: Sequence[CureResult], label: str, title: str) -> None:
    axes.set_xlim(0.0, max(float(result.time_s[-1]) for result in results))
    axes.set_xlabel("time from switch-on / s")
    axes.set_ylabel(label)
    _title(axes, title)


def _title(axes: Axes, words: str) -> None:
    axes.set_title(words, loc="left", fontsize=10, fontweight="bold", color="#222222")


def _legend(axes: Axes, **where: Any) -> None:
    axes.legend(frameon=False, fontsize=8, labelcolor="#333333", **where)


def _note(axes: Axes, height: float, words: str, colour: str, is_below: bool = False) -> None:
    """Write a line's meaning on the line, or below it where another line lies close above, at the right-hand end."""
    axes.annotate(
        words, (1.0, height), xycoords=("axes fraction", "data"), xytext=(0, -2 if is_below else 2),
        textcoords="offset points", ha="right", va="top" if is_below else "bottom", fontsize=7.5, color=colour,
    )  # fmt: skip


def margin_bars(constraints: Sequence[Constraint], figures: Sequence[float]) -> list[tuple[str, float, str]]:
    """Rows of the margin picture: name, margin as a share of the scale shown, and words.

    Parameters
    ----------
    constraints : sequence of Constraint
        The limits.
    figures : sequence of float
        The figure behind each, in SI units.

    Returns
    -------
    list of (str, float, str)
        Worst scenario of each limit, tightest first; the share is cut at +-1 for drawing only.
    """
    rows: dict[str, tuple[str, float, str]] = {}
    for row, figure in zip(constraints, figures, strict=True):
        value = -float(row.scaled(np.asarray(figure)))
        if row.limit_name not in rows or value < rows[row.limit_name][1]:
            rows[row.limit_name] = (
                row.name,
                value,
                f"{row.shown(figure)}, margin {row.shown_margin(figure)}",
            )
    return sorted(
        ((name, float(np.clip(v, -1.0, 1.0)), text) for name, v, text in rows.values()), key=lambda r: r[1]
    )


def draw_margins(axes: Axes, constraints: Sequence[Constraint], figures: Sequence[float]) -> Axes:
    """One bar per limit: how far inside (right) or outside (left) the blend lies."""
    rows = margin_bars(constraints, figures)[::-1]
    colours = [WARN if value < 0.0 else "#E69F00" if value < 0.1 else "#009E73" for _, value, _ in rows]
    axes.barh(range(len(rows)), [value for _, value, _ in rows], color=colours, height=0.5)
    for i, (_, value, text) in enumerate(rows):
        axes.annotate(
            text, (max(value, 0.0), i), xytext=(5, 0), textcoords="offset points", va="center", fontsize=8
        )
    axes.set_yticks(range(len(rows)), [name for name, _, _ in rows])
    axes.axvline(0.0, color="#333333", lw=1.0)
    axes.set_xlim(min(-0.05, min(value for _, value, _ in rows) - 0.1), 1.75)
    axes.set_xticks([])
    for side in ("bottom", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)
    _title(axes, "Room left to each limit, worst case of each")
    return axes


def draw_cycles(axes: Axes, shares: Mapping[str, Sequence[float]]) -> Axes:
    """Bars of each cycle's heat as a share of the first, grouped by position, with the trade's 5 % line.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    shares : mapping of str to sequence of float
        Position to the heat of its cycles over that of the first [-].
    """
    width = 0.8 / len(shares)
    hatches = ("", "///", "...", "xxx", "---", "\\\\\\")
    for i, (style, (position, each)) in enumerate(zip(line_styles(len(shares)), shares.items(), strict=True)):
        left = [number + (i - 0.5 * (len(shares) - 1)) * width for number in range(1, len(each) + 1)]
        hatch = hatches[i % len(hatches)]
        axes.bar(
            left, [100.0 * share for share in each], width, color=style["color"], hatch=hatch, label=position
        )
        for place, share in zip(left[1:], each[1:], strict=True):  # too low to be seen in a well cured film
            axes.annotate(
                f"{100.0 * share:.1f}", (place, max(100.0 * share, 5.0)), xytext=(0, 3), textcoords="offset points", ha="center",
                fontsize=7, color="#333333",
            )  # fmt: skip
    axes.axhline(5.0, color=WARN, lw=1.0, ls="--", label="5 %: common practice, no source")
    cycles = max(len(each) for each in shares.values())
    axes.set_xticks(range(1, cycles + 1))
    axes.set_xlabel("cycle")
    axes.set_ylabel("heat / % of the first cycle")
    _title(axes, "Heat of reaction by cycle")
    _legend(axes, loc="upper right")
    return axes


def handout_style() -> dict[Any, Any]:
    """Settings for a page that is printed: text stays text in a PDF."""
    return {**_STYLE, "font.size": 8, "pdf.fonttype": 42, "axes.titlesize": 9}
