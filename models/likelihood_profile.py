"""Confidence intervals by profile likelihood: hold one parameter, let the others adapt, see when the fit gets worse.

Source: Bates & Watts, Nonlinear Regression Analysis and Its Applications, Wiley 1988, chapter 6 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .calibration import Fit, FitTask, fit, priors_of, spent_loss

Array = NDArray[np.float64]

_TOLERANCE = 1e-5  # of the loss: far below the 2.7 that an interval asks for
_END_ERROR = 0.02  # of the half-width


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A confidence interval from the likelihood profile; an open end is infinite."""

    low: float
    high: float

    @property
    def is_open(self) -> bool:
        """Whether the data leave an end open within the bounds."""
        return not (math.isfinite(self.low) and math.isfinite(self.high))


def _without(task: FitTask, index: int, value: float) -> FitTask:
    """The same task with one parameter held, its prior left out.

    The start is near the end, so the derivatives at the start serve for the whole way.
    """
    keep = np.array([i for i in range(len(task.names)) if i != index])
    mean, spread, _ = priors_of(task)
    jacobian, known = task.jacobian, list[Array]()

    def full(rest: Array) -> Array:
        return np.insert(rest, index, value)

    def slopes(rest: Array) -> Array:
        if not known:
            known.append(jacobian(full(rest))[:, keep])  # type: ignore[misc]
        return known[0]

    return FitTask(
        names=tuple(task.names[i] for i in keep),
        residual=lambda rest: task.residual(full(rest)),
        jacobian=None if jacobian is None else slopes,
        lower=task.per_parameter(task.lower)[keep],
        upper=task.per_parameter(task.upper)[keep],
        prior_mean=mean[keep],
        prior_sd=spread[keep],
        outlier_scale=task.outlier_scale,
        noise_is_stated=task.noise_is_stated,
        tolerance=max(task.tolerance, _TOLERANCE),
    )


def profile_excess(task: FitTask, best: Fit, index: int, value: float, start: Array | None = None) -> float:
    """Twice the rise of the negative log likelihood when one parameter is held at a value and all others adapt [-].

    Parameters
    ----------
    task : FitTask
        What was fitted.
    best : Fit
        Its outcome.
    index : int
        The parameter held.
    value : float
        Where.
    start : ndarray, shape (n,), optional
        Values to start the others from; default along the correlation.
    """
    mean, spread, _ = priors_of(task)
    own = 0.5 * ((value - mean[index]) / spread[index]) ** 2 if math.isfinite(spread[index]) else 0.0
    if len(task.names) == 1:
        held = 0.5 * spent_loss(task, task.residual(np.array([value])))
    else:
        rest = np.delete(_along(task, best, index, value) if start is None else start, index)
        held = fit(_without(task, index, value), rest).loss
    return 2.0 * (held + own - best.loss) / best.noise_scale**2


def _along(task: FitTask, best: Fit, index: int, value: float) -> Array:
    """Where the other parameters go, to first order, when one is moved."""
    slope = best.covariance[:, index] / max(best.covariance[index, index], 1e-300)
    moved = best.values + slope * (value - best.values[index])
    lower, upper = task.per_parameter(task.lower), task.per_parameter(task.upper)
    inside = np.where(np.isfinite(upper - lower), 1e-6 * (upper - lower), 0.0)
    return np.asarray(np.clip(moved, lower + inside, upper - inside))


def profile_interval(task: FitTask, best: Fit, index: int, *, level: float = 0.9) -> Interval:
    """Confidence interval of one parameter from its likelihood profile.

    Parameters
    ----------
    task : FitTask
        What was fitted.
    best : Fit
        Its outcome.
    index : int
        Which parameter.
    level : float
        Confidence [-].

    Returns
    -------
    Interval
        Open where the bound is reached first.
    """
    from scipy.stats import chi2

    aim = math.sqrt(float(chi2.ppf(level, 1)))
    return Interval(
        low=_profile_end(task, best, index, aim, -1.0),
        high=_profile_end(task, best, index, aim, 1.0),
    )


def _profile_end(task: FitTask, best: Fit, index: int, aim: float, side: float) -> float:
    """One end: the root of the profile is nearly straight in the parameter, so a few secant steps find it."""
    centre, error = float(best.values[index]), float(best.standard_error[index])
    bound = float(task.per_parameter(task.upper if side > 0.0 else task.lower)[index])
    reach = abs(bound - centre)

    def root_of(distance: float) -> float:
        excess = profile_excess(task, best, index, centre + side * distance)
        return math.sqrt(max(excess, 0.0))

    short, short_root = 0.0, 0.0
    long = min(aim * error, reach)
    for _ in range(12):
        value = root_of(long)
        if abs(value - aim) < _END_ERROR * aim:
            return centre + side * long
        if value < aim and long >= reach:
            return side * math.inf
        slope = (value - short_root) / (long - short) if long != short else 0.0
        # where the profile falls or stands still a secant says nothing: go on outwards below the aim, back above it
        step = (aim - value) / slope if slope > 0.0 else long if value < aim else -0.5 * long
        short, short_root = long, value
        long = min(max(long + float(np.clip(step, -0.5 * long, long)), 1e-3 * error), reach)
    return centre + side * long
