"""Several lamps and no single blend for all: a blend per lamp with few raw materials, or the largest set one blend serves.

The largest set is sought from above: all lamps that can be served alone, then every set with one less, and so on. Whether a
set can be served is decided by polishing the best blends of its lamps for all of them at once: a set found servable
is, a set found not to be may hold a blend that was not tried (a heuristic). The blend of the answer is searched in full.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

from ..lamp_library.lamp import Lamp
from .answer import Candidate, candidates
from .brief import Brief
from .constraints import Constraint
from .evaluators import EvaluatorMaker, blend_evaluator
from .local import FEASIBLE, Local
from .search import Progress
from .sharing import Shared, fewest, free
from .takers import SearchedTaker, searched, warmed
from .tune import Inputs, Outcome, resolve, tune
from .weighable import held_everywhere

Say = Callable[[str], None]

STARTS_PER_LAMP = 2  # best blends of each lamp that are tried for a set of lamps
MOST_STARTS = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Broken:
    """A limit that a blend breaks in a lamp, at its worst place there."""

    constraint: Constraint
    figure: float

    @property
    def words(self) -> str:
        """What is broken, and by how much."""
        row = self.constraint
        return f"{row.name} {row.shown(self.figure)} ({row.words}, margin {row.shown_margin(self.figure)})"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refused:
    """A lamp that is not served.

    Parameters
    ----------
    lamp : Lamp
        Which.
    nearest_alone : Local or None
        The nearest blend for it alone where even that breaks a limit; None where it can be served alone.
    broken : tuple of Broken
        Limits broken there: by its own nearest blend, or by the blend of the others.
    """

    lamp: Lamp
    nearest_alone: Local | None
    broken: tuple[Broken, ...]

    @property
    def sentence(self) -> str:
        """Why, in one sentence."""
        limits = (
            "; ".join(each.words for each in self.broken) or "no limit alone, only together with the others"
        )
        if self.nearest_alone is None:
            return f"{self.lamp.lamp_id}: can be served by a blend of its own; the blend of the others breaks there {limits}"
        blend = " + ".join(f"{key} {load:.3g} %" for key, load in self.nearest_alone.blend_wt_pct.items())
        return f"{self.lamp.lamp_id}: no blend found even for it alone; the nearest ({blend}) breaks {limits}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Served:
    """A lamp with its blend, and what it would take on its own."""

    inputs: Inputs
    shown: Candidate
    own_best: Local


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LampsOutcome:
    """How several lamps are served.

    Parameters
    ----------
    brief : Brief
        As asked.
    served : tuple of Served
        Lamps with their blends.
    refused : tuple of Refused
        Lamps without.
    shared : Shared or None
        The choice behind a blend per lamp; None for one blend.
    one_blend : Outcome or None
        The blend of the largest set in full; None for a blend per lamp.
    tried : tuple of str
        Sets of lamps gone through, in sentences.
    """

    brief: Brief
    served: tuple[Served, ...]
    refused: tuple[Refused, ...]
    shared: Shared | None
    one_blend: Outcome | None
    tried: tuple[str, ...]

    @property
    def is_feasible(self) -> bool:
        """Whether the brief is met: for the largest set, whether a lamp is served at all; else whether all are."""
        return bool(self.served) if self.brief.serve == "largest_set" else not self.refused

    @property
    def materials(self) -> tuple[str, ...]:
        """Different initiators and amines used."""
        return tuple(sorted({key for each in self.served for key in each.shown.blend_wt_pct}))


class _Lamps:
    """Searches of single lamps and of sets of lamps of one brief."""

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
        self.brief, self.folder = brief, folder
        self.workers, self.exhaustive, self.progress, self.say = workers, exhaustive, progress, say
        self.make_evaluator = make_evaluator
        self.inputs = {name: resolve(plain_for(brief, (name,))) for name in brief.lamps}
        self.alone: dict[str, SearchedTaker] = {}
        self.tried: list[str] = []

    def search_alone(self) -> None:
        for name, inputs in self.inputs.items():
            lamp_id = inputs.lamp.lamp_id
            self.alone[name] = searched(
                inputs, self.folder / "lamps_alone" / lamp_id, name=lamp_id, workers=self.workers,
                exhaustive=self.exhaustive, progress=self.progress, say=self.say, make_evaluator=self.make_evaluator,
                storage=self.storage,
            )  # fmt: skip

    def can_be_served_alone(self, name: str) -> bool:
        return self.alone[name].found.is_feasible

    def together(self, names: Sequence[str]) -> Local:
        """The best or nearest blend for a set of lamps, from the best blends of each of them."""
        starts: dict[frozenset[str], dict[str, float]] = {}
        for rank in range(STARTS_PER_LAMP):
            for name in names:
                blends = self.alone[name].found.ranked
                if rank < len(blends):
                    starts.setdefault(frozenset(blends[rank].blend_wt_pct), blends[rank].blend_wt_pct)
        ids = [self.inputs[name].lamp.lamp_id for name in names]
        taker = warmed(
            resolve(plain_for(self.brief, names)), self.folder / "sets" / "+".join(ids),
            list(starts.values())[:MOST_STARTS], name=" + ".join(ids), workers=self.workers,
            progress=self.progress, say=self.say, make_evaluator=self.make_evaluator, storage=self.storage,
        )  # fmt: skip
        best = taker.found.ranked[0]
        words = (
            "can be served" if best.is_feasible else f"no blend found (summed excess {best.violation:.3g})"
        )
        self.tried.append(f"{' + '.join(ids)}: {words}")
        return best

    def refused(self, name: str, blend_wt_pct: dict[str, float]) -> Refused:
        """Why a lamp is not served; `blend_wt_pct` is that of the lamps that are, empty if there is none."""
        taker = self.alone[name]
        alone = taker.found.ranked[0]
        if not alone.is_feasible:
            rows = taker.problem.narrowed(tuple(alone.blend_wt_pct)).constraints
            broken = broken_limits(rows, alone.values, alone.figures)
            return Refused(lamp=taker.problem.lamp, nearest_alone=alone, broken=broken)
        problem = taker.problem.narrowed(tuple(blend_wt_pct))
        point = problem.point(problem.vector(blend_wt_pct))
        broken = broken_limits(problem.constraints, [float(value) for value in point.values], point.figures)
        return Refused(lamp=taker.problem.lamp, nearest_alone=None, broken=broken)


def plain_for(brief: Brief, names: Sequence[str]) -> Brief:
    """The brief of one blend for some of the lamps."""
    return replace(brief, serve="one_blend").for_lamps(names)


def broken_limits(
    rows: Sequence[Constraint], values: Sequence[float], figures: Sequence[float]
) -> tuple[Broken, ...]:
    """Limits that are broken, each at its worst place, worst first."""
    worst: dict[str, int] = {}
    for i in sorted(range(len(rows)), key=lambda i: -values[i]):
        if values[i] > FEASIBLE:
            worst.setdefault(rows[i].limit_name, i)
    return tuple(Broken(constraint=rows[i], figure=figures[i]) for i in worst.values())


def tune_lamps(
    brief: Brief,
    folder: Path,
    *,
    workers: int | None = None,
    exhaustive: bool = False,
    progress: Progress,
    say: Say,
    make_evaluator: EvaluatorMaker = blend_evaluator,
    storage: str | None = None,
) -> LampsOutcome:
    """Serve several lamps as the brief's `serve` says.

    Parameters
    ----------
    brief : Brief
        With `serve` other than ``one_blend``.
    folder : Path
        Existing run folder; every search keeps its journal in a folder of its own.
    workers, exhaustive, progress, say, make_evaluator, storage
        As for `tune`.

    Raises
    ------
    GelwrightError
        If a lamp, its programme or the gel is missing or not allowed.
    """
    lamps = _Lamps(
        brief, folder, workers=workers, exhaustive=exhaustive, progress=progress, say=say,
        make_evaluator=make_evaluator, storage=storage,
    )  # fmt: skip
    lamps.search_alone()
    if brief.serve == "blend_per_lamp":
        return _blend_per_lamp(lamps)
    return _largest_set(lamps)


def _own_best(taker: SearchedTaker) -> Local:
    """The best blend for one lamp by itself, rounded for weighing as the blends beside it are."""
    best = taker.found.ranked[0]
    return held_everywhere(taker.problem.narrowed(tuple(best.blend_wt_pct)), best)[1]


def _blend_per_lamp(lamps: _Lamps) -> LampsOutcome:
    names = [name for name in lamps.brief.lamps if lamps.can_be_served_alone(name)]
    refused = tuple(lamps.refused(name, {}) for name in lamps.brief.lamps if name not in names)
    if not names:
        return LampsOutcome(
            brief=lamps.brief, served=(), refused=refused, shared=None, one_blend=None, tried=()
        )
    takers = [lamps.alone[name] for name in names]
    shared = fewest(takers, lamps.brief.max_initiators + 1)
    served = [
        Served(
            inputs=lamps.inputs[name],
            shown=candidates(taker.problem, [blend], lamps.progress)[0],
            own_best=_own_best(taker),
        )
        for name, taker, blend in zip(names, takers, shared.blends, strict=True)
    ]
    without = free(takers)
    tried = (
        f"raw materials of each lamp's own best blend, together: {len(without.materials)} "
        f"({', '.join(without.materials)}); of the choice shown: {len(shared.materials)}"
    )
    return LampsOutcome(
        brief=lamps.brief,
        served=tuple(served),
        refused=refused,
        shared=shared,
        one_blend=None,
        tried=(tried,),
    )


def largest_servable(
    names: Sequence[str], together: Callable[[Sequence[str]], Local]
) -> tuple[tuple[str, ...], Local | None]:
    """The largest set of lamps that one blend serves, the better objective among equals; found from above.

    Parameters
    ----------
    names : sequence of str
        Lamps that can be served alone.
    together : callable
        Gives the best or nearest blend for a set of two or more.

    Returns
    -------
    names : tuple of str
        The set; empty when `names` is.
    blend : Local or None
        Its blend; None for a set of one, which needs no search.
    """
    for size in range(len(names), 1, -1):
        best: tuple[tuple[str, ...], Local] | None = None
        for some in combinations(names, size):
            found = together(some)
            if found.is_feasible and (best is None or found.objective < best[1].objective):
                best = (some, found)
        if best is not None:
            return best
    return tuple(names[:1]), None


def _largest_set(lamps: _Lamps) -> LampsOutcome:
    able = [name for name in lamps.brief.lamps if lamps.can_be_served_alone(name)]
    able.sort(key=lambda name: lamps.alone[name].found.ranked[0].objective)
    names, _ = largest_servable(able, lamps.together)
    names = tuple(name for name in lamps.brief.lamps if name in names)
    if not names:
        refused = tuple(lamps.refused(name, {}) for name in lamps.brief.lamps)
        return LampsOutcome(
            brief=lamps.brief,
            served=(),
            refused=refused,
            shared=None,
            one_blend=None,
            tried=tuple(lamps.tried),
        )
    inputs = resolve(plain_for(lamps.brief, names))
    folder = lamps.folder / "one_blend"
    folder.mkdir(exist_ok=True)
    outcome = tune(
        inputs, folder, workers=lamps.workers, exhaustive=lamps.exhaustive, progress=lamps.progress,
        say=lamps.say, make_evaluator=lamps.make_evaluator, storage=lamps.storage,
    )  # fmt: skip
    best = outcome.candidates[0]
    served = tuple(
        Served(inputs=lamps.inputs[name], shown=best, own_best=_own_best(lamps.alone[name])) for name in names
    )
    refused = tuple(lamps.refused(name, best.blend_wt_pct) for name in lamps.brief.lamps if name not in names)
    return LampsOutcome(
        brief=lamps.brief, served=served, refused=refused, shared=None, one_blend=outcome,
        tried=tuple(lamps.tried),
    )  # fmt: skip
