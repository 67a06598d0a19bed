"""Local search: SLSQP in unit variables, with a least-violation stage when the limits cannot all be kept.

Variables run from 0 to 1; a loading is ``low + (high - low) (a u + (1 - a) u^2)``. The square spreads the small
loadings, where the answers lie; the small linear part keeps zero from being a stationary point of everything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .problem import Point, Problem

Floats = NDArray[np.float64]

LINEAR_PART = 0.1
STEP = 1e-3  # difference step in unit variables
INSET = 1e-4  # aim this far inside every limit, in scaled values, so that a reported blend really passes
FEASIBLE = 1e-9
OBJECTIVE_TOLERANCE = 1e-5
MOST_ITERATIONS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Local:
    """What one local search found.

    Parameters
    ----------
    blend_wt_pct : dict of str to float
        Loadings by substance.
    objective : float
        Objective in its own unit.
    values, figures : tuple of float
        Scaled values of the limits and the unscaled figures behind them.
    multipliers : tuple of float
        Fall of the objective per scaled unit each limit is relaxed; empty when not at a feasible optimum.
    simulations : int
        Films simulated.
    """

    blend_wt_pct: dict[str, float]
    objective: float
    values: tuple[float, ...]
    figures: tuple[float, ...]
    multipliers: tuple[float, ...]
    simulations: int

    @property
    def is_feasible(self) -> bool:
        """Whether every limit is kept."""
        return max(self.values) <= FEASIBLE

    @property
    def violation(self) -> float:
        """Summed scaled excess over the limits; 0 when feasible."""
        return float(sum(max(value, 0.0) for value in self.values))

    @property
    def rank(self) -> tuple[float, float]:
        """Sorting key: feasible ones by objective, then the others by violation."""
        return (0.0, self.objective) if self.is_feasible else (1.0, self.violation)


class _Unit:
    """A problem seen through unit variables, with derivatives by the chain rule."""

    def __init__(self, problem: Problem, low_wt_pct: Floats) -> None:
        self.problem = problem
        self.low = low_wt_pct
        self.span = problem.space.high_wt_pct - low_wt_pct
        self.visited: list[Point] = []
        self._slopes: dict[bytes, tuple[Floats, Floats]] = {}

    def loadings(self, unit: Floats) -> Floats:
        u = np.clip(unit, 0.0, 1.0)  # SLSQP oversteps bounds by rounding errors only
        return np.asarray(self.low + self.span * (LINEAR_PART * u + (1.0 - LINEAR_PART) * u**2))

    def unit(self, loadings_wt_pct: Floats) -> Floats:
        share = np.clip((loadings_wt_pct - self.low) / self.span, 0.0, 1.0)
        a, b = 1.0 - LINEAR_PART, LINEAR_PART
        return np.asarray((np.sqrt(b**2 + 4.0 * a * share) - b) / (2.0 * a))

    def at(self, unit: Floats) -> Point:
        point = self.problem.point(self.loadings(unit))
        self.visited.append(point)
        return point

    def slopes(self, unit: Floats) -> tuple[Floats, Floats]:
        key = unit.tobytes()
        if key not in self._slopes:
            u = np.clip(unit, 0.0, 1.0)
            stretch = self.span * (LINEAR_PART + 2.0 * (1.0 - LINEAR_PART) * u)
            objective, values = self.problem.slopes(self.loadings(unit), STEP * stretch)
            self._slopes[key] = (objective * stretch, values * stretch)
        return self._slopes[key]


def local_search(
    problem: Problem, start_wt_pct: Floats, low_wt_pct: Floats, *, most_iterations: int = MOST_ITERATIONS
) -> Local:
    """Polish one start; when the limits cannot be met from it, go to the least violation first.

    Parameters
    ----------
    problem : Problem
        The substances and limits.
    start_wt_pct, low_wt_pct : ndarray, shape (n_substance,)
        Start and lowest loadings [wt%].
    most_iterations : int
        Iterations of each SLSQP run.

    Returns
    -------
    Local
        The best feasible blend met on the way, else the one with the least violation.
    """
    simulated = problem.simulations
    view = _Unit(problem, np.minimum(low_wt_pct, problem.space.high_wt_pct))
    unit, multipliers = _constrained(view, view.unit(start_wt_pct), most_iterations)
    if not _is_kept(view.at(unit)):
        unit = _least_violation(view, unit, most_iterations)
        if _is_kept(view.at(unit)):
            unit, multipliers = _constrained(view, unit, most_iterations)
    best = min(
        view.visited, key=lambda point: (0.0, point.objective) if _is_kept(point) else (1.0, point.violation)
    )
    at_end = np.array_equal(best.loadings_wt_pct, view.loadings(unit)) and _is_kept(best)
    return Local(
        blend_wt_pct=problem.blend(best.loadings_wt_pct),
        objective=best.objective,
        values=tuple(float(value) for value in best.values),
        figures=best.figures,
        multipliers=tuple(float(value) for value in multipliers) if at_end else (),
        simulations=problem.simulations - simulated,
    )


def _is_kept(point: Point) -> bool:
    return float(point.values.max()) <= FEASIBLE


def _constrained(view: _Unit, unit: Floats, most_iterations: int) -> tuple[Floats, Floats]:
    """SLSQP on the objective; returns the end point and the multipliers in units of the objective."""
    from scipy.optimize import minimize

    scale = max(abs(view.at(unit).objective), 1e-6)
    result: Any = minimize(
        lambda u: view.at(u).objective / scale,
        unit,
        jac=lambda u: view.slopes(u)[0] / scale,
        method="SLSQP",
        bounds=[(0.0, 1.0)] * len(unit),
        constraints={
            "type": "ineq",
            "fun": lambda u: -(view.at(u).values + INSET),
            "jac": lambda u: -view.slopes(u)[1],
        },
        options={"maxiter": most_iterations, "ftol": OBJECTIVE_TOLERANCE},
    )
    return np.clip(result.x, 0.0, 1.0), np.asarray(result.multipliers) * scale


def _least_violation(view: _Unit, unit: Floats, most_iterations: int) -> Floats:
    """SLSQP on the summed excess, made smooth by one slack variable per limit."""
    from scipy.optimize import minimize

    n = len(unit)
    excess = np.maximum(view.at(unit).values + INSET, 0.0)
    m = len(excess)
    gradient = np.concatenate([np.zeros(n), np.ones(m)])
    result: Any = minimize(
        lambda x: float(x[n:].sum()),
        np.concatenate([unit, excess]),
        jac=lambda x: gradient,
        method="SLSQP",
        bounds=[(0.0, 1.0)] * n + [(0.0, None)] * m,
        constraints={
            "type": "ineq",
            "fun": lambda x: x[n:] - (view.at(x[:n]).values + INSET),
            "jac": lambda x: np.hstack([-view.slopes(x[:n])[1], np.eye(m)]),
        },
        options={"maxiter": most_iterations, "ftol": OBJECTIVE_TOLERANCE},
    )
    return np.clip(result.x[:n], 0.0, 1.0)
