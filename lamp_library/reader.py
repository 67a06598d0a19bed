"""Read a spectroradiometer export into a Lamp.

Accepted: comma, semicolon or tab between columns; decimal point, or decimal comma where the
comma does not separate columns; UTF-8, or Latin-1 when it is not UTF-8; any lines above the table.
Wide form: a wavelength column and one column per position. Long form: three columns, one of
them the position. Units are declared by the option or in the file's heading, never guessed.
Wavelengths ascend; a strictly descending table is turned round and a note says so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .errors import InputError, unknown_name
from .export_columns import MIN_ROWS, Readings, read_readings
from .lamp import Lamp
from .plausibility import check_irradiance, check_power
from .spectrum import Spectrum
from .unit_text import settle_unit
from .units import spectral_irradiance_w_m2_nm

NOISE_FRACTION = 0.01
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

FloatArray = NDArray[np.float64]


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
    if opening_area_m2 is not None and electrical_power_w is None:
        raise InputError("opening area is given without the electrical power; give both, or neither.")
    readings = read_readings(path)
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
        lamp_id=lamp_id or lamp_id_from(name or path.stem),
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


def lamp_id_from(name: str) -> str:
    """Lamp id from any text: lower-case letters, digits and underscores.

    Examples
    --------
    >>> lamp_id_from("Client A, lamp 3")
    'client_a_lamp_3'
    """
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "lamp"


def _dark_text(dark_column: str | None, dark_file: str | Path | None) -> str:
    if dark_column is not None:
        return f"yes, column {dark_column}"
    return f"yes, file {Path(dark_file).name}" if dark_file is not None else "not recorded"


def _without_dark(
    readings: Readings, dark_column: str | None, dark_file: str | Path | None, unit: str, file: str
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
    readings: Readings, signal: dict[str, FloatArray], path: Path, unit: str
) -> tuple[dict[str, FloatArray], list[str]]:
    dark = read_readings(path)
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


def _check_values(readings: Readings, signal: Mapping[str, FloatArray], file: str) -> list[str]:
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
