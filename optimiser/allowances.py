"""How far a blend may drift before a limit breaks: each loading on its own, and the output of the lamp."""

from __future__ import annotations

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
OUTPUT_FACTORS: Floats = np.round(np.arange(1.3, 0.29, -0.05), 2)


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


def _problem(outcome: Outcome, shown: Candidate, output_factor: float = 1.0) -> Problem:
    inputs = outcome.inputs
    lamp, *more = (
        inputs.lamps
        if output_factor == 1.0
        else tuple(each.with_output(output_factor) for each in inputs.lamps)
    )
    return Problem(
        brief=replace(inputs.brief, margins=Margins()),
        lamp=lamp,
        more_lamps=tuple(more),
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
        blends = np.tile(nominal, (len(LOADING_FACTORS), 1))
        blends[:, i] *= LOADING_FACTORS
        passes = np.array([point.violation <= FEASIBLE for point in problem.points(blends)])
        found[key] = around(LOADING_FACTORS, passes, float(nominal[i]))
    return found


def output_allowance(outcome: Outcome, shown: Candidate) -> Allowance | None:
    """Between which outputs of the lamp, over the one measured [-], the blend keeps its limits."""
    factors = OUTPUT_FACTORS[::-1]
    passes = []
    for factor in factors:
        problem = _problem(outcome, shown, float(factor))
        passes.append(problem.point(problem.vector(shown.blend_wt_pct)).violation <= FEASIBLE)
    return around(factors, np.array(passes), 1.0)
