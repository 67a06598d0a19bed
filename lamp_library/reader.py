"""Read a spectroradiometer export into a Lamp.

Accepted: comma, semicolon or tab between columns; decimal point, or decimal comma where the
comma does not separate columns; UTF-8 (Latin-1 above the table); any lines above the table.
Wide form: a wavelength column and one column per position. Long form: three columns, one of
them the position. Units are declared by the option or in the file's heading, never guessed.
Wavelengths ascend; a strictly descending table is turned round and a note says so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .errors import InputError, unknown_name
from .lamp import Lamp
from .plausibility import check_irradiance, check_power
from .spectrum import Spectrum
from .tables import Table, find_table, read_text, to_numbers, wavelength_column
from .unit_text import settle_unit, without_unit
from .units import spectral_irradiance_w_m2_nm

MIN_ROWS = 10
NOISE_FRACTION = 0.01
GAP_STEPS = 3.0
END_FRACTION = 0.02
FLOOR_FRACTION = 5e-4
# sampling broadens a line: 0.42 of the width it shows is half of its own width at the worst phase
COARSE_STEP_RATIO = 0.42
NOT_RECORDED = "not recorded"
PROVENANCE_FIELDS = (
    "lamp_type", "serial_number", "hours_of_use", "supply", "nominal_wavelengths_nm", "dies_per_type", "inner_finish",
    "position_map", "distance_mm", "dummy_hand", "ambient_c", "programme_waveform", "instrument", "instrument_range_nm",
    "bandwidth_nm", "diffuser", "calibration_date", "calibration_traceable_to", "dark_subtracted",
    "stray_light_corrected", "bandwidth_corrected", "expanded_uncertainty_percent", "repeatability",
    "repeat_after_10_cycles", "second_instrument_irradiance_mw_cm2", "measured_on", "laboratory", "licence",
)  # fmt: skip
WAVELENGTH_RANGE_NM = (200.0, 1100.0)

_POSITION_HEADS = {"position", "finger", "nail", "site", "location", "place", "channel"}

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Readings:
    """Columns of one file on one ascending wavelength grid, in the file's own unit."""

    wavelength_nm: FloatArray
    values: Mapping[str, FloatArray]
    rows: Mapping[str, tuple[int, ...]]
    heading: tuple[str, ...]
    notes: tuple[str, ...]


def read_export(
    path: str | Path,
    *,
    unit: str | None = None,
    name: str | None = None,
    lamp_id: str | None = None,
    dark_column: str | None = None,
    dark_file: str | Path | None = None,
    electrical_power_w: float | None = None,
    opening_area_m2: float | None = None,
) -> Lamp:
    """Read a spectroradiometer export.

    Parameters
    ----------
    path : str or Path
        The export; the module's docstring tells the accepted dialects.
    unit : str, optional
        ``"W/m2/nm"``, ``"mW/m2/nm"``, ``"mW/cm2/nm"`` or ``"uW/cm2/nm"`` in any usual spelling;
        may be left out when the file's heading declares it, and must not contradict it.
    name, lamp_id : str, optional
        Description and short name; both are taken from the file name when left out.
    dark_column : str, optional
        Column (or position, in long form) with the dark reading to subtract from all others.
    dark_file : str or Path, optional
        File with the dark reading, on the same wavelengths: one column, or one per position.
    electrical_power_w : float, optional
        Rated electrical power of the lamp [W].
    opening_area_m2 : float, optional
        Area of the lamp's opening at the hand [m2]; with the power it bounds the optical power.

    Returns
    -------
    Lamp
        With constant output and 25 C air, since an export does not tell them; `notes` says what
        the reader did and what deserves a look.

    Raises
    ------
    InputError
        One line with file, row, rule and remedy.
    UnknownNameError
        If the unit or the dark column does not exist.
    """
    path = Path(path)
    readings = _read(path)
    unit = settle_unit(unit, readings.heading, path.name)
    signal, notes = _without_dark(readings, dark_column, dark_file, unit, path.name)
    notes = [*readings.notes, *notes]
    notes += _check_values(readings, signal, path.name)
    spectra = {
        position: Spectrum(readings.wavelength_nm, spectral_irradiance_w_m2_nm(values, unit))
        for position, values in signal.items()
    }
    notes += _grid_notes(spectra)
    notes.append(
        "Output over time and air temperature were not in the export: constant output and 25 C assumed."
    )
    lamp = Lamp(
        lamp_id=lamp_id or _id_from(name or path.stem),
        name=name or path.stem,
        spectra=spectra,
        provenance=dict.fromkeys(PROVENANCE_FIELDS, NOT_RECORDED)
        | {
            "source_file": path.name,
            "unit_in_file": unit,
            "dark_subtracted": _dark_text(dark_column, dark_file),
        },
        electrical_power_w=electrical_power_w,
        notes=tuple(notes),
    )
    check_irradiance(lamp.mean_spectrum(), unit, path.name)
    if electrical_power_w is not None and opening_area_m2 is not None:
        check_power(lamp.mean_spectrum(), opening_area_m2, electrical_power_w, path.name)
    return lamp


def _id_from(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "lamp"


def _dark_text(dark_column: str | None, dark_file: str | Path | None) -> str:
    if dark_column is not None:
        return f"yes, column {dark_column}"
    return f"yes, file {Path(dark_file).name}" if dark_file is not None else "not recorded"


def _read(path: Path) -> _Readings:
    table = find_table(read_text(path), path.name)
    heading = (*table.preamble, *table.header)
    if any(re.search(r"\bcounts?\b", head, re.IGNORECASE) for head in table.header):
        raise InputError(
            f"{path.name}, row {table.header_row}: the values are counts, not irradiance; export calibrated spectra."
        )
    long_column = _position_column(table)
    columns = _wide_columns(table) if long_column < 0 else _long_columns(table, long_column)
    return _on_one_grid(columns, heading, path.name)


def _position_column(table: Table) -> int:
    found = [i for i, head in enumerate(table.header) if head.strip().lower() in _POSITION_HEADS]
    if not found:
        return -1
    if len(table.header) != 3:
        raise InputError(
            f"{table.file}, row {table.header_row}: a position column needs exactly three columns (position, "
            f"wavelength, value), not {len(table.header)}; remove the others, or rename '{table.header[found[0]]}'."
        )
    return found[0]


_Column = list[tuple[int, float, float]]  # row, wavelength in nm, value


def _wide_columns(table: Table) -> dict[str, _Column]:
    wavelength = wavelength_column(table.header)
    labels = [_label(head) for head in table.header]
    others = [i for i in range(len(labels)) if i != wavelength]
    for i in others:
        if not labels[i]:
            raise InputError(
                f"{table.file}, row {table.header_row}: column {i + 1} has no name; name the position."
            )
        if labels.index(labels[i]) != i:
            raise InputError(
                f"{table.file}, row {table.header_row}: two columns are called '{labels[i]}'; give each its own name."
            )
    rows = to_numbers(table, range(len(labels)))
    return {labels[i]: [(row, numbers[wavelength], numbers[i]) for row, numbers in rows] for i in others}


def _label(head: str) -> str:
    """Position name of a column head; a head that is only a unit becomes ``position``."""
    return without_unit(head) or ("position" if head.strip() else "")


def _long_columns(table: Table, position: int) -> dict[str, _Column]:
    wavelength = wavelength_column(table.header)
    value = 3 - position - wavelength
    columns: dict[str, _Column] = {}
    numbers = to_numbers(table, (wavelength, value))
    for (row, cells), (_, (nm, reading)) in zip(table.rows, numbers, strict=True):
        label = cells[position].strip()
        if not label:
            raise InputError(f"{table.file}, row {row}: the position is blank; fill it in.")
        columns.setdefault(label, []).append((row, nm, reading))
    return columns


def _on_one_grid(columns: dict[str, _Column], heading: tuple[str, ...], file: str) -> _Readings:
    turned = False
    grids: list[FloatArray] = []
    for label, column in columns.items():
        nm = np.array([each[1] for each in column])
        if nm.size > 1 and np.all(np.diff(nm) < 0.0):
            column.reverse()
            nm, turned = nm[::-1], True
        _check_wavelengths(nm, [each[0] for each in column], label, file)
        if grids and not np.array_equal(nm, grids[0]):
            raise InputError(
                f"{file}, row {column[0][0]}: position '{label}' has other wavelengths than the first position; "
                "export all positions on one grid."
            )
        grids.append(nm)
    return _Readings(
        wavelength_nm=grids[0],
        values={label: np.array([each[2] for each in column]) for label, column in columns.items()},
        rows={label: tuple(each[0] for each in column) for label, column in columns.items()},
        heading=heading,
        notes=("The wavelengths descend in the file; they were turned round.",) if turned else (),
    )


def _check_wavelengths(nm: FloatArray, rows: list[int], label: str, file: str) -> None:
    where = f"{file}, position '{label}'"
    if nm.size < MIN_ROWS:
        raise InputError(
            f"{where}: {nm.size} wavelengths only; at least {MIN_ROWS} are needed. Export the whole spectrum."
        )
    low, high = WAVELENGTH_RANGE_NM
    outside = np.flatnonzero((nm < low) | (nm > high))
    if outside.size:
        raise InputError(
            f"{file}, row {rows[outside[0]]}: wavelength is {nm[outside[0]]:g}; it must be {low:g}-{high:g} nm. Give "
            "wavelengths in nm."
        )
    steps = np.diff(nm)
    if (equal := np.flatnonzero(steps == 0.0)).size:
        i = equal[0]
        raise InputError(
            f"{file}, row {rows[i + 1]}: wavelength {nm[i]:g} nm occurs twice (also in row {rows[i]}); keep one."
        )
    if (falling := np.flatnonzero(steps < 0.0)).size:
        i = falling[0]
        twice = np.flatnonzero(nm[: i + 1] == nm[i + 1])
        also = f" and occurs twice (also in row {rows[twice[0]]})" if twice.size else ""
        raise InputError(
            f"{file}, row {rows[i + 1]}: wavelength {nm[i + 1]:g} nm follows {nm[i]:g} nm{also}; wavelengths must be "
            "sorted, without repeats. Sort the table."
        )
    wide = np.flatnonzero(steps > GAP_STEPS * float(np.median(steps)))
    if wide.size:
        i = wide[0]
        raise InputError(
            f"{file}, row {rows[i + 1]}: gap in the wavelengths between {nm[i]:g} and {nm[i + 1]:g} nm (usual step "
            f"{np.median(steps):.3g} nm); export the missing rows."
        )


def _without_dark(
    readings: _Readings, dark_column: str | None, dark_file: str | Path | None, unit: str, file: str
) -> tuple[dict[str, FloatArray], list[str]]:
    signal = dict(readings.values)
    if dark_column is not None and dark_file is not None:
        raise InputError(f"{file}: dark column and dark file are both given; give one of them.")
    if dark_column is not None:
        if dark_column not in signal:
            raise unknown_name(f"dark column in {file}", dark_column, signal)
        dark = signal.pop(dark_column)
        if not signal:
            raise InputError(
                f"{file}: the dark column is the only one; the file needs at least one position."
            )
        return {label: values - dark for label, values in signal.items()}, [
            f"The dark column '{dark_column}' was subtracted."
        ]
    suspect = [label for label in signal if label.lower().startswith(("dark", "background"))]
    if suspect and len(signal) > 1:
        raise InputError(
            f"{file}: column '{suspect[0]}' looks like a dark reading; say --dark-column {suspect[0]}, or rename it."
        )
    if dark_file is None:
        return signal, []
    return _minus_dark_file(readings, signal, Path(dark_file), unit)


def _minus_dark_file(
    readings: _Readings, signal: dict[str, FloatArray], path: Path, unit: str
) -> tuple[dict[str, FloatArray], list[str]]:
    dark = _read(path)
    settle_unit(unit, dark.heading, path.name)
    if not np.array_equal(dark.wavelength_nm, readings.wavelength_nm):
        raise InputError(
            f"{path.name}: the dark reading has other wavelengths than the lamp's file; use the same grid."
        )
    if len(dark.values) == 1:
        only = next(iter(dark.values.values()))
        columns = dict.fromkeys(signal, only)
    else:
        missing = [label for label in signal if label not in dark.values]
        if missing:
            raise InputError(
                f"{path.name}: no dark reading for position '{missing[0]}'; give one column, or one each."
            )
        columns = dict(dark.values)
    return {label: values - columns[label] for label, values in signal.items()}, [
        f"The dark file {path.name} was subtracted."
    ]


def _check_values(readings: _Readings, signal: Mapping[str, FloatArray], file: str) -> list[str]:
    small = {}
    for position, values in signal.items():
        peak = float(values.max())
        lowest = int(values.argmin())
        if values[lowest] < min(-NOISE_FRACTION * peak, 0.0):
            raise InputError(
                f"{file}, row {readings.rows[position][lowest]}: spectral irradiance at '{position}' is "
                f"{values[lowest]:.3g} after dark subtraction, peak {peak:.3g}; below -1 % of the peak is no noise. "
                "Check the dark reading."
            )
        small[position] = int(np.count_nonzero(values < 0.0))
    if not sum(small.values()):
        return []
    share = ", ".join(f"{position} {count}" for position, count in small.items() if count)
    return [f"Small negative readings (noise) are kept in the file and taken as dark by the model: {share}."]


def _grid_notes(spectra: Mapping[str, Spectrum]) -> list[str]:
    coarse, cut, floor = [], [], []
    for position, spectrum in spectra.items():
        light = spectrum.spectral_irradiance_w_m2_nm
        step = float(np.diff(spectrum.wavelength_nm).max())
        coarse += [
            f"{position} {peak.wavelength_nm:.4g} nm (width {peak.fwhm_nm:.3g} nm, step {step:.3g} nm)"
            for peak in spectrum.peaks()
            if step > COARSE_STEP_RATIO * peak.fwhm_nm
        ]
        for end in (0, -1):
            if light[end] > END_FRACTION * float(light.max()):
                cut.append(f"{position} {spectrum.wavelength_nm[end]:.4g} nm")
        dark = light[spectrum.light().spectral_irradiance_w_m2_nm == 0.0]
        if dark.size >= MIN_ROWS and float(dark.mean()) > FLOOR_FRACTION * float(light.max()):
            floor.append(f"{position} {100 * dark.mean() / light.max():.2g} %")
    notes = []
    if floor:
        notes.append(
            f"A floor remains where the lamp is dark, in percent of the peak; ask for the dark reading and the "
            f"stray-light correction: {', '.join(floor)}."
        )
    if coarse:
        notes.append(
            f"Wavelength step coarser than half the width of a peak, measure finer: {', '.join(coarse)}."
        )
    if cut:
        notes.append(
            f"The lamp still shines at the end of the measured range, light beyond is not counted: {', '.join(cut)}."
        )
    return notes
