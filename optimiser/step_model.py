"""The model behind one step of the local search: a quadratic objective and straight limits with slack."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .unit_view import LINEAR_PART, UnitView

Floats = NDArray[np.float64]

SLACK_WEIGHT = 1e3  # of a scaled unit of excess against the whole objective
TIE = 1e-3  # of the objective against a scaled unit of excess while mending
LITTLE_CURVATURE = 0.01
NEAR = 0.02  # scaled distance within which a limit may carry a multiplier
RELIABLE = 0.05  # least cosine between a step and the curvature it missed, for an update


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StepModel:
    """Slopes and curvature at a point.

    Parameters
    ----------
    gradient : ndarray, shape (n,)
        Of the objective.
    slopes : ndarray, shape (n_constraint, n)
        Of the limits.
    curvature : ndarray, shape (n, n)
        Of the Lagrangian, or of the summed excess while mending.
    is_fresh : bool
        Whether the curvature holds nothing learnt.
    is_mending : bool
        Whether the excess comes first and the objective only breaks ties.
    """

    gradient: Floats
    slopes: Floats
    curvature: Floats
    is_fresh: bool = True
    is_mending: bool = False

    @classmethod
    def begun(cls, view: UnitView, unit: Floats, gradient: Floats, slopes: Floats) -> StepModel:
        """A first model: the curvature is what the spacing of the unit variables gives a straight objective."""
        return cls(gradient=gradient, slopes=slopes, curvature=_spacing(view, unit, gradient))

    def forgotten(self, view: UnitView, unit: Floats) -> StepModel:
        """The same slopes with nothing learnt."""
        return StepModel.begun(view, unit, self.gradient, self.slopes)

    def mending(self, before: Floats, after: Floats, slopes: Floats, values: Floats) -> StepModel:
        """A model of the excess; all that is known of its curvature comes from the slopes at one point besides.

        Parameters
        ----------
        before, after : ndarray, shape (n,)
            The point of this model and the other one, in unit variables.
        slopes, values : ndarray
            Slopes and scaled values of the limits at the other one.
        """
        change = (values > 0.0) @ (slopes - self.slopes)
        curvature = _updated(LITTLE_CURVATURE * np.eye(len(before)), after - before, change)
        return replace(self, curvature=curvature, is_fresh=True, is_mending=True)

    def at(self, gradient: Floats, slopes: Floats) -> StepModel:
        """The same curvature with other slopes."""
        return replace(self, gradient=gradient, slopes=slopes)

    def moved(
        self, before: Floats, after: Floats, values: Floats, gradient: Floats, slopes: Floats
    ) -> StepModel:
        """The model at the next point, its curvature learnt from the change of slope (symmetric rank one).

        Parameters
        ----------
        before, after : ndarray, shape (n,)
            Unit variables.
        values : ndarray, shape (n_constraint,)
            Scaled values of the limits at the next point.
        gradient, slopes : ndarray
            Slopes there.
        """
        known = np.any(self.slopes != 0.0, axis=1) & np.any(slopes != 0.0, axis=1)
        if self.is_mending:
            weights = known & (values > 0.0)
            change = weights @ (slopes - self.slopes)
        else:
            weights = np.where(known, multipliers_of(gradient, slopes, values, after), 0.0)
            change = (gradient - self.gradient) + weights @ (slopes - self.slopes)
        curvature = _updated(self.curvature, after - before, change)
        return replace(self, gradient=gradient, slopes=slopes, curvature=curvature, is_fresh=False)


def _updated(curvature: Floats, step: Floats, change: Floats) -> Floats:
    """Symmetric rank-one update, left out where it would be unreliable."""
    missing = change - curvature @ step
    across = float(missing @ step)
    if abs(across) <= RELIABLE * float(np.linalg.norm(missing) * np.linalg.norm(step)) or across == 0.0:
        return curvature
    return np.asarray(curvature + np.outer(missing, missing) / across)


def _bowl(curvature: Floats) -> Floats:
    """The curvature without its downward bends, of which a straight model knows nothing better."""
    bends, ways = np.linalg.eigh(curvature)
    return np.asarray((ways * np.maximum(bends, 0.0)) @ ways.T)


def multipliers_of(gradient: Floats, slopes: Floats, values: Floats, unit: Floats) -> Floats:
    """Multipliers of the limits: the non-negative combination of slopes in unit variables that best cancels the gradient."""
    from scipy.optimize import nnls

    active = np.flatnonzero(values > -NEAR)
    low, high = np.flatnonzero(unit < 1e-6), np.flatnonzero(unit > 1.0 - 1e-6)
    identity = np.eye(len(unit))
    columns = np.hstack([slopes[active].T, -identity[:, low], identity[:, high]])
    found = np.zeros(len(values))
    if columns.shape[1]:
        found[active] = nnls(columns, -gradient)[0][: len(active)]
    return found


def _spacing(view: UnitView, unit: Floats, gradient: Floats) -> Floats:
    bend = 2.0 * (1.0 - LINEAR_PART) * view.span / view.stretch(unit)
    return np.diag(np.maximum(gradient, 0.0) * bend + 1e-6 * max(float(np.abs(gradient).max()), 1e-9))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelStep:
    """A step and what the model promises of it.

    Parameters
    ----------
    move : ndarray, shape (n,)
        Change of the unit variables.
    fall_of_objective : float
        May be negative where limits ask for it.
    fall_of_excess : float
        Fall of the summed scaled excess.
    """

    move: Floats
    fall_of_objective: float
    fall_of_excess: float

    def cut(self, move: Floats) -> ModelStep:
        """The same promise for a shorter move the same way."""
        share = float(np.abs(move).max() / max(np.abs(self.move).max(), 1e-12))
        return ModelStep(
            move=move,
            fall_of_objective=share * self.fall_of_objective,
            fall_of_excess=share * self.fall_of_excess,
        )


def best_step(model: StepModel, values: Floats, unit: Floats, radius: float) -> ModelStep:
    """Minimise the model inside the region and the bounds; limits that cannot be kept get slack.

    Parameters
    ----------
    model : StepModel
        Slopes and curvature.
    values : ndarray, shape (n_constraint,)
        Scaled values of the limits.
    unit : ndarray, shape (n,)
        The point, between 0 and 1.
    radius : float
        Furthest move of any variable.
    """
    from scipy.optimize import minimize

    n = len(unit)
    limits: Any = ()
    reach = np.abs(model.slopes).sum(axis=1) * radius
    rows = np.flatnonzero((values + reach > 0.0) | (values > 0.0))
    slopes, at = model.slopes[rows], values[rows]
    scale = max(float(np.abs(model.gradient).max()), 1e-12)
    bowl = _bowl(model.curvature)
    gradient, curvature, weight = model.gradient / scale, bowl / scale, SLACK_WEIGHT
    if model.is_mending:
        gradient, curvature, weight = TIE * gradient, bowl, 1.0
    m = len(rows)
    low, high = np.maximum(-radius, -unit), np.minimum(radius, 1.0 - unit)

    def worth(z: Floats) -> float:
        d = z[:n]
        return float(gradient @ d + 0.5 * d @ curvature @ d + weight * z[n:].sum())

    def steepness(z: Floats) -> Floats:
        return np.concatenate([gradient + curvature @ z[:n], np.full(m, weight)])

    room = np.hstack([-slopes, np.eye(m)])
    start = np.concatenate([np.zeros(n), np.maximum(at, 0.0)])
    if m:
        limits = {"type": "ineq", "fun": lambda z: room @ z - at, "jac": lambda z: room}
    found = minimize(
        worth, start, jac=steepness, method="SLSQP", bounds=[*zip(low, high, strict=True), *[(0.0, None)] * m],
        constraints=limits,
        options={"maxiter": 100, "ftol": 1e-10},
    )  # fmt: skip
    move = np.clip(found.x[:n], low, high)
    bend = float(0.5 * move @ bowl @ move)
    promised = model.gradient @ move + (0.0 if model.is_mending else bend)
    left = np.maximum(values + model.slopes @ move, 0.0).sum() + (bend if model.is_mending else 0.0)
    return ModelStep(
        move=move,
        fall_of_objective=-float(promised),
        fall_of_excess=float(np.maximum(values, 0.0).sum() - left),
    )
