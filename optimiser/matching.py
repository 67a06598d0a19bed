"""A new blend that cures like an old one: the same base conversion, tacky layer and nail-bed heat at every position.

The old gel is taken as the standard, whatever it holds; the new blend may hold what the law of a date and the user allow.
Least squares on the deviations, each in units of what one would notice; relaxed over all substances first, then every small
subset of the strongest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..models.gel import Gel
from .brief import Brief
from .evaluators import EvaluatorMaker, blend_evaluator
from .gel_case import GelCase, gel_case
from .passing import Passing, probability_of_passing
from .problem import Problem
from .search_space import SearchSpace, build_search_space
from .starts import relaxed_starts

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

# figure -> what one would notice: a hundredth of conversion, two micrometres of tacky layer, half a kelvin
SCALES = {"bottom_conversion_fraction": 0.01, "uncured_layer_m": 2.0e-6, "nail_bed_peak_k": 0.5}
SMALLEST_WT_PCT = 0.05
STARTS, KEPT, MOST = 2, 5, 3
STEP = 1e-3
RELAXED_EVALUATIONS, POLISH_EVALUATIONS = 12, 12
GOOD = 0.25  # distance at which no larger blend is tried: far below what one would notice
FITTED_POSITIONS = 3
PLAINER = 1.1  # a blend of fewer materials wins if its distance is no more than this many times larger
ROUNDING_WT_PCT = 0.001
CLOSE = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Match:
    """One blend beside the old gel.

    Parameters
    ----------
    gel : Gel
        The old gel's base with the new blend.
    blend_wt_pct : dict of str to float
        Loadings.
    distance : float
        Root mean square deviation in units of `SCALES` [-].
    figures : dict of str to ndarray, shape (n_position,)
        Figures at every position.
    passing : Passing or None
        Chance of passing in use.
    """

    gel: Gel
    blend_wt_pct: dict[str, float]
    distance: float
    figures: dict[str, Floats]
    passing: Passing | None = None

    @property
    def is_close(self) -> bool:
        """Whether the deviations are, on the whole, below what one would notice."""
        return self.distance <= CLOSE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matched:
    """What was found.

    Parameters
    ----------
    old : Match
        The old gel, distance 0.
    case : GelCase
        The old gel in its lamp.
    matches : tuple of Match
        New blends, the best first.
    space : SearchSpace
        What might be used, and what not, and why.
    brief : Brief
        Markets, date and limits.
    films : int
        Films simulated.
    """

    old: Match
    case: GelCase
    matches: tuple[Match, ...]
    space: SearchSpace
    brief: Brief
    films: int


def match(
    case: GelCase, brief: Brief, progress: Progress, make_evaluator: EvaluatorMaker = blend_evaluator
) -> Matched:
    """Find blends that cure as an old gel does.

    Parameters
    ----------
    case : GelCase
        The old gel in its lamp.
    brief : Brief
        Markets, date, forbidden and allowed substances; exposure, thickness and hand are the case's.
    progress : callable
        Told about the parts of the work.
    make_evaluator : callable
        Builds the simulator.

    Raises
    ------
    InputError
        If the law leaves no initiator, or forbids the resin base.
    """
    base = replace(case.problem.gel.with_initiators({}, {}), thickness_m=case.problem.gel.thickness_m)
    space = build_search_space(brief, case.lamp, base)
    whole = Problem(
        brief=brief, lamp=case.lamp, gel=base, space=space, make_evaluator=make_evaluator,
        workers=case.problem.workers,
    )  # fmt: skip
    target = _figures(case.problem, case.loadings_wt_pct, _scenarios(case.problem))
    search = _Search(whole, target)
    subsets = search.subsets(progress)
    found: dict[tuple[str, ...], tuple[Floats, float]] = {}
    size = 0
    for number, keys in enumerate(subsets):
        count = sum(key in whole.space.initiators for key in keys)
        if count > size and any(distance <= GOOD for _, distance in found.values()):
            break
        size = count
        progress(STARTS + number, STARTS + len(subsets), " + ".join(keys))
        found[keys] = search.polished(keys)
    progress(STARTS + len(subsets), STARTS + len(subsets), "chance of passing")
    best = _ranked(found)[:3]
    old = Match(
        gel=case.gel, blend_wt_pct=case.problem.blend(case.loadings_wt_pct), distance=0.0, figures=target,
        passing=probability_of_passing(case.problem, case.loadings_wt_pct),
    )  # fmt: skip
    shown = (search.shown(keys, found[keys][0], case) for keys in best)
    matches = tuple(
        sorted(shown, key=lambda each: each.distance)
    )  # over all positions, as rounded for weighing
    return Matched(
        old=old, case=case, matches=matches, space=space, brief=brief, films=search.films,
    )  # fmt: skip


def _scenarios(problem: Problem) -> list[Any]:
    thickness = problem.gel.thickness_m
    return [problem.scenario(place, thickness) for place in problem.lamp.positions]


def _figures(problem: Problem, loadings_wt_pct: Floats, scenarios: Sequence[Any]) -> dict[str, Floats]:
    found = problem.new_evaluator(scenarios)(loadings_wt_pct[np.newaxis, :])
    return {name: np.array(getattr(found, name)[0]) for name in SCALES}


def _ranked(found: dict[tuple[str, ...], tuple[Floats, float]]) -> list[tuple[str, ...]]:
    """Subsets by distance; those that a smaller subset of theirs all but matches are dropped."""
    order = sorted(found, key=lambda keys: (found[keys][1], len(keys)))

    def is_matched(keys: tuple[str, ...]) -> bool:
        return any(
            set(other) < set(keys) and found[other][1] <= max(PLAINER * found[keys][1], 0.02)
            for other in order
        )

    return [keys for keys in order if not is_matched(keys)]


class _Search:
    """Least squares on the deviations from the old gel's figures."""

    def __init__(self, problem: Problem, target: dict[str, Floats]) -> None:
        self.problem, self.target, self.films = problem, target, 0
        # the blend is fitted at the weakest, the strongest and a middling position; all of them are shown
        order = sorted(
            range(len(problem.lamp.positions)),
            key=lambda i: problem.lamp.spectrum(problem.lamp.positions[i]).irradiance_w_m2(),
        )
        spread = np.linspace(0, len(order) - 1, min(FITTED_POSITIONS, len(order))).round().astype(int)
        self.fitted = sorted({order[i] for i in spread})
        self.start = np.zeros(0)

    def deviations(self, figures: Any) -> Floats:
        """Deviations of some blends at the fitted positions in units of `SCALES`, shape (n_blend, n)."""
        return np.concatenate(
            [
                (getattr(figures, name) - self.target[name][self.fitted]) / scale
                for name, scale in SCALES.items()
            ],
            axis=1,
        )

    def distance(self, figures: Any) -> float:
        """Root mean square deviation of one blend over every position [-]."""
        return float(np.sqrt(np.mean(self._everywhere(figures)[0] ** 2)))

    def _everywhere(self, figures: Any) -> Floats:
        return np.concatenate(
            [(getattr(figures, name) - self.target[name]) / scale for name, scale in SCALES.items()], axis=1
        )

    def least_squares(self, part: Problem, start: Floats, low: Floats, most: int) -> tuple[Floats, float]:
        """Loadings and distance; a loading is the square of its variable, which spreads the small ones."""
        from scipy.optimize import least_squares

        places = _scenarios(part)
        evaluator = part.new_evaluator([places[i] for i in self.fitted])
        high = np.sqrt(np.maximum(part.space.high_wt_pct, low * (1.0 + 1e-6)))

        def residual(root: Floats) -> Floats:
            return np.asarray(self.deviations(evaluator(root[np.newaxis, :] ** 2))[0])

        def jacobian(root: Floats) -> Floats:
            # towards the nearer bound a forward step might leave the range, so it goes the other way
            step = np.where(root + STEP * high > high, -STEP, STEP) * high
            here, beside = evaluator.with_jacobian(root**2, (root + step) ** 2 - root**2)
            return np.asarray(((self.deviations(beside) - self.deviations(here)) / step[:, np.newaxis]).T)

        begin = np.clip(np.sqrt(start), np.sqrt(low) * (1.0 + 1e-9), high * (1.0 - 1e-9))
        answer = least_squares(
            residual, begin, jac=jacobian, bounds=(np.sqrt(low), high), max_nfev=most, xtol=1e-3, ftol=1e-3
        )
        self.films += int(evaluator.simulations)
        return np.asarray(answer.x**2), float(np.sqrt(2.0 * answer.cost / answer.fun.size))

    def subsets(self, progress: Progress) -> list[tuple[str, ...]]:
        """Small subsets of the initiators that the relaxed answers lean on; one amine beside a type II."""
        low = np.full(len(self.problem.space.keys), 1e-6)
        relaxed = []
        for number, start in enumerate(relaxed_starts(self.problem, STARTS)):
            progress(number, STARTS + 25, "all substances at once")
            relaxed.append(self.least_squares(self.problem, start, low, RELAXED_EVALUATIONS))
        relaxed.sort(key=lambda pair: pair[1])
        self.start = relaxed[0][0]
        share = sum(loads / (1.0 + distance) for loads, distance in relaxed) / self.problem.space.high_wt_pct
        weight = dict(zip(self.problem.space.keys, share.tolist(), strict=True))
        initiators = sorted(self.problem.space.initiators, key=lambda key: -weight[key])[:KEPT]
        amines = sorted(self.problem.space.amines, key=lambda key: -weight[key])[:1]
        listed = [key for key in self.problem.space.initiators if key in initiators]
        most = min(self.problem.brief.max_initiators, MOST, len(listed))
        found = []
        for size in range(1, most + 1):
            for keys in combinations(listed, size):
                needs = any(self.problem.space.substance(key).needs_amine for key in keys)
                if needs and not amines:
                    continue
                found.append((*keys, *amines) if needs else keys)
        return found

    def polished(self, keys: tuple[str, ...]) -> tuple[Floats, float]:
        part = self.problem.narrowed(keys)
        low = np.full(len(keys), self.problem.brief.smallest_loading_wt_pct)
        relaxed = np.array([self.start[self.problem.space.keys.index(key)] for key in part.space.keys])
        lacking = 0.3 * part.space.high_wt_pct / len(keys)
        start = np.where(relaxed > low, relaxed, np.maximum(low, np.minimum(lacking, 0.5)))
        return self.least_squares(part, start, low, POLISH_EVALUATIONS)

    def shown(self, keys: tuple[str, ...], loadings: Floats, case: GelCase) -> Match:
        """A blend as weighed, with its figures and its chance of passing."""
        part = self.problem.narrowed(keys)
        rounded = np.maximum(np.round(loadings / ROUNDING_WT_PCT), 1.0) * ROUNDING_WT_PCT
        blend = {key: round(load, 6) for key, load in part.blend(rounded).items()}
        evaluator = part.new_evaluator(_scenarios(part))
        figures = evaluator(rounded[np.newaxis, :])
        amines = {key: load for key, load in blend.items() if key in part.space.amines}
        gel = case.problem.gel.with_initiators(
            {key: load for key, load in blend.items() if key not in amines}, amines
        )
        new = gel_case(
            replace(gel, name=f"{case.gel.name}, new blend"), case.lamp, exposure_s=part.brief.exposure_s,
            programme=part.brief.programme, hand=case.hand, limits=part.brief.limits,
            draws=part.brief.uncertainty.draws, seed=part.brief.seed, workers=part.workers,
            make_evaluator=part.make_evaluator,
        )  # fmt: skip
        return Match(
            gel=new.gel,
            blend_wt_pct=blend,
            distance=self.distance(figures),
            figures={name: np.array(getattr(figures, name)[0]) for name in SCALES},
            passing=probability_of_passing(new.problem, new.loadings_wt_pct),
        )
