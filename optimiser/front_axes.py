"""What a front is drawn along: cost, heat, yellowness, initiator, and the room that is left to the nearest limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.units import c_from_k
from .problem import Problem
from .search_space import missing_prices

Floats = NDArray[np.float64]

# limits of the whole blend are no matter of room: they are weighed, not predicted
WHOLE_BLEND = {"total initiator", "cost", "yellowness"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One thing to be small (the margin: to be large).

    Parameters
    ----------
    key, words, unit : str
        Name on the command line, in words, unit as shown.
    objective : str
        Objective of a brief that minimises it; "" = it can only be held at levels.
    sign : int
        +1 when small is good, -1 when large is.
    """

    key: str
    words: str
    unit: str
    objective: str
    sign: int = 1


AXES = {
    axis.key: axis
    for axis in (
        Axis(key="cost", words="cost of the initiators", unit="per kg gel", objective="least_cost"),
        Axis(key="heat", words="nail-bed peak", unit="°C", objective="least_heat"),
        Axis(key="yellowness", words="yellowness of the cured film", unit="YI", objective="least_yellowing"),
        Axis(key="initiator", words="initiator and amine", unit="wt%", objective="least_initiator"),
        Axis(key="margin", words="room to the nearest limit", unit="steps of 5 K or 0.05 of conversion", objective="", sign=-1),
    )
}  # fmt: skip


def axes_of(names: Sequence[str], problem: Problem) -> tuple[Axis, ...]:
    """Axes by name, the one to be minimised first.

    Raises
    ------
    UnknownNameError
        If a name is not known.
    InputError
        If there are not two or three, one is given twice, or a price is missing.
    """
    for name in names:
        if name not in AXES:
            raise unknown_name("axis", name, AXES)
    if len(set(names)) != len(names) or not 2 <= len(names) <= 3:
        raise InputError(
            f"--against {','.join(names)}: name two or three different ones of {', '.join(AXES)}."
        )
    missing = missing_prices(problem.space.keys, problem.brief) if "cost" in names else []
    if missing:
        raise InputError(
            f"prices.per_kg lacks {', '.join(missing)}; a front of cost needs a price "
            'for each. Add to the brief, for example: [prices], currency = "EUR", per_kg = { BAPO = 120 }, every one of them named.'
        )
    chosen = [AXES[name] for name in names]
    return tuple(sorted(chosen, key=lambda axis: not axis.objective))


def has_room(part: Problem) -> NDArray[np.bool_]:
    """Limits of a problem from which room is kept, shape (n_constraint,)."""
    return np.array([row.limit_name not in WHOLE_BLEND for row in part.constraints])


def axis_values(part: Problem, blend_wt_pct: dict[str, float], axes: Sequence[Axis]) -> tuple[float, ...]:
    """Value of a blend on every axis, in the axis's unit."""
    loadings = part.vector(blend_wt_pct)[np.newaxis, :]
    figures = part.evaluator(loadings)
    measures = part.measures(loadings, figures)
    hot = list(part.heat_scenarios)
    found = {
        "heat": lambda: float(c_from_k(measures["nail_bed_peak_k"][0, hot].max())),
        "cost": lambda: float(measures["cost_per_kg"][0, 0]),
        "initiator": lambda: float(measures["total_wt_pct"][0, 0]),
        "yellowness": lambda: float(measures["yellowness_ratio"][0].max()),
        "margin": lambda: _room(part, measures),
    }
    return tuple(found[axis.key]() for axis in axes)


def _room(part: Problem, measures: dict[str, Floats]) -> float:
    rows = [row for row in part.constraints if row.limit_name not in WHOLE_BLEND]
    return -max(float(row.scaled(measures[row.figure][0, row.scenario])) for row in rows)
