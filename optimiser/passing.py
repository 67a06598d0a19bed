"""The probability that a blend passes when the conditions of use, or the numbers of the model, are off.

An optimum rests on its limits, so the nominal answer says little about use: a blend is never shown without this.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from .brief import Margins
from .constraints import Constraint, build_constraints
from .problem import SCENARIO_FIGURES, Problem
from .varied import Group, Varied, conditions_at, unit_draws, varied_inputs

Floats = NDArray[np.float64]

NOT_VARIED = (
    "Not varied: shape of the lamp's spectrum, content of C=C, density, absorption of photoproducts, reactivity "
    "ratios, tissue heat capacities, and the form of the model itself"
)
CONFIDENCE = 0.95
USE_STREAM, DATA_STREAM, FRESH_STREAM = 1, 2, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """A share of draws with its binomial interval [-]."""

    fraction: float
    low_fraction: float
    high_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Passing:
    """Share of draws in which every cure and heat limit is kept.

    Parameters
    ----------
    probability_fraction, low_fraction, high_fraction : float
        Estimate and 95 % binomial interval (Clopper and Pearson) [-]. Sobol draws scatter less than independent ones, so
        the interval is on the wide side.
    draws : int
        Number of draws.
    broken_by_limit : dict of str to float
        Share of draws that break each limit [-]; a draw may break several.
    included : str
        What was varied.
    kept_by_limit : dict of str to Chance
        Chance of keeping each limit by itself.
    """

    probability_fraction: float
    low_fraction: float
    high_fraction: float
    draws: int
    broken_by_limit: dict[str, float]
    included: str
    kept_by_limit: dict[str, Chance]


@cache  # the same few counts come up for every limit of every blend, and each interval is a search for two roots
def chance_of(passed: int, draws: int) -> Chance:
    """Share of passes with its exact binomial interval.

    Examples
    --------
    >>> chance = chance_of(64, 64)
    >>> round(chance.low_fraction, 3), chance.high_fraction  # 1 - 0.025**(1/64) below
    (0.944, 1.0)
    """
    from scipy.stats import binomtest

    interval = binomtest(passed, draws).proportion_ci(confidence_level=CONFIDENCE, method="exact")
    return Chance(
        fraction=passed / draws, low_fraction=float(interval.low), high_fraction=float(interval.high)
    )


class Judge:
    """Cures a blend under drawn conditions and says how far each limit is kept.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.

    Notes
    -----
    Limits are taken without the brief's margins; limits on total loading, cost and colour are not drawn.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        spots = _spots(problem)
        scenarios = [
            problem.scenario(place, problem.brief.thickness_high_m, cycles, index=lamp)
            for lamp, place, cycles in spots
        ]
        self.evaluator = problem.new_evaluator(scenarios)
        self.rows = self._rows(scenarios)
        self.limit_names = tuple(dict.fromkeys(row.limit_name for row in self.rows))

    def _rows(self, scenarios: Sequence[object]) -> tuple[Constraint, ...]:
        n = len(self.problem.lamps)
        rows = build_constraints(
            replace(self.problem.brief, margins=Margins()),
            scenarios,  # type: ignore[arg-type]
            cure=range(2 * n),
            heat=range(n, 2 * n),
            second=range(2 * n, len(scenarios)),
            ceilings=np.full(len(scenarios), self.problem.ceilings[0]),
        )
        return tuple(row for row in rows if row.figure in SCENARIO_FIGURES or row.figure == "residual_wt_pct")

    def scaled(
        self,
        inputs: Sequence[Varied],
        loadings_wt_pct: Floats,
        unit: Floats,
        fixed: Mapping[str, float] | None = None,
    ) -> Floats:
        """Worst scaled value of each limit in each draw, shape (n_draw, n_limit); 0 or less when kept.

        Parameters
        ----------
        inputs : sequence of Varied
            What is varied.
        loadings_wt_pct : ndarray, shape (n_substance,)
            The blend as intended.
        unit : ndarray, shape (n_draw, n_input)
            Quantiles of the inputs.
        fixed : mapping of str to float, optional
            Knobs of `models.perturbed` about which the draws are made.
        """
        drawn = conditions_at(inputs, self.problem, loadings_wt_pct, unit, fixed)
        figures = self.evaluator.under(drawn.loadings_wt_pct, drawn.changes)
        measures = {name: getattr(figures, name) for name in SCENARIO_FIGURES}
        measures["residual_wt_pct"] = figures.residual_initiator_wt_pct.sum(axis=2)
        # a share of the possible conversion is asked for, and what is possible moves with the glass transition
        possible = self.problem.ceilings[0] / np.maximum(figures.conversion_ceiling_fraction, 1e-6)
        worst = np.full((len(unit), len(self.limit_names)), -np.inf)
        for row in self.rows:
            figure = measures[row.figure][:, row.scenario]
            if self._is_share(row):
                figure = figure * possible[:, row.scenario]
            column = self.limit_names.index(row.limit_name)
            worst[:, column] = np.maximum(worst[:, column], row.scaled(figure))
        return worst

    def _is_share(self, row: Constraint) -> bool:
        where = row.figure.removesuffix("_conversion_fraction")
        limits = self.problem.brief.limits
        return where in ("bottom", "surface") and getattr(limits, f"{where}_conversion_min_fraction") is None


def _spots(problem: Problem) -> list[tuple[int, str, int]]:
    """Lamp, position and cycles of what each draw simulates: cure, heat, and the second cycle where it is judged."""
    lamps = list(enumerate(problem.lamps))
    cure = [(i, lamp.weakest, 1) for i, lamp in lamps]
    heat = [(i, lamp.strongest, 1) for i, lamp in lamps]
    again = [(i, lamp.weakest, 2) for i, lamp in lamps] if problem.judges_second_cycle else []
    return [*cure, *heat, *again]


def probability_of_passing(
    problem: Problem,
    loadings_wt_pct: Floats,
    draws: int | None = None,
    *,
    groups: Sequence[Group] = ("use",),
    stream: int = USE_STREAM,
    judge: Judge | None = None,
) -> Passing:
    """Estimate how often a blend keeps its cure and heat limits.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The blend as intended.
    draws : int, optional
        Number of draws, a power of two; the brief's when omitted.
    groups : sequence of {"use", "data"}
        What is varied: conditions of use, numbers of the model, or both.
    stream : int
        Draws of another stream are fresh ones.
    judge : Judge, optional
        Of the same problem, where one stands ready.
    """
    inputs = varied_inputs(problem, groups)
    unit = unit_draws(inputs, draws or problem.brief.uncertainty.draws, problem.brief.seed, stream)
    judge = judge or Judge(problem)
    return passing_of(judge.limit_names, judge.scaled(inputs, loadings_wt_pct, unit), inputs)


def passing_of(limit_names: Sequence[str], scaled: Floats, inputs: Sequence[Varied]) -> Passing:
    """Count the draws that pass.

    Parameters
    ----------
    limit_names : sequence of str
        The limits.
    scaled : ndarray, shape (n_draw, n_limit)
        Scaled values, 0 or less when kept.
    inputs : sequence of Varied
        What was varied.
    """
    broken, n = scaled > 0.0, len(scaled)
    together = chance_of(int(n - broken.any(axis=1).sum()), n)
    kept = {name: chance_of(int(n - broken[:, column].sum()), n) for column, name in enumerate(limit_names)}
    return Passing(
        probability_fraction=together.fraction,
        low_fraction=together.low_fraction,
        high_fraction=together.high_fraction,
        draws=n,
        broken_by_limit={
            name: float(broken[:, column].mean())
            for column, name in enumerate(limit_names)
            if broken[:, column].any()
        },
        included=included_text(inputs),
        kept_by_limit=kept,
    )


def included_text(inputs: Sequence[Varied]) -> str:
    """What is varied and by how much, in one sentence each for use and data."""
    parts = []
    for group, words in (("use", "In use"), ("data", "In the numbers of the model")):
        named = [f"{each.words} ({each.how})" for each in inputs if each.group == group]
        if named:
            parts.append(f"{words}: {'; '.join(named)}")
    return ". ".join([*parts, NOT_VARIED]) + "."


def broken_lines(use: Passing, with_data: Passing) -> list[str]:
    """One line for each limit that some draw breaks, the worst first."""
    names = [*use.broken_by_limit, *with_data.broken_by_limit]
    shares = {
        name: (use.broken_by_limit.get(name, 0.0), with_data.broken_by_limit.get(name, 0.0)) for name in names
    }
    return [
        f"- {name}: broken in {100 * in_use:.0f} % of the draws in use, {100 * doubted:.0f} % with the doubt about the "
        "model's numbers"
        for name, (in_use, doubted) in sorted(shares.items(), key=lambda item: -sum(item[1]))
    ]
