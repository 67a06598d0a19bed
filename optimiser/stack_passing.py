"""The chance that a set of coats passes, coat by coat and as a whole: in use, and with the doubt about the model's numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..models.solver import run_parallel
from ..models.stack_results import StackResult
from .brief import Margins
from .passing import DATA_STREAM, USE_STREAM, Chance, Passing, chance_of, passing_of
from .search import Progress
from .set_varied import StackDraw, built_under, stack_draws, varied_of_set
from .stack_limits import StackRow, coat_of, judged_rows, rows_of_set
from .stack_parts import CoatSet
from .stack_problem import StackProblem
from .varied import Group, Varied, unit_draws

Floats = NDArray[np.float64]
CHUNK = 16  # draws between two words on how far it is


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPassing:
    """The chance of the whole set, and that of every coat keeping the limits judged on it.

    Parameters
    ----------
    whole : Passing
        A draw passes when every stack keeps every limit; limits are named with their coats.
    by_coat : dict of str to Chance
        Name of the coat to the chance that its own limits are kept, in every stack it lies in. The thermal dose belongs to the
        nail and to no coat.
    """

    whole: Passing
    by_coat: dict[str, Chance]


def chances_of_set(
    problem: StackProblem, loadings_wt_pct: Floats, draws: int, progress: Progress
) -> tuple[SetPassing, SetPassing]:
    """Chances in use, and with the doubt about the model's numbers on top.

    Parameters
    ----------
    problem : StackProblem
        The set.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The blends as intended.
    draws : int
        A power of two.
    progress : callable
        Told about draws done.

    Returns
    -------
    tuple of SetPassing
        Limits without the brief's margins; those on weighed amounts and cost are not drawn.
    """
    kinds: tuple[tuple[tuple[Group, ...], int, str], ...] = (
        (("use",), USE_STREAM, "draws of the conditions of use, whole stacks"),
        (("use", "data"), DATA_STREAM, "draws with the model's own doubt, whole stacks"),
    )
    judge = _Judge(problem)
    found = []
    for order, (groups, stream, words) in enumerate(kinds):
        inputs = varied_of_set(problem.coats, groups)
        unit = unit_draws(inputs, draws, problem.coats.brief.seed, stream)
        scaled = []
        for first in range(0, draws, CHUNK):
            progress(order * draws + first, 2 * draws, words)
            drawn = stack_draws(problem, inputs, loadings_wt_pct, unit[first : first + CHUNK])
            scaled.append(judge.scaled(drawn))
        found.append(judge.passing(np.concatenate(scaled), inputs))
    return found[0], found[1]


class _Judge:
    """Builds the stacks of a draw and says how far each limit of each coat is kept."""

    def __init__(self, problem: StackProblem) -> None:
        self.problem, self.plain = problem, without_margins(problem.coats)
        self.corners = [i for i, corner in enumerate(self.plain.corners) if corner.is_thick]
        pairs = zip(rows_of_set(self.plain), judged_rows(self.plain), strict=True)
        self.rows = [
            (row, judged)
            for row, judged in pairs
            if row.constraint.lamp_id and row.constraint.scenario in self.corners
        ]
        self.names = tuple(dict.fromkeys(judged.row.limit_name for _, judged in self.rows))

    def scaled(self, draws: Sequence[StackDraw]) -> Floats:
        """Worst scaled value of each limit in each draw, shape (n_draw, n_limit); 0 or less when kept."""

        def one(job: int) -> StackResult:
            draw, corner = divmod(job, len(self.corners))
            at = self.plain.corners[self.corners[corner]]
            return built_under(self.problem, draws[draw], at)

        count = len(self.corners)
        runs = run_parallel(one, len(draws) * count, self.problem.workers)
        worst = np.full((len(draws), len(self.names)), -np.inf)
        for number, draw in enumerate(draws):
            results = dict(zip(self.corners, runs[number * count : (number + 1) * count], strict=True))
            own = self.problem.by_gel(draw.loadings_wt_pct)
            for row, judged in self.rows:
                figure = row.read(results, own) * self._of_possible(row, results)
                column = self.names.index(judged.row.limit_name)
                worst[number, column] = max(
                    worst[number, column], float(row.constraint.scaled(np.array(figure)))
                )
        return worst

    def _of_possible(self, row: StackRow, results: dict[int, StackResult]) -> float:
        """A share of the possible conversion is asked for, and what is possible moves with the glass transition."""
        where, _, rest = row.constraint.figure.partition("_conversion_")
        if not rest or row.part is None or row.layer is None:
            return 1.0
        if getattr(self.plain.parts[row.part].brief.limits, f"{where}_conversion_min_fraction") is not None:
            return 1.0
        coat = coat_of(results[row.constraint.scenario], row.layer)
        return 1.0 if coat is None else row.ceiling_fraction / max(coat.conversion_ceiling_fraction, 1e-6)

    def passing(self, scaled: Floats, inputs: Sequence[Varied]) -> SetPassing:
        """Count the draws that pass."""
        by_coat = {}
        for number, part in enumerate(self.plain.parts):
            own = {judged.row.limit_name for _, judged in self.rows if judged.part == number}
            columns = [column for column, name in enumerate(self.names) if name in own]
            broken = (scaled[:, columns] > 0.0).any(axis=1)
            by_coat[part.name] = chance_of(int((~broken).sum()), len(scaled))
        return SetPassing(whole=passing_of(self.names, scaled, inputs), by_coat=by_coat)


def without_margins(coats: CoatSet) -> CoatSet:
    """The same set with no distance kept from the limits."""
    parts = tuple(replace(part, brief=replace(part.brief, margins=Margins())) for part in coats.parts)
    return replace(coats, brief=replace(coats.brief, margins=Margins()), parts=parts)
