"""Heat conduction through film, nail plate and tissue, and the numbers of a hand.

One implicit step of rho c dT/dt = d/dz(k dT/dz) + w (T_blood - T) + q (Pennes, J. Appl. Physiol. 1948, 1, 93). The step is
a two-stage diagonally implicit Runge-Kutta rule (gamma = 1 - 1/sqrt 2): second order and strongly damped, because cells of
0.2 um and cells of millimetres share one step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from . import core_rows as row
from .compiled import compiled_piece, compiled_string

Array = NDArray[np.float64]
GAMMA = 1.0 - 0.5 * 2.0**0.5


@compiled_piece
def _factorise(heat: Array, implicit: float) -> None:
    """Pivots of the tridiagonal matrix of both stages."""
    count = heat.shape[1]
    coupling, factor = 0.0, 0.0
    for i in range(count):
        below = heat[row.CONDUCTANCE, i] if i + 1 < count else 0.0
        diagonal = (
            heat[row.CAPACITY, i] * implicit + heat[row.EXCHANGE, i] + coupling + below - coupling * factor
        )
        pivot = 1.0 / diagonal
        heat[row.PIVOT, i] = pivot
        heat[row.FACTOR, i] = factor
        coupling = below
        factor = below * pivot


@compiled_piece
def _push(heat: Array, start: int) -> None:
    """Heat that every cell gains at a row of temperatures [W m-2]; what flows between cells cancels to the last digit."""
    count = heat.shape[1]
    for i in range(count):
        outside = heat[row.EXCHANGE, i] * (heat[row.EXCHANGE_K, i] - heat[start, i])
        heat[row.PUSH, i] = heat[row.SOURCE, i] + outside
    for i in range(count - 1):
        flow = heat[row.CONDUCTANCE, i] * (heat[start, i] - heat[start, i + 1])
        heat[row.PUSH, i] -= flow
        heat[row.PUSH, i + 1] += flow


@compiled_piece
def _substitute(heat: Array, start: int, answer: int) -> None:
    """Solve for the rise above a row of temperatures; PUSH holds the right-hand side."""
    count = heat.shape[1]
    right = 0.0
    for i in range(count):
        right = heat[row.PUSH, i] + heat[row.FACTOR, i] * right
        heat[row.PUSH, i] = right
    rise = heat[row.PUSH, count - 1] * heat[row.PIVOT, count - 1]
    heat[answer, count - 1] = heat[start, count - 1] + rise
    for i in range(count - 2, -1, -1):
        # FACTOR of the cell below is conductance times pivot of this one
        rise = heat[row.PUSH, i] * heat[row.PIVOT, i] + heat[row.FACTOR, i + 1] * rise
        heat[answer, i] = heat[start, i] + rise


@compiled_string
def conduction_step(heat: Array, seconds: float) -> float:
    """Advance the temperature by one step; returns the heat lost through exchange [J m-2].

    Parameters
    ----------
    heat : ndarray, shape (N_HEAT, m)
        Table of `core_rows`. In: NOW_K; CAPACITY [J m-2 K-1]; CONDUCTANCE between cell i and i + 1; EXCHANGE with a surrounding
        at EXCHANGE_K (air, fixed face, blood) [W m-2 K-1]; SOURCE, the mean heat set free over the step [W m-2]. Out: STAGE_K
        and NEW_K.
    seconds : float
        Step [s].
    """
    count = heat.shape[1]
    implicit = 1.0 / (GAMMA * seconds)
    _factorise(heat, implicit)
    _push(heat, row.NOW_K)
    _substitute(heat, row.NOW_K, row.STAGE_K)
    for i in range(count):
        rise = heat[row.STAGE_K, i] - heat[row.NOW_K, i]
        heat[row.START_K, i] = heat[row.NOW_K, i] + (1.0 - GAMMA) / GAMMA * rise
    _push(heat, row.START_K)
    _substitute(heat, row.START_K, row.NEW_K)
    lost = 0.0
    for i in range(count):
        mean = (1.0 - GAMMA) * heat[row.STAGE_K, i] + GAMMA * heat[row.NEW_K, i]
        lost += heat[row.EXCHANGE, i] * (mean - heat[row.EXCHANGE_K, i]) * seconds
    return lost


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """Nail, tissue and surroundings that a film is cured on.

    Attributes
    ----------
    start_k : float
        Temperature of nail and tissue before the lamp is lit [K]; 33 C from memory, 26 to 35 C between cold and warm hands.
    nail_thickness_m : float
        Nail plate [m]; 0.25 to 0.7 mm between over-filed and thick (0.5 mm usual, NIH Elements of Morphology).
    nail_conductivity_w_m_k, nail_density_kg_m3, nail_heat_capacity_j_kg_k : float
        Nail plate; diffusivity 8.9e-8 m2/s measured by Dias et al., J. Phys. IV 2005, 125, 657; density and heat capacity
        from memory of keratin.
    tissue_conductivity_w_m_k, tissue_density_kg_m3, tissue_heat_capacity_j_kg_k : float
        Nail bed and below; skin in vivo 0.37 W/m/K (Burns 2017, 43, 909, table 3); the rest as used in public tissue codes.
    perfusion_1_s : float
        Blood perfusion [1/s]; a working value of public tissue codes, 1.7e-4 to 4.5e-3 measured for fingers
        (Aviat. Space Environ. Med. 1977, 48, 231).
    blood_k : float
        Temperature of the blood that arrives [K]; taken equal to the tissue at the start (assumed), so that a hand at rest is
        in balance.
    surface_loss_w_m2_k : float
        Convection and radiation to the air of the lamp [W m-2 K-1]; 3.4 + 4.5 after de Dear et al., Int. J. Biometeorol.
        1997, 40, 141.
    """

    start_k: float = 306.15
    nail_thickness_m: float = 0.45e-3
    nail_conductivity_w_m_k: float = 0.21
    nail_density_kg_m3: float = 1300.0
    nail_heat_capacity_j_kg_k: float = 1800.0
    tissue_depth_m: float = 12.0e-3
    tissue_conductivity_w_m_k: float = 0.37
    tissue_density_kg_m3: float = 1100.0
    tissue_heat_capacity_j_kg_k: float = 3400.0
    perfusion_1_s: float = 0.002
    blood_k: float | None = None
    surface_loss_w_m2_k: float = 8.0

    def __post_init__(self) -> None:
        limits = {
            "start_k": (283.15, 313.15),
            "nail_thickness_m": (0.05e-3, 2.0e-3),
            "nail_conductivity_w_m_k": (0.01, 10.0),
            "tissue_depth_m": (1.0e-3, 0.1),
            "surface_loss_w_m2_k": (0.0, 200.0),
            "perfusion_1_s": (0.0, 0.1),
        }
        for name, (low, high) in limits.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise InputError(f"hand: {name} is {value:g}; it must lie between {low:g} and {high:g}.")


def lumped_rise_k(heat_j_m2: Any, *capacities_j_m2_k: float) -> Any:
    """Temperature rise of layers that share a heat per area without loss [K]."""
    return heat_j_m2 / sum(capacities_j_m2_k)


def contact_temperature_k(
    effusivity_1: float, temperature_1_k: float, effusivity_2: float, temperature_2_k: float
) -> float:
    """Temperature of the face between two thick bodies in sudden contact [K] (effusivity = sqrt(k rho c)).

    Examples
    --------
    >>> round(contact_temperature_k(629.0, 344.15, 1229.0, 306.15) - 273.15, 1)  # gel at 71 C on tissue at 33 C
    45.9
    """
    return (effusivity_1 * temperature_1_k + effusivity_2 * temperature_2_k) / (effusivity_1 + effusivity_2)
