"""Which limits of which coats of a set clash, and how far each of them would have to give way.

All of it is done with the builds of the set as asked: a limit let go changes no build, so whatever was built for one question
is looked at again for the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .clashing import smallest_clash, worst_row_of_each
from .constraints import Constraint
from .easing import eased_size, eased_words, is_useless, useless_words
from .giving import LetGo, least_giving_way
from .impossible import WayOut
from .local import FEASIBLE, NEARBY, local_search
from .problem import Point
from .stack_limits import WHOLE_NAIL, judged_rows
from .stack_problem import StackProblem

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

MOST_STEPS = 12  # of a search that only asks whether limits can be kept
STARTS = 2  # blends kept in mind for a limit that gives way


class Clash:
    """The clash of a set and what its limits would have to give.

    Parameters
    ----------
    problems : sequence of StackProblem
        The set as asked, one for each choice of substances tried.
    nearest : sequence of ndarray
        The nearest blends of each [wt%].
    """

    def __init__(self, problems: Sequence[StackProblem], nearest: Sequence[Floats]) -> None:
        self.problems = problems
        self.judged = judged_rows(problems[0].coats)
        self.rows = [each.row for each in self.judged]
        self.seen: list[list[Point]] = [
            [problem.point(at)] for problem, at in zip(problems, nearest, strict=True)
        ]
        self.found = self._smallest()

    @property
    def parts(self) -> tuple[int, ...]:
        """Gels whose limits are part of the clash; every gel where only the dose of the whole nail is."""
        names = {row.limit_name for row in self.found}
        parts = {each.part for each in self.judged if each.row.limit_name in names and each.part is not None}
        return tuple(sorted(parts)) or tuple(range(len(self.problems[0].coats.parts)))

    def _smallest(self) -> list[Constraint]:
        nearest = self.seen[0][0].values
        worst = worst_row_of_each(self.rows, nearest.tolist())
        near = [name for name, i in worst.items() if nearest[i] > -NEARBY]
        rows, values = self.rows, nearest
        if near and not self._can_keep(near):  # what is far from broken has no part in it
            chosen = [i for i, row in enumerate(self.rows) if row.limit_name in near]
            rows, values = [self.rows[i] for i in chosen], nearest[chosen]
        return smallest_clash(rows, values.tolist(), self._can_keep)

    def _can_keep(self, names: Sequence[str]) -> bool:
        kept = np.array([row.limit_name in names for row in self.rows])
        if any(float(point.values[kept].max()) <= FEASIBLE for seen in self.seen for point in seen):
            return True
        for problem, seen in zip(self.problems, self.seen, strict=True):
            closest = min(seen, key=lambda point: float(np.maximum(point.values[kept], 0.0).sum()))
            low = problem.lowest_wt_pct
            for start in (closest.loadings_wt_pct, 2.0 * low):
                view: Any = LetGo(problem, ~kept)
                found = local_search(view, np.maximum(start, low), low, most_steps=MOST_STEPS)
                seen.extend(view.seen)
                if found.is_feasible:
                    return True
        return False

    def eased(self) -> tuple[list[WayOut], list[str]]:
        """How far each limit of the clash would have to give way alone, and those that do not help."""
        ways, failed = [], []
        mine = {row.limit_name for row in self.found}
        names = dict.fromkeys(each.limit_name for each in self.judged if each.row.limit_name in mine)
        for name in names:
            gives = np.array([each.limit_name == name for each in self.judged])
            labels = [row.limit_name for row in self.found if self._whole_name(row) == name]
            if gives.all():
                continue
            best = self._least(gives)
            if best is None:
                failed += [f"easing {label}" for label in labels]
                continue
            point, problem = best
            worst = int(np.flatnonzero(gives)[np.argmax(point.values[gives])])
            figure, excess = point.figures[worst], float(point.values[worst])
            row = replace(self.rows[worst], limit_name=name)
            if excess <= FEASIBLE:
                continue
            if is_useless(row, figure):
                failed.append(useless_words(row, figure))
                continue
            part = self.judged[worst].part
            is_whole = part is None or row.figure in WHOLE_NAIL
            ways.append(
                WayOut(
                    kind="limit",
                    words=eased_words(row, figure),
                    size=eased_size(row, figure, excess),
                    blend_wt_pct=problem.blend(point.loadings_wt_pct),
                    coat="" if is_whole or part is None else problem.coats.parts[part].name,
                )
            )
        return ways, failed

    def _whole_name(self, row: Constraint) -> str:
        return next(each.limit_name for each in self.judged if each.row.limit_name == row.limit_name)

    def _least(self, gives: Mask) -> tuple[Point, StackProblem] | None:
        """The blends with the least excess over what gives, all else kept, over the choices of substances."""
        best: tuple[Point, StackProblem] | None = None
        for problem, seen in zip(self.problems, self.seen, strict=True):
            keeping = [point for point in seen if float(point.values[~gives].max()) <= FEASIBLE]
            keeping.sort(key=lambda point: float(point.values[gives].max()))
            starts = [*keeping[:STARTS], seen[0]] if not keeping else keeping[:STARTS]
            point = least_giving_way(problem, gives, [problem.blend(each.loadings_wt_pct) for each in starts])
            if point is not None and (
                best is None or point.values[gives].max() < best[0].values[gives].max()
            ):
                best = point, problem
        return best
