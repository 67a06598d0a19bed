"""How far a blend may drift before a limit breaks: each loading on its own, and the output of the lamp."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .answer import Candidate
from .brief import Margins
from .local import FEASIBLE
from .problem import Problem
from .tune import Outcome

Floats = NDArray[np.float64]

# Tried factors; the ends of what is reported lie on this grid.
LOADING_FACTORS: Floats = np.round(np.geomspace(0.5, 2.0, 29), 4)
OUTPUT_FACTORS: Floats = np.round(np.arange(0.3, 1.31, 0.05), 2)
AT_ONCE = 2  # factors tried together on each side


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """A range in which every limit of the brief, its margins put aside, is kept.

    Parameters
    ----------
    low, high : float
        Ends of the range, in the unit of the quantity; equal to the nominal value when nothing else passes.
    reaches_low, reaches_high : bool
        Whether the range runs to the end of what was tried.
    """

    low: float
    high: float
    reaches_low: bool
    reaches_high: bool


def around(factors: Floats, passes: NDArray[np.bool_], nominal: float) -> Allowance | None:
    """The run of passing factors that holds 1, times the nominal value; None when 1 itself fails.

    Parameters
    ----------
    factors : ndarray, shape (n,)
        Ascending, 1 among them.
    passes : ndarray of bool, shape (n,)
        Whether each passes.
    nominal : float
        What the factors multiply.

    Examples
    --------
    >>> import numpy as np
    >>> around(np.array([0.8, 0.9, 1.0, 1.1]), np.array([False, True, True, True]), 2.0)
    Allowance(low=1.8, high=2.2, reaches_low=False, reaches_high=True)
    """
    middle = int(np.argmin(np.abs(factors - 1.0)))
    if not passes[middle]:
        return None
    low = high = middle
    while low > 0 and passes[low - 1]:
        low -= 1
    while high < len(factors) - 1 and passes[high + 1]:
        high += 1
    return Allowance(
        low=float(nominal * factors[low]),
        high=float(nominal * factors[high]),
        reaches_low=low == 0,
        reaches_high=high == len(factors) - 1,
    )


def _walked(factors: Floats, keeps: Callable[[Floats], NDArray[np.bool_]]) -> NDArray[np.bool_]:
    """Whether each of the ascending factors passes, tried from 1 outwards, a few at once, until one fails."""
    passes = np.zeros(len(factors), dtype=bool)
    middle = int(np.argmin(np.abs(factors - 1.0)))
    low, high = middle, middle + 1  # what lies between is known
    passes[middle] = keeps(factors[middle:high])[0]
    if not passes[middle]:
        return passes
    while True:
        below = range(max(low - AT_ONCE, 0), low) if passes[low] else range(0)
        above = range(high, min(high + AT_ONCE, len(factors))) if passes[high - 1] else range(0)
        if not (below or above):
            return passes
        chosen = [*below, *above]
        passes[chosen] = keeps(factors[chosen])
        # a failure inside a stretch ends that side
        if below:
            low = below[0] if passes[below.start : below.stop].all() else _ended(passes, below.start)
        if above:
            high = (
                above[-1] + 1
                if passes[above.start : above.stop].all()
                else _ended(passes, above.stop - 1) + 1
            )


def _ended(passes: NDArray[np.bool_], outermost: int) -> int:
    """Mark the outermost of a stretch as failed, so that nothing is tried beyond it."""
    passes[outermost] = False
    return outermost


def _problem(outcome: Outcome, shown: Candidate) -> Problem:
    inputs = outcome.inputs
    return Problem(
        brief=replace(inputs.brief, margins=Margins()),
        lamp=inputs.lamp,
        more_lamps=inputs.more_lamps,
        gel=inputs.gel,
        space=inputs.space.subset(shown.blend_wt_pct),
    )


def loading_allowances(outcome: Outcome, shown: Candidate) -> dict[str, Allowance | None]:
    """How far each loading may drift, the others as weighed [wt%].

    Parameters
    ----------
    outcome : Outcome
        The run.
    shown : Candidate
        One of its blends.
    """
    problem = _problem(outcome, shown)
    nominal = problem.vector(shown.blend_wt_pct)
    found: dict[str, Allowance | None] = {}
    for i, key in enumerate(problem.space.keys):

        def keeps(factors: Floats, column: int = i) -> NDArray[np.bool_]:
            blends = np.tile(nominal, (len(factors), 1))
            blends[:, column] *= factors
            return np.array([point.violation <= FEASIBLE for point in problem.points(blends)])

        found[key] = around(LOADING_FACTORS, _walked(LOADING_FACTORS, keeps), float(nominal[i]))
    return found


def output_allowance(outcome: Outcome, shown: Candidate) -> Allowance | None:
    """Between which outputs of the lamp, over the one measured [-], the blend keeps its limits."""
    problem = _problem(outcome, shown)
    nominal = problem.vector(shown.blend_wt_pct)

    def keeps(factors: Floats) -> NDArray[np.bool_]:
        points = problem.points_under(
            np.tile(nominal, (len(factors), 1)), [{"lamp_output_ratio": float(each)} for each in factors]
        )
        return np.array([point.violation <= FEASIBLE for point in points])

    return around(OUTPUT_FACTORS, _walked(OUTPUT_FACTORS, keeps), 1.0)
