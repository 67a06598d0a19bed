"""Why a lamp gives less than when it was measured: wear of the diodes, and an emptying battery.

Wear follows the form used for diode lamps, ``B exp(-alpha t)`` with t the hours of light; L70 is
the time to 70 % of the first output. Published L70 values disagree widely: a 365 nm diode measured
at 40 C with natural convection reached it after 4480 h of continuous light and 19 814 h switched
30 s on, 30 s off (Arques-Orobon et al., Crystals 2020, 10, 1083); makers claim 20 000 to 50 000 h.

Battery figures come from hobby bench tests and are no better than that; measuring the lamp at a
full and at an empty battery replaces them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from .errors import InputError, unknown_name
from .units import GAS_CONSTANT_J_MOL_K

if TYPE_CHECKING:
    from .lamp import Lamp

Drive = Literal["unregulated", "regulated", "unknown"]
DRIVES: tuple[Drive, ...] = ("unregulated", "regulated", "unknown")

L70_FRACTION = 0.7
LONGEST_CLAIM_RATIO = 6.0

# Light of a diode driven straight from one lithium-ion cell, relative to a full cell.
CELL_VOLTAGES_V = (3.0, 3.2, 3.4, 3.6, 3.8, 4.0, 4.2)
UNREGULATED_LIGHT_RATIOS = (0.06, 0.16, 0.26, 0.41, 0.58, 0.78, 1.00)
# Regulators were seen to give up between 3.25 and 3.6 V per cell; the early end is the default.
REGULATOR_DROPOUT_V = 3.6
# Assumed for a battery lamp of which nothing is known.
UNKNOWN_BATTERY_RATIO = 0.6


def _positive(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"{name} is {value:g}; it must be finite and above 0. Check the lamp's report.")


def ageing_rate_1_hours(l70_hours: float, *, initial_ratio: float = 1.0) -> float:
    """Rate alpha of the decay ``initial_ratio exp(-alpha t)`` that reaches 0.7 after L70 [1/h].

    Parameters
    ----------
    l70_hours : float
        Hours of light to 70 % of the first output, > 0; 10 000 h is a usual assumption, 1000 to
        30 000 h the published range.
    initial_ratio : float
        B of the fit [-], above 0.7; 1 unless a test report gives it.

    Raises
    ------
    InputError
        If L70 is not above 0 or B not above 0.7.
    """
    _positive("l70_hours", l70_hours)
    if not (math.isfinite(initial_ratio) and initial_ratio > L70_FRACTION):
        raise InputError(
            f"initial_ratio is {initial_ratio:g}; it must be above {L70_FRACTION:g}, or there is no time to 70 %."
        )
    return math.log(initial_ratio / L70_FRACTION) / l70_hours


def ageing_factor(used_hours: float, l70_hours: float, *, initial_ratio: float = 1.0) -> float:
    """Output after some hours of light over the first output [-].

    Parameters
    ----------
    used_hours : float
        Hours of light, 0 or more. A salon lamp sees about 125 h a year (five clients a day, six
        cures of a minute, 250 days).
    l70_hours, initial_ratio : float
        See `ageing_rate_1_hours`.

    Raises
    ------
    InputError
        If a value is out of its range.

    Examples
    --------
    >>> round(ageing_factor(1000.0, 10_000.0), 3)
    0.965
    """
    if not (math.isfinite(used_hours) and used_hours >= 0.0):
        raise InputError(
            f"used_hours is {used_hours:g}; it must be finite and 0 or more. Count hours of light."
        )
    return initial_ratio * math.exp(-ageing_rate_1_hours(l70_hours, initial_ratio=initial_ratio) * used_hours)


def longest_claim_hours(tested_hours: float) -> float:
    """Longest life that a test of `tested_hours` [h] may be projected to: six times the test [h]."""
    _positive("tested_hours", tested_hours)
    return LONGEST_CLAIM_RATIO * tested_hours


def l70_at_hours(
    l70_hours: float, *, tested_at_k: float, used_at_k: float, activation_energy_j_mol: float
) -> float:
    """L70 carried from the temperature of a test to that of the lamp, by Arrhenius [h].

    Parameters
    ----------
    l70_hours : float
        L70 in the test [h].
    tested_at_k, used_at_k : float
        Temperatures around the diode [K], > 0.
    activation_energy_j_mol : float
        Activation energy [J/mol], 0 or more; 12 500 (0.13 eV, continuous) and 19 300 (0.20 eV,
        cycled) were measured on the 365 nm diode above. The trade rule "10 K halves the life" would
        need 66 000 (0.68 eV).

    Raises
    ------
    InputError
        If a value is out of its range.
    """
    for name, value in (("l70_hours", l70_hours), ("tested_at_k", tested_at_k), ("used_at_k", used_at_k)):
        _positive(name, value)
    if not (math.isfinite(activation_energy_j_mol) and activation_energy_j_mol >= 0.0):
        raise InputError(
            f"activation_energy_j_mol is {activation_energy_j_mol:g}; it must be finite and 0 or more."
        )
    inverse_1_k = 1.0 / used_at_k - 1.0 / tested_at_k
    return l70_hours * math.exp(activation_energy_j_mol / GAS_CONSTANT_J_MOL_K * inverse_1_k)


def aged(lamp: Lamp, used_hours: float, l70_hours: float) -> Lamp:
    """Lamp after more hours of light than when it was measured, its output course scaled.

    Parameters
    ----------
    lamp : Lamp
        The lamp as measured.
    used_hours : float
        Hours of light since the measurement, 0 or more.
    l70_hours : float
        See `ageing_rate_1_hours`.

    Raises
    ------
    InputError
        If a value is out of its range.
    """
    factor = ageing_factor(used_hours, l70_hours)
    note = f"Output taken as {factor:.3g} of the measured one: {used_hours:g} h of light since, L70 of {l70_hours:g} h."
    return lamp.with_level(factor, note)


def battery_ratio(
    drive: Drive, cell_voltage_v: float | None = None, *, dropout_v: float = REGULATOR_DROPOUT_V
) -> float:
    """Light of a battery lamp relative to a full battery [-].

    Parameters
    ----------
    drive : str
        ``"unregulated"``: follows the bench table. ``"regulated"``: flat down to the drop-out
        voltage; below it the table's course, joined there (assumed; a real one may go out).
        ``"unknown"``: 0.6, an assumed worst case, whatever the voltage.
    cell_voltage_v : float, optional
        Voltage of one lithium-ion cell [V], 3.0 (empty) to 4.2 (full); needed unless unknown.
    dropout_v : float
        Where the regulator gives up [V per cell], 3.0 to 4.2.

    Raises
    ------
    InputError
        If the voltage is missing or outside the table.
    UnknownNameError
        If the drive is not one of the three.

    Examples
    --------
    >>> battery_ratio("unregulated", 3.6)
    0.41
    """
    if drive not in DRIVES:
        raise unknown_name("battery drive", drive, DRIVES)
    if drive == "unknown":
        return UNKNOWN_BATTERY_RATIO
    if cell_voltage_v is None:
        raise InputError(
            f"a {drive} battery lamp needs cell_voltage_v, 3.0 to 4.2 V; or use drive 'unknown'."
        )
    light = _unregulated_ratio("cell_voltage_v", cell_voltage_v)
    if drive == "unregulated":
        return light
    at_dropout = _unregulated_ratio("dropout_v", dropout_v)
    return 1.0 if cell_voltage_v >= dropout_v else light / at_dropout


def _unregulated_ratio(name: str, voltage_v: float) -> float:
    if not CELL_VOLTAGES_V[0] <= voltage_v <= CELL_VOLTAGES_V[-1]:
        raise InputError(
            f"{name} is {voltage_v:g} V; it must lie between {CELL_VOLTAGES_V[0]:g} V (empty) and "
            f"{CELL_VOLTAGES_V[-1]:g} V (full) for one lithium-ion cell. Divide a pack's voltage by its cells."
        )
    return float(np.interp(voltage_v, CELL_VOLTAGES_V, UNREGULATED_LIGHT_RATIOS))


def on_battery(lamp: Lamp, drive: Drive = "unknown", cell_voltage_v: float | None = None) -> Lamp:
    """Lamp that was measured at a full battery, now at another charge; see `battery_ratio`."""
    ratio = battery_ratio(drive, cell_voltage_v)
    reason = "battery of unknown drive and charge, assumed worst case"
    if drive != "unknown":
        reason = f"{drive} battery at {cell_voltage_v:g} V per cell, from bench tests of other lamps"
    return lamp.with_level(ratio, f"Output taken as {ratio:.3g} of the measured one: {reason}.")
