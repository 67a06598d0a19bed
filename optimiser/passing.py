"""The probability that a blend passes when thickness, lamp, weighing and initiator data are off.

An optimum rests on its limits, so the nominal answer says little about use: a blend is never shown without this.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .brief import Margins
from .colour_figures import initiator_of
from .constraints import Constraint, build_constraints
from .problem import SCENARIO_FIGURES, Problem

Floats = NDArray[np.float64]

INCLUDED = (
    "film thickness (uniform over the window), lamp output, weighing of each substance, and per initiator the error of "
    "its absorption scale and of its quantum yield. The two initiator errors are drawn as errors of its loading, "
    "which overstates the shading a quantum-yield error would bring. Rate constants, resin, oxygen and tissue data, "
    "lamp spectrum shape and nail thickness are not varied"
)
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Passing:
    """Share of draws in which every cure and heat limit is kept.

    Parameters
    ----------
    probability_fraction, low_fraction, high_fraction : float
        Estimate and 95 % binomial interval [-].
    draws : int
        Number of draws.
    broken_by_limit : dict of str to float
        Share of draws that break each limit [-]; a draw may break several.
    included : str
        What was varied.
    """

    probability_fraction: float
    low_fraction: float
    high_fraction: float
    draws: int
    broken_by_limit: dict[str, float]
    included: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Perturbed conditions.

    Parameters
    ----------
    thickness_m, output_ratio : ndarray, shape (n_draw,)
        Film thickness [m] and lamp output over nominal [-].
    loadings_wt_pct : ndarray, shape (n_draw, n_substance)
        Effective loadings [wt%].
    """

    thickness_m: Floats
    output_ratio: Floats
    loadings_wt_pct: Floats


def draw_conditions(problem: Problem, loadings_wt_pct: Floats, draws: int) -> Draws:
    """Scrambled Sobol draws of everything that is varied.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The blend as intended.
    draws : int
        A power of two.

    Returns
    -------
    Draws
    """
    from scipy.stats import norm, qmc

    brief, keys, initiators = problem.brief, problem.space.keys, problem.space.initiators
    rng = np.random.default_rng(np.random.SeedSequence(brief.seed).spawn(2)[1])
    n = 2 + len(keys) + 2 * len(initiators)
    unit = qmc.Sobol(d=n, scramble=True, rng=rng).random_base2(int(np.log2(draws)))
    normal = norm.ppf(np.clip(unit, 1e-9, 1.0 - 1e-9))
    low, high = brief.thickness_low_m, brief.thickness_high_m
    error = brief.uncertainty.weighing_error_ratio * normal[:, 2 : 2 + len(keys)]
    for i, key in enumerate(initiators):
        data = initiator_of(problem.gel, key)
        column = 2 + len(keys) + 2 * i
        error[:, i] += data.scale_error_ratio * normal[:, column]
        error[:, i] += data.quantum_yield_error_ratio * normal[:, column + 1]
    return Draws(
        thickness_m=low + (high - low) * unit[:, 0],
        output_ratio=np.exp(brief.uncertainty.lamp_output_error_ratio * normal[:, 1]),
        loadings_wt_pct=loadings_wt_pct * np.exp(error),
    )


def probability_of_passing(problem: Problem, loadings_wt_pct: Floats, draws: int | None = None) -> Passing:
    """Estimate how often a blend keeps its cure and heat limits.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The blend as intended.
    draws : int, optional
        Number of draws; the brief's when omitted.

    Returns
    -------
    Passing
        Limits are taken without the brief's margins; limits on total loading, cost and colour are not drawn.
    """
    from scipy.stats import binomtest

    conditions = draw_conditions(problem, loadings_wt_pct, draws or problem.brief.uncertainty.draws)
    n = len(conditions.thickness_m)
    spots = _spots(problem)
    measures = _drawn_measures(problem, conditions, spots)
    limits = _drawn_limits(problem, spots)
    broken: dict[str, NDArray[np.bool_]] = {}
    for row in limits:
        fails = row.scaled(measures[row.figure][:, row.scenario]) > 0.0
        broken[row.limit_name] = broken.get(row.limit_name, np.zeros(n, dtype=bool)) | fails
    passed = int(n - np.any(list(broken.values()), axis=0).sum())
    interval = binomtest(passed, n).proportion_ci(confidence_level=CONFIDENCE, method="exact")
    return Passing(
        probability_fraction=passed / n,
        low_fraction=float(interval.low),
        high_fraction=float(interval.high),
        draws=n,
        broken_by_limit={name: float(each.mean()) for name, each in broken.items() if each.any()},
        included=INCLUDED,
    )


def _spots(problem: Problem) -> list[tuple[int, str, int]]:
    """Lamp, position and cycles of what each draw simulates: cure, heat, and the second cycle where it is judged."""
    lamps = list(enumerate(problem.lamps))
    cure = [(i, lamp.weakest, 1) for i, lamp in lamps]
    heat = [(i, lamp.strongest, 1) for i, lamp in lamps]
    again = [(i, lamp.weakest, 2) for i, lamp in lamps] if problem.judges_second_cycle else []
    return [*cure, *heat, *again]


def _drawn_measures(
    problem: Problem, conditions: Draws, spots: Sequence[tuple[int, str, int]]
) -> dict[str, Floats]:
    """Figures of every draw, shape (n_draw, n_spot); one draw of output holds for every lamp."""
    rows: dict[str, list[Floats]] = {name: [] for name in (*SCENARIO_FIGURES, "residual_wt_pct")}
    for k, loadings in enumerate(conditions.loadings_wt_pct):
        output, thickness = float(conditions.output_ratio[k]), float(conditions.thickness_m[k])
        lamps = [lamp.with_output(output) for lamp in problem.lamps]
        scenarios = [
            problem.scenario(position, thickness, cycles, lamps[i], index=i) for i, position, cycles in spots
        ]
        figures = problem.new_evaluator(scenarios)(loadings[np.newaxis, :])
        for name in SCENARIO_FIGURES:
            rows[name].append(getattr(figures, name)[0])
        rows["residual_wt_pct"].append(figures.residual_initiator_wt_pct[0].sum(axis=1))
    return {name: np.stack(each) for name, each in rows.items()}


def _drawn_limits(problem: Problem, spots: Sequence[tuple[int, str, int]]) -> tuple[Constraint, ...]:
    """The brief's cure and heat limits for one draw's scenarios, without margins."""
    n = len(problem.lamps)
    thickest = problem.brief.thickness_high_m  # only names the rows; a draw has its own thickness
    rows = build_constraints(
        replace(problem.brief, margins=Margins()),
        [problem.scenario(position, thickest, cycles, index=i) for i, position, cycles in spots],
        cure=range(2 * n),
        heat=range(n, 2 * n),
        second=range(2 * n, len(spots)),
        ceilings=np.full(len(spots), problem.ceilings[0]),
    )
    return tuple(row for row in rows if row.figure in SCENARIO_FIGURES or row.figure == "residual_wt_pct")
