"""Calibrate a gel with trials: fit, intervals, what the data determine, prediction of trials left out, further runs."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import SolverError
from .calibration import Fit, FitTask, fit, with_jacobian
from .fit_outcome import SignalMisfit, TrialFit
from .further_runs import radical_shares, rate_group_weights
from .information import knowledge_of
from .likelihood_profile import Interval, profile_interval
from .priors import Prior
from .rate_parameters import EFFICIENCY_PREFIX
from .solver import SolverSettings
from .trial import Trial
from .trial_fit import TrialRun, TrialSet, prior_with_set_up
from .trial_information import advised, further_suggestions, information_rows

Array = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

_USUAL = ("k_p0", "k_t0", "C_RD", "b", "X_v", "n_O", "f")
LEVEL = 0.9
SEARCH_TOLERANCE, FINAL_TOLERANCE = 1e-4, 1e-6
WIDER_NOISE, BAD_FIT = 1.1, 2.0  # factors on the stated noise
FURTHER_STARTS = 3
_SEED = 1


def usual_names(trials: Sequence[Trial]) -> tuple[str, ...]:
    """What is left free unless told otherwise: the rates, the heat where heat was measured, its loss where temperature was."""
    kinds = {each.kind for trial in trials for each in trial.included}
    heat = ("dH",) if kinds & {"reaction_temperature", "heat_flow"} else ()
    loss = ("h_loss",) if "reaction_temperature" in kinds else ()
    return (*_USUAL, *heat, *loss)


def expanded_names(trials: Sequence[Trial], asked: Sequence[str]) -> tuple[str, ...]:
    """Names with "f" replaced by the efficiencies of every initiator in the trials, each once."""
    initiators = dict.fromkeys(key for trial in trials for key in trial.gel.initiators_wt_pct)
    found: dict[str, None] = {}
    for name in asked:
        found.update(
            dict.fromkeys(EFFICIENCY_PREFIX + key for key in initiators) if name == "f" else {name: None}
        )
    return tuple(found)


def task_of(data: TrialSet, prior: Prior, tolerance: float) -> FitTask:
    """The fit of some trials with their priors."""
    return FitTask(
        names=data.names,
        residual=data.residual,
        jacobian=data.jacobian,
        lower=prior.lower,
        upper=prior.upper,
        prior_mean=prior.mean,
        prior_sd=prior.sd,
        tolerance=tolerance,
    )


def best_fit(data: TrialSet, prior: Prior, start: Array | None = None) -> Fit:
    """Fit trials: search from the start, then with fixed time steps; from further starts where the fit is bad.

    Parameters
    ----------
    data : TrialSet
        Its noise factor and time steps are set on the way.
    prior : Prior
        Priors and bounds.
    start : ndarray, shape (n,), optional
        Where to begin; default the priors.

    Returns
    -------
    Fit
    """
    search = task_of(data, prior, SEARCH_TOLERANCE)
    found = fit(search, prior.mean if start is None else start)
    if start is None and (found.noise_scale > BAD_FIT or found.at_bound):
        rng = np.random.default_rng(_SEED)
        for _ in range(FURTHER_STARTS):
            draw = prior.mean + prior.sd * rng.uniform(-2.0, 2.0, prior.mean.size)
            try:
                other = fit(search, np.clip(draw, prior.lower, prior.upper))
            except SolverError:
                continue
            found = other if other.loss < found.loss else found
    data.keep_steps(found.values)
    if found.noise_scale > WIDER_NOISE:
        data.noise_factor *= found.noise_scale
    best = fit(task_of(data, prior, FINAL_TOLERANCE), _inside(found.values, prior))
    return with_jacobian(best, np.vstack(data.central_jacobian_by_trial(best.values)))


def _inside(values: Array, prior: Prior) -> Array:
    margin = 1e-6 * (prior.upper - prior.lower)
    return np.asarray(np.clip(values, prior.lower + margin, prior.upper - margin))


def fit_trials(
    trials: Sequence[Trial],
    names: Sequence[str],
    *,
    with_profiles: bool = True,
    settings: SolverSettings | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> TrialFit:
    """Calibrate the rate parameters of a gel with trials.

    Parameters
    ----------
    trials : sequence of Trial
        Of one resin base; lamps, thicknesses, loadings, temperatures and signals may differ.
    names : sequence of str
        Free parameters (see `rate_parameters` and `trial_fit`).
    with_profiles : bool
        Whether to work out intervals by profile likelihood, the slowest part.
    settings : SolverSettings, optional
        Accuracy.
    workers : int, optional
        Threads.
    progress : callable, optional
        Told done, total and what begins now.

    Returns
    -------
    TrialFit

    Raises
    ------
    InputError
        If trials do not belong together, a name is unknown, or there are too few data.
    SolverError
        If a run or the fit fails.
    """
    tell = progress or (lambda done, total, words: None)
    total = 4 + len(names) * with_profiles + (len(trials) if len(trials) > 1 else 0)
    tell(0, total, "fit")
    prior = prior_with_set_up(trials[0].gel, names)
    data = TrialSet(trials, names, settings=settings, workers=workers)
    best = best_fit(data, prior)
    runs = tuple(data.predict(best.values))
    knowledge = knowledge_of(tuple(names), best.information, prior.sd)
    tell(2, total, "what each trial determines")
    slopes = data.central_jacobian_by_trial(best.values)
    group = rate_group_weights(names, radical_shares(data.film(0)))
    rows = information_rows(data, slopes, prior, group)
    tell(3, total, "further runs")
    suggestions = further_suggestions(data, best, prior, knowledge, group, settings, workers)
    intervals: list[Interval | None] = [None] * len(names)
    done = 4
    for row, name in enumerate(names):
        if with_profiles:
            tell(done, total, f"interval of {name}")
            done += 1
            if knowledge.verdicts[row] != "kept at prior":
                intervals[row] = profile_interval(
                    task_of(data, prior, FINAL_TOLERANCE), best, row, level=LEVEL
                )
    left_out = []
    for row, trial in enumerate(trials if len(trials) > 1 else ()):
        tell(done, total, f"prediction of {trial.trial_id} from the others")
        done += 1
        left_out.append(_left_out(data, prior, best, row))
    return TrialFit(
        trials=tuple(trials),
        names=tuple(names),
        prior=prior,
        best=best,
        noise_factor=data.noise_factor,
        knowledge=knowledge,
        intervals=tuple(intervals),
        rows=rows,
        suggestions=suggestions,
        advised=advised(suggestions),
        misfits=_misfits(trials, runs, left_out),
        runs=runs,
        simulations=data.runs,
    )


def _left_out(data: TrialSet, prior: Prior, best: Fit, row: int) -> TrialRun:
    """One trial predicted by a fit of the others."""
    others = data.subset([i for i in range(len(data.trials)) if i != row])
    found = fit(task_of(others, prior, SEARCH_TOLERANCE), _inside(best.values, prior))
    alone = data.subset([row])
    alone.noise_factor = 1.0
    return alone.predict(found.values)[0]


def _misfits(
    trials: Sequence[Trial], runs: Sequence[TrialRun], left_out: Sequence[TrialRun]
) -> tuple[SignalMisfit, ...]:
    found = []
    for row, trial in enumerate(trials):
        for signal in trial.included:
            gaps = [signal.value - run.values[signal.name] for run in (runs[row], *left_out[row : row + 1])]
            rms = [float(np.sqrt(np.mean(gap**2))) for gap in gaps]
            ratio = [float(np.sqrt(np.mean((gap / signal.noise_sd) ** 2))) for gap in gaps]
            found.append(
                SignalMisfit(
                    trial_id=trial.trial_id,
                    signal=signal.name,
                    kind=signal.kind,
                    points=signal.value.size,
                    rms=rms[0],
                    left_out_rms=rms[1] if left_out else None,
                    rms_ratio=ratio[0],
                    left_out_rms_ratio=ratio[1] if left_out else None,
                )
            )
    return tuple(found)
