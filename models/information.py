"""What data determine: Fisher information, covariance with priors, and a verdict for every parameter.

Everything is linearised at one set of values, with whitened data: residuals in standard deviations of the reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError

Array = NDArray[np.float64]

_LARGEST_STANDARD_ERROR = 1e6


def information_of(jacobian: Array) -> Array:
    """Fisher information of whitened data, shape (n, n)."""
    return np.asarray(jacobian.T @ jacobian)


def covariance_from(information: Array, prior_sd: ArrayLike = np.inf) -> Array:
    """Covariance from the information of data and independent priors, shape (n, n).

    Directions that nothing determines get a standard error of a million, not an error.
    """
    count = information.shape[0]
    spread = np.broadcast_to(np.asarray(prior_sd, dtype=np.float64), (count,))
    total = information + np.diag(1.0 / spread**2)
    scale = np.sqrt(np.maximum(np.diag(total), 1.0 / _LARGEST_STANDARD_ERROR**2))
    strength, vectors = np.linalg.eigh(total / np.outer(scale, scale))
    floor = max(float(strength[-1]), 0.0) * 1e-13 + 1.0 / _LARGEST_STANDARD_ERROR**2
    inverse = (vectors / np.maximum(strength, floor)) @ vectors.T
    return np.asarray(inverse / np.outer(scale, scale))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Knowledge:
    """What the data say about each parameter, apart from the priors.

    Attributes
    ----------
    names : tuple of str
        Parameters.
    data_error, posterior_error, prior_sd : ndarray, shape (n,)
        Standard errors from the data alone (a million = undetermined), from data and priors, and from priors alone.
    share_from_data : ndarray, shape (n,)
        Share of the prior variance that the data took away [-].
    verdicts : tuple of str
        "determined", "partly" or "kept at prior", one per parameter.
    weak_directions : ndarray, shape (n_weak, n)
        Unit shifts (in prior standard deviations times direction) that the data hardly see, weakest first, in parameter units.
    """

    names: tuple[str, ...]
    data_error: Array
    posterior_error: Array
    prior_sd: Array
    share_from_data: Array
    verdicts: tuple[str, ...]
    weak_directions: Array


# of the prior variance taken away: below the first kept at prior, above the second determined
PARTLY_SHARE, DETERMINED_SHARE = 0.5, 0.9


def knowledge_of(names: tuple[str, ...], information: Array, prior_sd: ArrayLike) -> Knowledge:
    """Judge what data of a given information determine, by singular values in units of the priors.

    Parameters
    ----------
    names : tuple of str
        Parameters.
    information : ndarray, shape (n, n)
        Fisher information of the data alone.
    prior_sd : array_like, shape (n,)
        Prior standard deviations; all finite.

    Returns
    -------
    Knowledge
        A direction is weak where the data say less than the prior: singular value of the prior-scaled Jacobian below 1.
    """
    spread = np.broadcast_to(np.asarray(prior_sd, dtype=np.float64), (len(names),))
    if not np.all(np.isfinite(spread)):
        raise InputError("knowledge: every parameter needs a prior standard deviation to be judged by.")
    posterior = np.sqrt(np.diag(covariance_from(information, spread)))
    share = 1.0 - (posterior / spread) ** 2
    strength, vectors = np.linalg.eigh(information * np.outer(spread, spread))
    weak = vectors[:, strength < 1.0].T * spread
    return Knowledge(
        names=names,
        data_error=np.sqrt(np.diag(covariance_from(information))),
        posterior_error=posterior,
        prior_sd=np.array(spread),
        share_from_data=share,
        verdicts=tuple(
            "determined"
            if each >= DETERMINED_SHARE
            else "partly"
            if each >= PARTLY_SHARE
            else "kept at prior"
            for each in share
        ),
        weak_directions=weak,
    )


def combination_error(covariance: Array, weights: ArrayLike) -> float:
    """Standard error of a weighted sum of the parameters."""
    row = np.asarray(weights, dtype=np.float64)
    return math.sqrt(max(float(row @ covariance @ row), 0.0))
