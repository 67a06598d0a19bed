"""One search problem: brief, lamp, gel and simulator joined into "loadings in, objective and limits out"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from ..models.batch import Scenario
from ..models.gel import Gel
from ..models.heat import Hand
from .brief import Brief
from .constraints import Constraint, build_constraints, figures_of, scaled_values
from .evaluators import EvaluatorMaker, blend_evaluator
from .search_space import SearchSpace, missing_prices

if TYPE_CHECKING:
    from ..models.batch import BlendFigures

Floats = NDArray[np.float64]

SCENARIO_FIGURES = (
    "bottom_conversion_fraction", "surface_conversion_fraction", "mean_conversion_fraction", "uncured_layer_m",
    "film_peak_k", "nail_bed_peak_k", "cem43_min", "damage_henriques", "damage_weaver_stoll",
    "second_cycle_heat_ratio",
)  # fmt: skip

# how far the stand-in for "the worst of several lamps" may lie below it, times ln(number of lamps)
SOFT_K = 0.1
SOFT_YELLOWNESS = 0.1

OBJECTIVE_WORDS = {
    "least_heat": "lowest nail-bed temperature",
    "least_initiator": "least initiator",
    "least_cost": "lowest cost",
    "least_yellowing": "least yellowing",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Point:
    """A blend with everything the search knows about it.

    Parameters
    ----------
    loadings_wt_pct : ndarray, shape (n_substance,)
        Loadings in the order of the search space.
    objective : float
        Objective in its own unit.
    values : ndarray, shape (n_constraint,)
        Scaled values of the limits.
    figures : tuple of float
        The unscaled figures behind them, in SI units.
    """

    loadings_wt_pct: Floats
    objective: float
    values: Floats
    figures: tuple[float, ...]

    @property
    def violation(self) -> float:
        """Sum of the broken limits' scaled values; 0 when every limit is kept."""
        return float(np.maximum(self.values, 0.0).sum())


@dataclass(slots=True, kw_only=True, eq=False)
class Problem:
    """Loadings in, objective and limits out, with every simulated point remembered.

    Parameters
    ----------
    brief, lamp, gel, space
        What is asked, in which light, on which resin base, with which substances.
    more_lamps : tuple of Lamp
        Further lamps the same blend has to serve, in the order of the brief; every limit holds in each of them.
    tightened : mapping of str to float
        Room to be kept from a limit beyond what the brief asks, by the limit's name, in scaled units.
    also_at : tuple of (int, str)
        Positions, by the number of their lamp, where limits on cure and heat hold besides the weakest and the strongest.
    make_evaluator : callable
        Builds the simulator; tests put a cheap stand-in here.
    workers : int or None
        Threads of the simulator; results do not depend on it.
    is_screening : bool
        Whether coarse settings and fewer scenarios will do: the thickest film only, no second cycle.
    """

    brief: Brief
    lamp: Lamp
    gel: Gel
    space: SearchSpace
    more_lamps: tuple[Lamp, ...] = ()
    tightened: Mapping[str, float] = field(default_factory=dict)
    also_at: tuple[tuple[int, str], ...] = ()
    make_evaluator: EvaluatorMaker = blend_evaluator
    workers: int | None = None
    is_screening: bool = False
    scenarios: tuple[Scenario, ...] = field(init=False)
    cure_scenarios: tuple[int, ...] = field(init=False)
    heat_scenarios: tuple[int, ...] = field(init=False)
    second_scenarios: tuple[int, ...] = field(init=False)
    constraints: tuple[Constraint, ...] = field(init=False)
    evaluator: Any = field(init=False)
    ceilings: Floats = field(init=False)
    _seen: dict[bytes, Point] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        thicknesses = self.brief.thicknesses_m[-1:] if self.is_screening else self.brief.thicknesses_m
        each = range(len(self.lamps))
        cure = [self.scenario(self.lamps[i].weakest, h, index=i) for i in each for h in thicknesses]
        heat = [self.scenario(self.lamps[i].strongest, h, index=i) for i in each for h in thicknesses]
        thick = thicknesses[-1]
        twice = each if self.judges_second_cycle else ()
        again = [self.scenario(self.lamps[i].weakest, thick, 2, index=i) for i in twice]
        also = [self.scenario(place, h, index=i) for i, place in self.also_at for h in thicknesses]
        self.scenarios = (*cure, *heat, *again, *also)
        n = len(cure)
        self.cure_scenarios = tuple(range(n))
        self.heat_scenarios = tuple(range(n, n + len(heat)))
        self.second_scenarios = tuple(range(n + len(heat), n + len(heat) + len(again)))
        others = tuple(range(len(self.scenarios) - len(also), len(self.scenarios)))
        self.evaluator = self.new_evaluator(self.scenarios)
        self.ceilings = self.evaluator.ceilings
        rows = build_constraints(
            self.brief,
            self.scenarios,
            # strong light can end a cure early by using the initiator up, so both ends of the lamp are judged
            cure=(*self.cure_scenarios, *self.heat_scenarios, *others),
            heat=(*self.heat_scenarios, *others),
            second=self.second_scenarios,
            ceilings=self.ceilings,
        )
        self.constraints = tuple(row.tightened(self.tightened.get(row.limit_name, 0.0)) for row in rows)

    @property
    def lamps(self) -> tuple[Lamp, ...]:
        """Every lamp the blend has to serve, in the order of the brief."""
        return (self.lamp, *self.more_lamps)

    @property
    def thick_scenarios(self) -> tuple[int, ...]:
        """Cure scenarios in the thickest film, one for each lamp."""
        step = len(self.cure_scenarios) // len(self.lamps)
        return self.cure_scenarios[step - 1 :: step]

    @property
    def judges_second_cycle(self) -> bool:
        """Whether a second cycle is simulated: at the weakest position in the thickest film, where most is left to react."""
        return self.brief.limits.second_cycle_heat_max_ratio is not None and not self.is_screening

    @property
    def hand(self) -> Hand:
        """The finger of the brief."""
        return Hand(start_k=self.brief.hand_start_k, nail_thickness_m=self.brief.nail_thickness_m)

    @property
    def simulations(self) -> int:
        """Films simulated so far by the search's simulator."""
        return int(self.evaluator.simulations)

    def new_evaluator(self, scenarios: Sequence[Scenario]) -> Any:
        """A simulator of the same substances for other scenarios."""
        return self.make_evaluator(
            self.gel,
            self.space.initiators,
            self.space.amines,
            scenarios,
            workers=self.workers,
            coarse=self.is_screening,
        )

    def scenario(
        self, position: str, thickness_m: float, cycles: int = 1, lamp: Lamp | None = None, index: int = 0
    ) -> Scenario:
        """One scenario of the brief's hand, and of the cure time and programme it gives the lamp number `index`."""
        return Scenario(
            lamp=lamp or self.lamps[index],
            position=position,
            thickness_m=thickness_m,
            exposure_s=self.brief.exposure_in_s(index),
            programme=self.brief.programme_in(index),
            cycles=cycles,
            rest_s=self.brief.rest_s,
            hand=self.hand,
        )

    @property
    def lowest_wt_pct(self) -> Floats:
        """Smallest loading of every substance that is weighed in [wt%]."""
        return np.full(len(self.space.keys), self.brief.smallest_loading_wt_pct)

    def forget(self) -> None:
        """Drop everything remembered, so that a search is counted honestly and does not depend on the one before."""
        self._seen.clear()
        if hasattr(self.evaluator, "forget"):
            self.evaluator.forget()

    def narrowed(self, keys: Sequence[str], *, screening: bool = False) -> Problem:
        """The same problem for some of the substances, with its own simulator and memory."""
        return Problem(
            brief=self.brief,
            lamp=self.lamp,
            gel=self.gel,
            space=self.space.subset(keys),
            more_lamps=self.more_lamps,
            tightened=self.tightened,
            also_at=self.also_at,
            make_evaluator=self.make_evaluator,
            workers=self.workers,
            is_screening=screening,
        )

    def vector(self, blend: Mapping[str, float]) -> Floats:
        """Loading vector of a blend given by substance key, wt% of the gel."""
        return np.array([blend.get(key, 0.0) for key in self.space.keys])

    def blend(self, loadings_wt_pct: Floats) -> dict[str, float]:
        """Loadings by substance key, without the zeros."""
        pairs = zip(self.space.keys, loadings_wt_pct, strict=True)
        return {key: float(loading) for key, loading in pairs if loading > 0.0}

    def point(self, loadings_wt_pct: Floats) -> Point:
        """Simulate one blend, or recall it."""
        key = np.ascontiguousarray(loadings_wt_pct, dtype=float).tobytes()
        if key not in self._seen:
            self._seen[key] = self.points(loadings_wt_pct[np.newaxis, :])[0]
        return self._seen[key]

    def points(self, loadings_wt_pct: Floats) -> list[Point]:
        """Simulate several blends as one batch, shape (n_blend, n_substance)."""
        return self._points(loadings_wt_pct, self.evaluator(loadings_wt_pct))

    def points_under(self, loadings_wt_pct: Floats, changes: Sequence[Mapping[str, float]]) -> list[Point]:
        """Simulate blends, each with knobs of `models.perturbed` turned; shape (n_blend, n_substance), one change a blend."""
        return self._points(loadings_wt_pct, self.evaluator.under(loadings_wt_pct, changes))

    def scenarios_behind(self, values: Floats, within: float) -> tuple[int, ...]:
        """Scenarios that a simulated objective rests on, or that hold a limit broken or nearer than `within`.

        Parameters
        ----------
        values : ndarray, shape (n_constraint,)
            Scaled values of the limits.
        within : float
            Scaled distance.
        """
        step = len(self.heat_scenarios) // len(self.lamps)
        found = {
            "least_heat": set(self.heat_scenarios[step - 1 :: step]),
            "least_yellowing": set(self.thick_scenarios),
        }.get(self.brief.objective, set())
        for row, value in zip(self.constraints, values, strict=True):
            if value > -within:
                if row.figure == "yellowness_ratio":
                    found.add(self.thick_scenarios[row.scenario])
                elif row.figure in SCENARIO_FIGURES or row.figure == "residual_wt_pct":
                    found.add(row.scenario)
        return tuple(sorted(found))

    def slopes(
        self,
        loadings_wt_pct: Floats,
        step_wt_pct: Floats,
        *,
        columns: Sequence[int] | None = None,
        scenarios: Sequence[int] | None = None,
    ) -> tuple[Floats, Floats]:
        """Forward differences of objective and limits, all neighbours in one batch.

        Parameters
        ----------
        loadings_wt_pct, step_wt_pct : ndarray, shape (n_substance,)
            The point and the step of every substance [wt%].
        columns : sequence of int, optional
            Substances to step; all if left out.
        scenarios : sequence of int, optional
            Scenarios to simulate; what rests on others gets the slope 0. All if left out.

        Returns
        -------
        objective_slope : ndarray, shape (n_column,)
            Per wt%.
        value_slopes : ndarray, shape (n_constraint, n_column)
            Scaled values per wt%.
        """
        chosen = list(range(len(step_wt_pct))) if columns is None else list(columns)
        at, beside = self.evaluator.with_jacobian(
            loadings_wt_pct, step_wt_pct, columns=chosen, scenarios=scenarios
        )
        base = self._points(loadings_wt_pct[np.newaxis, :], at)[0]
        steps = np.diag(step_wt_pct)[chosen]
        neighbours = self._points(loadings_wt_pct[np.newaxis, :] + steps, beside)
        width = step_wt_pct[chosen]
        objective = np.array([point.objective - base.objective for point in neighbours]) / width
        values = np.stack([point.values - base.values for point in neighbours], axis=1) / width
        return objective, values

    def _points(self, loadings_wt_pct: Floats, figures: BlendFigures) -> list[Point]:
        measures = self.measures(loadings_wt_pct, figures)
        objective = measures["objective"][:, 0]
        values = scaled_values(self.constraints, measures)
        return [
            Point(
                loadings_wt_pct=loadings_wt_pct[i].copy(),
                objective=float(objective[i]),
                values=values[i],
                figures=figures_of(self.constraints, measures, i),
            )
            for i in range(len(loadings_wt_pct))
        ]

    def measures(self, loadings_wt_pct: Floats, figures: BlendFigures) -> dict[str, Floats]:
        """All figures a limit or an objective may use, by name.

        Shapes are (n_blend, n_scenario) for simulated figures and (n_blend, 1) for whole-blend ones.
        """
        found: dict[str, Floats] = {name: getattr(figures, name) for name in SCENARIO_FIGURES}
        residual = figures.residual_initiator_wt_pct
        found["residual_wt_pct"] = residual.sum(axis=2)
        found["total_wt_pct"] = loadings_wt_pct.sum(axis=1, keepdims=True)
        if not missing_prices(self.space.keys, self.brief):
            found["cost_per_kg"] = self.cost_per_kg(loadings_wt_pct)[:, np.newaxis]
        if self.brief.objective == "least_yellowing" or self.brief.limits.yellowness_max_ratio is not None:
            found["yellowness_ratio"] = self.yellowness_by_lamp(loadings_wt_pct, residual)
        found["objective"] = self._objective(found)
        return found

    def _objective(self, found: Mapping[str, Floats]) -> Floats:
        match self.brief.objective:
            case "least_heat":
                step = len(self.heat_scenarios) // len(self.lamps)
                hottest = list(
                    self.heat_scenarios[step - 1 :: step]
                )  # the thick end of the window, lamp by lamp
                return soft_maximum(found["nail_bed_peak_k"][:, hottest] - self.brief.hand_start_k, SOFT_K)
            case "least_initiator":
                return found["total_wt_pct"]
            case "least_cost":
                return found["cost_per_kg"]
            case _:
                return soft_maximum(found["yellowness_ratio"], SOFT_YELLOWNESS)

    def cost_per_kg(self, loadings_wt_pct: Floats) -> Floats:
        """Cost of the initiators and amines in one kg of gel, shape (n_blend,)."""
        prices = np.array([self.brief.prices_per_kg[key] for key in self.space.keys])
        return np.asarray(loadings_wt_pct @ prices / 100.0)

    def yellowness(self, loadings_wt_pct: Floats, residual_wt_pct: Floats) -> Floats:
        """Yellowness index of the cured film at the thick end of the window, in the worst lamp, shape (n_blend,)."""
        return np.asarray(self.yellowness_by_lamp(loadings_wt_pct, residual_wt_pct).max(axis=1))

    def yellowness_by_lamp(self, loadings_wt_pct: Floats, residual_wt_pct: Floats) -> Floats:
        """Yellowness index of the cured film at the thick end of the window, shape (n_blend, n_lamp)."""
        from .colour_figures import yellowness_index

        columns = [
            yellowness_index(
                self.gel,
                self.space.initiators,
                self.space.amines,
                loadings_wt_pct,
                residual_wt_pct[:, scenario, :],
                self.brief.thickness_high_m,
            )
            for scenario in self.thick_scenarios
        ]
        return np.stack(columns, axis=1)


def soft_maximum(values: Floats, softness: float) -> Floats:
    """Smooth stand-in for the largest of each row, at most ``softness ln(n)`` below it, shape (n_row, 1).

    A true maximum has kinks that mislead a gradient search; of a single column it is that column.
    """
    top = values.max(axis=1, keepdims=True)
    spread = np.exp((values - top) / softness).mean(axis=1, keepdims=True)
    return np.asarray(top + softness * np.log(spread))
