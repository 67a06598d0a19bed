"""What each kind of data determines, for the trials at hand, and which further run would separate what they do not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .calibration import Fit
from .fit_outcome import InformationRow, Suggestion
from .further_runs import further_runs, trial_words
from .information import Knowledge, combination_error, covariance_from, information_of
from .priors import Prior
from .rate_parameters import EFFICIENCY_PREFIX
from .solver import SolverSettings
from .trial import Trial
from .trial_fit import SET_UP_LOG_SD, TrialSet

Array = NDArray[np.float64]

_GOOD_SHARE = 0.7  # a cheaper run this near to the best is preferred
_LEAST_GAIN = 0.1


def _only_nuisance(prior: Prior) -> Array:
    """Prior standard deviations where the table of kinds of data counts them; infinity elsewhere."""
    counted = [
        name.startswith(EFFICIENCY_PREFIX) or name in SET_UP_LOG_SD or name in ("n_O", "O_s", "D_O")
        for name in prior.names
    ]
    return np.where(counted, prior.sd, np.inf)


def _row(words: str, information: Array, prior: Prior, group: Array) -> InformationRow:
    covariance = covariance_from(information, _only_nuisance(prior))
    return InformationRow(
        words=words,
        error=np.sqrt(np.diag(covariance)),
        group_error=combination_error(covariance, group),
    )


def information_rows(
    data: TrialSet, slopes: Sequence[Array], prior: Prior, group: Array
) -> tuple[InformationRow, ...]:
    found = [
        _row(f"{trial.trial_id}: {trial_words(trial)}", information_of(each), prior, group)
        for trial, each in zip(data.trials, slopes, strict=True)
    ]
    if len(found) > 1:
        found.append(_row("all trials together", information_of(np.vstack(slopes)), prior, group))
    return tuple(found)


def _templates(trials: Sequence[Trial]) -> list[int]:
    """Trials that further runs are built from: the first of every set of signals."""
    seen: dict[tuple[object, ...], int] = {}
    for row, trial in enumerate(trials):
        key = (trial.isothermal, *sorted({each.kind for each in trial.included}))
        seen.setdefault(key, row)
    return list(seen.values())


def further_suggestions(
    data: TrialSet,
    best: Fit,
    prior: Prior,
    knowledge: Knowledge,
    group: Array,
    settings: SolverSettings | None,
    workers: int | None,
) -> tuple[Suggestion, ...]:
    runs = data.predict(best.values)
    plans = [
        plan for row in _templates(data.trials) for plan in further_runs(data.trials[row], runs[row].sample)
    ]
    if not plans:
        return ()
    further = TrialSet([plan.trial for plan in plans], data.names, settings=settings, workers=workers)
    further.noise_factor = data.noise_factor
    weak = np.array([verdict != "determined" for verdict in knowledge.verdicts])
    found = []
    for plan, slopes in zip(plans, further.central_jacobian_by_trial(best.values), strict=True):
        information = best.information + information_of(slopes)
        after = np.sqrt(np.diag(covariance_from(information, prior.sd)))
        gains = np.log(knowledge.posterior_error / after)
        found.append(
            Suggestion(
                run=plan,
                row=_row(f"all, and {plan.kind} of {plan.of}", information, prior, group),
                posterior_error=after,
                gain=float(gains[weak].mean()) if weak.any() else 0.0,
            )
        )
    data.runs += further.runs
    return tuple(found)


def advised(suggestions: Sequence[Suggestion]) -> Suggestion | None:
    """The cheapest further run that narrows nearly as much as the best; None where none narrows by a tenth."""
    most = max((each.gain for each in suggestions), default=0.0)
    if most < _LEAST_GAIN:
        return None
    return next(each for each in suggestions if each.gain >= _GOOD_SHARE * most)
