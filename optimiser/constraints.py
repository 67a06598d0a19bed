"""The limits of a brief as named, scaled values that are 0 or less when kept.

One value per limit and scenario, never a maximum over scenarios: a maximum has kinks that mislead a
gradient search. Scales turn every value into "how many meaningful steps over the limit" (1 K, 1 % conversion
and so on times five), so that no limit drowns the others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.units import c_from_k, um_from_m
from .brief import Brief

if TYPE_CHECKING:
    from ..models.batch import Scenario

Floats = NDArray[np.float64]
Measures = Mapping[str, Floats]

TEMPERATURE_SCALE_K = 5.0
CONVERSION_SCALE = 0.05
MOST_LOGARITHMIC_ROOM = 0.99

_SHOWN_UNIT = {
    "k": "°C",
    "m": "µm",
    "fraction": "",
    "ratio": "",
    "min": "min",
    "wt_pct": "wt%",
    "per_kg": "per kg",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Constraint:
    """One limit in one scenario.

    Parameters
    ----------
    name : str
        Unique name, for instance ``"nail bed peak, index, 600 um"``.
    limit_name : str
        Name of the limit shared by all its scenarios.
    figure : str
        Key of the measured figure.
    scenario : int
        Column of the figure; 0 for figures without scenarios.
    limit : float
        Allowed value in the figure's SI unit, the brief's margin already taken off.
    sense : int
        +1 when the figure has to stay below the limit, -1 above.
    scale : float
        Size of one unit of the scaled value, in the figure's unit.
    unit : str
        ``k``, ``m``, ``fraction``, ``ratio``, ``min``, ``wt_pct`` or ``per_kg``.
    logarithmic : bool
        Whether the scaled value follows log(1 + figure / limit), for figures that grow exponentially.
    lamp_id : str
        Lamp in which the figure is judged; empty for limits that no lamp touches.
    """

    name: str
    limit_name: str
    figure: str
    scenario: int
    limit: float
    sense: int
    scale: float
    unit: str
    logarithmic: bool = False
    lamp_id: str = ""

    def scaled(self, figure: Floats) -> Floats:
        """Scaled value of one or more figures: 0 or less when the limit is kept."""
        if self.logarithmic:
            return np.asarray(self.sense * (np.log1p(figure / self.limit) - np.log(2.0)) / np.log(2.0))
        return np.asarray(self.sense * (figure - self.limit) / self.scale)

    def margin(self, figure: float) -> float:
        """Distance to the limit in the figure's unit; negative when the limit is broken."""
        return self.sense * (self.limit - figure)

    @property
    def scaled_per_unit(self) -> float:
        """Slope of the scaled value against the limit, at the limit, per unit of the limit."""
        return 0.5 / (self.limit * np.log(2.0)) if self.logarithmic else 1.0 / self.scale

    def shown(self, value: float) -> str:
        """A figure of this limit as text in the chemist's unit."""
        return shown(value, self.unit)

    def shown_margin(self, figure: float) -> str:
        """The margin as text in the chemist's unit."""
        return shown_difference(self.margin(figure), self.unit)

    def tightened(self, room: float) -> Constraint:
        """The same limit moved so that keeping it leaves this much room to the present one, in scaled units.

        A logarithmic limit shrinks by the factor ``2 ** (1 - room) - 1``, which stays above 0 for any room below 1.
        """
        if room == 0.0:
            return self
        if self.logarithmic:
            return replace(
                self, limit=self.limit * float(np.exp2(1.0 - min(room, MOST_LOGARITHMIC_ROOM)) - 1.0)
            )
        return replace(self, limit=self.limit - self.sense * room * self.scale)

    @property
    def words(self) -> str:
        """The limit as a phrase, for instance ``nail bed peak at most 45.0 °C``."""
        return f"{self.limit_name} {'at most' if self.sense > 0 else 'at least'} {self.shown(self.limit)}"


def shown(value: float, unit: str) -> str:
    """A value in SI as text in the chemist's unit.

    Parameters
    ----------
    value : float
        The value in the unit named.
    unit : str
        Unit code as used by `Constraint`.
    """
    match unit:
        case "k":
            return f"{c_from_k(value):.1f} °C"
        case "m":
            return f"{um_from_m(value):.1f} µm"
        case "fraction" | "ratio":
            return f"{value:.3f}"
        case _:
            return f"{value:.3g} {_SHOWN_UNIT[unit]}"


def shown_difference(value: float, unit: str) -> str:
    """A difference in SI as text with its sign."""
    match unit:
        case "k":
            return f"{value:+.2f} K"
        case "m":
            return f"{um_from_m(value):+.1f} µm"
        case "fraction" | "ratio":
            return f"{value:+.3f}"
        case _:
            return f"{value:+.3g} {_SHOWN_UNIT[unit]}"


def build_constraints(
    brief: Brief,
    scenarios: Sequence[Scenario],
    *,
    cure: Sequence[int],
    heat: Sequence[int],
    second: Sequence[int],
    ceilings: Floats,
) -> tuple[Constraint, ...]:
    """All limits of a brief, one per scenario they apply to.

    Parameters
    ----------
    brief : Brief
        The brief.
    scenarios : sequence of Scenario
        What is simulated.
    cure, heat, second : sequence of int
        Scenarios in which cure, heat and second-cycle heat are judged.
    ceilings : ndarray, shape (n_scenario,)
        Possible conversion of each scenario [-].

    Returns
    -------
    tuple of Constraint
        In a fixed order: heat, cure, second cycle, whole blend, colour; scenarios lamp by lamp within each. Names hold
        the lamp when there are several.
    """
    lamps = list(dict.fromkeys(scenario.lamp.lamp_id for scenario in scenarios))
    at = [(_place(scenario, len(lamps) > 1), scenario.lamp.lamp_id) for scenario in scenarios]
    rows = [_row(spec, *at[i], i) for i in heat for spec in heat_limits(brief)]
    rows += [_row(spec, *at[i], i) for i in cure for spec in cure_limits(brief, float(ceilings[i]))]
    rows += [_row(spec, *at[i], i) for i in second for spec in _second_cycle_limits(brief)]
    rows += [_row(spec, "", "", 0) for spec in blend_limits(brief)]
    rows += [
        _row(spec, lamp_id if len(lamps) > 1 else "", lamp_id, column)
        for column, lamp_id in enumerate(lamps)
        for spec in _colour_limits(brief)
    ]
    return tuple(rows)


def _place(scenario: Scenario, names_lamp: bool) -> str:
    lamp = f"{scenario.lamp.lamp_id}, " if names_lamp else ""
    return f"{lamp}{scenario.position}, {um_from_m(scenario.thickness_m):g} µm"


def _row(spec: dict[str, Any], place: str, lamp_id: str, scenario: int) -> Constraint:
    name = f"{spec['limit_name']}, {place}" if place else spec["limit_name"]
    return Constraint(name=name, scenario=scenario, lamp_id=lamp_id, **spec)


def _spec(
    limit_name: str, figure: str, limit: float, sense: int, scale: float, unit: str, logarithmic: bool = False
) -> dict[str, Any]:
    return {
        "limit_name": limit_name, "figure": figure, "limit": limit, "sense": sense, "scale": scale,
        "unit": unit, "logarithmic": logarithmic,
    }  # fmt: skip


def heat_limits(brief: Brief) -> list[dict[str, Any]]:
    """Limits on heat as keywords of `Constraint`, without name and scenario."""
    limits, kept_off = brief.limits, brief.margins.temperature_k
    nail_bed = limits.nail_bed_max_k - kept_off
    specs = [
        _spec("nail bed peak", "nail_bed_peak_k", nail_bed, 1, TEMPERATURE_SCALE_K, "k"),
        _spec("nail bed CEM43", "cem43_min", limits.cem43_max_min, 1, limits.cem43_max_min, "min", True),
    ]
    if limits.film_max_k is not None:
        specs.append(
            _spec("film peak", "film_peak_k", limits.film_max_k - kept_off, 1, TEMPERATURE_SCALE_K, "k")
        )
    return specs


def cure_limits(brief: Brief, ceiling: float) -> list[dict[str, Any]]:
    """Limits on the cured film as keywords of `Constraint`; `ceiling` is the conversion possible [-]."""
    limits = brief.limits
    specs = []
    for where, words in (("bottom", "base"), ("surface", "surface")):
        share = getattr(limits, f"{where}_conversion_min_share")
        fraction = getattr(limits, f"{where}_conversion_min_fraction")
        wanted = fraction if fraction is not None else None if share is None else share * ceiling
        if wanted is not None:
            figure = f"{where}_conversion_fraction"
            least = wanted + brief.margins.conversion_fraction
            specs.append(_spec(f"{words} conversion", figure, least, -1, CONVERSION_SCALE, "fraction"))
    if limits.tacky_layer_max_m is not None:
        thickest = limits.tacky_layer_max_m
        specs.append(_spec("tacky layer", "uncured_layer_m", thickest, 1, thickest, "m"))
    if limits.residual_initiator_max_wt_pct is not None:
        most = limits.residual_initiator_max_wt_pct
        specs.append(_spec("residual initiator", "residual_wt_pct", most, 1, most, "wt_pct"))
    return specs


def _second_cycle_limits(brief: Brief) -> list[dict[str, Any]]:
    share = brief.limits.second_cycle_heat_max_ratio
    if share is None:
        return []
    return [_spec("second-cycle heat share", "second_cycle_heat_ratio", share, 1, share, "ratio", True)]


def blend_limits(brief: Brief) -> list[dict[str, Any]]:
    """Limits on the blend as weighed, as keywords of `Constraint`."""
    limits = brief.limits
    asked = (
        ("total initiator", "total_wt_pct", limits.total_initiator_max_wt_pct, "wt_pct"),
        ("cost", "cost_per_kg", limits.cost_max_per_kg, "per_kg"),
    )
    return [
        _spec(name, figure, most, 1, most, unit) for name, figure, most, unit in asked if most is not None
    ]


def _colour_limits(brief: Brief) -> list[dict[str, Any]]:
    most = brief.limits.yellowness_max_ratio
    return [] if most is None else [_spec("yellowness", "yellowness_ratio", most, 1, most, "ratio")]


def scaled_values(constraints: Sequence[Constraint], measures: Measures) -> Floats:
    """Scaled values of all limits.

    Parameters
    ----------
    constraints : sequence of Constraint
        The limits.
    measures : mapping of str to ndarray, shape (n_blend, n_scenario) or (n_blend, 1)
        The figures of the blends.

    Returns
    -------
    ndarray, shape (n_blend, n_constraint)
        0 or less where a limit is kept.
    """
    columns = [row.scaled(measures[row.figure][:, row.scenario]) for row in constraints]
    return np.stack(columns, axis=1)


def figures_of(constraints: Sequence[Constraint], measures: Measures, blend: int = 0) -> tuple[float, ...]:
    """The unscaled figure behind each limit for one blend, in SI units."""
    return tuple(float(measures[row.figure][blend, row.scenario]) for row in constraints)
