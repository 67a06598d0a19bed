"""Conversion curves and photocalorimetry: from an instrument's table to conversion, or to heat flow per mass of gel."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, unknown_name
from .log_table import LogTable, read_log_table
from .log_time import seconds, time_column
from .smoothing import noise_sd
from .trial import VALUE_RANGE

Array = NDArray[np.float64]

QUANTITIES = ("conversion_percent", "conversion_fraction", "peak_area")
HEAT_UNITS = ("mW", "W/g")
DIRECTIONS = ("up", "down")
_W_KG_PER_W_G = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """A measured course: times [s], values, scatter of one value, and what was done to it."""

    time_s: Array
    value: Array
    noise_sd: float
    notes: tuple[str, ...]


def conversion_from_areas(area: Array, reference: Array | None, uncured_ratio: float) -> Array:
    """Degree of conversion from the area of a C=C band, 1 - (A/A_ref)/(A/A_ref of the uncured gel) [-].

    Parameters
    ----------
    area, reference : ndarray, shape (n,)
        Area of the C=C band, and of a band that does not change; None = 1.
    uncured_ratio : float
        Ratio of the two in the uncured gel, > 0.

    Examples
    --------
    >>> conversion_from_areas(np.array([2.0, 1.0]), np.array([4.0, 4.0]), 0.5).tolist()
    [0.0, 0.5]
    """
    if not uncured_ratio > 0.0:
        raise InputError(f"the band ratio of the uncured gel is {uncured_ratio:g}; it must be above 0.")
    ratio = area if reference is None else area / reference
    return 1.0 - ratio / uncured_ratio


def conversion_from_residual_heat(total_j_g: float, residual_j_g: float) -> float:
    """Degree of cure from the heat that a cured sample still gives in a calorimeter, 1 - residual/total [-].

    Examples
    --------
    >>> round(conversion_from_residual_heat(242.35, 203.92), 3)
    0.159
    """
    if not 0.0 <= residual_j_g <= total_j_g or total_j_g <= 0.0:
        raise InputError(
            f"residual heat {residual_j_g:g} J/g of {total_j_g:g} J/g; the residual lies between 0 and the total."
        )
    return 1.0 - residual_j_g / total_j_g


def read_conversion(
    path: Path,
    value: str,
    quantity: str,
    *,
    reference: str | None = None,
    time: str | None = None,
    time_unit: str | None = None,
    light_on_s: float = 0.0,
    uncured_ratio: float | None = None,
) -> Curve:
    """Conversion against time since the light went on.

    Parameters
    ----------
    path : Path
        Table of the instrument.
    value : str
        Head of the column.
    quantity : str
        "conversion_percent", "conversion_fraction" or "peak_area" of a C=C band.
    reference : str, optional
        Head of the column with a band that does not change (peak areas).
    time, time_unit : str, optional
        As in `temperature_log`.
    light_on_s : float
        When the light went on, on the file's clock [s].
    uncured_ratio : float, optional
        Ratio of the areas in the uncured gel; by default the mean of the readings before the light.

    Raises
    ------
    InputError
        If the file breaks a rule, the uncured gel was not measured, or the conversion is not believable.
    """
    if quantity not in QUANTITIES:
        raise unknown_name("quantity", quantity, QUANTITIES)
    table, clock, notes = _clocked(path, time, time_unit, light_on_s)
    read = np.array(table.numbers(table.column(value)))
    where = f"{path.name}, column '{value}'"
    if quantity == "peak_area":
        other = None if reference is None else np.array(table.numbers(table.column(reference)))
        ratio = read if other is None else read / other
        if uncured_ratio is None:
            before = ratio[(clock < 0.0) & np.isfinite(ratio)]
            if before.size == 0:
                raise InputError(
                    f"{where}: no reading before the light, so the uncured gel is not known; log some seconds earlier, or give "
                    "uncured_ratio."
                )
            uncured_ratio = float(before.mean())
            notes.append(
                f"Band ratio of the uncured gel {uncured_ratio:.4g}, mean of {before.size} reading(s)."
            )
        found = conversion_from_areas(read, other, uncured_ratio)
    else:
        found = read / (100.0 if quantity == "conversion_percent" else 1.0)
    curve = _curve(clock, found, notes)
    if curve.value.max() > 1.05 or curve.value.min() < -0.1:
        slip = " As conversion_percent it would be believable." if quantity == "conversion_fraction" else ""
        raise InputError(
            f"{where}: read as {quantity}, conversion runs from {curve.value.min():.3g} to {curve.value.max():.3g}; it lies between "
            f"0 and 1.{slip}"
        )
    return curve


def read_heat_flow(
    path: Path,
    value: str,
    unit: str,
    exothermic: str,
    *,
    mass_mg: float | None = None,
    baseline: Path | None = None,
    time: str | None = None,
    time_unit: str | None = None,
    light_on_s: float = 0.0,
    light_off_s: float | None = None,
) -> Curve:
    """Heat flow of the reaction per mass of gel, positive when heat is given off [W/kg].

    Parameters
    ----------
    path : Path
        Table of the calorimeter.
    value : str
        Head of the column.
    unit : {"mW", "W/g"}
        Unit of the file.
    exothermic : {"up", "down"}
        Which way heat given off is drawn; instruments differ, so it is never guessed.
    mass_mg : float, optional
        Sample mass [mg], for mW.
    baseline : Path, optional
        The same exposure of the cured sample, taken off: what the light itself does. Without it the level before the light is
        taken off.
    time, time_unit, light_on_s
        As for `read_conversion`.
    light_off_s : float, optional
        When the light went off on the file's clock [s]; names the wrong direction more surely.

    Raises
    ------
    InputError
        If the file breaks a rule, the mass is missing, or the sample seems to take up heat.
    """
    if unit not in HEAT_UNITS:
        raise unknown_name("unit of heat flow", unit, HEAT_UNITS)
    if exothermic not in DIRECTIONS:
        raise unknown_name("exothermic direction", exothermic, DIRECTIONS)
    if unit == "mW" and (mass_mg is None or not 0.01 <= mass_mg <= 1e4):
        raise InputError(
            f"{path.name}: a heat flow in mW needs the sample mass, mass_mg, 0.01 to 10000 mg (given: {mass_mg})."
        )
    # mW/mg = W/g
    scale = _W_KG_PER_W_G / (1.0 if unit == "W/g" or mass_mg is None else mass_mg)
    scale *= 1.0 if exothermic == "up" else -1.0
    table, clock, notes = _clocked(path, time, time_unit, light_on_s)
    found = scale * np.array(table.numbers(table.column(value)))
    if baseline is not None:
        other, other_clock, more = _clocked(baseline, time, time_unit, light_on_s)
        level = scale * np.array(other.numbers(other.column(value)))
        seen = np.isfinite(level)
        found = found - np.interp(clock, other_clock[seen], level[seen])
        notes += [*more, f"Second exposure taken off: {baseline.name}."]
    before = found[(clock < 0.0) & np.isfinite(found)]
    if before.size:
        found = found - before.mean()
    elif baseline is None:
        raise InputError(
            f"{path.name}: no reading before the light and no baseline; log some seconds earlier, or give the second exposure as "
            "baseline_log."
        )
    curve = _curve(clock, found, notes)
    end = None if light_off_s is None else light_off_s - light_on_s
    lit = curve.value if end is None else curve.value[curve.time_s <= end]
    if lit.size and lit.min() < -5.0 * curve.noise_sd and abs(lit.min()) > lit.max():
        raise InputError(
            f'{path.name}: with exothermic = "{exothermic}" the gel would take up heat under the lamp ({lit.min():.3g} W/kg); '
            "turn the direction round, or check which run is the baseline."
        )
    low, high = VALUE_RANGE["heat_flow"]
    if not (low <= curve.value.min() and curve.value.max() <= high):
        raise InputError(
            f"{path.name}: heat flow reaches {curve.value.max():.3g} W/kg; at most {high:g} W/kg is believable. Check unit and mass."
        )
    return curve


def _clocked(
    path: Path, time: str | None, time_unit: str | None, light_on_s: float
) -> tuple[LogTable, Array, list[str]]:
    table = read_log_table(path)
    clock, notes = seconds(table, time_column(table, time), time_unit)
    return table, clock - light_on_s, [*table.notes, *notes]


def _curve(clock: Array, value: Array, notes: list[str]) -> Curve:
    seen = np.isfinite(value)
    if not seen.all():
        notes.append(f"{int(np.count_nonzero(~seen))} reading(s) missing.")
    sd = noise_sd(clock[seen], value[seen])
    kept = seen & (clock >= 0.0)
    if np.count_nonzero(kept) < 2:
        raise InputError("fewer than two readings after the light went on; check light_on_s.")
    return Curve(time_s=clock[kept], value=value[kept], noise_sd=max(sd, 1e-9), notes=tuple(notes))
