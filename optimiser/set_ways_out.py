"""An impossible set answered: which limit of which coat clashes, and every single change that makes the set possible.

Each change is searched again through the simulated stacks, from the nearest blends and from low loadings, until blends keep
every limit; they are blends that do, not the best ones. "Impossible" means that no blends were found. What is spent is
bounded by a number of cured coats, never by the clock, so that a run gives the same answer on any machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .build_log import BuildLog
from .impossible import Impossible
from .problem import Problem
from .set_changes import Blend, ChangedSets
from .set_clash import Clash
from .set_tries import tries
from .stack_limits import WHOLE_NAIL
from .stack_parts import CoatSet

if TYPE_CHECKING:
    from .search import Progress

MOST_CURES = 20_000  # coats cured after which no further change is tried; some five minutes on one core


def set_ways_out(
    coats: CoatSet,
    alone: Sequence[Problem],
    starts: Sequence[Blend],
    *,
    workers: int | None,
    progress: Progress,
    most_cures: int = MOST_CURES,
    log: BuildLog | None = None,
) -> Impossible:
    """Work out the clash of a set and the single changes that make it possible.

    Parameters
    ----------
    coats : CoatSet
        The set with every usable substance.
    alone : sequence of Problem
        Each gel's coat on its own, in the order of the set.
    starts : sequence of dict of str to float
        Blends that come nearest, by coat and substance, the nearest first [wt%].
    workers : int or None
        Threads.
    progress : callable
        Told what is tried.
    most_cures : int
        Coats cured after which no further kind of change is begun.
    log : BuildLog, optional
        Keeps every build, so that the answer is taken up again where it stood.

    Returns
    -------
    Impossible
    """
    sets = ChangedSets(coats, alone, starts, workers, log)
    most = len(tries(sets, range(len(coats.parts)), is_heat=True)) + 2
    progress(0, most, "smallest set of limits that clash")
    problems = [sets.problem(coats, blend) for blend in sets.starts]
    nearest = [problem.vector(blend) for problem, blend in zip(problems, sets.starts, strict=True)]
    clash = Clash(problems, nearest)
    progress(1, most, "limits that would have to give way")
    ways, failed = clash.eased()
    sets.cures += sum(sets.cures_of(problem, problem.simulations) for problem in problems)
    listed = tries(sets, clash.parts, is_heat=any(row.figure in WHOLE_NAIL for row in clash.found))
    untried = []
    for number, (words, attempt) in enumerate(listed.items(), start=1):
        if sets.cures >= most_cures:
            untried.append(words)
            continue
        progress(number + 1, len(listed) + 2, words)
        more = attempt()
        ways += more
        failed += [] if more else [words]
    ways.sort(key=lambda way: way.size)
    return Impossible(
        clash=tuple(clash.found), ways=tuple(ways), failed=tuple(failed), untried=tuple(untried)
    )
