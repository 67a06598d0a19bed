"""Heat of a step: conduction matrix, sources, and their accounts (compiled). `heat` holds the conduction rule itself."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled_piece, compiled_string, compiled_sums
from .core_arrays import FilmArrays
from .heat import conduction_step

Array = NDArray[np.float64]


@compiled_piece
def prepare_conduction(film: FilmArrays, heat: Array) -> None:
    """Fill in the parts of the conduction matrix that do not change during the run."""
    m = heat.shape[1]
    for i in range(m):
        width = heat[at.T_WIDTH, i]
        heat[row.CAPACITY, i] = heat[at.T_CAPACITY_0, i] * width
        heat[row.EXCHANGE, i] = heat[at.T_PERFUSION, i] * width
        heat[row.EXCHANGE_K, i] = film.boundary[at.BLOOD_TEMPERATURE]
    for i in range(m - 1):
        heat[row.CONDUCTANCE, i] = 1.0 / (
            0.5 * heat[at.T_WIDTH, i] / heat[at.T_CONDUCTIVITY, i]
            + 0.5 * heat[at.T_WIDTH, i + 1] / heat[at.T_CONDUCTIVITY, i + 1]
        )
    if film.boundary[at.BOTTOM_FIXED] != 0.0:
        blood = heat[row.EXCHANGE, m - 1]
        floor = 2.0 * heat[at.T_CONDUCTIVITY, m - 1] / heat[at.T_WIDTH, m - 1]
        total = blood * film.boundary[at.BLOOD_TEMPERATURE] + floor * film.boundary[at.BOTTOM_TEMPERATURE]
        heat[row.EXCHANGE, m - 1] = blood + floor
        heat[row.EXCHANGE_K, m - 1] = total / (blood + floor)


@compiled_piece
def source_decay(boundary: Array, time: float, seconds: float) -> float:
    """Mean over the step of the prescribed heat source's course, exp(-t/tau) [-]."""
    tau = boundary[at.SOURCE_DECAY]
    if tau <= 0.0:
        return 1.0
    return float(-math.exp(-time / tau) * math.expm1(-seconds / tau) * tau / seconds)


@compiled_string
def fill_sources(
    film: FilmArrays, cell: Array, heat: Array, level: float, time: float, seconds: float
) -> None:
    """Mean heat of every thermal cell over the step [W m-2]: reaction, light, prescribed."""
    n = cell.shape[1]
    decay, per_second = source_decay(film.boundary, time, seconds), 1.0 / seconds
    for i in range(n):
        prescribed = heat[at.T_SOURCE, i] * heat[at.T_WIDTH, i] * decay
        heat[row.SOURCE, i] = (
            prescribed + cell[row.REACTION_HEAT, i] * per_second + cell[row.LIGHT_HEAT, i] * level
        )
    for i in range(n, heat.shape[1]):
        prescribed = heat[at.T_SOURCE, i] * heat[at.T_WIDTH, i] * decay
        heat[row.SOURCE, i] = prescribed + heat[row.BELOW_HEAT, i] * level
    heat[row.SOURCE, 0] += film.boundary[at.TOP_FLUX]


@compiled_string
def conduct(film: FilmArrays, cell: Array, heat: Array, air: float, seconds: float) -> float:
    """Temperature over the step; heat lost to air, fixed faces and blood [J m-2]."""
    for i in range(cell.shape[1]):
        left = (cell[row.MIDDLE_0, i] + cell[row.MIDDLE_1, i]) * cell[row.PER_FULL, i]
        conversion = 1.0 - left if cell[row.PER_FULL, i] > 0.0 else 0.0
        capacity = heat[at.T_CAPACITY_0, i] * (1.0 - conversion) + heat[at.T_CAPACITY_1, i] * conversion
        heat[row.CAPACITY, i] = cell[row.WIDTH, i] * capacity
    half = 0.5 * heat[at.T_WIDTH, 0] / heat[at.T_CONDUCTIVITY, 0]
    top, top_k = 0.0, air
    if film.boundary[at.TOP_FIXED] != 0.0:
        top, top_k = 1.0 / half, film.boundary[at.TOP_TEMPERATURE]
    elif film.boundary[at.TOP_TRANSFER] > 0.0:
        top = 1.0 / (half + 1.0 / film.boundary[at.TOP_TRANSFER])
    blood = heat[at.T_PERFUSION, 0] * heat[at.T_WIDTH, 0]
    heat[row.EXCHANGE, 0] = blood + top
    if blood + top > 0.0:
        heat[row.EXCHANGE_K, 0] = (blood * film.boundary[at.BLOOD_TEMPERATURE] + top * top_k) / (blood + top)
    return conduction_step(heat, seconds)


@compiled_sums
def account_heat(
    film: FilmArrays, heat: Array, totals: Array, lost: float, time: float, seconds: float
) -> None:
    """Heat stored, lost and prescribed over a step."""
    decay = source_decay(film.boundary, time, seconds)
    stored, prescribed = 0.0, 0.0
    for i in range(heat.shape[1]):
        stored += heat[row.CAPACITY, i] * (heat[row.NEW_K, i] - heat[row.NOW_K, i])
        prescribed += heat[at.T_SOURCE, i] * heat[at.T_WIDTH, i]
    totals[at.HEAT_STORED] += stored
    totals[at.HEAT_SOURCE] += prescribed * decay * seconds + film.boundary[at.TOP_FLUX] * seconds
    totals[at.HEAT_OUT] += lost
