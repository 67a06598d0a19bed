"""What a calibration with trials gives: values, doubt, what each kind of data determines, further runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from . import layout as at
from .calibration import Fit
from .further_runs import FurtherRun
from .information import Knowledge
from .likelihood_profile import Interval
from .priors import Prior
from .rate_calibration import RateCalibration
from .trial import Trial
from .trial_fit import SET_UP_LOG_SD, TrialRun

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SignalMisfit:
    """How far predictions and readings of one signal lie apart.

    Attributes
    ----------
    trial_id, signal, kind : str
        Which.
    points : int
        Readings.
    rms, left_out_rms : float, float or None
        Root mean square in the signal's unit: fitted, and predicted from the other trials alone (None with one trial).
    rms_ratio, left_out_rms_ratio : float, float or None
        The same over the stated noise [-].
    """

    trial_id: str
    signal: str
    kind: str
    points: int
    rms: float
    left_out_rms: float | None
    rms_ratio: float
    left_out_rms_ratio: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InformationRow:
    """Standard errors of the logarithms from some data alone.

    Attributes
    ----------
    words : str
        Which data.
    error : ndarray, shape (n,)
        Priors count for initiation efficiencies, oxygen and set-up only; about a million = undetermined.
    group_error : float
        That of k_p0 sqrt(f / k_t0).
    """

    words: str
    error: Array
    group_error: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Suggestion:
    """A further run and what it would do.

    Attributes
    ----------
    run : FurtherRun
        What to do.
    row : InformationRow
        The data with it.
    posterior_error : ndarray, shape (n,)
        Standard errors with it, priors included.
    gain : float
        Mean of ln(error before / error after) over the parameters that are not determined yet [-].
    """

    run: FurtherRun
    row: InformationRow
    posterior_error: Array
    gain: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialFit:
    """Outcome of a calibration; arrays follow `names`, values are natural logarithms.

    Attributes
    ----------
    trials : tuple of Trial
        Data.
    names : tuple of str
        Free parameters.
    prior : Prior
        What was known before.
    best : Fit
        Values, covariance, residuals.
    noise_factor : float
        Factor by which the stated noise had to be widened [-]; 1 where it was believed.
    knowledge : Knowledge
        What the data determine.
    intervals : tuple of Interval or None
        90 % intervals by profile likelihood; None where not asked for or not determined.
    rows : tuple of InformationRow
        Trial by trial, then all.
    suggestions : tuple of Suggestion
        Further runs, cheapest first.
    advised : Suggestion or None
        The cheapest one that separates nearly as much as the best; None where nothing is left to separate.
    misfits : tuple of SignalMisfit
        Signal by signal.
    runs : tuple of TrialRun
        Predictions at the best values.
    simulations : int
        Films run.
    """

    trials: tuple[Trial, ...]
    names: tuple[str, ...]
    prior: Prior
    best: Fit
    noise_factor: float
    knowledge: Knowledge
    intervals: tuple[Interval | None, ...]
    rows: tuple[InformationRow, ...]
    suggestions: tuple[Suggestion, ...]
    advised: Suggestion | None
    misfits: tuple[SignalMisfit, ...]
    runs: tuple[TrialRun, ...]
    simulations: int

    @property
    def undetermined(self) -> tuple[str, ...]:
        """Parameters that the data do not determine."""
        pairs = zip(self.names, self.knowledge.verdicts, strict=True)
        return tuple(name for name, verdict in pairs if verdict == "kept at prior")

    def calibration(self) -> RateCalibration:
        """What goes into the gel's file: the gel's own parameters, without those of the set-up."""
        rows = [row for row, name in enumerate(self.names) if name not in SET_UP_LOG_SD]
        names = tuple(self.names[row] for row in rows)
        return RateCalibration(
            parameters=names,
            values=self.best.values[rows],
            covariance=self.best.covariance[np.ix_(rows, rows)],
            kept_at_prior=tuple(name for name in self.undetermined if name in names),
            trials=tuple(trial.trial_id for trial in self.trials),
            resin_parts=dict(self.trials[0].gel.resin_parts),
            covered=_covered(self.trials, self.runs),
        )


def _covered(trials: Sequence[Trial], runs: Sequence[TrialRun]) -> dict[str, tuple[float, float]]:
    def span(values: Sequence[float]) -> tuple[float, float]:
        return float(f"{min(values):.4g}"), float(f"{max(values):.4g}")

    starts = [c_from_k(trial.hand.start_k) for trial in trials]
    peaks = [c_from_k(float(run.sample.totals[at.PEAK_FILM])) for run in runs]
    return {
        "thickness_um": span([um_from_m(trial.thickness_m) for trial in trials]),
        "irradiance_mw_cm2": span(
            [mw_cm2_from_w_m2(trial.lamp.spectrum(trial.position).irradiance_w_m2()) for trial in trials]
        ),
        "exposure_s": span([each.duration_s for trial in trials for each in trial.exposures]),
        "film_peak_c": span([*starts, *peaks]),
        "initiators_wt_pct": span([sum(trial.gel.initiators_wt_pct.values()) for trial in trials]),
    }
