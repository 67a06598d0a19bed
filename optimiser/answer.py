"""From ranked local optima to blends fit to be shown: weighable loadings, every position, chance of passing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .constraints import Constraint
from .local import FEASIBLE, Local, local_search
from .passing import DATA_STREAM, Judge, Passing, probability_of_passing
from .problem import SCENARIO_FIGURES, Problem
from .search_space import missing_prices
from .verdict import CureFigures, Verdict, judge
from .weighable import held_everywhere

Floats = NDArray[np.float64]

DETAILED = 5
TIGHT = 0.05  # scaled distance below which a limit counts as deciding


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Figures of a blend at one position of a lamp and one thickness after one cycle, in SI units; see `CureResult`."""

    lamp_id: str
    position: str
    thickness_m: float
    conversion_ceiling_fraction: float
    bottom_conversion_fraction: float
    surface_conversion_fraction: float
    mean_conversion_fraction: float
    uncured_layer_m: float
    film_peak_k: float
    nail_bed_peak_k: float
    cem43_min: float
    damage_henriques: float
    damage_weaver_stoll: float
    residual_initiator_wt_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One blend ready to be shown.

    Parameters
    ----------
    blend_wt_pct : dict of str to float
        Loadings, rounded to what can be weighed.
    objective : float
        Objective in its own unit.
    values, figures : tuple of float
        Scaled value of every limit and the figure behind it.
    constraints : tuple of Constraint
        The limits, in the same order.
    places : tuple of Place
        Every position of every lamp at both ends of the thickness window.
    verdict : Verdict
        In words.
    cost_per_kg, yellowness_ratio : float or None
        None when a price, or the colour data, are missing; the report says so.
    passing, passing_with_data : Passing
        Chance of passing under the conditions of use, and with the doubt about the model's numbers on top.
    """

    blend_wt_pct: dict[str, float]
    objective: float
    values: tuple[float, ...]
    figures: tuple[float, ...]
    constraints: tuple[Constraint, ...]
    places: tuple[Place, ...]
    verdict: Verdict
    cost_per_kg: float | None
    yellowness_ratio: float | None
    passing: Passing
    passing_with_data: Passing

    @property
    def is_feasible(self) -> bool:
        """Whether every limit is kept."""
        return max(self.values) <= FEASIBLE

    @property
    def total_wt_pct(self) -> float:
        """Initiators and amines together [wt%]."""
        return sum(self.blend_wt_pct.values())

    @property
    def binding(self) -> tuple[int, ...]:
        """Indices of the limits the blend rests on or breaks."""
        return tuple(i for i, value in enumerate(self.values) if value > -TIGHT)

    @property
    def limits_near(self) -> tuple[str, ...]:
        """Names of the limits the blend rests on or breaks; without any, of the nearest one, said to be that."""
        tight = dict.fromkeys(self.constraints[i].limit_name for i in self.binding)
        if tight or not self.values:
            return tuple(tight)
        nearest = max(range(len(self.values)), key=self.values.__getitem__)
        return (f"nothing closely, nearest is {self.constraints[nearest].limit_name}",)

    @property
    def name(self) -> str:
        """The blend in one line, largest loading first."""
        members = sorted(self.blend_wt_pct.items(), key=lambda item: -item[1])
        return " + ".join(f"{key} {loading:.4g} %" for key, loading in members)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadowPrice:
    """What more allowance of a limit would change the objective by.

    Parameters
    ----------
    constraint : Constraint
        The limit in the scenario that decides.
    objective_per_unit : float
        Change to first order per unit of the limit (positive = a higher limit raises the objective).
    step : float
        Easing that was solved again, in the limit's unit; see `EASING`.
    saved : float
        What it saved of the objective, with the same substances; nan when it was not solved again.
    """

    constraint: Constraint
    objective_per_unit: float
    step: float
    saved: float = float("nan")


EASING = {
    "k": (1.0, "1 K"),
    "m": (1e-6, "1 µm"),
    "fraction": (0.01, "0.01 of conversion"),
    "ratio": (0.01, "0.01"),
    "min": (0.1, "0.1 min"),
    "wt_pct": (0.1, "0.1 wt%"),
    "per_kg": (1.0, "1 per kg"),
}  # how much of each kind of limit a price is told for


def shadow_prices(problem: Problem, found: Local) -> list[ShadowPrice]:
    """Shadow prices of the winner's limits, largest first; empty when the search did not end on an optimum."""
    if not found.multipliers:
        return []
    prices = [
        ShadowPrice(
            constraint=row,
            objective_per_unit=-multiplier * row.scaled_per_unit * row.sense,
            step=EASING[row.unit][0],
        )
        for row, multiplier in zip(problem.constraints, found.multipliers, strict=True)
        if multiplier > 1e-6 * max(abs(found.objective), 1e-9)
    ]
    return sorted(prices, key=lambda each: -abs(each.objective_per_unit * each.step))


def confirmed(problem: Problem, found: Local, prices: Sequence[ShadowPrice]) -> list[ShadowPrice]:
    """Shadow prices with what easing each limit saves when the blend's loadings are searched again.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.
    found : Local
        The blend.
    prices : sequence of ShadowPrice
        Prices to first order.
    """
    low, start = problem.brief.smallest_loading_wt_pct, problem.vector(found.blend_wt_pct)
    told = []
    for price in prices:
        eased = copy(problem)
        eased.constraints = tuple(
            replace(row, limit=row.limit + row.sense * price.step)
            if row.limit_name == price.constraint.limit_name
            else row
            for row in problem.constraints
        )
        eased._seen = {}
        again = local_search(eased, start, low)
        told.append(replace(price, saved=max(found.objective - again.objective, 0.0)))
    return told


def places_of(problem: Problem, loadings_wt_pct: Floats) -> tuple[Place, ...]:
    """Figures at every position of every lamp and at both ends of the thickness window, after one cycle."""
    spots = [
        (lamp.lamp_id, position, h, problem.scenario(position, h, index=index))
        for index, lamp in enumerate(problem.lamps)
        for position in lamp.positions
        for h in problem.brief.thicknesses_m
    ]
    evaluator = problem.new_evaluator([scenario for *_, scenario in spots])
    figures = evaluator(loadings_wt_pct[np.newaxis, :])
    names = [name for name in SCENARIO_FIGURES if name != "second_cycle_heat_ratio"]
    return tuple(
        Place(
            lamp_id=lamp_id,
            position=position,
            thickness_m=thickness,
            conversion_ceiling_fraction=float(figures.conversion_ceiling_fraction[i]),
            residual_initiator_wt_pct=float(figures.residual_initiator_wt_pct[0, i].sum()),
            **{name: float(getattr(figures, name)[0, i]) for name in names},
        )
        for i, (lamp_id, position, thickness, _) in enumerate(spots)
    )


def cure_figures(place: Place, names_lamp: bool = False) -> CureFigures:
    """The part of a place's figures a verdict rests on; its position holds the lamp where there are several."""
    return CureFigures(
        position=f"{place.lamp_id}, {place.position}" if names_lamp else place.position,
        thickness_m=place.thickness_m,
        bottom_conversion_fraction=place.bottom_conversion_fraction,
        conversion_ceiling_fraction=place.conversion_ceiling_fraction,
        film_peak_k=place.film_peak_k,
        nail_bed_peak_k=place.nail_bed_peak_k,
        cem43_min=place.cem43_min,
        uncured_layer_m=place.uncured_layer_m,
    )


def candidate(problem: Problem, found: Local) -> Candidate:
    """Work out everything that is shown about one blend.

    Parameters
    ----------
    problem : Problem
        The whole problem; the blend's own substances are simulated.
    found : Local
        A polished blend.

    Returns
    -------
    Candidate
    """
    part, rounded = held_everywhere(problem.narrowed(tuple(found.blend_wt_pct)), found)
    loadings = part.vector(rounded.blend_wt_pct)
    places = places_of(part, loadings)
    worst_cure = min(
        places, key=lambda place: place.bottom_conversion_fraction / place.conversion_ceiling_fraction
    )
    worst_heat = max(places, key=lambda place: place.nail_bed_peak_k)
    wettest = max(places, key=lambda place: place.uncured_layer_m / place.thickness_m)
    draws = Judge(part)
    priced = not missing_prices(part.space.keys, problem.brief)
    return Candidate(
        blend_wt_pct=rounded.blend_wt_pct,
        objective=rounded.objective,
        values=rounded.values,
        figures=rounded.figures,
        constraints=part.constraints,
        places=places,
        verdict=_verdict(part, worst_cure, worst_heat, wettest),
        cost_per_kg=float(part.cost_per_kg(loadings[np.newaxis, :])[0]) if priced else None,
        yellowness_ratio=_yellowness(part, loadings),
        passing=probability_of_passing(part, loadings, judge=draws),
        passing_with_data=probability_of_passing(
            part, loadings, groups=("use", "data"), stream=DATA_STREAM, judge=draws
        ),
    )


def _verdict(part: Problem, *worst: Place) -> Verdict:
    """Verdict on the places of the least cure, of the most heat, and with the largest share of the film left tacky."""
    several = len(part.lamps) > 1
    least, hottest, wettest = (cure_figures(place, several) for place in worst)
    verdict = judge(least, hottest, part.brief.limits, part.brief.margins, wettest)
    return replace(verdict, where="these lamps") if several else verdict


def _yellowness(problem: Problem, loadings_wt_pct: Floats) -> float | None:
    figures = problem.evaluator(loadings_wt_pct[np.newaxis, :])
    found = problem.yellowness(loadings_wt_pct[np.newaxis, :], figures.residual_initiator_wt_pct)
    return float(found[0])


def candidates(
    problem: Problem, ranked: Sequence[Local], say: Callable[[int, int, str], None], most: int = DETAILED
) -> tuple[Candidate, ...]:
    """The first few blends in full, feasible ones only unless there is none; best first as rounded for weighing."""
    worth = [found for found in ranked if found.is_feasible] or list(ranked[:1])
    chosen = worth[:most]
    shown = []
    for i, found in enumerate(chosen):
        say(i, len(chosen), f"blend {i + 1} at every position")
        shown.append(candidate(problem, found))
    return tuple(sorted(shown, key=lambda each: (not each.is_feasible, each.objective)))
