"""Where the doubt about a blend comes from: chances of passing, and the share each input has in the scatter.

Shares are Sobol indices, estimated by Saltelli's method (scipy.stats.sobol_indices; Saltelli et al., Comput. Phys. Commun.
2010, 181, 259) with bootstrap intervals. The first-order share is what would go if the input were known; the total share also
counts what it does together with others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .gel_case import GelCase
from .passing import DATA_STREAM, USE_STREAM, Judge, Passing, passing_of
from .varied import Group, Varied, unit_draws, varied_inputs

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

CHUNK = 128
TIGHTEST = "room to the nearest limit"
CONFIDENCE = 0.95
RESAMPLES = 499
SHARE_STREAM = 11
QUIET_SPREAD = 1e-9  # a limit whose value hardly moves has no shares to speak of


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """Share of one input in the scatter of one limit's scaled value [-]; of the total share a 95 % bootstrap interval."""

    first: float
    total: float
    total_low: float
    total_high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Doubt:
    """What a tolerance study found.

    Parameters
    ----------
    case : GelCase
        The gel in its lamp.
    use, with_data : Passing
        Chance of passing under the conditions of use, and with the doubt about the model's numbers on top.
    inputs : tuple of Varied
        What was varied.
    shares : mapping of str to tuple of Share
        Limit (and `TIGHTEST`) to one share per input.
    films : int
        Films simulated.
    base : int
        Base number of draws of the shares.
    """

    case: GelCase
    use: Passing
    with_data: Passing
    inputs: tuple[Varied, ...]
    shares: dict[str, tuple[Share, ...]]
    films: int
    base: int

    def group_share(self, group: Group, limit: str = TIGHTEST) -> float:
        """Total shares of one kind of input over those of all [-]."""
        totals = [max(share.total, 0.0) for share in self.shares[limit]]
        own = [total for each, total in zip(self.inputs, totals, strict=True) if each.group == group]
        return float(sum(own) / max(sum(totals), 1e-300))

    def ranked(self, limit: str = TIGHTEST) -> list[tuple[Varied, Share]]:
        """Inputs with their shares, the largest total first."""
        return sorted(zip(self.inputs, self.shares[limit], strict=True), key=lambda pair: -pair[1].total)


def doubt_of(
    case: GelCase, *, base: int, groups: Sequence[Group] = ("use", "data"), progress: Progress
) -> Doubt:
    """Study a gel's tolerances.

    Parameters
    ----------
    case : GelCase
        The gel in its lamp; the draws of its brief are those of the chances.
    base : int
        Base number of draws of the shares, a power of two; they cost ``base (inputs + 2)`` cures.
    groups : sequence of {"use", "data"}
        Which inputs have a share.
    progress : callable
        Told about draws done.
    """
    problem, loadings = case.problem, case.loadings_wt_pct
    judge = Judge(problem)
    draws = problem.brief.uncertainty.draws
    inputs = varied_inputs(problem, groups)
    total = 2 * draws + base * (len(inputs) + 2)
    done = 0

    def run(which: Sequence[Varied], unit: Floats, words: str) -> Floats:
        nonlocal done
        parts = []
        for first in range(0, len(unit), CHUNK):
            progress(done, total, words)
            parts.append(judge.scaled(which, loadings, unit[first : first + CHUNK]))
            done += len(parts[-1])
        return np.concatenate(parts)

    def passing(kinds: Sequence[Group], stream: int, words: str) -> Passing:
        which = varied_inputs(problem, kinds)
        unit = unit_draws(which, draws, problem.brief.seed, stream)
        return passing_of(judge.limit_names, run(which, unit, words), which)

    use = passing(("use",), USE_STREAM, "draws of the conditions of use")
    with_data = passing(("use", "data"), DATA_STREAM, "draws of everything")
    shares = sobol_shares(
        lambda unit: with_tightest(run(inputs, unit, "shares of the inputs")),
        len(inputs),
        base,
        np.random.default_rng(np.random.SeedSequence(entropy=problem.brief.seed, spawn_key=(SHARE_STREAM,))),
    )
    return Doubt(
        case=case, use=use, with_data=with_data, inputs=inputs, base=base, films=int(judge.evaluator.simulations),
        shares={name: row for name, row in zip((*judge.limit_names, TIGHTEST), shares, strict=True) if row},
    )  # fmt: skip


def with_tightest(scaled: Floats) -> Floats:
    """Scaled values with the largest of each draw as a last column."""
    return np.column_stack([scaled, scaled.max(axis=1)])


def _saltelli(at_a: Floats, at_b: Floats, mixed: Floats) -> tuple[Floats, Floats]:
    """First-order and total indices, shape (n_outcome, n_input): rows b and f of table 2 in Saltelli et al. 2010.

    `at_a` and `at_b` are centred outcomes at the two samples, shape (n_outcome, n); `mixed` holds those at the first sample
    with one column taken from the second, shape (n_input, n_outcome, n).
    """
    variance = np.maximum(np.var([at_a, at_b], axis=(0, -1)), 1e-300)
    first = np.mean(at_b * (mixed - at_a), axis=-1) / variance
    total = 0.5 * np.mean((at_a - mixed) ** 2, axis=-1) / variance
    return first.T, total.T


def sobol_shares(
    outcome: Callable[[Floats], Floats], inputs: int, base: int, rng: np.random.Generator
) -> list[tuple[Share, ...]]:
    """Sobol indices of every outcome.

    Parameters
    ----------
    outcome : callable
        Quantiles, shape (n, n_input), to outcomes, shape (n, n_outcome).
    inputs, base : int
        Number of inputs; base number of draws, a power of two.
    rng : Generator
        Of the draws and the bootstrap.

    Returns
    -------
    list of tuple of Share
        One share per input for each outcome; an empty tuple for an outcome that does not move.
    """
    from scipy.stats import sobol_indices, uniform

    moving: list[bool] = []

    def function(unit: Floats) -> Floats:
        values = outcome(unit.reshape(inputs, -1).T)
        if not moving:
            moving.extend((values.std(axis=0) > QUIET_SPREAD).tolist())
        kept = values[:, moving].T
        return np.asarray(kept.reshape(kept.shape[0], *unit.shape[1:]))

    kept: list[tuple[Floats, Floats, Floats]] = []

    def keeping(f_A: Floats, f_B: Floats, f_AB: Floats) -> tuple[Floats, Floats]:  # names asked for by scipy
        kept.append((f_A, f_B, f_AB))
        return _saltelli(f_A, f_B, f_AB)

    dists: list[Any] = [uniform(0.0, 1.0)] * inputs
    found = sobol_indices(func=function, n=base, dists=dists, method=keeping, rng=rng)
    first, total = np.atleast_2d(found.first_order), np.atleast_2d(found.total_order)
    # scipy's own bootstrap cannot be seeded
    picks = [rng.integers(0, base, base) for _ in range(RESAMPLES)]
    again = np.array([_saltelli(*(part[..., pick] for part in kept[0])) for pick in picks])
    tail = 50.0 * (1.0 - CONFIDENCE)
    ends = [np.percentile(again[:, 1], q, axis=0) for q in (tail, 100.0 - tail)]
    rows = iter(range(len(first)))
    return [
        tuple(
            Share(
                first=float(first[row, i]),
                total=float(total[row, i]), total_low=float(ends[0][row, i]), total_high=float(ends[1][row, i]),
            )
            for i in range(inputs)
        )
        if moves and (row := next(rows)) is not None
        else ()
        for moves in moving
    ]  # fmt: skip
