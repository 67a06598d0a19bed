"""Oxygen in the film: diffusion from the air, consumption by radicals.

One implicit step of dO/dt = d/dz(D dO/dz) - k_O O R. The radicals answer within microseconds where oxygen is, so the
sink uses the exact mean of R over the step *as a function of O*; taking R from the last step instead would let oxygen
and radicals coexist for a whole step.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled_piece, compiled_string
from .core_rates import radical_course
from .vector_math import quick_exp

Array = NDArray[np.float64]
_MOST_ITERATIONS = 60
_TOLERANCE = 1e-6  # of the surface concentration
_SHARE = 1e-4  # of what is consumed: traces of oxygen meet long-lived radicals
_TRACE = 1e-9  # of the surface concentration: less than a billionth leaves radicals alone


@compiled_piece
def oxygen_faces(cell: Array, open_surface: bool) -> None:
    """Oxygen conductance at the upper cell faces; diffusion slows as the film cures, D = D0 exp(-beta X)."""
    for i in range(cell.shape[1]):
        left = (cell[row.MIDDLE_0, i] + cell[row.MIDDLE_1, i]) * cell[row.PER_FULL, i]
        conversion = 1.0 - left if cell[row.PER_FULL, i] > 0.0 else 0.0
        slower = quick_exp(cell[at.O2_DECAY, i] * conversion)
        cell[row.HALF, i] = 0.5 * cell[row.WIDTH, i] / cell[at.O2_DIFFUSIVITY, i] * slower
    cell[row.FACE, 0] = 1.0 / cell[row.HALF, 0] if open_surface else 0.0
    for i in range(1, cell.shape[1]):
        cell[row.FACE, i] = 1.0 / (cell[row.HALF, i - 1] + cell[row.HALF, i])


@compiled_piece
def correct_flow(cell: Array, seconds: float, last: float) -> None:
    """Flow that the last step, `last` seconds long, let in too much or too little, to be taken back in this one [mol m-2 s-1].

    An implicit step counts the flow at its end as its mean. Taking back half the change of flow one step later makes the supply
    of second order, and stays stable for every length of step. No cell gives back more than a quarter of what it holds and
    half of what flows in meanwhile: at the front of oxygen, where radicals take all that arrives, a cell holds next to nothing.
    A shorter step takes back less, or the large excess of a long one would bend the whole profile.
    """
    share = min(1.0, seconds / last) / seconds if last > 0.0 else 0.0
    for i in range(cell.shape[1]):
        excess = cell[row.EXCESS, i]
        most_up = 0.25 * cell[row.OXYGEN, i] * cell[row.WIDTH, i] + 0.5 * seconds * max(
            0.0, cell[row.FLOW, i]
        )
        most_down = abs(excess)
        if i > 0:
            most_down = 0.25 * cell[row.OXYGEN, i - 1] * cell[row.WIDTH, i - 1]
            most_down += 0.5 * seconds * max(0.0, cell[row.FLOW, i - 1])
        cell[row.BACK_FLOW, i] = min(max(-excess, -most_up), most_down) * share


@compiled_piece
def note_excess(cell: Array, surface: float, seconds: float, last: float) -> None:
    """Flow at the end of the step and what its mean exceeds that of the step by [mol m-2], for `correct_flow`."""
    for i in range(cell.shape[1]):
        above = cell[row.NEW_OXYGEN, i - 1] if i > 0 else surface
        flow = cell[row.FACE, i] * (above - cell[row.NEW_OXYGEN, i])
        cell[row.EXCESS, i] = 0.5 * seconds * (flow - cell[row.FLOW, i]) if last > 0.0 else 0.0
        cell[row.FLOW, i] = flow


@compiled_piece
def deepest_oxygen(cell: Array, surface: float) -> int:
    """Number of cells, from the air side, in which oxygen may change in this step.

    While radicals form everywhere, oxygen cannot travel past cells it has left; those below stay as they are. Without light it
    may, and the whole film is solved.
    """
    deepest, trace = cell.shape[1], _TRACE * surface
    while deepest > 3 and cell[row.FORMATION, deepest - 1] > 0.0:
        if (
            cell[row.OXYGEN, deepest - 1] > trace
            or cell[row.OXYGEN, deepest - 2] > trace
            or cell[row.OXYGEN, deepest - 3] > trace
        ):
            break
        deepest -= 1
    return int(deepest)


@compiled_piece
def _linearised(cell: Array, surface: float, seconds: float, deepest: int) -> None:
    """Fill the tridiagonal system with the sink linearised about the present guess."""
    for i in range(deepest):
        present, formation, termination = (
            cell[row.NEW_OXYGEN, i],
            cell[row.FORMATION, i],
            cell[row.TERMINATION, i],
        )
        rate, per_oxygen = cell[at.O2_RATE, i], cell[at.O2_RADICALS, i]
        loss = cell[row.BASE_LOSS, i] + per_oxygen * rate * present
        _, integral = radical_course(formation, loss, termination, cell[row.RADICAL, i], seconds)
        mean = integral / seconds
        root = np.sqrt(loss * loss + 4.0 * formation * termination) + 1e-300
        slope = rate * mean * (1.0 - per_oxygen * rate * present / (root + 1.0 / seconds))
        sink = rate * mean * present
        width = cell[row.WIDTH, i]
        cell[row.SINK, i], cell[row.SLOPE, i] = sink, slope
        cell[row.DIAGONAL, i] = width * (1.0 / seconds + slope) + cell[row.FACE, i]
        cell[row.RIGHT, i] = width * ((cell[row.OXYGEN, i] - present) / seconds - sink)
    # what flows between cells cancels to the last digit, however thin they are
    cell[row.RIGHT, 0] += cell[row.FACE, 0] * (surface - cell[row.NEW_OXYGEN, 0]) + cell[row.BACK_FLOW, 0]
    for i in range(1, deepest):
        flow = cell[row.FACE, i] * (cell[row.NEW_OXYGEN, i - 1] - cell[row.NEW_OXYGEN, i])
        flow += cell[row.BACK_FLOW, i]
        cell[row.RIGHT, i - 1] -= flow
        cell[row.RIGHT, i] += flow


@compiled_piece
def _solved(cell: Array, surface: float, deepest: int, seconds: float) -> bool:
    """Solve the tridiagonal system into the new oxygen and what is consumed; whether both have come to rest."""
    for i in range(deepest - 1):
        cell[row.DIAGONAL, i] += cell[row.FACE, i + 1]
    inverse, right = 1.0 / cell[row.DIAGONAL, 0], cell[row.RIGHT, 0]
    cell[row.DIAGONAL, 0] = inverse
    for i in range(1, deepest):
        face = cell[row.FACE, i]
        factor = face * inverse
        inverse = 1.0 / (cell[row.DIAGONAL, i] - face * factor)
        right = cell[row.RIGHT, i] + factor * right
        cell[row.DIAGONAL, i], cell[row.RIGHT, i] = inverse, right
    change, rise, below = 0.0, 0.0, 0.0
    for i in range(deepest - 1, -1, -1):
        rise = (cell[row.RIGHT, i] + below * rise) * cell[row.DIAGONAL, i]
        below = cell[row.FACE, i]
        cell[row.RIGHT, i] = rise
        change = max(change, abs(rise))
    moved, consumed = 0.0, 0.0
    for i in range(deepest):
        rise, present, width = cell[row.RIGHT, i], cell[row.NEW_OXYGEN, i], cell[row.WIDTH, i]
        taken = (cell[row.SINK, i] + cell[row.SLOPE, i] * rise) * seconds
        below_zero = max(0.0, -(present + rise))
        cell[row.CONSUMED, i] = taken
        # The sink is concave: a guess that is too large may undershoot zero, from below Newton climbs safely.
        cell[row.NEW_OXYGEN, i] = present + rise if present + rise > 0.0 else 1e-3 * present
        moved += width * (cell[row.SLOPE, i] * abs(rise) * seconds + below_zero)
        consumed += width * abs(taken)
    return change <= _TOLERANCE * surface and moved <= _SHARE * consumed


@compiled_string
def oxygen_step(cell: Array, surface: float, seconds: float, deepest: int) -> tuple[float, float]:
    """Advance oxygen by one implicit step (Newton on the tridiagonal system, solved for the changes).

    Parameters
    ----------
    cell : ndarray, shape (N_CELL, n)
        Table of `core_rows`; NEW_OXYGEN holds the first guess and then the answer, CONSUMED what radicals took, FACE the
        conductances (0 = closed).
    surface : float
        Concentration at the surface in equilibrium with the air [mol m-3].
    seconds : float
        Step [s].
    deepest : int
        Cells in which oxygen may change.

    Returns
    -------
    tuple of float
        Oxygen that entered through the surface and oxygen consumed [mol m-2]; two sums that know nothing of each other.
    """
    for i in range(cell.shape[1]):
        cell[row.CONSUMED, i] = 0.0
    for _ in range(_MOST_ITERATIONS):
        _linearised(cell, surface, seconds, deepest)
        if _solved(cell, surface, deepest, seconds):
            break
    entered = (cell[row.FACE, 0] * (surface - cell[row.NEW_OXYGEN, 0]) + cell[row.BACK_FLOW, 0]) * seconds
    consumed = 0.0
    for i in range(deepest):
        consumed += cell[row.WIDTH, i] * cell[row.CONSUMED, i]
    return entered, consumed


def surface_layer_limit_m(
    diffusivity_m2_s: float,
    surface_mol_m3: float,
    formation_mol_m3_s: float,
    radicals_per_oxygen: float = 1.0,
) -> Any:
    """Depth to which oxygen keeps up with all radicals formed: sqrt(2 n D O_s / R_i) [m] (steady, zero-order sink)."""
    return np.sqrt(2.0 * radicals_per_oxygen * diffusivity_m2_s * surface_mol_m3 / formation_mol_m3_s)
