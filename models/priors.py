"""What is known of a gel's rate parameters before any trial: the packaged values and how well they are known (see `doubts`).

An initiation efficiency carries the doubt about the quantum yield too, for trials see only their product; so does the number of
radicals lost per oxygen that about the oxygen dissolved, unless that is free as well.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .doubts import gel_priors, knob_of_parameter
from .film import DiBenedetto
from .formulation import mix_resins, rates_of
from .gel import Gel
from .materials import photoinitiator
from .rate_parameters import EFFICIENCY_PREFIX, Rates, check_names, log_value

Array = NDArray[np.float64]

# No table gives these: standard deviation of the logarithm, assumed, about half as much again.
ASSUMED_LOG_SD: Mapping[str, float] = {"b": 0.4, "w": 0.4, "n_O": 0.4}
_LARGEST_VITRIFICATION = 1.3  # well above it the equation of the glass transition has its pole
_BOUND_SD = 6.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prior:
    """Knowledge before the trials, on natural logarithms of the SI values.

    Attributes
    ----------
    names : tuple of str
        Parameters.
    mean, sd : ndarray, shape (n,)
        Packaged value and its standard deviation.
    lower, upper : ndarray, shape (n,)
        Bounds of a fit: six standard deviations, and what the model can take.
    assumed : tuple of str
        Parameters whose standard deviation no table gives.
    """

    names: tuple[str, ...]
    mean: Array
    sd: Array
    lower: Array
    upper: Array
    assumed: tuple[str, ...]


def _vitrification_sd(rates: Rates, spreads: Mapping[str, float]) -> float:
    """Errors of the four numbers of the glass transition, taken as independent of each other."""
    glass = rates.kinetics.vitrification
    if not isinstance(glass, DiBenedetto):
        return ASSUMED_LOG_SD["w"]
    moved = [
        replace(glass, tg_monomer_k=glass.tg_monomer_k + spreads["tg_monomer_shift_k"]),
        replace(glass, tg_polymer_k=glass.tg_polymer_k + spreads["tg_polymer_shift_k"]),
        replace(glass, lambda_ratio=glass.lambda_ratio * math.exp(spreads["dibenedetto_lambda_ratio"])),
        replace(glass, half_width_k=glass.half_width_k * math.exp(spreads["tg_half_width_ratio"])),
    ]
    centre = log_value("X_v", rates)
    beside = [replace(rates, kinetics=replace(rates.kinetics, vitrification=each)) for each in moved]
    return math.sqrt(math.fsum((log_value("X_v", each) - centre) ** 2 for each in beside))


def _sd(name: str, names: Sequence[str], rates: Rates, spreads: Mapping[str, float]) -> float:
    if name.startswith(EFFICIENCY_PREFIX):
        key = name.removeprefix(EFFICIENCY_PREFIX)
        return math.hypot(
            spreads.get(f"initiation_efficiency_ratio:{key}", 0.0), spreads[f"quantum_yield_ratio:{key}"]
        )
    if name == "X_v":
        return _vitrification_sd(rates, spreads)
    if name == "n_O" and "O_s" not in names:
        return math.hypot(ASSUMED_LOG_SD["n_O"], spreads[knob_of_parameter("O_s")])
    return spreads.get(knob_of_parameter(name), ASSUMED_LOG_SD.get(name, 0.0))


def prior_of(gel: Gel, names: Sequence[str]) -> Prior:
    """Packaged values and uncertainties of some rate parameters of a gel, whatever its calibration says.

    Parameters
    ----------
    gel : Gel
        Resin base.
    names : sequence of str
        Parameters (see `rate_parameters`).

    Returns
    -------
    Prior

    Raises
    ------
    UnknownNameError
        If a name is not known.
    InputError
        If a parameter is 0 in this gel.
    """
    initiators = [
        name.removeprefix(EFFICIENCY_PREFIX) for name in names if name.startswith(EFFICIENCY_PREFIX)
    ]
    check_names(names, initiators)
    for key in initiators:
        photoinitiator(key)
    spreads = {each.knob: each.spread for each in gel_priors(gel, initiators)}
    rates = rates_of(mix_resins(gel.resin_parts))
    mean = np.array(
        [
            math.log(photoinitiator(name.removeprefix(EFFICIENCY_PREFIX)).initiation_efficiency)
            if name.startswith(EFFICIENCY_PREFIX)
            else log_value(name, rates)
            for name in names
        ]
    )
    spread = np.array([_sd(name, names, rates, spreads) for name in names])
    upper = mean + _BOUND_SD * spread
    for row, name in enumerate(names):
        if name == "X_v":
            upper[row] = min(upper[row], math.log(_LARGEST_VITRIFICATION))
    return Prior(
        names=tuple(names),
        mean=mean,
        sd=spread,
        lower=mean - _BOUND_SD * spread,
        upper=upper,
        assumed=tuple(name for name in names if name in ASSUMED_LOG_SD),
    )
