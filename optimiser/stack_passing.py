"""The chance that a set of coats passes: every limit of the finished stack under drawn errors of film, lamp and weighing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..models.gel import Gel
from ..models.solver import run_parallel
from ..models.stack import build
from ..models.stack_results import StackResult
from .brief import Margins
from .colour_figures import initiator_of
from .passing import Passing, chance_of
from .stack_limits import rows_of_set
from .stack_parts import CoatSet, Corner
from .stack_problem import StackProblem

Floats = NDArray[np.float64]

INCLUDED = (
    "Thickness of every coat on its own (uniform over its window), lamp output, weighing of each substance, and per "
    "initiator the error of its absorption scale and of its quantum yield, both as errors of its loading. Not varied: rate "
    "constants, resin, oxygen and tissue data, place of the finger, hand and nail."
)


def chance_of_set(problem: StackProblem, loadings_wt_pct: Floats, draws: int) -> Passing:
    """Estimate how often every stack keeps its limits.

    Parameters
    ----------
    problem : StackProblem
        The set.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The blends as intended.
    draws : int
        A power of two.

    Returns
    -------
    Passing
        Limits without the brief's margins; a draw passes when every stack passes. The thickness of every coat is drawn on
        its own; limits on weighed amounts and cost are not drawn.
    """
    plain = without_margins(problem.coats)
    corners = [i for i, corner in enumerate(plain.corners) if corner.is_thick]
    rows = [
        row for row in rows_of_set(plain) if row.constraint.lamp_id and row.constraint.scenario in corners
    ]
    thickness, output, loadings = _drawn(problem, loadings_wt_pct, draws)

    def one(job: int) -> StackResult:
        draw, corner = divmod(job, len(corners))
        return _built(problem, plain.corners[corners[corner]], thickness[draw], output[draw], loadings[draw])

    runs = run_parallel(one, draws * len(corners), problem.workers)
    broken: dict[str, NDArray[np.bool_]] = {}
    for draw in range(draws):
        results = dict(zip(corners, runs[draw * len(corners) : (draw + 1) * len(corners)], strict=True))
        own = problem.by_gel(loadings[draw])
        for row in rows:
            fails = float(row.constraint.scaled(np.array(row.read(results, own)))) > 0.0
            broken.setdefault(row.constraint.limit_name, np.zeros(draws, dtype=bool))[draw] |= fails
    kept = {name: chance_of(int(draws - each.sum()), draws) for name, each in broken.items()}
    together = chance_of(int(draws - np.any(list(broken.values()), axis=0).sum()), draws)
    return Passing(
        probability_fraction=together.fraction,
        low_fraction=together.low_fraction,
        high_fraction=together.high_fraction,
        draws=draws,
        broken_by_limit={name: float(each.mean()) for name, each in broken.items() if each.any()},
        included=INCLUDED,
        kept_by_limit=kept,
    )


def without_margins(coats: CoatSet) -> CoatSet:
    """The same set with no distance kept from the limits."""
    parts = tuple(replace(part, brief=replace(part.brief, margins=Margins())) for part in coats.parts)
    return replace(coats, brief=replace(coats.brief, margins=Margins()), parts=parts)


def _drawn(problem: StackProblem, loadings_wt_pct: Floats, draws: int) -> tuple[Floats, Floats, Floats]:
    """Thickness of every gel [m], output of the lamp [-] and loadings [wt%], one row for each draw."""
    from scipy.stats import norm, qmc

    coats, brief = problem.coats, problem.coats.brief
    parts, keys = coats.parts, problem.space.keys
    rng = np.random.default_rng(np.random.SeedSequence(brief.seed).spawn(2)[1])
    sampler = qmc.Sobol(d=len(parts) + 1 + 3 * len(keys), scramble=True, rng=rng)
    unit = sampler.random_base2(int(np.log2(draws)))
    normal = norm.ppf(np.clip(unit, 1e-9, 1.0 - 1e-9))
    low = np.array([part.brief.thickness_low_m for part in parts])
    high = np.array([part.brief.thickness_high_m for part in parts])
    sizes = [
        (brief.uncertainty.weighing_error_ratio, *_doubt(part.gel, key, key in part.space.initiators))
        for part in parts
        for key in part.space.keys
    ]
    each = normal[:, len(parts) + 1 :].reshape(draws, len(keys), 3)
    error = np.sum(each * np.array(sizes)[np.newaxis], axis=2)
    output = np.exp(brief.uncertainty.lamp_output_error_ratio * normal[:, len(parts)])
    return low + (high - low) * unit[:, : len(parts)], output, loadings_wt_pct * np.exp(error)


def _doubt(gel: Gel, key: str, is_initiator: bool) -> tuple[float, float]:
    """Relative errors of an initiator's absorption scale and quantum yield."""
    if not is_initiator:
        return 0.0, 0.0
    data = initiator_of(gel, key)
    return data.scale_error_ratio, data.quantum_yield_error_ratio


def _built(
    problem: StackProblem, corner: Corner, thickness_m: Floats, output: float, loadings_wt_pct: Floats
) -> StackResult:
    schedule = problem.schedule(
        corner.stack, loadings_wt_pct, {i: float(each) for i, each in enumerate(thickness_m)}
    )
    return build(schedule, problem.coats.lamp.with_output(float(output)), position=corner.position)
