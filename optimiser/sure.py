"""Blends made sure: the brief's objective under a stated chance of passing in use, or the highest chance itself.

Sequential optimisation and reliability assessment (Du & Chen, J. Mech. Des. 2004, 126, 225): draws of the conditions of use
say how far each limit's value strays beyond its nominal one; the limits are tightened by that much, the blend is polished
again, and so on until it settles. What is reported is then counted on fresh draws, never on those the blend was made with.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .brief import Brief, Margins
from .front import replace_problem
from .ledger import Ledger
from .local import Local, evaluated, local_search
from .passing import FRESH_STREAM, Judge, Passing, passing_of
from .problem import Problem
from .search import Progress
from .varied import Varied, unit_draws, varied_inputs

Floats = NDArray[np.float64]

DESIGN_STREAM = 21
DESIGN_DRAWS = 64
FRESH_DRAWS = 256
BLENDS = 3
ROUNDS = 4
SETTLED_RATIO = 0.01
STRICTER = 3
HALVINGS = 5
MOST_SPREADS = 6.0
ITERATIONS = 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SureBlend:
    """A blend made sure, and its chance of passing on fresh draws.

    Parameters
    ----------
    found : Local
        The blend; its values are those of the brief's own limits.
    passing : Passing
        Counted on 256 fresh draws of the conditions of use.
    """

    found: Local
    passing: Passing


def made_sure(
    problem: Problem, ranked: Sequence[Local], *, ledger: Ledger, progress: Progress
) -> tuple[SureBlend, ...]:
    """Polish the first blends of a search again so that they pass in use, not only on paper.

    Parameters
    ----------
    problem : Problem
        The brief's problem, with a stated chance or the wish for the highest; its margins are not counted.
    ranked : sequence of Local
        Blends of the search, the best first.
    ledger : Ledger
        Keeps each finished blend.
    progress : callable
        Told about each blend.

    Returns
    -------
    tuple of SureBlend
        Those that reach the stated chance by objective, then the others by chance; all by chance where the highest is wished.
    """
    plain = replace_problem(problem, replace(problem.brief, margins=Margins()), {})
    chosen = [each for each in ranked if each.is_feasible][:BLENDS] or list(ranked[:BLENDS])
    done = []
    for number, start in enumerate(chosen):
        keys = tuple(start.blend_wt_pct)
        words = f"sure {' + '.join(keys)}"
        progress(number, len(chosen), words)
        maker = _Maker(plain.narrowed(keys))
        found = ledger.get(words)
        if found is None:
            found = maker.surest(start) if problem.brief.surest else maker.with_chance(start, _asked(problem))
            ledger.put(words, found, 0.0)
        done.append(
            SureBlend(found=found, passing=maker.count(maker.part.vector(found.blend_wt_pct), FRESH_DRAWS))
        )
    return tuple(sorted(done, key=order_of(problem)))


def _asked(problem: Problem) -> float:
    return problem.brief.chance if problem.brief.chance is not None else 0.95


def order_of(problem: Problem) -> Callable[[SureBlend], tuple[float, float]]:
    """Sorting key of blends made sure."""

    def key(each: SureBlend) -> tuple[float, float]:
        chance = each.passing.probability_fraction
        if not problem.brief.surest and chance >= _asked(problem):
            return -1.0, each.found.objective
        return -chance if problem.brief.surest else 1.0 - chance, each.found.objective

    return key


def sure_line(brief: Brief, chances: Sequence[float]) -> list[str]:
    """What was asked of the chance of passing and what was reached; nothing where it was not asked for.

    Parameters
    ----------
    brief : Brief
        The brief.
    chances : sequence of float
        Chance of passing in use of each blend shown [-].
    """
    if brief.surest:
        return [f"Sought was the highest chance of passing in use; {100 * max(chances):.0f} % was reached."]
    if brief.chance is None:
        return []
    met = sum(chance >= brief.chance for chance in chances)
    words = (
        f"Asked for was a chance of passing in use of {100 * brief.chance:.0f} %; {met} of the {len(chances)} blends shown "
        f"reach{'es' if met == 1 else ''} it{'' if met else f', the best {100 * max(chances):.0f} %'}."
    )
    return [words]


class _Maker:
    """Makes one substance set sure."""

    def __init__(self, part: Problem) -> None:
        self.part, self.judge = part, Judge(part)
        self.inputs: tuple[Varied, ...] = varied_inputs(part, ("use",))
        self.unit = unit_draws(self.inputs, DESIGN_DRAWS, part.brief.seed, DESIGN_STREAM)
        self.low = np.full(len(part.space.keys), part.brief.smallest_loading_wt_pct)

    def count(self, loadings_wt_pct: Floats, draws: int) -> Passing:
        """Chance of passing on fresh draws."""
        unit = unit_draws(self.inputs, draws, self.part.brief.seed, FRESH_STREAM)
        return passing_of(
            self.judge.limit_names, self.judge.scaled(self.inputs, loadings_wt_pct, unit), self.inputs
        )

    def strays(self, loadings_wt_pct: Floats) -> Floats:
        """How far each limit's value lies beyond its nominal one in each design draw, shape (n_draw, n_limit)."""
        scaled = self.judge.scaled(self.inputs, loadings_wt_pct, self.unit)
        values = self.part.point(loadings_wt_pct).values
        nominal = [
            max(v for v, row in zip(values, self.part.constraints, strict=True) if row.limit_name == name)
            for name in self.judge.limit_names
        ]
        return np.asarray(scaled - np.array(nominal))

    def polished(self, start_wt_pct: Floats, room: Floats) -> Local:
        """The best blend that keeps this much room from each limit, with the values of the limits themselves."""
        tightened = dict(zip(self.judge.limit_names, np.maximum(room, 0.0).tolist(), strict=True))
        tight = replace_problem(self.part, self.part.brief, tightened)
        found = local_search(tight, np.maximum(start_wt_pct, self.low), self.low, most_steps=ITERATIONS)
        return evaluated(self.part, self.part.vector(found.blend_wt_pct), found.simulations)

    def with_chance(self, start: Local, chance: float) -> Local:
        """The objective under a stated chance; stricter where fresh draws say that it was missed."""
        level, found = chance, start
        best = (-1.0, start)
        for _ in range(STRICTER):
            found = self._settled(found, level)
            reached = self.count(self.part.vector(found.blend_wt_pct), DESIGN_DRAWS).probability_fraction
            if reached > best[0]:
                best = reached, found
            if reached >= chance:
                return found
            level = level + 0.6 * (1.0 - level)
        return best[1]

    def _settled(self, start: Local, level: float) -> Local:
        """Tighten, polish, draw again until the blend no longer moves."""
        found = start
        for _ in range(ROUNDS):
            before = self.part.vector(found.blend_wt_pct)
            # the mean of the worst share of the draws: smoother than its edge, and on the careful side
            stray = np.sort(self.strays(before), axis=0)
            worst = max(1, round((1.0 - level) * DESIGN_DRAWS))
            found = self.polished(before, stray[-worst:].mean(axis=0))
            after = self.part.vector(found.blend_wt_pct)
            if np.all(np.abs(after - before) <= SETTLED_RATIO * np.maximum(before, self.low)):
                break
        return found

    def surest(self, start: Local) -> Local:
        """The blend that keeps the most spreads of every limit's own scatter away from it, by halving."""
        loadings = self.part.vector(start.blend_wt_pct)
        low, high, best = 0.0, MOST_SPREADS, start
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            stray = self.strays(loadings)
            room = stray.mean(axis=0) + middle * stray.std(axis=0)
            found = self.polished(loadings, room)
            if self._keeps(found, room):
                low, best, loadings = middle, found, self.part.vector(found.blend_wt_pct)
            else:
                high = middle
        return best

    def _keeps(self, found: Local, room: Floats) -> bool:
        wanted = dict(zip(self.judge.limit_names, room, strict=True))
        return all(
            value <= -max(float(wanted.get(row.limit_name, 0.0)), 0.0) + 1e-3
            for value, row in zip(found.values, self.part.constraints, strict=True)
        )
