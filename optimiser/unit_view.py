"""A problem seen through unit variables, in which the local search moves.

Variables run from 0 to 1; a loading is ``low + (high - low) (a u + (1 - a) u^2)``. The square spreads the small
loadings, where the answers lie; the small linear part keeps zero from being a stationary point of everything.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .problem import Point, Problem

Floats = NDArray[np.float64]

LINEAR_PART = 0.1
STEP = 1e-3  # difference step in unit variables


class UnitView:
    """A problem seen through unit variables of some of its substances, with derivatives by the chain rule.

    Parameters
    ----------
    problem : Problem
        The problem, of these and perhaps more substances.
    low_wt_pct : ndarray, shape (n_key,)
        Loadings at 0 of the unit variables [wt%].
    keys : sequence of str, optional
        Substances that vary, the others stay out; all if left out.
    """

    def __init__(self, problem: Problem, low_wt_pct: Floats, keys: Sequence[str] | None = None) -> None:
        self.problem = problem
        self.size = len(problem.space.high_wt_pct)
        self.columns = list(range(self.size))
        if keys is not None:
            self.columns = [problem.space.keys.index(key) for key in keys]
        high = problem.space.high_wt_pct[self.columns]
        self.low = np.minimum(low_wt_pct, high)
        self.span = np.maximum(high - self.low, 1e-9)  # a cap may equal the least loading
        self.visited: list[Point] = []
        self._slopes: dict[bytes, tuple[set[int] | None, Floats, Floats]] = {}

    def loadings(self, unit: Floats) -> Floats:
        u = np.clip(unit, 0.0, 1.0)
        loadings = np.zeros(self.size)
        loadings[self.columns] = self.low + self.span * (LINEAR_PART * u + (1.0 - LINEAR_PART) * u**2)
        return loadings

    def unit(self, loadings_wt_pct: Floats) -> Floats:
        share = np.clip((loadings_wt_pct[self.columns] - self.low) / self.span, 0.0, 1.0)
        a, b = 1.0 - LINEAR_PART, LINEAR_PART
        return np.asarray((np.sqrt(b**2 + 4.0 * a * share) - b) / (2.0 * a))

    def at(self, unit: Floats) -> Point:
        point = self.problem.point(self.loadings(unit))
        self.visited.append(point)
        return point

    def stretch(self, unit: Floats) -> Floats:
        """Loading per unit variable."""
        return np.asarray(self.span * (LINEAR_PART + 2.0 * (1.0 - LINEAR_PART) * np.clip(unit, 0.0, 1.0)))

    def slopes(self, unit: Floats, scenarios: Sequence[int] | None = None) -> tuple[Floats, Floats]:
        """Slopes of objective and limits; limits of scenarios not named may have the slope 0.

        Parameters
        ----------
        unit : ndarray, shape (n_key,)
            Where.
        scenarios : sequence of int, optional
            Scenarios to simulate; all if left out.

        Returns
        -------
        tuple of ndarray
            Shapes (n_key,) and (n_constraint, n_key).
        """
        key, known = unit.tobytes(), self._slopes.get(unit.tobytes())
        wanted = None if scenarios is None else set(scenarios)
        if known is None or not (known[0] is None or (wanted is not None and wanted <= known[0])):
            if known is not None and known[0] is not None and wanted is not None:
                wanted |= known[0]
            stretch = self.stretch(unit)
            step = np.ones(self.size)
            step[self.columns] = STEP * stretch
            objective, values = self._differences(unit, step, wanted)
            known = (wanted, objective * stretch, values * stretch)
            self._slopes[key] = known
        return known[1], known[2]

    def _differences(
        self, unit: Floats, step_wt_pct: Floats, wanted: set[int] | None
    ) -> tuple[Floats, Floats]:
        scenarios = None if wanted is None else sorted(wanted)
        return self.problem.slopes(
            self.loadings(unit), step_wt_pct, columns=self.columns, scenarios=scenarios
        )

    def behind(self, values: Floats, within: float) -> frozenset[int]:
        """Scenarios whose limits are broken or near, and those of the objective."""
        return frozenset(self.problem.scenarios_behind(values, within))
