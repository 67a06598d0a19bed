"""Which trials to do next: what each would take away of the doubt about the parameters, and of the doubt in the verdict.

Everything is linearised at the present values. The gain in information is half the rise of ln det of the information matrix
(D-optimality; Atkinson, Donev & Tobias, Optimum Experimental Designs, Oxford 2007, from memory); the doubt in a verdict is the
standard deviation that the parameters alone give to its figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import layout as at
from .gel import Gel
from .information import covariance_from, information_of
from .plain import bottom_value
from .solver import SolverSettings
from .trial import Trial
from .trial_fit import SET_UP_LOG_SD, TrialModel, TrialSet, prior_with_set_up

Array = NDArray[np.float64]

_STEP_LOG = 1.0e-3
_NEARLY_BEST = 0.95  # of two candidates this near to each other the cheaper is planned


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Doubt:
    """Present knowledge of parameters, as natural logarithms.

    Attributes
    ----------
    names : tuple of str
        Parameters.
    values : ndarray, shape (n,)
        Present values.
    covariance : ndarray, shape (n, n)
        How well they are known.
    """

    names: tuple[str, ...]
    values: Array
    covariance: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Figure:
    """A figure that a verdict rests on, and how it hangs on the parameters.

    Attributes
    ----------
    name : str
        What it is.
    value : float
        Present prediction.
    slopes : ndarray, shape (n,)
        Derivative by the logarithm of each parameter.
    scale : float
        Difference that matters, in its unit.
    """

    name: str
    value: float
    slopes: Array
    scale: float

    def sd(self, covariance: Array) -> float:
        """Standard deviation from the parameters alone, in its unit."""
        return float(np.sqrt(max(float(self.slopes @ covariance @ self.slopes), 0.0)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A trial that could be done.

    Attributes
    ----------
    words : str
        What to do.
    cost : int
        How many things differ from the easiest trial.
    trial : Trial
        With the times and noise of its signals; values mean nothing.
    """

    words: str
    cost: int
    trial: Trial


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanStep:
    """One trial of a plan.

    Attributes
    ----------
    candidate : Candidate
        What to do.
    information_gain : float
        Half the rise of ln det of the information [-].
    sd_before, sd_after : tuple of float
        Doubt of each figure before and after, in its unit.
    narrowed : tuple of (str, float, float)
        The two parameters through which it narrows the figures most, with their standard errors before and after.
    """

    candidate: Candidate
    information_gain: float
    sd_before: tuple[float, ...]
    sd_after: tuple[float, ...]
    narrowed: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Trials in order, and the one that teaches most about the parameters whatever the verdict."""

    steps: tuple[PlanStep, ...]
    most_informative: Candidate
    most_information: float


def doubt_of(gel: Gel, names: Sequence[str]) -> Doubt:
    """Present knowledge of some parameters of a gel: its calibration where it has one, the packaged priors for the rest.

    Parameters
    ----------
    gel : Gel
        Calibrated or not.
    names : sequence of str
        Parameters and set-up; those of the calibration are added.
    """
    calibration = gel.calibration
    fitted = () if calibration is None else calibration.parameters
    every = tuple(dict.fromkeys((*fitted, *names)))
    rest = [name for name in every if name not in fitted]
    values, covariance = np.zeros(len(every)), np.zeros((len(every), len(every)))
    if rest:
        prior = prior_with_set_up(gel, rest)
        values[len(fitted) :] = prior.mean
        covariance[len(fitted) :, len(fitted) :] = np.diag(prior.sd**2)
    if calibration is not None:
        values[: len(fitted)] = calibration.log_values
        covariance[: len(fitted), : len(fitted)] = calibration.log_covariance
    return Doubt(names=every, values=values, covariance=covariance)


def verdict_figures(
    doubt: Doubt,
    spots: Sequence[tuple[str, Trial]],
    scales: Sequence[float],
    *,
    settings: SolverSettings | None = None,
) -> tuple[Figure, ...]:
    """Figures of a verdict with their slopes.

    Parameters
    ----------
    doubt : Doubt
        Where to linearise.
    spots : sequence of (str, Trial)
        "base conversion" or "nail bed peak", and the cure that gives it.
    scales : sequence of float
        Difference that matters for each: conversion [-], temperature [K].
    settings : SolverSettings, optional
        Accuracy.
    """
    accuracy = settings or SolverSettings()
    found = []
    for (name, cure), scale in zip(spots, scales, strict=True):
        model = TrialModel(cure, accuracy)

        def figure(
            move: Array, like: object = None, model: TrialModel = model, name: str = name
        ) -> tuple[float, object]:
            wanted = dict(zip(doubt.names, map(float, doubt.values + move), strict=True))
            run = model.run(wanted, like)  # type: ignore[arg-type]
            sample = run.sample
            value = (
                bottom_value(sample.film.width, sample.conversion_fraction)
                if name == "base conversion"
                else float(sample.totals[at.PEAK_BED])
            )
            return float(value), run

        centre, run = figure(np.zeros(len(doubt.names)))
        slopes = [
            (figure(_STEP_LOG * row, run)[0] - figure(-_STEP_LOG * row, run)[0]) / (2.0 * _STEP_LOG)
            for row in np.eye(len(doubt.names))
        ]
        # the set-up is the laboratory's, not that of the finger
        own = np.array([name not in SET_UP_LOG_SD for name in doubt.names])
        found.append(Figure(name=name, value=centre, slopes=np.where(own, slopes, 0.0), scale=scale))
    return tuple(found)


def candidate_information(
    doubt: Doubt,
    candidates: Sequence[Candidate],
    *,
    settings: SolverSettings | None = None,
    workers: int | None = None,
) -> list[Array]:
    """Fisher information of every candidate at the present values, each of shape (n, n)."""
    data = TrialSet([each.trial for each in candidates], doubt.names, settings=settings, workers=workers)
    return [information_of(slopes) for slopes in data.central_jacobian_by_trial(doubt.values)]


def plan_trials(
    doubt: Doubt,
    figures: Sequence[Figure],
    candidates: Sequence[Candidate],
    information: Sequence[Array],
    count: int = 3,
) -> Plan:
    """Choose trials one after the other, each for what it takes away of the doubt that is left.

    Parameters
    ----------
    doubt : Doubt
        Present knowledge.
    figures : sequence of Figure
        The verdict.
    candidates : sequence of Candidate
        What could be done; each may be planned once.
    information : sequence of ndarray, shape (n, n)
        What each would tell (see `candidate_information`).
    count : int
        Trials wanted.

    Returns
    -------
    Plan
        A candidate's worth is the fall of the summed variance of the figures over their scales; between those within 5 % of
        the best the cheaper is taken, then the one with more information.
    """
    covariance, steps, left = doubt.covariance, [], list(range(len(candidates)))
    gains = [_information_gain(covariance, each) for each in information]
    best = int(np.argmax(gains))
    for _ in range(min(count, len(candidates))):
        after = {row: _updated(covariance, information[row]) for row in left}
        worth = {row: _worth(figures, covariance, after[row]) for row in left}
        most = max(worth.values())
        near = [row for row in left if worth[row] >= _NEARLY_BEST * most]
        chosen = min(
            near,
            key=lambda row: (candidates[row].cost, -_information_gain(covariance, information[row]), row),
        )
        steps.append(
            _step(doubt, figures, candidates[chosen], covariance, after[chosen], information[chosen])
        )
        covariance = after[chosen]
        left.remove(chosen)
    return Plan(steps=tuple(steps), most_informative=candidates[best], most_information=gains[best])


def _updated(covariance: Array, information: Array) -> Array:
    return covariance_from(np.linalg.pinv(covariance, hermitian=True) + information)


def _information_gain(covariance: Array, information: Array) -> float:
    """Half of ln det(1 + C F), by the symmetric form."""
    strength, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(strength, 0.0))
    return 0.5 * float(np.sum(np.log1p(np.maximum(np.linalg.eigvalsh(root.T @ information @ root), 0.0))))


def _worth(figures: Sequence[Figure], before: Array, after: Array) -> float:
    return sum((each.sd(before) ** 2 - each.sd(after) ** 2) / each.scale**2 for each in figures)


def _step(
    doubt: Doubt,
    figures: Sequence[Figure],
    candidate: Candidate,
    before: Array,
    after: Array,
    information: Array,
) -> PlanStep:
    old, new = np.sqrt(np.diag(before)), np.sqrt(np.diag(after))
    weight = sum(np.abs(each.slopes) / each.scale for each in figures)
    order = np.argsort(-weight * (old - new))[:2]
    return PlanStep(
        candidate=candidate,
        information_gain=_information_gain(before, information),
        sd_before=tuple(each.sd(before) for each in figures),
        sd_after=tuple(each.sd(after) for each in figures),
        narrowed=tuple((doubt.names[row], float(old[row]), float(new[row])) for row in order),
    )
