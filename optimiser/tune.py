"""Tune a brief: resolve its inputs, search, work the best blends out, and hand back one outcome."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp, load_lamp
from ..models.gel import Gel
from ..models.results import CureResult
from .answer import TIGHT, Candidate, ShadowPrice, candidates, confirmed, shadow_prices
from .brief import Brief
from .code_version import versioned
from .demo_data import load_any_gel
from .evaluation_log import EvaluationLog
from .evaluators import EvaluatorMaker, blend_evaluator
from .front import replace_problem
from .impossible import Impossible
from .ledger import Ledger
from .local import Local
from .problem import Problem
from .record import Record
from .relaxing import Conflict, conflicts
from .search import Found, Progress, search
from .search_space import SearchSpace, build_search_space
from .sequences import with_programme
from .sure import FRESH_DRAWS, made_sure
from .ways_out import way_out

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inputs:
    """A brief with its lamps, resin base and usable substances; `lamp` is the first of them."""

    brief: Brief
    lamp: Lamp
    gel: Gel
    space: SearchSpace
    more_lamps: tuple[Lamp, ...] = ()

    @property
    def lamps(self) -> tuple[Lamp, ...]:
        """Every lamp one blend has to serve, in the order of the brief."""
        return (self.lamp, *self.more_lamps)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """Everything a report needs.

    Parameters
    ----------
    inputs : Inputs
        What was asked.
    found : Found
        All distinct polished blends.
    candidates : tuple of Candidate
        The first few in full; the least-violating one alone when no blend is feasible.
    prices : tuple of ShadowPrice
        What each limit costs the winner; empty when no blend is feasible.
    conflicts : tuple of Conflict
        Why there is no feasible blend; empty otherwise.
    traces : tuple of CureResult
        The first candidate in the thickest film at every position, lamp by lamp.
    digest : str
        Fingerprint of brief, lamp, gel and data.
    simulations : int
        Films simulated for the search.
    impossible : Impossible or None
        The smallest clash and the single changes that make the brief possible; None when a blend was found.
    """

    inputs: Inputs
    found: Found
    candidates: tuple[Candidate, ...]
    prices: tuple[ShadowPrice, ...]
    conflicts: tuple[Conflict, ...]
    traces: tuple[CureResult, ...]
    digest: str
    simulations: int
    impossible: Impossible | None = None


def resolve(brief: Brief) -> Inputs:
    """Load the lamps and the resin base of a brief and sort the substances.

    Parameters
    ----------
    brief : Brief
        A checked brief.

    Returns
    -------
    Inputs

    Raises
    ------
    GelwrightError
        If anything named in the brief is missing, unknown or not allowed.
    """
    lamp, *more = loaded_lamps(brief)
    gel = resin_base(brief)
    return Inputs(
        brief=brief,
        lamp=lamp,
        gel=gel,
        space=build_search_space(brief, lamp, gel, more_lamps=more),
        more_lamps=tuple(more),
    )


def loaded_lamps(brief: Brief) -> list[Lamp]:
    """The lamps of a brief, each with the programme it runs there."""
    lamps = [
        with_programme(load_lamp(name), brief.programme_in(i), brief.exposure_in_s(i))
        for i, name in enumerate(brief.lamps)
    ]
    ids = [lamp.lamp_id for lamp in lamps]
    twice = [lamp_id for lamp_id in dict.fromkeys(ids) if ids.count(lamp_id) > 1]
    if twice:
        raise InputError(
            f"lamp.names lists two lamps with the id {twice[0]}; reports could not tell them apart. "
            "Change the id in one lamp.toml."
        )
    return lamps


def resin_base(brief: Brief) -> Gel:
    """The brief's gel without initiators, at the thick end of the window, with its swaps made and its rules kept."""
    return brief.own.checked_base(_resin_base(brief))


def _resin_base(brief: Brief) -> Gel:
    if brief.gel_file is not None:
        gel = load_any_gel(brief.gel_file)
        return replace(gel.with_initiators({}, {}), thickness_m=brief.thickness_high_m)
    return Gel(
        name=brief.title,
        coat=brief.coat,  # type: ignore[arg-type]
        resin_parts=brief.resin_parts,
        initiators_wt_pct={},
        amines_wt_pct={},
        stabilisers_wt_pct=brief.stabilisers_wt_pct,
        thickness_m=brief.thickness_high_m,
        is_demonstration=brief.is_demonstration,
    )


def tune(
    inputs: Inputs,
    folder: Path,
    *,
    workers: int | None = None,
    exhaustive: bool = False,
    progress: Progress,
    say: Say,
    make_evaluator: EvaluatorMaker = blend_evaluator,
    storage: str | None = None,
) -> Outcome:
    """Search a brief; finished units are kept in the folder's journal, or a shared database, and not run again.

    Parameters
    ----------
    inputs : Inputs
        Resolved brief.
    folder : Path
        Existing run folder.
    workers : int, optional
        Threads; results do not depend on it.
    exhaustive : bool
        Polish every subset of all initiators.
    progress, say : callable
        Told about units of work, and about repairs.
    make_evaluator : callable
        Builds the simulator; tests put a stand-in here.
    storage : str, optional
        URL of a PostgreSQL database to share the search with every process that tunes the same brief in it.

    Returns
    -------
    Outcome
    """
    log = EvaluationLog(folder, inputs.space.keys)
    problem = Problem(
        brief=inputs.brief, lamp=inputs.lamp, gel=inputs.gel, space=inputs.space, more_lamps=inputs.more_lamps,
        make_evaluator=log.watching(make_evaluator), workers=workers,
    )  # fmt: skip
    digest = fingerprint(inputs, exhaustive)
    ledger = ledger_of(folder, digest, problem, say, storage)
    log.open(say)

    def named(done: int, total: int, words: str) -> None:
        log.unit = words
        progress(done, total, words)

    found = search(problem, ledger=ledger, progress=named, exhaustive=exhaustive)
    if inputs.brief.is_robust:
        problem, found = in_use(problem, found, ledger, named)
    shown = candidates(problem, found.ranked, named)
    if inputs.brief.is_robust:
        shown = surest_first(inputs.brief, shown)
    found = replace(found, ranked=in_order_shown(found.ranked, shown))
    best = found.ranked[0]
    part = problem.narrowed(tuple(best.blend_wt_pct))
    return Outcome(
        inputs=inputs,
        found=found,
        candidates=shown,
        prices=tuple(confirmed(part, best, shadow_prices(part, best))) if found.is_feasible else (),
        conflicts=() if found.is_feasible else tuple(conflicts(problem, found.ranked, TIGHT)),
        impossible=None if found.is_feasible else way_out(problem, found, named),
        traces=traces_of(inputs, shown[0], workers),
        digest=digest,
        simulations=found.simulations,
    )


class _Unkept:
    """A ledger that keeps nothing."""

    def get(self, unit: str) -> Local | None:
        """Nothing was finished earlier."""
        return None

    def put(self, unit: str, found: Local, seconds: float) -> None:
        """Forget it."""


def searched_problem(
    inputs: Inputs, folder: Path | None, *, workers: int | None, progress: Progress, say: Say
) -> tuple[Problem, Found]:
    """A brief as a problem with its search, read back from a run folder where there is one.

    Parameters
    ----------
    inputs : Inputs
        Resolved brief.
    folder : Path or None
        Run folder of the same brief; None searches anew and keeps nothing.
    workers : int or None
        Threads.
    progress, say : callable
        Told about units of work, and about repairs.

    Raises
    ------
    InputError
        If there is no such folder, or it holds the record of another brief.
    """
    problem = Problem(
        brief=inputs.brief, lamp=inputs.lamp, gel=inputs.gel, space=inputs.space,
        more_lamps=inputs.more_lamps, workers=workers,
    )  # fmt: skip
    ledger: Ledger = _Unkept()
    if folder is not None:
        if not folder.is_dir():
            raise InputError(f"{folder}: there is no such run folder. Leave --run out to search anew.")
        ledger = Record(folder, fingerprint(inputs, False), problem, say)
    return problem, search(problem, ledger=ledger, progress=progress)


def ledger_of(folder: Path, digest: str, problem: Problem, say: Say, storage: str | None) -> Ledger:
    """Where finished units are kept: the folder's journal, or a database that workers share.

    Parameters
    ----------
    folder : Path
        Run folder.
    digest : str
        Fingerprint of everything the answer depends on.
    problem : Problem
        Gives names and ranges of the loadings.
    say : callable
        Told about repairs.
    storage : str or None
        URL of a PostgreSQL database.
    """
    if storage is None:
        return Record(folder, digest, problem, say)
    from .record_shared import SharedRecord

    return SharedRecord(storage, digest, say=say)


def in_use(problem: Problem, found: Found, ledger: Ledger, progress: Progress) -> tuple[Problem, Found]:
    """The first blends made sure in use, and the problem with enough fresh draws to count on."""
    sure = made_sure(problem, found.ranked, ledger=ledger, progress=progress)
    asked = problem.brief.uncertainty
    brief = replace(problem.brief, uncertainty=replace(asked, draws=max(FRESH_DRAWS, asked.draws)))
    spent = sum(each.found.simulations for each in sure)
    words = f"{found.method}; the first {len(sure)} made sure in use (limits tightened by what draws of the conditions ask)"
    ranked = tuple(each.found for each in sure)
    return replace_problem(problem, brief, {}), replace(
        found, ranked=ranked, method=words, simulations=found.simulations + spent
    )


def surest_first(brief: Brief, shown: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """Blends that reach the stated chance by objective, then the others by chance; all by chance where that is sought."""

    def key(each: Candidate) -> tuple[float, float]:
        chance = each.passing.probability_fraction
        if brief.chance is not None and chance >= brief.chance:
            return -1.0, each.objective
        return 1.0 - chance, each.objective

    return tuple(sorted(shown, key=key))


def in_order_shown(ranked: Sequence[Local], shown: Sequence[Candidate]) -> tuple[Local, ...]:
    """Blends in the order of those shown, which rounding may have changed, then the others as they were."""
    by_keys = {frozenset(each.blend_wt_pct): each for each in ranked}
    first = [by_keys[frozenset(each.blend_wt_pct)] for each in shown]
    return (*first, *(each for each in ranked if each not in first))


def blended(inputs: Inputs, blend_wt_pct: dict[str, float]) -> Gel:
    """The resin base with a blend in it."""
    amines = {key: load for key, load in blend_wt_pct.items() if key in inputs.space.amines}
    initiators = {key: load for key, load in blend_wt_pct.items() if key not in amines}
    return inputs.gel.with_initiators(initiators, amines)


def traces_of(inputs: Inputs, shown: Candidate, workers: int | None) -> tuple[CureResult, ...]:
    """Full runs of one blend in the thickest film at every position, one cycle."""
    from ..models.cure import CureCase, cure_many
    from ..models.heat import Hand

    brief = inputs.brief
    gel = blended(inputs, shown.blend_wt_pct)
    cases = [
        CureCase(
            gel=gel,
            lamp=lamp,
            exposure_s=brief.exposure_in_s(index),
            position=position,
            thickness_m=brief.thickness_high_m,
            programme=brief.programme_in(index),
            cycles=1,
            rest_s=brief.rest_s,
            hand=Hand(start_k=brief.hand_start_k, nail_thickness_m=brief.nail_thickness_m),
        )
        for index, lamp in enumerate(inputs.lamps)
        for position in lamp.positions
    ]
    return tuple(cure_many(cases, workers=workers))


def fingerprint(inputs: Inputs, exhaustive: bool) -> str:
    """Digest of what was asked (brief, lamp, gel), then the version of search, model and substance data."""
    content = hashlib.sha256(f"{inputs.brief.digest} {exhaustive}".encode())
    for lamp in inputs.lamps:
        for position, spectrum in lamp.spectra.items():
            content.update(position.encode())
            content.update(spectrum.wavelength_nm.tobytes())
            content.update(spectrum.spectral_irradiance_w_m2_nm.tobytes())
        content.update(repr((lamp.course, lamp.air, dict(lamp.programmes))).encode())
    gel = {each.name: getattr(inputs.gel, each.name) for each in fields(inputs.gel)}
    content.update(json.dumps(gel, sort_keys=True, default=_plain).encode())
    return versioned(content.hexdigest()[:12])


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else str(value)
