"""Fitting parameters to data: robust least squares with priors, and the covariance of what it finds.

Everything here works on plain arrays and knows nothing of gels. Residuals are whitened: measured minus predicted over the
standard deviation of the reading, so that kelvin and conversion mix. Priors are further residual rows.

Sources
-------
Bates & Watts, Nonlinear Regression Analysis and Its Applications, Wiley 1988 (covariance of estimates, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError, SolverError
from .information import covariance_from, information_of

Array = NDArray[np.float64]
Residual = Callable[[Array], Array]

OUTLIER_SCALE = 3.0  # a reading counts as an outlier from three standard deviations on
_AT_BOUND = 1e-3  # share of the range between the bounds, or of the value where there is one bound only


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitTask:
    """Parameters to be found, their priors, and the residuals that judge them.

    Parameters
    ----------
    names : tuple of str
        Parameters.
    residual : callable
        Values, shape (n,), to whitened residuals, shape (m,).
    jacobian : callable, optional
        Values to the derivatives of the residuals, shape (m, n); by differences when None.
    lower, upper : array_like, shape (n,) or ()
        Bounds.
    prior_mean, prior_sd : array_like, shape (n,) or ()
        What is known beforehand; an sd of infinity = nothing.
    outlier_scale : array_like, shape (m,) or (), optional
        Whitened residual from which a row counts for less and less (soft L1 loss); None = plain squares.
    noise_is_stated : bool
        Whether the standard deviations used for whitening are known; else their common scale is found from the residuals.
    tolerance : float
        Relative change of loss, values and slope at which the search stops [-].
    """

    names: tuple[str, ...]
    residual: Residual
    jacobian: Callable[[Array], Array] | None = None
    lower: ArrayLike = -np.inf
    upper: ArrayLike = np.inf
    prior_mean: ArrayLike = 0.0
    prior_sd: ArrayLike = np.inf
    outlier_scale: ArrayLike | None = OUTLIER_SCALE
    noise_is_stated: bool = True
    tolerance: float = 1e-8

    def per_parameter(self, value: ArrayLike) -> Array:
        """A number or a row as a row, shape (n,)."""
        return np.array(np.broadcast_to(np.asarray(value, dtype=np.float64), (len(self.names),)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """Outcome of a fit.

    Attributes
    ----------
    names : tuple of str
        Parameters.
    values : ndarray, shape (n,)
        Best values.
    covariance : ndarray, shape (n, n)
        From the plain Jacobian (not the one reweighted by the loss) and the priors.
    residuals : ndarray, shape (m,)
        Whitened residuals of the data at the best values.
    jacobian : ndarray, shape (m, n)
        Their derivatives.
    prior_sd : ndarray, shape (n,)
        Priors used.
    noise_scale : float
        Factor on the stated noise that the residuals ask for [-]; with stated noise never below 1.
    at_bound : tuple of str
        Parameters that rest on a bound.
    loss : float
        Half the robust sum of squares, priors included.
    evaluations : int
        Evaluations of the residuals.
    """

    names: tuple[str, ...]
    values: Array
    covariance: Array
    residuals: Array
    jacobian: Array
    prior_sd: Array
    noise_scale: float
    at_bound: tuple[str, ...]
    loss: float
    evaluations: int

    @property
    def standard_error(self) -> Array:
        """Standard errors, shape (n,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def correlation(self) -> Array:
        """Correlation of the estimates, shape (n, n)."""
        error = np.where(self.standard_error > 0.0, self.standard_error, 1.0)
        return np.asarray(self.covariance / np.outer(error, error))

    @property
    def information(self) -> Array:
        """Fisher information of the data alone, shape (n, n)."""
        return information_of(self.jacobian) / self.noise_scale**2


def with_jacobian(found: Fit, jacobian: Array) -> Fit:
    """A fit whose doubt rests on better derivatives of its residuals, shape (m, n)."""
    covariance = covariance_from(information_of(jacobian) / found.noise_scale**2, found.prior_sd)
    return replace(found, jacobian=jacobian, covariance=covariance)


def soft_l1(scale: ArrayLike) -> Callable[[Array], Array]:
    """Soft L1 loss with a scale of its own for every row, in the form `scipy.optimize.least_squares` takes.

    Parameters
    ----------
    scale : array_like, shape (m,)
        Residual at which a row turns from squared to linear; infinity = always squared.

    Examples
    --------
    >>> soft_l1([1.0, np.inf])(np.array([0.0, 9.0]))[0].tolist()
    [0.0, 9.0]
    """
    square = np.asarray(scale, dtype=np.float64) ** 2
    is_plain = ~np.isfinite(square)
    safe = np.where(is_plain, 1.0, square)

    def loss(z: Array) -> Array:
        root = np.sqrt(1.0 + z / safe)
        value = np.where(is_plain, z, 2.0 * safe * (root - 1.0))
        slope = np.where(is_plain, 1.0, 1.0 / root)
        bend = np.where(is_plain, 0.0, -0.5 / safe / root**3)
        return np.stack([value, slope, bend])

    return loss


def priors_of(task: FitTask) -> tuple[Array, Array, NDArray[np.intp]]:
    """Prior means and standard deviations, shape (n,), and the rows that have a prior."""
    mean, spread = task.per_parameter(task.prior_mean), task.per_parameter(task.prior_sd)
    if np.any(spread <= 0.0):
        raise InputError("fit: a prior standard deviation is 0 or less; leave the parameter out instead.")
    return mean, spread, np.flatnonzero(np.isfinite(spread))


def _stacked(task: FitTask) -> tuple[Residual, Callable[[Array], Array] | None]:
    """Residuals and derivatives of data and priors together."""
    mean, spread, known = priors_of(task)
    rows = np.diag(1.0 / spread)[known] if known.size else np.zeros((0, spread.size))
    jacobian = task.jacobian

    def residual(values: Array) -> Array:
        return np.concatenate([task.residual(values), (values - mean)[known] / spread[known]])

    if jacobian is None:
        return residual, None
    return residual, lambda values: np.vstack([jacobian(values), rows])


def spent_loss(task: FitTask, residuals: Array) -> float:
    """Robust sum of squares of the data's residuals [-]."""
    loss = _loss_of(task, residuals.size, 0)
    return float(np.sum(residuals**2 if loss == "linear" else loss(residuals**2)[0]))


def _loss_of(task: FitTask, rows: int, priors: int) -> Any:
    if task.outlier_scale is None:
        return "linear"
    scale = np.broadcast_to(np.asarray(task.outlier_scale, dtype=np.float64), (rows,))
    return soft_l1(np.concatenate([scale, np.full(priors, np.inf)]))


def fit(task: FitTask, start: ArrayLike) -> Fit:
    """Find the values that make the residuals small.

    Parameters
    ----------
    task : FitTask
        What to fit.
    start : array_like, shape (n,)
        Where to begin.

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        If there are fewer data and priors than parameters, or a residual at the start is not finite.
    SolverError
        If no minimum was reached.
    """
    from scipy.optimize import least_squares

    first = task.per_parameter(start)
    _, spread, known = priors_of(task)
    rows = task.residual(first).size
    if rows + known.size < first.size:
        raise InputError(
            f"fit: {rows} data and {known.size} priors cannot fix {first.size} parameters; free fewer or measure more."
        )
    residual, jacobian = _stacked(task)
    answer = least_squares(
        residual,
        first,
        jac="3-point" if jacobian is None else jacobian,
        bounds=(task.per_parameter(task.lower), task.per_parameter(task.upper)),
        method="trf",
        x_scale="jac",
        loss=_loss_of(task, rows, known.size),
        xtol=task.tolerance,
        ftol=task.tolerance,
        gtol=task.tolerance,
        max_nfev=200 * first.size,
    )
    if answer.status <= 0:
        raise SolverError(
            f"fit: no minimum after {answer.nfev} evaluations ({answer.message}); start nearer or free fewer parameters."
        )
    return _finished(task, answer, rows, spread)


def _finished(task: FitTask, answer: Any, rows: int, spread: Array) -> Fit:
    values = np.asarray(answer.x)
    residuals = task.residual(values)
    # scipy's Jacobian is reweighted by the loss, so the plain one is worked out again
    derivatives = task.jacobian(values) if task.jacobian is not None else _differences(task, values)
    freedom = max(rows - values.size, 1)
    scale = math.sqrt(spent_loss(task, residuals) / freedom)
    scale = max(1.0, scale) if task.noise_is_stated else max(scale, 1e-300)
    return Fit(
        names=task.names,
        values=values,
        covariance=covariance_from(information_of(derivatives) / scale**2, spread),
        residuals=residuals,
        jacobian=derivatives,
        prior_sd=spread,
        noise_scale=scale,
        at_bound=_resting(task, values),
        loss=float(answer.cost),
        evaluations=int(answer.nfev),
    )


def _differences(task: FitTask, values: Array) -> Array:
    """Central differences of the residuals."""
    columns = []
    for i, value in enumerate(values):
        step = 1e-6 * max(abs(value), 1e-8)
        up, down = values.copy(), values.copy()
        up[i], down[i] = value + step, value - step
        columns.append((task.residual(up) - task.residual(down)) / (up[i] - down[i]))
    return np.stack(columns, axis=1)


def _resting(task: FitTask, values: Array) -> tuple[str, ...]:
    found = []
    rows = zip(
        task.names, values, task.per_parameter(task.lower), task.per_parameter(task.upper), strict=True
    )
    for name, value, lower, upper in rows:
        reach = upper - lower if math.isfinite(upper - lower) else max(1.0, abs(value))
        if min(value - lower, upper - value) <= _AT_BOUND * reach:
            found.append(name)
    return tuple(found)
