"""Tune a whole set: each gel for its own coat first, then all of them together in the finished stack.

The search of a single gel takes its coat as a film on the nail. That is exact for the first coat alone and a stand-in for
the others; which substances a gel may be made of is decided there (a heuristic). The loadings of the chosen substances are
then polished jointly through the simulation of the stacks, whose limits alone decide the verdict (exact for the
corners worked out; a local optimum).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import GelwrightError, InputError
from .build_log import PREFIX, BuildLog
from .code_version import MARK, versioned
from .evaluators import EvaluatorMaker, blend_evaluator
from .local import Local, local_search
from .search import Progress
from .set_brief import CoatAsked, SetBrief
from .set_kept import Kept, unit_of
from .set_outcome import SetInputs, SetOutcome
from .set_ways_out import set_ways_out
from .sharing import Shared, fewest, free, penalised
from .stack_parts import SEPARATOR, CoatSet, Part
from .stack_passing import chances_of_set
from .stack_problem import StackProblem
from .takers import SearchedTaker, searched
from .tune import Inputs, resolve

Floats = NDArray[np.float64]
Say = Callable[[str], None]

LOADING_STEPS_WT_PCT = (0.001, 0.0001)
TRIED = 3  # choices of substances polished while none keeps the limits of the stack


def resolve_set(asked: SetBrief) -> SetInputs:
    """Load the lamp and the resin bases of a set and sort the substances of every gel.

    Raises
    ------
    GelwrightError
        If anything named is missing, unknown or not allowed; the message names the coat.
    """
    gels = tuple(_resolved(coat) for coat in asked.coats)
    lamp = gels[0].lamp
    programmes = {name: each for gel in gels for name, each in gel.lamp.programmes.items()}
    return SetInputs(asked=asked, lamp=replace(lamp, programmes=programmes), gels=gels)


def _resolved(coat: CoatAsked) -> Inputs:
    try:
        return resolve(coat.brief)
    except GelwrightError as fault:
        raise type(fault)(f"coat {coat.name}: {fault}") from None


def coat_set(inputs: SetInputs) -> CoatSet:
    """The set as the stack problem sees it, with every usable substance."""
    parts = tuple(
        Part(
            name=coat.name,
            brief=coat.brief,
            gel=gel.gel,
            space=gel.space,
            applications=coat.applications,
            is_wiped=coat.is_wiped,
        )
        for coat, gel in zip(inputs.asked.coats, inputs.gels, strict=True)
    )
    asked = inputs.asked
    return CoatSet(title=asked.title, brief=asked.brief, lamp=inputs.lamp, parts=parts, stacks=asked.stacks)


def tune_set(
    inputs: SetInputs,
    folder: Path,
    *,
    workers: int | None = None,
    exhaustive: bool = False,
    progress: Progress,
    say: Say,
    make_evaluator: EvaluatorMaker = blend_evaluator,
    storage: str | None = None,
) -> SetOutcome:
    """Tune every gel of a set and check them together.

    Parameters
    ----------
    inputs : SetInputs
        Resolved set.
    folder : Path
        Existing run folder; each gel's search keeps its journal in a folder of its own, and every build of the joint polish
        is kept beside them.
    workers, exhaustive, progress, say, make_evaluator, storage
        As for `tune`.

    Returns
    -------
    SetOutcome
    """
    takers = tuple(
        searched(
            gel, folder / "coats" / coat.name, name=coat.name, workers=workers, exhaustive=exhaustive,
            progress=progress, say=say, make_evaluator=make_evaluator, storage=storage,
        )
        for coat, gel in zip(inputs.asked.coats, inputs.gels, strict=True)
    )  # fmt: skip
    kept = Kept(folder=folder, digest=set_fingerprint(inputs, takers), say=say, storage=storage)
    return joint(inputs, takers, workers=workers, progress=progress, kept=kept, seek_ways_out=True)


def set_fingerprint(inputs: SetInputs, takers: Sequence[SearchedTaker]) -> str:
    """Digest of the searches the joint polish begins with and how the coats are stacked, then the version of the code."""
    asked = inputs.asked
    coats = [(coat.name, coat.applications, coat.is_wiped) for coat in asked.coats]
    content = repr(
        (asked.brief.digest, [taker.digest.partition(MARK)[0] for taker in takers], coats, asked.stacks, asked.raw_materials,
         asked.penalty_per_material)
    )  # fmt: skip
    return PREFIX + versioned(hashlib.sha256(content.encode()).hexdigest()[:12])


def joint(
    inputs: SetInputs,
    takers: Sequence[SearchedTaker],
    *,
    workers: int | None,
    progress: Progress,
    kept: Kept | None = None,
    seek_ways_out: bool = False,
) -> SetOutcome:
    """Choose substances for every gel, polish their loadings in the finished stack, and work the answer out.

    Parameters
    ----------
    inputs : SetInputs
        Resolved set.
    takers : sequence of SearchedTaker
        The search of every gel on its own.
    workers, progress
        As for `tune`.
    kept : Kept, optional
        Where the builds are kept.
    seek_ways_out : bool
        Whether a set without an answer is searched again with every single change that might help.
    """
    polished = polished_stack(inputs, takers, workers=workers, progress=progress, kept=kept)
    outcome = _outcome(inputs, takers, polished, progress)
    if outcome.is_feasible or not seek_ways_out:
        return outcome
    nearest = {
        f"{name}{SEPARATOR}{key}": load
        for name, blend in outcome.blends.items()
        for key, load in blend.items()
    }
    starts = [nearest, *(each.blend_wt_pct for each in polished.tried)]
    impossible = set_ways_out(
        coat_set(inputs), [taker.problem for taker in takers], starts, workers=workers, progress=progress, log=_log(kept)
    )  # fmt: skip
    return replace(outcome, impossible=impossible)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PolishedStack:
    """The best blends found for the finished stacks, with the problem they solve and how they were come by.

    `tried` holds what was found with each choice of substances, the nearest first.
    """

    found: Local
    problem: StackProblem
    shared: Shared
    sentences: tuple[str, ...]
    tried: tuple[Local, ...] = ()


def polished_stack(
    inputs: SetInputs,
    takers: Sequence[SearchedTaker],
    *,
    workers: int | None,
    progress: Progress,
    most_tried: int = TRIED,
    kept: Kept | None = None,
) -> PolishedStack:
    """Polish up to `most_tried` choices of substances in the finished stack, until one keeps every limit."""
    log = _log(kept)
    whole, choices = coat_set(inputs), _choices(inputs.asked, takers)[:most_tried]
    best: PolishedStack | None = None
    sentences: list[str] = []
    tried: list[Local] = []
    for number, shared in enumerate(choices, start=1):
        progress(number - 1, len(choices), f"finished stack, choice {number} of substances")
        keys = [tuple(blend.blend_wt_pct) for blend in shared.blends]
        problem = StackProblem(coats=whole.narrowed(keys), workers=workers, log=log)
        job = partial(_polished, problem, shared)
        found = job() if kept is None else kept.polish(unit_of(number, shared), job)
        sentences.append(_sentence(number, shared, found))
        tried.append(found)
        if best is None or found.rank < best.found.rank:
            best = PolishedStack(found=found, problem=problem, shared=shared, sentences=())
        if found.is_feasible:
            break
    if best is None:
        raise InputError("a set needs at least one gel. List coats.")
    return replace(best, sentences=tuple(sentences), tried=tuple(sorted(tried, key=lambda each: each.rank)))


def _log(kept: Kept | None) -> BuildLog | None:
    """Where the builds of a set are kept, with those that are there."""
    return None if kept is None else BuildLog(kept.folder, kept.digest, kept.say)


def _choices(asked: SetBrief, takers: Sequence[SearchedTaker]) -> list[Shared]:
    """Blends to begin the joint polish with, the preferred choice first."""
    hopeful = [taker if taker.blends else _Nearest(taker) for taker in takers]
    most = asked.brief.max_initiators + 1  # an amine may join
    match asked.raw_materials:
        case "fewest":
            first = fewest(hopeful, most)
        case "penalised":
            first = penalised(hopeful, asked.penalty_per_material)
        case _:
            first = free(hopeful)
    others = []
    for i, taker in enumerate(hopeful):  # one gel at a time takes its next best substances
        taken = first.blends[i]
        for other in islice(
            (each for each in taker.blends if each.blend_wt_pct.keys() != taken.blend_wt_pct.keys()), 1
        ):
            blends = list(first.blends)
            blends[i] = other
            others.append(replace(first, blends=tuple(blends)))
    return [first, *others][:TRIED]


@dataclass(frozen=True, slots=True, eq=False)
class _Nearest:
    """A gel that cannot keep its limits on its own: the stack may still be able to, from its nearest blends."""

    taker: SearchedTaker

    @property
    def blends(self) -> Sequence[Local]:
        return self.taker.found.ranked[:TRIED]

    def polished(self, keys: frozenset[str]) -> Local | None:
        return next((each for each in self.blends if set(each.blend_wt_pct) == keys), None)


def _polished(problem: StackProblem, shared: Shared) -> Local:
    before = problem.simulations
    found = local_search(cast(Any, problem), start_of(problem, shared), problem.lowest_wt_pct)
    return replace(_weighable(problem, found), simulations=problem.simulations - before)


def start_of(problem: StackProblem, shared: Shared) -> Floats:
    """The single-coat blends as one loading vector."""
    return np.concatenate(
        [
            np.array([blend.blend_wt_pct[key] for key in part.space.keys])
            for part, blend in zip(problem.coats.parts, shared.blends, strict=True)
        ]
    )


def _weighable(problem: StackProblem, found: Local) -> Local:
    """Loadings rounded to 10 mg in a kilogram of gel, else to 1 mg, whichever first keeps the limits; else unrounded."""
    exact, high = problem.vector(found.blend_wt_pct), problem.space.high_wt_pct
    for step in LOADING_STEPS_WT_PCT:
        options = []
        for way in (np.round, np.ceil, np.floor):
            rounded = np.round(step * way(np.round(exact / step, 6)), 6)
            if np.all(rounded > 0.0) and np.all(rounded <= high + 1e-9):
                point = problem.point(rounded)
                options.append(
                    replace(
                        found,
                        blend_wt_pct=problem.blend(rounded),
                        objective=point.objective,
                        values=tuple(float(value) for value in point.values),
                        figures=point.figures,
                    )
                )
        best = min(options, key=lambda each: each.rank, default=None)
        if best is not None and (best.is_feasible or not found.is_feasible):
            return best
    return found


def _sentence(number: int, shared: Shared, found: Local) -> str:
    words = (
        "keeps every limit" if found.is_feasible else f"breaks limits (summed excess {found.violation:.3g})"
    )
    materials = ", ".join(shared.materials)
    return f"choice {number} of substances ({materials}): {words} after the joint polish, {found.simulations} builds"


def _outcome(
    inputs: SetInputs, takers: Sequence[SearchedTaker], polished: PolishedStack, progress: Progress
) -> SetOutcome:
    found, problem, shared = polished.found, polished.problem, polished.shared
    loadings = problem.vector(found.blend_wt_pct)
    point = problem.point(loadings)
    use, with_data = chances_of_set(problem, loadings, inputs.asked.brief.uncertainty.draws, progress)
    return SetOutcome(
        inputs=inputs,
        takers=tuple(takers),
        shared=shared,
        problem=problem,
        loadings_wt_pct=loadings,
        values=tuple(float(value) for value in point.values),
        figures=point.figures,
        objective=point.objective,
        objective_before=problem.point(start_of(problem, shared)).objective,
        results=tuple(problem.results(loadings)),
        passing=use,
        passing_with_data=with_data,
        polished=polished.sentences,
        builds=sum(each.simulations for each in polished.tried),
    )
