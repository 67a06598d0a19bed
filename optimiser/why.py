"""Why is this substance, or this blend, not the answer? Law, brief, stock, solubility, light, a limit, or plainly the rank."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..lamp_library.errors import InputError, unknown_name
from ..models.materials import list_amines, list_photoinitiators
from .answer import DETAILED
from .brief import Margins
from .constraints import Constraint, shown_difference
from .local import Local, local_of, local_search
from .problem import Problem
from .search import Found, distinct
from .starts import moderate_start
from .subsets import initiators_in
from .weighable import held_everywhere

SAME = 1e-3  # relative difference of the objective below which two blends tie


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """The answer about one substance or blend.

    Parameters
    ----------
    asked : str
        What was asked about.
    kind : str
        ``is_answer``, ``excluded``, ``breaks_limits``, ``ranks_behind`` or ``ties``.
    sentences : tuple of str
        The reason in words.
    blend_wt_pct : dict of str to float
        The blend worked out; empty for something excluded.
    broken : tuple of dict
        Limits the blend breaks, worst first, with figure, limit and excess.
    objective, best_objective : float or None
        Of the blend and of the answer; None where there is none.
    """

    asked: str
    kind: str
    sentences: tuple[str, ...]
    blend_wt_pct: dict[str, float]
    broken: tuple[dict[str, Any], ...] = ()
    objective: float | None = None
    best_objective: float | None = None


def read_asked(text: str) -> dict[str, float | None]:
    """Substances of a blend: ``BAPO``, ``BAPO+HCPK``, ``BAPO=0.2+HCPK=0.5`` (wt%), or as reports print it, ``BAPO 0.2 %``.

    Raises
    ------
    InputError
        If a loading is no number above 0, or only some have one.
    UnknownNameError
        If a substance is not in the tables.
    """
    known = [*list_photoinitiators(), *list_amines()]
    asked: dict[str, float | None] = {}
    for part in text.split("+"):
        bare = part.strip().removesuffix("%").removesuffix("wt").strip()
        name, _, load = (each.strip() for each in bare.partition("=" if "=" in bare else " "))
        if name not in known:
            raise unknown_name("initiator or amine", name, known)
        if load and not (re.fullmatch(r"\d*\.?\d+", load) and float(load) > 0.0):
            raise InputError(
                f"'{part.strip()}': the loading is '{load}'; it must be a number of wt% above 0."
            )
        asked[name] = float(load) if load else None
    given = [each is not None for each in asked.values()]
    if any(given) and not all(given):
        raise InputError(f"'{text}': some substances have a loading and some have none. Give all or none.")
    return asked


def as_shown(problem: Problem, found: Found) -> Found:
    """The search with its first blends rounded for weighing and in the order in which the report shows them."""
    shown = [each for each in found.ranked[:DETAILED] if each.is_feasible] or list(found.ranked[:1])
    rounded = sorted((_weighed(problem, each) for each in shown), key=lambda each: each.objective)
    return replace(found, ranked=(*rounded, *found.ranked[len(shown) :]))


def _weighed(problem: Problem, blend: Local) -> Local:
    _, held = held_everywhere(problem.narrowed(tuple(blend.blend_wt_pct)), blend)
    return local_of(problem, problem.point(problem.vector(held.blend_wt_pct)), np.zeros(0), held.simulations)


def why_not(problem: Problem, found: Found, text: str) -> Why:
    """Say why a substance or a blend is not the answer.

    Parameters
    ----------
    problem : Problem
        The whole problem.
    found : Found
        Its search, as the user was shown it (see `as_shown`).
    text : str
        See `read_asked`.

    Returns
    -------
    Why
        What was simulated was simulated for this question: a subset the search left out is polished here.
    """
    asked = read_asked(text)
    shut_out = _excluded(problem, asked)
    if shut_out:
        return Why(asked=text, kind="excluded", sentences=tuple(shut_out), blend_wt_pct={})
    missing = _lacks_amine(problem, asked)
    if missing:
        return Why(asked=text, kind="excluded", sentences=(missing,), blend_wt_pct={})
    if all(load is not None for load in asked.values()):
        loadings = problem.vector({key: float(load or 0.0) for key, load in asked.items()})
        mine = local_of(problem, problem.point(loadings), np.zeros(0), 0)
        return _compared(problem, found, text, mine, _ranges(problem, asked))
    if len(initiators_in(problem, asked)) == 1:
        return _about_substance(problem, found, text, asked)
    return _compared(problem, found, text, _polished(problem, found, tuple(asked)), [])


def _excluded(problem: Problem, asked: Mapping[str, float | None]) -> list[str]:
    out = {each.key: each for each in problem.space.excluded}
    return [f"{key} ({out[key].name}) is left out: {out[key].reason}." for key in asked if key in out]


def _lacks_amine(problem: Problem, asked: Mapping[str, float | None]) -> str:
    if not initiators_in(problem, asked):
        return (
            "an amine alone starts no cure: it serves a type II initiator. Ask about a blend that holds one."
        )
    return ""


def _ranges(problem: Problem, asked: Mapping[str, float | None]) -> list[str]:
    """What the search would not have allowed about the loadings given."""
    said = []
    low = problem.brief.smallest_loading_wt_pct
    for key, load in asked.items():
        each = problem.space.substance(key)
        if load is not None and load > each.high_wt_pct:
            said.append(
                f"{key} {load:g} wt% is above its highest, {each.high_wt_pct:g} wt% ({each.high_because})."
            )
        if load is not None and load < low:
            said.append(f"{key} {load:g} wt% is below the smallest loading worth weighing, {low:g} wt%.")
    most = problem.brief.max_initiators
    if len(initiators_in(problem, asked)) > most:
        said.append(f"The brief allows {most} initiators in a blend.")
    return said


def _with_amine(problem: Problem, keys: Sequence[str], found: Found) -> tuple[str, ...]:
    needs = any(problem.space.substance(key).needs_amine for key in keys)
    if not needs or set(keys) & set(problem.space.amines):
        return tuple(keys)
    used = [key for each in found.ranked for key in each.blend_wt_pct if key in problem.space.amines]
    return (*keys, (used or list(problem.space.amines))[0])


def _polished(problem: Problem, found: Found, keys: Sequence[str]) -> Local:
    """The best blend of some substances: from what the search knows of them, a moderate start, and a little of each."""
    keys = _with_amine(problem, keys, found)
    low = problem.brief.smallest_loading_wt_pct
    part = problem.space.subset(keys)
    moderate = dict(zip(part.keys, moderate_start(problem, part), strict=True))
    known = [each.blend_wt_pct for each in found.tried if set(each.blend_wt_pct) <= set(keys)]
    parents = sorted(known, key=len, reverse=True)[:2]
    starts = [*parents, moderate, dict.fromkeys(keys, 2.0 * low)]
    polished = [
        local_search(problem, problem.vector({key: max(start.get(key, 0.0), low) for key in keys}), low, keys)
        for start in starts
    ]
    return _weighed(problem, min(polished, key=lambda each: each.rank))


def _about_substance(problem: Problem, found: Found, text: str, asked: Mapping[str, float | None]) -> Why:
    """One initiator: in the answer, alone, and in the best blend that holds it."""
    name, best = initiators_in(problem, asked)[0], found.ranked[0]
    if name in best.blend_wt_pct:
        words = f"{name} is in the first blend: {_name(best)}."
        return Why(
            asked=text, kind="is_answer", sentences=(words,), blend_wt_pct=best.blend_wt_pct,
            objective=best.objective, best_objective=best.objective,
        )  # fmt: skip
    alone = _polished(problem, found, tuple(asked))
    members = initiators_in(problem, best.blend_wt_pct)
    tried = [
        each for each in found.tried if name in each.blend_wt_pct and len(each.blend_wt_pct) > len(asked)
    ]
    if len(members) < problem.brief.max_initiators:
        tried.append(_polished(problem, found, (*best.blend_wt_pct, *asked)))
    elif not tried:
        tried.append(_polished(problem, found, (*members[: problem.brief.max_initiators - 1], *asked)))
    with_others = min((_weighed(problem, each) for each in tried), key=lambda each: each.rank, default=None)
    first = _compared(problem, found, text, alone, [], f"{name} alone")
    if with_others is None:
        return first
    second = _compared(problem, found, text, with_others, [], f"The best blend with {name}")
    leader = first if alone.rank <= with_others.rank else second
    return replace(leader, sentences=(*first.sentences, *second.sentences))


def _compared(
    problem: Problem, found: Found, text: str, mine: Local, ranges: Sequence[str], subject: str = "The blend"
) -> Why:
    best, brief = found.ranked[0], problem.brief
    broken = _broken(problem, mine)
    told = f"{subject}, {_name(mine)},"
    known: dict[str, Any] = {"asked": text, "blend_wt_pct": mine.blend_wt_pct, "objective": mine.objective}
    reference = best.objective if best.is_feasible else None
    if broken:
        said = "; ".join(each["words"] for each in broken)
        margins = " The limits named hold the margins of the brief." if brief.margins != Margins() else ""
        sentences = [f"{told} breaks {said}.{margins}", *ranges]
        return Why(
            kind="breaks_limits",
            sentences=tuple(sentences),
            broken=tuple(broken),
            best_objective=reference,
            **known,
        )
    if not best.is_feasible:
        return Why(
            kind="is_answer",
            sentences=(f"{told} keeps every limit, which the search did not find.", *ranges),
            **known,
        )
    behind = mine.objective - best.objective
    share = behind / max(abs(best.objective), 1e-9)
    if set(mine.blend_wt_pct) == set(best.blend_wt_pct) and abs(share) <= SAME:
        return Why(
            kind="is_answer",
            sentences=(f"{told} is the first blend.", *ranges),
            best_objective=reference,
            **known,
        )
    if share <= SAME:
        words = f"{told} keeps every limit and is level with the first blend, {_name(best)} ({100 * share:+.2f} %)."
        return Why(kind="ties", sentences=(words, *ranges), best_objective=reference, **known)
    sentences = [
        (
            f"{told} keeps every limit but ranks behind: {objective_words(problem, mine.objective)} against "
            f"{objective_words(problem, best.objective)} of the first blend, {_name(best)}: {100 * share:.3g} % more."
        )
    ]
    plainer = [
        each
        for each in distinct([*found.tried, mine])
        if each.is_feasible
        and set(each.blend_wt_pct) < set(mine.blend_wt_pct)
        and each.objective <= mine.objective
    ]
    if plainer:
        sentences.append(f"{_name(plainer[0])} does the same with fewer substances and less.")
    return Why(kind="ranks_behind", sentences=(*sentences, *ranges), best_objective=reference, **known)


def _broken(problem: Problem, mine: Local) -> list[dict[str, Any]]:
    """The worst row of every limit a blend breaks, worst first."""
    worst: dict[str, tuple[float, Constraint, float]] = {}
    for row, value, figure in zip(problem.constraints, mine.values, mine.figures, strict=True):
        if value > 1e-9 and value > worst.get(row.limit_name, (0.0, row, 0.0))[0]:
            worst[row.limit_name] = (value, row, figure)
    return [
        {
            "limit": row.name,
            "unit": row.unit,
            "figure": figure,
            "allowed": row.limit,
            "excess": -row.margin(figure),
            "words": (
                f"{row.name}: {row.shown(figure)} where {'at most' if row.sense > 0 else 'at least'} "
                f"{row.shown(row.limit)} is asked for ({shown_difference(row.margin(figure), row.unit)})"
            ),
        }
        for _, row, figure in sorted(worst.values(), key=lambda each: -each[0])
    ]


def objective_words(problem: Problem, value: float) -> str:
    """The objective with its unit."""
    return {
        "least_heat": f"{value:.2f} K above the start",
        "least_initiator": f"{value:.3f} wt%",
        "least_cost": f"{value:.3f} {problem.brief.currency} per kg gel",
        "least_yellowing": f"yellowness {value:.2f}",
    }[problem.brief.objective]


def _name(found: Local) -> str:
    members = sorted(found.blend_wt_pct.items(), key=lambda item: -item[1])
    return " + ".join(f"{key} {load:.3g} %" for key, load in members)
