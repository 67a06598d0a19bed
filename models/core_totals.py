"""Totals, peaks and the record of a run (compiled): what the balances and the figures are made from."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from . import layout as at
from .compiled import compiled
from .core_arrays import Conduction, FilmArrays, Scratch, State
from .core_step import cell_reaction_heat, source_decay
from .tissue import cem43_step, henriques_rate, seconds_above, weaver_stoll_rate

Array = NDArray[np.float64]


@compiled
def _face(upper: float, upper_resistance: float, lower: float, lower_resistance: float) -> float:
    """Temperature of the face between two cells [K]."""
    return (upper * lower_resistance + lower * upper_resistance) / (upper_resistance + lower_resistance)


@compiled
def face_temperature(film: FilmArrays, temperature: Array, below: int) -> float:
    """Temperature of the face above a thermal cell [K]; of the lowest cell where there is none below."""
    if below <= 0:
        return temperature[0]
    if below >= temperature.size:
        return temperature[temperature.size - 1]
    width, conductivity = film.thermal[at.T_WIDTH], film.thermal[at.T_CONDUCTIVITY]
    above = below - 1
    return _face(
        temperature[above],
        width[above] / conductivity[above],
        temperature[below],
        width[below] / conductivity[below],
    )


@compiled
def surface_mean(width: Array, value: Array, share: float) -> float:
    """Mean of a profile over the topmost share of the film."""
    limit = share * np.sum(width)
    depth, total = 0.0, 0.0
    for i in range(width.size):
        part = min(width[i], limit - depth)
        if part <= 0.0:
            break
        total += part * value[i]
        depth += part
    return total / depth


@compiled
def bottom_value(width: Array, value: Array) -> float:
    """Value at the lower face: straight line through the two lowest cells, kept between 0 and 1."""
    last = value.size - 1
    if last == 0:
        return value[0]
    slope = (value[last] - value[last - 1]) / (0.5 * (width[last] + width[last - 1]))
    return min(max(value[last] + 0.5 * width[last] * slope, 0.0), 1.0)


@compiled
def depth_reaching(width: Array, conversion: Array, level: float) -> float:
    """Depth at which conversion first reaches a level, linear between cell centres [m]; the thickness if it never does."""
    centre = 0.5 * width[0]
    if conversion[0] >= level:
        return 0.0
    for i in range(1, width.size):
        gap = 0.5 * (width[i - 1] + width[i])
        if conversion[i] >= level:
            return centre + gap * (level - conversion[i - 1]) / (conversion[i] - conversion[i - 1])
        centre += gap
    return centre + 0.5 * width[width.size - 1]


@compiled
def account_light(
    film: FilmArrays, state: State, new: State, scratch: Scratch, totals: Array, dose: float
) -> None:
    """Photons in, out, absorbed and used over a step of `dose` seconds at full output."""
    for q in range(film.photons.size):
        totals[at.PHOTONS_IN] += film.photons[q] * dose
        totals[at.PHOTONS_OUT] += scratch.leaving[q] * dose
        totals[at.PHOTONS_ABSORBED] += (film.photons[q] - scratch.leaving[q] - scratch.reflected[q]) * dose
        below = 0.0
        for j in range(film.floor.shape[1]):
            below += film.floor[q, j]
        totals[at.HEAT_LIGHT] += below * scratch.leaving[q] * film.energy[q] * dose
    for i in range(film.width.size):
        totals[at.HEAT_LIGHT] += scratch.light_heat[i] * dose
        for kind in range(film.species.shape[0]):
            # Photons that the light calculation gave to an initiator, against molecules that the exponential took away.
            share = scratch.yield_[kind, i]
            totals[at.PHOTONS_INITIATOR] += (
                film.width[i] * scratch.uptake[kind, i] * scratch.lit[kind, i] * share * dose
            )
            totals[at.INITIATOR_LOST] += film.width[i] * (
                state.concentration[kind, i] - new.concentration[kind, i]
            )


@compiled
def account_reaction(
    film: FilmArrays,
    state: State,
    new: State,
    scratch: Scratch,
    totals: Array,
    entered: float,
    consumed: float,
) -> float:
    """Radicals, C=C, oxygen and heat of reaction over a step; returns the heat of reaction [J m-2]."""
    reaction = 0.0
    with_oxygen = film.boundary[at.OXYGEN_MODE] != 0.0
    for i in range(film.width.size):
        width = film.width[i]
        caught = scratch.oxygen_loss[i] * scratch.alive_integral[i]
        to_stabiliser = scratch.base_loss[i] * scratch.alive_integral[i]
        lived = scratch.formation[i] * scratch.alive[i]
        totals[at.RADICALS_MADE] += width * scratch.made[i]
        totals[at.RADICALS_TO_STABILISER] += width * to_stabiliser
        totals[at.RADICALS_TERMINATED] += width * (
            lived - caught - to_stabiliser - (new.radical[i] - state.radical[i])
        )
        for k in range(2):
            lost = state.bonds[k, i] - new.bonds[k, i]
            start, end = state.bonds[k, i], new.bonds[k, i]
            middle = (start + 4.0 * math.sqrt(start * end) + end) / 6.0  # Simpson over an exponential course
            totals[at.DOUBLE_BONDS_LOST] += width * lost
            totals[at.DOUBLE_BONDS_INTEGRAL] += width * scratch.loss[k, i] * middle * scratch.integral[i]
        if with_oxygen:
            # By stoichiometry: independent of the radical balance above, so the two can disagree.
            totals[at.RADICALS_TO_OXYGEN] += scratch.per_oxygen[i] * width * (state.oxygen[i] - new.oxygen[i])
        reaction += cell_reaction_heat(film, state, new, i)
    if with_oxygen:
        totals[at.RADICALS_TO_OXYGEN] += scratch.per_oxygen[0] * entered
    totals[at.OXYGEN_IN] += entered
    totals[at.OXYGEN_CONSUMED] += consumed
    totals[at.HEAT_REACTION] += reaction
    return reaction


@compiled
def account_heat(
    film: FilmArrays,
    state: State,
    new: State,
    conduction: Conduction,
    totals: Array,
    lost: float,
    time: float,
    seconds: float,
) -> None:
    """Heat stored, lost and prescribed over a step."""
    decay = source_decay(film.boundary, time, seconds)
    for i in range(new.temperature.size):
        totals[at.HEAT_STORED] += conduction.capacity[i] * (new.temperature[i] - state.temperature[i])
        totals[at.HEAT_SOURCE] += film.thermal[at.T_SOURCE, i] * film.thermal[at.T_WIDTH, i] * decay * seconds
    totals[at.HEAT_SOURCE] += film.boundary[at.TOP_FLUX] * seconds
    totals[at.HEAT_OUT] += lost


@compiled
def account_tissue(totals: Array, before: float, after: float, time: float, seconds: float) -> None:
    """Peak, time above lines, thermal dose and damage at the nail bed over a step."""
    if after > totals[at.PEAK_BED]:
        totals[at.PEAK_BED], totals[at.PEAK_BED_TIME] = after, time
    middle = 0.5 * (before + after)
    totals[at.CEM43] += cem43_step(before, after, seconds)
    simpson = seconds / 6.0
    totals[at.OMEGA_HENRIQUES] += simpson * (
        henriques_rate(before) + 4.0 * henriques_rate(middle) + henriques_rate(after)
    )
    totals[at.OMEGA_WEAVER_STOLL] += simpson * (
        weaver_stoll_rate(before) + 4.0 * weaver_stoll_rate(middle) + weaver_stoll_rate(after)
    )
    totals[at.SECONDS_ABOVE_42] += seconds_above(before, after, seconds, 315.15)
    totals[at.SECONDS_ABOVE_43] += seconds_above(before, after, seconds, 316.15)
    totals[at.SECONDS_ABOVE_45] += seconds_above(before, after, seconds, 318.15)


@compiled
def conversion_of(state: State, full: Array, conversion: Array) -> None:
    """Conversion of C=C in every cell."""
    for i in range(full.size):
        conversion[i] = 1.0 - (state.bonds[0, i] + state.bonds[1, i]) / full[i] if full[i] > 0.0 else 0.0


@compiled
def observe(
    film: FilmArrays, state: State, totals: Array, line: Array, conversion: Array, time: float
) -> None:
    """Peaks of the film and, where wanted, the record of the step."""
    n = film.width.size
    hottest = np.max(state.temperature[:n])
    interface = face_temperature(film, state.temperature, n)
    if hottest > totals[at.PEAK_FILM]:
        totals[at.PEAK_FILM], totals[at.PEAK_FILM_TIME] = hottest, time
    totals[at.PEAK_INTERFACE] = max(totals[at.PEAK_INTERFACE], interface)
    if line.size == 0:
        return
    line[at.TIME] = time
    line[at.SURFACE] = surface_mean(film.width, conversion, 0.2)
    line[at.BOTTOM] = bottom_value(film.width, conversion)
    line[at.MEAN] = np.sum(film.width * conversion) / np.sum(film.width)
    line[at.FILM_MAX], line[at.INTERFACE] = hottest, interface
    line[at.BED] = face_temperature(film, state.temperature, int(film.boundary[at.BED_INDEX]))
    line[at.SURFACE_T] = state.temperature[0]
