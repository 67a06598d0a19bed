"""Oxygen in the film: diffusion from the air, consumption by radicals.

One implicit step of dO/dt = d/dz(D dO/dz) - k_O O R. The radicals answer within microseconds where oxygen is, so the
sink uses the exact mean of R over the step *as a function of O*; taking R from the last step instead would let oxygen
and radicals coexist for a whole step.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .kinetics import radical_step

Array = NDArray[np.float64]
_MOST_ITERATIONS = 60
_TOLERANCE = 1e-6  # of the surface concentration
_TRACE = 1e-9  # of the surface concentration: less than a billionth leaves radicals alone


@compiled
def oxygen_step(
    width: Array,
    conductance: Array,
    surface: float,
    old: Array,
    formation: Array,
    base_loss: Array,
    rate: Array,
    per_oxygen: Array,
    termination: Array,
    radicals: Array,
    seconds: float,
    oxygen: Array,
    work: Array,
) -> tuple[float, float]:
    """Advance oxygen by one implicit step (Newton on the tridiagonal system); `oxygen` holds the guess and the answer.

    Parameters
    ----------
    width : ndarray, shape (n,)
        Cell widths [m].
    conductance : ndarray, shape (n + 1,)
        D over distance at the faces [m/s]; element 0 is the open surface (0 = closed), element n is 0.
    surface : float
        Concentration at the surface in equilibrium with the air [mol m-3].
    old, formation, base_loss, rate, per_oxygen, termination, radicals : ndarray, shape (n,)
        Oxygen before the step [mol m-3]; radical formation [mol m-3 s-1]; first-order loss [1/s]; k_O [m3 mol-1 s-1];
        radicals lost per O2 [-]; k_t [m3 mol-1 s-1]; radicals before the step [mol m-3].
    seconds : float
        Step [s].
    oxygen : ndarray, shape (n,)
        In: first guess. Out: concentration after the step [mol m-3].
    work : ndarray, shape (2, n)
        Scratch.

    Returns
    -------
    tuple of float
        Oxygen that entered through the surface and oxygen consumed [mol m-2].
    """
    count = width.size
    # While radicals form everywhere, oxygen cannot travel past cells it has left; those below stay as they are. Without light it
    # may, and the whole film is solved.
    deepest = count
    while deepest > 3 and formation[deepest - 1] > 0.0:
        if max(old[deepest - 1], old[deepest - 2], old[deepest - 3]) > _TRACE * surface:
            break
        deepest -= 1
    for _ in range(_MOST_ITERATIONS):
        change = 0.0
        # Forward sweep with the sink linearised about the present guess.
        for cell in range(deepest):
            present = oxygen[cell]
            loss = base_loss[cell] + per_oxygen[cell] * rate[cell] * present
            _, integral = radical_step(formation[cell], loss, termination[cell], radicals[cell], seconds)
            mean = integral / seconds
            root = np.sqrt(loss * loss + 4.0 * formation[cell] * termination[cell]) + 1e-300
            slope = (
                rate[cell] * mean * (1.0 - per_oxygen[cell] * rate[cell] * present / (root + 1.0 / seconds))
            )
            sink = rate[cell] * mean * present
            diagonal = width[cell] * (1.0 / seconds + slope) + conductance[cell]
            if cell + 1 < deepest:
                diagonal += conductance[cell + 1]
            right = width[cell] * (old[cell] / seconds + slope * present - sink)
            if cell == 0:
                right += conductance[0] * surface
            else:
                factor = conductance[cell] * work[0, cell - 1]
                diagonal -= conductance[cell] * factor
                right += factor * work[1, cell - 1]
            work[0, cell] = 1.0 / diagonal
            work[1, cell] = right
        later = 0.0
        for cell in range(deepest - 1, -1, -1):
            later = (work[1, cell] + (conductance[cell + 1] * later if cell + 1 < deepest else 0.0)) * work[
                0, cell
            ]
            present = oxygen[cell]
            # The sink is concave: a guess that is too large may undershoot zero, from below Newton climbs safely.
            value = later if later > 0.0 else 1e-3 * present
            difference = abs(value - present)
            change = max(change, difference)
            oxygen[cell] = value
        if change < _TOLERANCE * surface:
            break
    entered = conductance[0] * (surface - oxygen[0]) * seconds
    consumed = entered
    for cell in range(count):
        consumed += width[cell] * (old[cell] - oxygen[cell])
    return entered, consumed


def surface_layer_limit_m(
    diffusivity_m2_s: float,
    surface_mol_m3: float,
    formation_mol_m3_s: float,
    radicals_per_oxygen: float = 1.0,
) -> Any:
    """Depth to which oxygen keeps up with all radicals formed: sqrt(2 n D O_s / R_i) [m] (steady, zero-order sink)."""
    return np.sqrt(2.0 * radicals_per_oxygen * diffusivity_m2_s * surface_mol_m3 / formation_mol_m3_s)
