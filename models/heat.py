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
from .compiled import compiled

Array = NDArray[np.float64]
GAMMA = 1.0 - 0.5 * 2.0**0.5


@compiled
def conduction_step(
    capacity: Array,
    conductance: Array,
    exchange: Array,
    exchange_k: Array,
    source: Array,
    seconds: float,
    temperature: Array,
    middle: Array,
    new: Array,
    work: Array,
) -> float:
    """Advance the temperature by one step; returns the heat lost through exchange [J m-2].

    Parameters
    ----------
    capacity : ndarray, shape (m,)
        Heat capacity of each cell per area [J m-2 K-1].
    conductance : ndarray, shape (m,)
        Conductance between cell i and i + 1 [W m-2 K-1]; the last element is not used.
    exchange, exchange_k : ndarray, shape (m,)
        Exchange of each cell with a surrounding of given temperature (air, fixed face, blood) [W m-2 K-1], [K].
    source : ndarray, shape (m,)
        Mean heat set free in each cell over the step [W m-2].
    seconds : float
        Step [s].
    temperature, middle, new : ndarray, shape (m,)
        In: temperature [K]. Out: stage value and temperature after the step [K].
    work : ndarray, shape (2, m)
        Scratch.
    """
    count = capacity.size
    implicit = 1.0 / (GAMMA * seconds)
    for stage in range(2):
        result = middle if stage == 0 else new
        for cell in range(count):
            rate = capacity[cell] * implicit
            start = temperature[cell]
            if stage == 1:
                start += (1.0 - GAMMA) / GAMMA * (middle[cell] - temperature[cell])
            right = rate * start + source[cell] + exchange[cell] * exchange_k[cell]
            if stage == 0:
                diagonal = rate + exchange[cell]
                if cell > 0:
                    diagonal += conductance[cell - 1] * (1.0 - conductance[cell - 1] * work[0, cell - 1])
                if cell + 1 < count:
                    diagonal += conductance[cell]
                work[0, cell] = 1.0 / diagonal
            if cell > 0:
                right += conductance[cell - 1] * work[0, cell - 1] * work[1, cell - 1]
            work[1, cell] = right
        later = 0.0
        for cell in range(count - 1, -1, -1):
            right = work[1, cell]
            if cell + 1 < count:
                right += conductance[cell] * later
            later = right * work[0, cell]
            result[cell] = later
    lost = 0.0
    for cell in range(count):
        if exchange[cell] > 0.0:
            mean = (1.0 - GAMMA) * middle[cell] + GAMMA * new[cell]
            lost += exchange[cell] * (mean - exchange_k[cell]) * seconds
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
