"""Lamp folders on disk: ``lamp.toml`` beside ``spectra.csv``. Use `load_lamp` and `save_lamp`."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from .course import AirTemperature, OutputCourse, Programme, Segment
from .errors import InputError
from .lamp import Lamp, text_sha256
from .spectrum import Spectrum
from .tables import find_table, read_text, to_numbers, wavelength_column
from .toml_section import Section
from .toml_text import TomlValue, toml_text
from .units import SPECTRAL_IRRADIANCE_UNITS, c_from_k, k_from_c, spectral_irradiance_w_m2_nm

FORMAT = "gelwright lamp 1"
DEMONSTRATION_LABEL = "invented demonstration data"

_TOP_KEYS = (
    "format", "id", "name", "demonstration", "electrical_power_w", "notes",
    "spectra", "course", "air", "programmes", "provenance",
)  # fmt: skip


def read_lamp(path: Path) -> Lamp:
    """Read a lamp from its folder or its ``lamp.toml``; see `load_lamp` for the errors."""
    toml_path = path / "lamp.toml" if path.suffix != ".toml" else path
    if not toml_path.is_file():
        raise InputError(
            f"{path}: no lamp file here; give a lamp folder (with lamp.toml), or read an export first: "
            "gelwright lamp read."
        )
    top = Section.of_file(toml_path)
    where = top.where
    top.only(*_TOP_KEYS)
    if top.values.get("format") != FORMAT:
        raise InputError(
            f"{where}: format is {top.values.get('format')!r}; it must be '{FORMAT}'. Add the line format = "
            f'"{FORMAT}" if this is a lamp file.'
        )
    try:
        return _lamp(top, toml_path.parent)
    except InputError as error:
        raise InputError(str(error) if where in str(error) else f"{where}: {error}") from error


def write_lamp(lamp: Lamp, folder: Path, *, overwrite: bool) -> Path:
    """Write a lamp's two files; see `save_lamp`."""
    toml_path, csv_path = folder / "lamp.toml", folder / "spectra.csv"
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: is a file; give the name of a folder for the lamp.")
    for path in (toml_path, csv_path):
        if path.exists() and not overwrite:
            raise InputError(f"{path}: exists already; choose another folder, or ask to overwrite.")
    spectra_text = _spectra_text(lamp)
    comments = [f"{lamp.name}: {DEMONSTRATION_LABEL}, no real lamp"] if lamp.is_demonstration else [lamp.name]
    document_text = toml_text(_document(lamp, text_sha256(spectra_text)), comments=comments)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        csv_path.write_text(spectra_text, encoding="utf-8", newline="\n")
        toml_path.write_text(document_text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror}); choose another folder.") from error
    return toml_path


def _spectra_text(lamp: Lamp) -> str:
    heads = [_csv_head(position) for position in lamp.positions]
    first = f"# spectral irradiance in W/m2/nm{f'; {DEMONSTRATION_LABEL}' if lamp.is_demonstration else ''}"
    lines = [first, ",".join(["wavelength_nm", *heads])]
    grid = lamp.mean_spectrum().wavelength_nm
    columns = [lamp.spectrum(position).spectral_irradiance_w_m2_nm for position in lamp.positions]
    for wavelength, *values in zip(grid, *columns, strict=True):
        lines.append(",".join([repr(float(wavelength)), *(repr(float(value)) for value in values)]))
    return "\n".join(lines) + "\n"


def _csv_head(position: str) -> str:
    if any(c in position for c in ',"\n\t;#'):
        raise InputError(f"position '{position}' holds a separator or quote; rename it before saving.")
    return position


def _document(lamp: Lamp, sha256: str) -> dict[str, TomlValue]:
    document: dict[str, TomlValue] = {"format": FORMAT, "id": lamp.lamp_id, "name": lamp.name}
    document["demonstration"] = lamp.is_demonstration
    if lamp.electrical_power_w is not None:
        document["electrical_power_w"] = float(lamp.electrical_power_w)
    if lamp.notes:
        document["notes"] = list(lamp.notes)
    document["spectra"] = {
        "file": "spectra.csv",
        "unit": "W/m2/nm",
        "positions": list(lamp.positions),
        "sha256": sha256,
    }
    document["course"] = {
        "overshoot_fraction": float(lamp.course.overshoot_fraction),
        "time_constant_s": float(lamp.course.time_constant_s),
        "level_ratio": float(lamp.course.level_ratio),
        "measured_after_s": float(lamp.course.measured_after_s),
    }
    document["air"] = {
        # nine decimals of a degree, so that 25 C comes back as 25.0 and not 25.000000000000057
        "start_c": round(c_from_k(lamp.air.start_k), 9),
        "rise_k": float(lamp.air.rise_k),
        "time_constant_s": float(lamp.air.time_constant_s),
    }
    document["programmes"] = {name: _programme_table(each) for name, each in lamp.programmes.items()}
    document["provenance"] = dict(lamp.provenance)
    return document


def _programme_table(programme: Programme) -> dict[str, TomlValue]:
    segments: list[TomlValue] = [
        {
            "duration_s": float(each.duration_s),
            "level_start_ratio": float(each.level_start_ratio),
            "level_end_ratio": float(each.level_end_ratio),
        }
        for each in programme.segments
    ]
    table: dict[str, TomlValue] = {"repeat": programme.repeat, "segments": segments}
    if programme.notes:
        table["notes"] = list(programme.notes)
    return table


def _lamp(top: Section, folder: Path) -> Lamp:
    provenance = top.table("provenance", required=False)
    return Lamp(
        lamp_id=top.text("id"),
        name=top.text("name"),
        spectra=_spectra(top.table("spectra"), folder),
        course=_course(top.table("course")),
        air=_air(top.table("air")),
        programmes=_programmes(top.table("programmes", required=False)),
        provenance={key: provenance.text(key) for key in provenance.values},
        electrical_power_w=top.number("electrical_power_w") if "electrical_power_w" in top.values else None,
        is_demonstration=top.flag("demonstration"),
        notes=top.sentences("notes"),
    )


def _course(section: Section) -> OutputCourse:
    names = ("overshoot_fraction", "time_constant_s", "level_ratio", "measured_after_s")
    section.only(*names)
    return OutputCourse(**{name: section.number(name) for name in names})


def _air(section: Section) -> AirTemperature:
    section.only("start_c", "rise_k", "time_constant_s")
    return AirTemperature(
        start_k=k_from_c(section.number("start_c")),
        rise_k=section.number("rise_k"),
        time_constant_s=section.number("time_constant_s"),
    )


def _programmes(section: Section) -> dict[str, Programme]:
    found = {}
    for name in section.values:
        table = section.table(name)
        table.only("repeat", "segments", "notes")
        segments = []
        for part in table.rows("segments"):
            names = ("duration_s", "level_start_ratio", "level_end_ratio")
            part.only(*names)
            segments.append(Segment(**{each: part.number(each) for each in names}))
        found[name] = Programme(
            name=name, segments=tuple(segments), repeat=table.flag("repeat"), notes=table.sentences("notes")
        )
    return found


def _spectra(section: Section, folder: Path) -> dict[str, Spectrum]:
    section.only("file", "unit", "positions", "sha256")
    path, unit = folder / section.text("file"), section.text("unit")
    if unit not in SPECTRAL_IRRADIANCE_UNITS:
        raise InputError(
            f"{section.name}: unit is '{unit}'; allowed: {', '.join(SPECTRAL_IRRADIANCE_UNITS)}."
        )
    text = read_text(path)
    if "sha256" in section.values and section.text("sha256") != text_sha256(text):
        raise InputError(
            f"{path}: the spectra have changed since {section.where} was written (sha256 differs); restore the "
            "file, or delete the sha256 line if the change is meant."
        )
    table = find_table(text, str(path))
    if wavelength_column(table.header) != 0:
        raise InputError(f"{path}, row {table.header_row}: the first column must be the wavelength; move it.")
    positions = section.values.get("positions")
    if list(table.header[1:]) != positions:
        raise InputError(
            f"{path}, row {table.header_row}: the columns are {', '.join(table.header[1:])}, but {section.name} lists "
            f"{positions}; make them equal."
        )
    rows = to_numbers(table, range(len(table.header)))
    data = np.array([numbers for _, numbers in rows])
    falling = np.flatnonzero(np.diff(data[:, 0]) <= 0.0)
    if falling.size:
        raise InputError(
            f"{path}, row {rows[falling[0] + 1][0]}: wavelengths must ascend without repeats; sort them."
        )
    return {
        position: Spectrum(data[:, 0], spectral_irradiance_w_m2_nm(data[:, i], unit))
        for i, position in enumerate(table.header[1:], start=1)
    }
