"""How far a gel can be pushed before it fails: the thickest coat and the dimmest lamp, with the chance of passing there.

One condition is moved, everything else stays. Whether the gel passes is not taken to be monotonic: a row of values is tried
first, and only the edge next to the passing stretch is closed in on by halving.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .brief import Margins
from .constraints import Constraint, build_constraints
from .gel_case import GelCase
from .passing import USE_STREAM, Judge, Passing, passing_of
from .problem import SCENARIO_FIGURES
from .varied import unit_draws, varied_inputs

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

ROW = 24
HALVINGS = 14
SURE_FRACTION = 0.95
SURE_HALVINGS = 7
SURE_DRAWS = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A condition that is moved.

    Parameters
    ----------
    knob : str
        Of `models.perturbed`.
    input_key : str
        The input of the tolerance study that says the same and is held still meanwhile; "" = none.
    low, high : float
        Range in the knob's unit.
    wants_high : bool
        Whether the edge asked for is the upper one.
    """

    knob: str
    input_key: str
    low: float
    high: float
    wants_high: bool


THICKNESS = Moved(
    knob="film_thickness_m", input_key="film_thickness", low=10e-6, high=2000e-6, wants_high=True
)
OUTPUT = Moved(knob="lamp_output_ratio", input_key="", low=0.05, high=1.5, wants_high=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """Where a gel stops passing.

    Parameters
    ----------
    case, moved : GelCase, Moved
        What was pushed, and how.
    values, worst : ndarray, shape (n,)
        The row tried, and the largest scaled value of any limit there; 0 or less where the gel passes.
    edge : float or None
        The last value that passes; None where none of the row does.
    other_end : float or None
        First value of the passing stretch from the other side, where the gel fails there too.
    stopped_by : str
        Limit that the gel breaks beyond the edge; "" where the end of the range was reached.
    other_stopped_by : str
        The same at the other end.
    stretches : int
        Separate stretches of the row that pass; 1 is what one expects.
    sure_value : float or None
        The furthest value passed in 95 % of the draws of the conditions of use; None where there is none.
    passing : Passing or None
        Chance of passing at the edge.
    figures : dict of str to float
        Worst figures at the edge over all positions.
    """

    case: GelCase
    moved: Moved
    values: Floats
    worst: Floats
    edge: float | None
    other_end: float | None
    stopped_by: str
    other_stopped_by: str
    stretches: int
    sure_value: float | None
    passing: Passing | None
    figures: dict[str, float]


class _Bench:
    """Cures a gel at every position with one condition at some values."""

    def __init__(self, case: GelCase, moved: Moved) -> None:
        problem = case.problem
        self.case, self.moved = case, moved
        lamps = list(enumerate(problem.lamps))
        once = [(i, place, 1) for i, lamp in lamps for place in lamp.positions]
        twice = [(i, lamp.weakest, 2) for i, lamp in lamps] if problem.judges_second_cycle else []
        thickness = case.problem.gel.thickness_m
        scenarios = [problem.scenario(place, thickness, n, index=i) for i, place, n in (*once, *twice)]
        self.evaluator = problem.new_evaluator(scenarios)
        n = len(once)
        rows = build_constraints(
            replace(problem.brief, margins=Margins()), scenarios, cure=range(n), heat=range(n),
            second=range(n, len(scenarios)), ceilings=np.full(len(scenarios), problem.ceilings[0]),
        )  # fmt: skip
        self.rows: tuple[Constraint, ...] = tuple(
            row for row in rows if row.figure in SCENARIO_FIGURES or row.figure == "residual_wt_pct"
        )

    def figures(self, values: Sequence[float]) -> Any:
        loadings = np.repeat(self.case.loadings_wt_pct[np.newaxis, :], len(values), axis=0)
        return self.evaluator.under(loadings, [{self.moved.knob: float(value)} for value in values])

    def worst(self, values: Sequence[float]) -> tuple[Floats, list[str]]:
        """Largest scaled value at each value, and the limit it belongs to."""
        found = self.figures(values)
        measures = {name: getattr(found, name) for name in SCENARIO_FIGURES}
        measures["residual_wt_pct"] = found.residual_initiator_wt_pct.sum(axis=2)
        scaled = np.stack([row.scaled(measures[row.figure][:, row.scenario]) for row in self.rows], axis=1)
        return scaled.max(axis=1), [self.rows[i].limit_name for i in scaled.argmax(axis=1)]


def edge_of(case: GelCase, moved: Moved, progress: Progress, *, with_chance: bool = True) -> Edge:
    """Find how far a condition can be moved.

    Parameters
    ----------
    case : GelCase
        The gel in its lamp.
    moved : Moved
        `THICKNESS` or `OUTPUT`.
    progress : callable
        Told about the parts of the work.
    with_chance : bool
        Whether the chance of passing there is worked out too, which takes most of the time.

    Returns
    -------
    Edge
        The edge of the passing stretch that lies furthest the way asked for, to 1e-4 of the range's logarithm.
    """
    bench = _Bench(case, moved)
    values = np.geomspace(moved.low, moved.high, ROW)
    progress(0, 3, "a row of values")
    worst, names = bench.worst(values.tolist())
    passes = worst <= 0.0
    stretches = int(passes[0]) + int(np.sum(passes[1:] & ~passes[:-1]))
    if not passes.any():
        nearest = int(np.argmin(worst))
        return Edge(
            case=case, moved=moved, values=values, worst=worst, edge=None, other_end=None,
            stopped_by=names[nearest], other_stopped_by="", stretches=0, sure_value=None, passing=None,
            figures=_figures(bench, float(values[nearest])),
        )  # fmt: skip
    step = 1 if moved.wants_high else -1
    last = int(np.flatnonzero(passes)[-1 if moved.wants_high else 0])
    first = last
    while 0 <= first - step < ROW and passes[first - step]:
        first -= step
    progress(1, 3, "the edge")
    edge, stopped_by = _close_in(bench, values, last, step)
    other, other_by = _close_in(bench, values, first, -step)
    progress(2, 3, "the chance of passing")
    sure, passing = None, None
    if with_chance:
        sure, passing = _chances(case, moved, edge, other if other_by else float(values[first]))
    return Edge(
        case=case, moved=moved, values=values, worst=worst, edge=edge, other_end=other if other_by else None,
        stopped_by=stopped_by, other_stopped_by=other_by, stretches=stretches, sure_value=sure, passing=passing,
        figures=_figures(bench, edge),
    )  # fmt: skip


def _close_in(bench: _Bench, values: Floats, inside: int, step: int) -> tuple[float, str]:
    """Last passing value between a passing one and its failing neighbour, and what stops it; "" at the end of the row."""
    good = float(values[inside])
    if not 0 <= inside + step < len(values):
        return good, ""
    bad, name = float(values[inside + step]), ""
    for _ in range(HALVINGS):
        middle = float(np.sqrt(good * bad))
        worst, names = bench.worst([middle])
        if worst[0] <= 0.0:
            good = middle
        else:
            bad, name = middle, names[0]
    return good, name or bench.worst([bad])[1][0]


def _chances(case: GelCase, moved: Moved, edge: float, other: float) -> tuple[float | None, Passing]:
    """The furthest value with 95 % of the draws passing, between the other end and the edge, and the chance at the edge."""
    problem = case.problem
    judge = Judge(problem)
    inputs = tuple(each for each in varied_inputs(problem, ("use",)) if each.key != moved.input_key)
    unit = unit_draws(inputs, SURE_DRAWS, problem.brief.seed, USE_STREAM)

    def at(value: float) -> Passing:
        scaled = judge.scaled(inputs, case.loadings_wt_pct, unit, fixed={moved.knob: value})
        return passing_of(judge.limit_names, scaled, inputs)

    at_edge = at(edge)
    if at_edge.probability_fraction >= SURE_FRACTION:
        return edge, at_edge
    tried = np.geomspace(edge, other, SURE_HALVINGS)
    bad = edge
    for value in tried[1:]:
        if at(float(value)).probability_fraction >= SURE_FRACTION:
            good = float(value)
            break
        bad = float(value)
    else:
        return None, at_edge
    for _ in range(SURE_HALVINGS):
        middle = float(np.sqrt(good * bad))
        good, bad = (middle, bad) if at(middle).probability_fraction >= SURE_FRACTION else (good, middle)
    return good, at_edge


def _figures(bench: _Bench, value: float) -> dict[str, float]:
    found = bench.figures([value])
    return {
        "bottom_conversion_fraction": float(found.bottom_conversion_fraction[0].min()),
        "conversion_ceiling_fraction": float(bench.case.problem.ceilings[0]),
        "uncured_layer_m": float(found.uncured_layer_m[0].max()),
        "film_peak_k": float(found.film_peak_k[0].max()),
        "nail_bed_peak_k": float(found.nail_bed_peak_k[0].max()),
        "cem43_min": float(found.cem43_min[0].max()),
        "second_cycle_heat_ratio": float(found.second_cycle_heat_ratio[0].max()),
    }
