"""What is known of a gel's rate parameters before any trial: the packaged values and their uncertainties.

The uncertainty of a mixture is taken as if its resins were all off the same way (cautious: they rest on the same methods). An
initiation efficiency carries the uncertainty of the quantum yield too, for trials see only their product.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .data_tables import Number, read_numbers
from .film import DiBenedetto
from .formulation import mix_resins, rates_of
from .gel import Gel
from .materials import photoinitiator, resin
from .rate_parameters import EFFICIENCY_PREFIX, PARAMETERS, Rates, check_names, log_value

Array = NDArray[np.float64]

# No table gives these. Standard deviation of the logarithm, assumed: half as much again for what was chosen by hand.
ASSUMED_LOG_SD: Mapping[str, float] = {"b": 0.4, "w": 0.4, "n_O": 0.4}
_LARGEST_VITRIFICATION = 1.3  # well above it the equation of the glass transition has its pole
_BOUND_SD = 6.0

_BY_BONDS: Mapping[str, tuple[str, bool]] = {
    # property, whether the mean is geometric
    "k_p0": ("propagation_rate_coefficient", True),
    "k_t0": ("termination_rate_coefficient", True),
    "C_RD": ("reaction_diffusion", False),
    "E_p": ("propagation_activation_energy", False),
    "E_t": ("termination_activation_energy", False),
    "dH": ("heat_of_polymerisation", False),
}
_BY_WEIGHT: Mapping[str, tuple[str, bool]] = {
    "O_s": ("oxygen_solubility", False),
    "D_O": ("oxygen_diffusivity", True),
}


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


def log_sd(number: Number) -> float:
    """Standard deviation of the logarithm of a tabulated number; 0 where the table gives none."""
    return 0.0 if number.uncertainty is None else math.log1p(number.uncertainty / abs(number.value))


def _mixed_sd(gel: Gel, name: str, is_geometric: bool, weigh: Callable[[str, float], float]) -> float:
    total, spread = 0.0, 0.0
    for key, part in gel.resin_parts.items():
        number = read_numbers("resins.csv")[key][name]
        weight = weigh(key, part) * (1.0 if is_geometric else number.value)
        total += weight
        spread += weight * log_sd(number)
    return spread / total


def _bonds(key: str, part: float) -> float:
    record = resin(key)
    return part * record.functionality / record.molar_mass_kg_mol


def _vitrification_sd(gel: Gel, rates: Rates) -> float:
    """Errors of the four numbers of the glass transition, taken as independent of each other."""
    glass = rates.kinetics.vitrification
    if not isinstance(glass, DiBenedetto):
        return ASSUMED_LOG_SD["w"]
    total = math.fsum(gel.resin_parts.values())

    def error(name: str) -> float:
        rows = read_numbers("resins.csv")
        return math.fsum(
            part / total * (rows[key][name].uncertainty or 0.0) for key, part in gel.resin_parts.items()
        )

    steps = {
        "tg_monomer_k": error("tg_monomer"),
        "tg_polymer_k": error("tg_polymer"),
        "lambda_ratio": error("dibenedetto_lambda"),
        "half_width_k": error("tg_half_width"),
    }
    centre = log_value("X_v", rates)
    moves = []
    for name, step in steps.items():
        moved = replace(glass, **{name: getattr(glass, name) + step})
        moves.append(
            log_value("X_v", replace(rates, kinetics=replace(rates.kinetics, vitrification=moved))) - centre
        )
    return math.sqrt(math.fsum(move**2 for move in moves))


def _sd(name: str, gel: Gel, rates: Rates) -> float:
    if name.startswith(EFFICIENCY_PREFIX):
        rows = read_numbers("photoinitiators.csv")[name.removeprefix(EFFICIENCY_PREFIX)]
        return math.hypot(log_sd(rows["initiation_efficiency"]), log_sd(rows["quantum_yield"]))
    if name == "X_v":
        return _vitrification_sd(gel, rates)
    if name in _BY_BONDS:
        return _mixed_sd(gel, *_BY_BONDS[name], _bonds)
    if name in _BY_WEIGHT:
        return _mixed_sd(gel, *_BY_WEIGHT[name], lambda _, part: part)
    return ASSUMED_LOG_SD[name]


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
    check_names(names, (name.removeprefix(EFFICIENCY_PREFIX) for name in names if name not in PARAMETERS))
    rates = rates_of(mix_resins(gel.resin_parts))
    mean = np.array(
        [
            math.log(photoinitiator(name.removeprefix(EFFICIENCY_PREFIX)).initiation_efficiency)
            if name.startswith(EFFICIENCY_PREFIX)
            else log_value(name, rates)
            for name in names
        ]
    )
    spread = np.array([_sd(name, gel, rates) for name in names])
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
