"""Programme, cure time and number of coats as choices around the search of a blend.

Every combination the brief allows is tried. The first is searched in full; the others polish the best blends found so far
(warm starts); the best combination is then searched in full itself. A window of cure times is tried at four times, then
between the best one and its neighbours. So every number shown is exact for its combination, while the ranking of
combinations rests on the blends tried in each (a heuristic).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import numpy as np

from ..lamp_library.errors import GelwrightError, InputError
from ..lamp_library.lamp import load_lamp
from .brief import Brief, Choices
from .constraints import Constraint
from .evaluators import EvaluatorMaker, blend_evaluator
from .local import FEASIBLE
from .search import Progress
from .set_brief import CoatAsked, SetBrief
from .set_kept import Kept
from .set_outcome import SetInputs, SetOutcome
from .set_tune import joint, polished_stack, set_fingerprint
from .takers import SearchedTaker, searched, warmed
from .tune import Inputs, Outcome, resolve, tune

Say = Callable[[str], None]

WINDOW_TIMES = 4
KEPT_BLENDS = 4  # of the blends found so far, polished in every further combination
EQUAL = (
    0.01  # objectives nearer than this share count as equal: then the shorter lamp time and fewer coats win
)
MOST_COMBINATIONS = 60
ALL = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One combination.

    Parameters
    ----------
    exposure_s : float
        Cure time of each coat [s].
    programme : str
        Programme or sequence.
    coats : int
        Coats for the same total thickness.
    """

    exposure_s: float
    programme: str
    coats: int

    @property
    def words(self) -> str:
        """The combination in a few words."""
        times = f"{self.coats} coats of " if self.coats > 1 else ""
        return f"{times}{self.exposure_s:g} s {self.programme}"

    @property
    def lamp_time_s(self) -> float:
        """Lamp time of all coats together [s]."""
        return self.coats * self.exposure_s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """What one combination gave.

    Parameters
    ----------
    choice : Choice
        The combination.
    blend_wt_pct : dict of str to float
        Its best blend; empty when it could not be tried.
    objective : float
        In its own unit; nan when it could not be tried.
    constraints, figures, values : tuple
        Limits, the figures behind them, and their scaled values.
    why_not : str
        Why it could not be tried; empty otherwise.
    is_full : bool
        Whether it was searched in full.
    """

    choice: Choice
    blend_wt_pct: dict[str, float]
    objective: float
    constraints: tuple[Constraint, ...]
    figures: tuple[float, ...]
    values: tuple[float, ...]
    why_not: str = ""
    is_full: bool = False

    @property
    def is_feasible(self) -> bool:
        """Whether the combination was tried and its blend keeps every limit."""
        return not self.why_not and max(self.values) <= FEASIBLE

    @property
    def violation(self) -> float:
        """Summed scaled excess over the limits."""
        return float(sum(max(value, 0.0) for value in self.values)) if self.values else float("inf")

    @property
    def deciding(self) -> tuple[int, ...]:
        """Indices of limits broken or rested on, one for each kind, worst first."""
        order = sorted(range(len(self.values)), key=lambda i: -self.values[i])
        first: dict[str, int] = {}
        for i in order:
            first.setdefault(self.constraints[i].limit_name, i)
        return tuple(i for i in first.values() if self.values[i] > -0.05)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChoicesOutcome:
    """All combinations and the best of them in full.

    Parameters
    ----------
    brief : Brief
        As asked.
    tried : tuple of Tried
        Best first; then those that keep no limit, nearest first; then those that could not be tried.
    best : Outcome or SetOutcome
        The winner in full; a set of one gel when it goes on in several coats.
    """

    brief: Brief
    tried: tuple[Tried, ...]
    best: Outcome | SetOutcome

    @property
    def is_feasible(self) -> bool:
        """Whether a combination keeps every limit."""
        return self.tried[0].is_feasible


def combinations_of(brief: Brief) -> list[Choice]:
    """Every combination a brief allows, its own first where it is among them.

    Raises
    ------
    InputError
        If there are too many.
    """
    asked = brief.choices
    times = asked.exposures_s or _window_times(asked) or (brief.exposure_s,)
    programmes = asked.programmes or (brief.programme,)
    if ALL in programmes:
        shared = set.intersection(*(set(load_lamp(name).programmes) for name in brief.lamps))
        listed = [name for name in load_lamp(brief.lamps[0]).programmes if name in shared]
        programmes = tuple(dict.fromkeys([*listed, *(each for each in programmes if each != ALL)]))
    coats = asked.coats or (1,)
    found = [
        Choice(exposure_s=time, programme=programme, coats=number)
        for number, programme, time in product(coats, programmes, times)
    ]
    if len(found) > MOST_COMBINATIONS:
        raise InputError(
            f"choices: {len(found)} combinations; at most {MOST_COMBINATIONS} are tried. Shorten one of the lists."
        )
    own = Choice(exposure_s=brief.exposure_s, programme=brief.programme, coats=1)
    return sorted(found, key=lambda each: each != own)


def _window_times(asked: Choices) -> tuple[float, ...]:
    if asked.exposure_low_s is None or asked.exposure_high_s is None:
        return ()
    return tuple(
        float(np.round(each, 1))
        for each in np.geomspace(asked.exposure_low_s, asked.exposure_high_s, WINDOW_TIMES)
    )


def brief_of(brief: Brief, choice: Choice) -> Brief:
    """The plain brief of one combination: one of its coats, when there are several."""
    return replace(
        brief,
        exposure_s=choice.exposure_s,
        programme=choice.programme,
        thickness_low_m=brief.thickness_low_m / choice.coats,
        thickness_high_m=brief.thickness_high_m / choice.coats,
        choices=Choices(),
    )


class _Chooser:
    """Tries combinations one after the other and remembers what it found."""

    def __init__(
        self,
        brief: Brief,
        folder: Path,
        *,
        workers: int | None,
        exhaustive: bool,
        progress: Progress,
        say: Say,
        make_evaluator: EvaluatorMaker,
        storage: str | None,
    ) -> None:
        self.storage = storage
        self.brief, self.folder, self.exhaustive = brief, folder, exhaustive
        self.workers, self.progress, self.say = workers, progress, say
        self.make_evaluator = make_evaluator
        self.tried: dict[Choice, Tried] = {}
        self.blends: dict[frozenset[str], dict[str, float]] = {}

    def place(self, choice: Choice) -> Path:
        """Folder of a combination's records."""
        return self.folder / "choices" / choice.words.replace(" ", "_").replace("/", "_")

    def inputs(self, choice: Choice) -> Inputs:
        return resolve(brief_of(self.brief, choice))

    def attempt(self, choice: Choice, *, full: bool) -> Tried:
        """Try a combination; one that cannot run in this lamp is noted with the reason."""
        try:
            inputs = self.inputs(choice)
        except GelwrightError as fault:
            found = Tried(
                choice=choice, blend_wt_pct={}, objective=float("nan"), constraints=(), figures=(), values=(),
                why_not=str(fault),
            )  # fmt: skip
        else:
            found = self._tried(choice, inputs, full)
        self.tried[choice] = found
        return found

    def _tried(self, choice: Choice, inputs: Inputs, full: bool) -> Tried:
        taker = self.taker(choice, inputs, full)
        for each in taker.found.ranked:
            self.blends.setdefault(frozenset(each.blend_wt_pct), each.blend_wt_pct)
        if choice.coats == 1:
            best = taker.found.ranked[0]
            part = taker.problem.narrowed(tuple(best.blend_wt_pct))
            return Tried(
                choice=choice, blend_wt_pct=best.blend_wt_pct, objective=best.objective,
                constraints=part.constraints, figures=best.figures, values=best.values, is_full=full,
            )  # fmt: skip
        stack = polished_stack(
            set_inputs(inputs, choice), [taker], workers=self.workers, progress=self.progress, most_tried=1,
            kept=self.kept(choice, inputs, taker),
        )  # fmt: skip
        gel_part = stack.problem.coats.parts[0]
        own = stack.problem.by_gel(stack.problem.vector(stack.found.blend_wt_pct))[0]
        return Tried(
            choice=choice, blend_wt_pct=dict(zip(gel_part.space.keys, map(float, own), strict=True)),
            objective=stack.found.objective, constraints=stack.problem.constraints, figures=stack.found.figures,
            values=stack.found.values, is_full=full,
        )  # fmt: skip

    def kept(self, choice: Choice, inputs: Inputs, taker: SearchedTaker) -> Kept:
        """Where the joint polish of several coats is kept; one from another beginning is another one."""
        digest = set_fingerprint(set_inputs(inputs, choice), [taker])
        folder = self.place(choice) / digest.replace(" ", "_")
        folder.mkdir(parents=True, exist_ok=True)
        return Kept(folder=folder, digest=digest, say=self.say, storage=self.storage)

    def taker(self, choice: Choice, inputs: Inputs, full: bool) -> SearchedTaker:
        folder = self.place(choice)
        if full:
            return searched(
                inputs, folder / "full", name=choice.words, workers=self.workers, exhaustive=self.exhaustive,
                progress=self.progress, say=self.say, make_evaluator=self.make_evaluator,
                storage=self.storage,
            )  # fmt: skip
        starts = list(self.blends.values())[:KEPT_BLENDS]
        return warmed(
            inputs, folder / "warm", starts, name=choice.words, workers=self.workers,
            progress=self.progress, say=self.say, make_evaluator=self.make_evaluator, storage=self.storage,
        )  # fmt: skip

    @property
    def ranked(self) -> list[Tried]:
        """Feasible ones by objective, equal ones by lamp time and coats; then the nearest; then those not tried."""
        found = list(self.tried.values())
        feasible = sorted((each for each in found if each.is_feasible), key=lambda each: each.objective)
        if feasible:
            least = feasible[0].objective
            near = [each for each in feasible if each.objective <= least + EQUAL * max(abs(least), 1e-9)]
            near.sort(key=lambda each: (each.choice.lamp_time_s, each.choice.coats, each.objective))
            feasible = [*near, *(each for each in feasible if each not in near)]
        rest = sorted((each for each in found if not each.is_feasible), key=lambda each: each.violation)
        return [*feasible, *rest]


def set_inputs(inputs: Inputs, choice: Choice) -> SetInputs:
    """One gel in several coats, as a set of that gel alone."""
    coat = CoatAsked(
        name=inputs.gel.coat, place=inputs.gel.coat, brief=inputs.brief, applications=choice.coats
    )
    asked = SetBrief(title=inputs.brief.title, brief=inputs.brief, coats=(coat,))
    return SetInputs(asked=asked, lamp=inputs.lamp, gels=(inputs,))


def tune_choices(
    brief: Brief,
    folder: Path,
    *,
    workers: int | None = None,
    exhaustive: bool = False,
    progress: Progress,
    say: Say,
    make_evaluator: EvaluatorMaker = blend_evaluator,
    storage: str | None = None,
) -> ChoicesOutcome:
    """Try every combination a brief allows and work the best one out in full.

    Parameters
    ----------
    brief : Brief
        With choices.
    folder : Path
        Existing run folder; every combination keeps its journal in a folder of its own.
    workers, exhaustive, progress, say, make_evaluator, storage
        As for `tune`.

    Raises
    ------
    GelwrightError
        If no combination can be tried at all, with the reason of the first.
    """
    chooser = _Chooser(
        brief,
        folder,
        workers=workers,
        exhaustive=exhaustive,
        progress=progress,
        say=say,
        make_evaluator=make_evaluator,
        storage=storage,
    )
    first, *others = combinations_of(brief)
    chooser.inputs(first)  # a fault of the brief itself must show as such
    chooser.attempt(first, full=True)
    for choice in others:
        chooser.attempt(choice, full=False)
    for choice in between(brief.choices, chooser.ranked):
        chooser.attempt(choice, full=False)
    while not chooser.ranked[0].is_full:
        chooser.attempt(chooser.ranked[0].choice, full=True)
    best = chooser.ranked[0]
    return ChoicesOutcome(
        brief=brief,
        tried=tuple(chooser.ranked),
        best=_in_full(chooser, best.choice),
    )


def between(asked: Choices, ranked: Sequence[Tried]) -> list[Choice]:
    """Cure times between the best one of a window and its neighbours; none without a window."""
    if asked.exposure_low_s is None:
        return []
    best = ranked[0].choice
    times = sorted(
        each.choice.exposure_s
        for each in ranked
        if (each.choice.programme, each.choice.coats) == (best.programme, best.coats)
    )
    at = times.index(best.exposure_s)
    beside = [times[i] for i in (at - 1, at + 1) if 0 <= i < len(times)]
    return [
        replace(best, exposure_s=float(np.round(np.sqrt(best.exposure_s * other), 1))) for other in beside
    ]


def _in_full(chooser: _Chooser, choice: Choice) -> Outcome | SetOutcome:
    inputs = chooser.inputs(choice)
    folder = chooser.place(choice) / "full"  # its search is in the record there already
    if choice.coats > 1:
        taker = chooser.taker(choice, inputs, True)
        kept = chooser.kept(choice, inputs, taker)
        return joint(
            set_inputs(inputs, choice), [taker], workers=chooser.workers, progress=chooser.progress, kept=kept
        )
    return tune(
        inputs, folder, workers=chooser.workers, exhaustive=chooser.exhaustive, progress=chooser.progress, say=chooser.say,
        make_evaluator=chooser.make_evaluator, storage=chooser.storage,
    )  # fmt: skip
