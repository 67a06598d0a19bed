"""Why a brief cannot be met: which limits clash, and how far one side would have to give way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .brief import NAIL_BED_HIGHEST_K
from .constraints import Constraint
from .easing import is_useless
from .giving import least_giving_way
from .local import FEASIBLE, Local
from .problem import Point, Problem

FAMILIES = {
    "nail bed peak": "heat",
    "nail bed CEM43": "heat",
    "film peak": "heat",
    "base conversion": "cure",
    "surface conversion": "cure",
    "tacky layer": "cure",
    "second-cycle heat share": "cure",
}
OTHER = "blend"
TRIED = 3  # nearest blends whose substances are tried


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One limit of a clash, in its worst scenario for the nearest blend."""

    constraint: Constraint
    figure: float
    broken: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """One side of the clash: limits of one kind that the nearest blend breaks or rests on.

    Parameters
    ----------
    family : str
        ``heat``, ``cure`` or ``blend``.
    held : tuple of Held
        The limits concerned, broken ones first.
    enough : dict of str to float
        Value of each limit of this family that would make the brief possible with all others unchanged; empty when
        giving way here alone does not help.
    blend_wt_pct : dict of str to float
        The blend that would then do; empty when there is none.
    """

    family: str
    held: tuple[Held, ...]
    enough: dict[str, float]
    blend_wt_pct: dict[str, float]

    @property
    def broken(self) -> bool:
        """Whether the nearest blend breaks one of the limits."""
        return any(each.broken for each in self.held)

    @property
    def sentence(self) -> str:
        """This side of the clash in words."""
        have = "; ".join(
            f"{each.constraint.name} {each.constraint.shown(each.figure)} "
            f"({'at most' if each.constraint.sense > 0 else 'at least'} {each.constraint.shown(each.constraint.limit)})"
            for each in self.held
        )
        if not self.enough:
            return f"{self.family}: {have}. Giving way here alone does not help."
        units = {each.constraint.limit_name: each.constraint for each in self.held}
        wanted = ", ".join(
            f"{name} {units[name].shown(value)}" for name, value in self.enough.items() if name in units
        )
        blend = " + ".join(f"{key} {load:.3g} %" for key, load in self.blend_wt_pct.items())
        refused = self.enough.get("nail bed peak", 0.0) > NAIL_BED_HIGHEST_K
        note = " Above 48 °C the brief would be refused." if refused else ""
        return f"{self.family}: {have}. The rest can be kept with {wanted} here ({blend}).{note}"


def conflicts(problem: Problem, ranked: Sequence[Local], tight: float) -> list[Conflict]:
    """The sides of the clash, each with the relaxation that would do.

    Parameters
    ----------
    problem : Problem
        The whole problem.
    ranked : sequence of Local
        Infeasible blends, least violation first.
    tight : float
        Scaled distance below which a kept limit counts as part of the clash.

    Returns
    -------
    list of Conflict
        Broken sides first.
    """
    nearest = ranked[0]
    rows = problem.constraints
    held: dict[str, list[Held]] = {}
    for name in dict.fromkeys(row.limit_name for row in rows):
        worst = max(
            (i for i, row in enumerate(rows) if row.limit_name == name), key=lambda i: nearest.values[i]
        )
        if nearest.values[worst] > -tight:
            each = Held(
                constraint=rows[worst], figure=nearest.figures[worst], broken=nearest.values[worst] > FEASIBLE
            )
            held.setdefault(_family(rows[worst]), []).append(each)
    found = []
    for family, limits in held.items():
        enough, blend = _least_giving_way(problem, ranked[:TRIED], family)
        limits.sort(key=lambda each: not each.broken)
        found.append(Conflict(family=family, held=tuple(limits), enough=enough, blend_wt_pct=blend))
    return sorted(found, key=lambda each: not each.broken)


def _family(row: Constraint) -> str:
    return FAMILIES.get(row.limit_name, OTHER)


def _least_giving_way(
    problem: Problem, tried: Sequence[Local], family: str
) -> tuple[dict[str, float], dict[str, float]]:
    """Least excess over one family with all other limits kept, over the substances of several blends."""
    gives = np.array([_family(row) == family for row in problem.constraints])
    point = least_giving_way(problem, gives, [each.blend_wt_pct for each in tried])
    if point is None:
        return {}, {}
    enough = _worst_by_limit(problem, point, gives)
    return ({}, {}) if _is_useless(problem, enough) else (enough, problem.blend(point.loadings_wt_pct))


def _worst_by_limit(problem: Problem, point: Point, gives: NDArray[np.bool_]) -> dict[str, float]:
    worst: dict[str, tuple[float, float]] = {}
    for i, row in enumerate(problem.constraints):
        if gives[i] and (row.limit_name not in worst or point.values[i] > worst[row.limit_name][0]):
            worst[row.limit_name] = (float(point.values[i]), point.figures[i])
    return {name: figure for name, (_, figure) in worst.items()}


def _is_useless(problem: Problem, enough: dict[str, float]) -> bool:
    limits = {row.limit_name: row for row in problem.constraints}
    return any(is_useless(limits[name], value) for name, value in enough.items())
