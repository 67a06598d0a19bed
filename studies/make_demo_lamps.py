"""Which lamps can be tried before one has been measured? Makes the five demonstration lamps.

Everything here is invented: shapes come from measured diodes (lamp_library/led_shapes.csv), but
levels, spread over the fingers, noise, warm-up and programmes are made up to look like a day at
a bench. Each lamp is written as a raw export in another dialect and read back with the reader, so
the shipped lamps are what a user's own file would give. Run from the repository:

    python studies/make_demo_lamps.py

rewrites lamp_library/lamps; a test checks that this changes no byte.
"""

import importlib.util
import math
import random
import sys
import types
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

REPOSITORY = Path(__file__).resolve().parents[1]
if "gelwright" not in sys.modules and importlib.util.find_spec("gelwright") is None:  # a bare checkout
    _package = types.ModuleType("gelwright")
    _package.__path__ = [str(REPOSITORY)]
    sys.modules["gelwright"] = _package

from gelwright.lamp_library.course import AirTemperature, OutputCourse, Programme, Segment
from gelwright.lamp_library.emitters import emitter_spectrum
from gelwright.lamp_library.lamp import Lamp, save_lamp
from gelwright.lamp_library.reader import read_export
from gelwright.lamp_library.units import (
    k_from_c,
    spectral_irradiance_w_m2_nm,
    w_m2_from_mw_cm2,
)

LABEL = "invented demonstration data"
FINGERS = ("thumb", "index", "middle", "ring", "little")
MERCURY_LINES_NM = (365.0, 404.7, 435.8)
SEED = 20250101

Columns = Mapping[str, list[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """One invented lamp: what shines, how much of it at each finger, and how it was exported."""

    lamp_id: str
    name: str
    channels: Mapping[str, float]  # emitter shape -> mean irradiance, mW/cm2
    at_finger: Mapping[str, tuple[float, ...]]  # emitter shape -> level at the five fingers over the mean
    grid_nm: list[float]
    unit: str
    electrical_power_w: float
    export: Callable[["Recipe", Path], dict[str, Any]]
    course: OutputCourse
    air: AirTemperature
    programmes: tuple[Programme, ...] = ()
    provenance: tuple[tuple[str, str], ...] = ()
    mercury_share: float = 0.0


def noise(source: random.Random) -> float:
    """Near-normal noise of unit width; twelve uniforms, so that every platform gives the same digits."""
    return sum(source.random() for _ in range(12)) - 6.0


def true_columns(recipe: Recipe) -> Columns:
    """Noise-free spectral irradiance at each finger, W/m2/nm."""
    columns = {}
    for number, finger in enumerate(FINGERS):
        total = [0.0] * len(recipe.grid_nm)
        for shape, mean_mw_cm2 in recipe.channels.items():
            level = w_m2_from_mw_cm2(mean_mw_cm2) * recipe.at_finger[shape][number]
            line = emitter_spectrum(shape, recipe.grid_nm, level).spectral_irradiance_w_m2_nm
            total = [a + float(b) for a, b in zip(total, line, strict=True)]
            for centre in MERCURY_LINES_NM if recipe.mercury_share else ():
                # 2 nm wide, as an array instrument shows a line
                height = recipe.mercury_share * level / 2.13
                total = [
                    value + height * math.exp(-4.0 * math.log(2.0) * ((nm - centre) / 2.0) ** 2)
                    for nm, value in zip(recipe.grid_nm, total, strict=True)
                ]
        columns[finger] = total
    return columns


def measured_columns(recipe: Recipe, with_dark: bool) -> Columns:
    """What the invented instrument shows, in the file's unit: stray light, dark offset and noise added."""
    source = random.Random(f"{SEED} {recipe.lamp_id}")
    truth = true_columns(recipe)
    peak = max(max(values) for values in truth.values())
    per_unit = spectral_irradiance_w_m2_nm(1.0, recipe.unit)
    dark = [(0.0008 + 0.0002 * math.sin(nm / 7.0)) * peak if with_dark else 0.0 for nm in recipe.grid_nm]
    shown = {}
    for finger, values in truth.items():
        stray = 1.5e-4 * max(values)
        shown[finger] = [
            (value * (1.0 + 0.002 * noise(source)) + stray + offset + 1.2e-4 * peak * noise(source))
            / per_unit
            for value, offset in zip(values, dark, strict=True)
        ]
    if with_dark:
        shown["dark"] = [(offset + 0.8e-4 * peak * noise(source)) / per_unit for offset in dark]
    return shown


def wide_lines(recipe: Recipe, columns: Columns, separator: str, digits: int) -> list[str]:
    """Table body, one row per wavelength."""
    return [
        separator.join([f"{nm:.2f}", *(f"{columns[name][i]:.{digits}f}" for name in columns)])
        for i, nm in enumerate(recipe.grid_nm)
    ]


def export_semicolon_comma(recipe: Recipe, folder: Path) -> dict[str, Any]:
    """Semicolons, decimal commas, byte-order mark, metadata above, a dark column."""
    columns = measured_columns(recipe, with_dark=True)
    lines = [
        f"Comment;{LABEL}",
        "Instrument;invented array spectroradiometer",
        "Integration time;120 ms",
        "Averages;8",
        "Quantity;Spectral irradiance [mW/m²/nm]",
        "",
        ";".join(["Wavelength [nm]", *columns]),
        *(line.replace(".", ",") for line in wide_lines(recipe, columns, ";", 2)),
    ]
    return write(folder, "export_semicolon.csv", "\r\n".join(lines) + "\r\n", "utf-8-sig") | {
        "dark_column": "dark"
    }


def export_tab_long(recipe: Recipe, folder: Path) -> dict[str, Any]:
    """Tabs, long form: position, wavelength, value."""
    columns = measured_columns(recipe, with_dark=False)
    lines = [f"# {LABEL}", "# five positions, one after the other", "position\twavelength_nm\tE (µW/cm²/nm)"]
    for finger, values in columns.items():
        lines += [
            f"{finger}\t{nm:.1f}\t{value:.3f}" for nm, value in zip(recipe.grid_nm, values, strict=True)
        ]
    return write(folder, "export_tab_long.csv", "\n".join(lines) + "\n", "utf-8")


def export_comma_descending(recipe: Recipe, folder: Path) -> dict[str, Any]:
    """Commas, decimal points, wavelengths from long to short."""
    columns = measured_columns(recipe, with_dark=False)
    heads = [f"{finger} (mW/cm2/nm)" for finger in columns]
    body = reversed(wide_lines(recipe, columns, ",", 6))
    lines = [f"# {LABEL}", ",".join(["nm", *heads]), *body]
    return write(folder, "export_comma.csv", "\n".join(lines) + "\n", "utf-8")


def export_with_dark_file(recipe: Recipe, folder: Path) -> dict[str, Any]:
    """Commas, no unit in the heading, and the dark reading in a file of its own."""
    columns = dict(measured_columns(recipe, with_dark=True))
    dark = {"dark": columns.pop("dark")}
    first = f"# {LABEL}"
    for name, part in (("export_dark.csv", dark), ("export_comma.csv", columns)):
        lines = [first, ",".join(["wavelength", *part]), *wide_lines(recipe, part, ",", 6)]
        written = write(folder, name, "\n".join(lines) + "\n", "utf-8")
    return written | {"dark_file": folder / "export_dark.csv", "unit": recipe.unit}


def export_latin(recipe: Recipe, folder: Path) -> dict[str, Any]:
    """Semicolons, decimal points, a units row, and a Latin-1 heading as older programs write it."""
    columns = measured_columns(recipe, with_dark=False)
    lines = [
        f"// {LABEL}",
        "Prüfling: Lampe; Messgröße: E(λ)".replace("λ", "lambda"),
        "Temperatur: 25 °C",
        ";".join(["Wavelength", *columns]),
        ";".join(["nm", *["µW/cm²/nm"] * len(columns)]),
        *wide_lines(recipe, columns, ";", 3),
    ]
    return write(folder, "export_latin1.csv", "\r\n".join(lines) + "\r\n", "latin-1")


def write(folder: Path, name: str, text: str, encoding: str) -> dict[str, Any]:
    """Write one export and say where it is."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(text.encode(encoding))
    return {"path": folder / name}


def even_grid_nm(first: float, last: float, step: float) -> list[float]:
    """Evenly spaced wavelengths."""
    return [round(first + i * step, 2) for i in range(round((last - first) / step) + 1)]


def array_grid_nm() -> list[float]:
    """Pixels of an array instrument: the step shrinks slowly towards the red."""
    return [round(300.2 + 0.82 * pixel - 0.00016 * pixel**2, 2) for pixel in range(265)]


def low_heat(ramp_s: float, start_ratio: float) -> Programme:
    """Ramp from a part of the output to all of it, then full."""
    ramp = Segment(duration_s=ramp_s, level_start_ratio=start_ratio, level_end_ratio=1.0)
    return Programme(name="low_heat", segments=(ramp,), repeat=False)


def slow_pulse(on_s: float, off_s: float) -> Programme:
    """Visible blinking: full output, then dark."""
    on = Segment(duration_s=on_s, level_start_ratio=1.0, level_end_ratio=1.0)
    off = Segment(duration_s=off_s, level_start_ratio=0.0, level_end_ratio=0.0)
    return Programme(name="slow_pulse", segments=(on, off), repeat=True)


def course(overshoot: float, time_constant_s: float, measured_after_s: float) -> OutputCourse:
    """Warm-up of a lamp as measured."""
    return OutputCourse(
        overshoot_fraction=overshoot, time_constant_s=time_constant_s, measured_after_s=measured_after_s
    )


def air(rise_k: float, time_constant_s: float) -> AirTemperature:
    """Air that starts at 25 C."""
    return AirTemperature(start_k=k_from_c(25.0), rise_k=rise_k, time_constant_s=time_constant_s)


RECIPES = (
    Recipe(
        lamp_id="demo_arch_365_405",
        name="Arch with two kinds of diodes, 365 and 405 nm",
        channels={"365_b": 13.0, "405_a": 22.0},
        at_finger={"365_b": (0.50, 1.08, 1.26, 1.14, 1.02), "405_a": (0.60, 1.04, 1.20, 1.14, 1.02)},
        grid_nm=even_grid_nm(300.0, 500.0, 1.0),
        unit="mW/m2/nm",
        electrical_power_w=48.0,
        export=export_semicolon_comma,
        course=course(0.10, 330.0, 60.0),
        air=air(6.0, 150.0),
        programmes=(low_heat(60.0, 0.2), slow_pulse(1.0, 1.0)),
        provenance=(("nominal_wavelengths_nm", "365, 405"), ("dies_per_type", "15 + 15")),
    ),
    Recipe(
        lamp_id="demo_narrow_405",
        name="Small flat lamp, 405 nm only",
        channels={"405_b": 22.0},
        at_finger={"405_b": (0.62, 1.05, 1.18, 1.12, 1.03)},
        grid_nm=even_grid_nm(300.0, 480.0, 1.0),
        unit="uW/cm2/nm",
        electrical_power_w=24.0,
        export=export_tab_long,
        course=course(0.06, 200.0, 60.0),
        air=air(3.0, 120.0),
        provenance=(("nominal_wavelengths_nm", "405"), ("dies_per_type", "12")),
    ),
    Recipe(
        lamp_id="demo_narrow_385",
        name="Reflector lamp, 385 nm only",
        channels={"385_a": 18.0},
        at_finger={"385_a": (0.80, 1.02, 1.10, 1.06, 1.02)},
        grid_nm=even_grid_nm(300.0, 480.0, 0.5),
        unit="mW/cm2/nm",
        electrical_power_w=36.0,
        export=export_comma_descending,
        course=course(0.12, 400.0, 120.0),
        air=air(5.0, 180.0),
        programmes=(low_heat(40.0, 0.3),),
        provenance=(("nominal_wavelengths_nm", "385"), ("dies_per_type", "18")),
    ),
    Recipe(
        lamp_id="demo_fluorescent_365",
        name="Four fluorescent tubes, broad and weak",
        channels={"f_blb_2": 6.6},
        at_finger={"f_blb_2": (0.72, 1.04, 1.12, 1.08, 1.04)},
        grid_nm=even_grid_nm(300.0, 480.0, 0.5),
        unit="W/m2/nm",
        electrical_power_w=36.0,
        export=export_with_dark_file,
        course=course(-0.30, 90.0, 300.0),
        air=air(4.0, 200.0),
        provenance=(("nominal_wavelengths_nm", "365 (tubes)"), ("dies_per_type", "four tubes of 9 W")),
        mercury_share=0.02,
    ),
    Recipe(
        lamp_id="demo_strong_395",
        name="Strong lamp with a hot centre, 395 nm",
        channels={"395_b": 75.0},
        at_finger={"395_b": (0.50, 0.95, 1.55, 1.20, 0.80)},
        grid_nm=array_grid_nm(),
        unit="uW/cm2/nm",
        electrical_power_w=96.0,
        export=export_latin,
        course=course(0.15, 240.0, 30.0),
        air=air(12.0, 90.0),
        programmes=(low_heat(60.0, 0.15), slow_pulse(2.0, 1.0)),
        provenance=(("nominal_wavelengths_nm", "395"), ("dies_per_type", "36")),
    ),
)


def make_lamp(recipe: Recipe, folder: Path) -> Lamp:
    """Write one lamp's raw export and the lamp read from it."""
    options = recipe.export(recipe, folder)
    lamp = read_export(
        name=recipe.name, lamp_id=recipe.lamp_id, electrical_power_w=recipe.electrical_power_w, **options
    )
    assumed = "Output over time"  # the note on what an export lacks does not hold: the recipe gives it
    lamp = replace(
        lamp,
        is_demonstration=True,
        course=recipe.course,
        air=recipe.air,
        programmes={each.name: each for each in recipe.programmes},
        provenance={**lamp.provenance, **dict(recipe.provenance), "data": LABEL, "licence": "as the product"},
        notes=tuple(note for note in lamp.notes if not note.startswith(assumed)),
    )
    save_lamp(lamp, folder, overwrite=True)
    return lamp


def main(folder: Path) -> None:
    """Write all five lamps below `folder`."""
    for recipe in RECIPES:
        make_lamp(recipe, folder / recipe.lamp_id)


if __name__ == "__main__":
    main(REPOSITORY / "lamp_library" / "lamps")
