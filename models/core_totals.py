"""Totals, peaks and the record of a run (compiled): what the balances and the figures are made from."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled, compiled_piece, compiled_string, compiled_sums
from .core_arrays import FilmArrays, State, Work
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
        return float(temperature[0])
    if below >= temperature.size:
        return float(temperature[temperature.size - 1])
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
    limit = 0.0
    for i in range(width.size):
        limit += width[i]
    limit *= share
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
        return float(value[0])
    slope = (value[last] - value[last - 1]) / (0.5 * (width[last] + width[last - 1]))
    return float(min(max(value[last] + 0.5 * width[last] * slope, 0.0), 1.0))


@compiled
def depth_reaching(width: Array, conversion: Array, level: float) -> float:
    """Depth at which conversion first reaches a level, linear between cell centres [m]; the thickness if it never does."""
    centre = 0.5 * width[0]
    if conversion[0] >= level:
        return 0.0
    for i in range(1, width.size):
        gap = 0.5 * (width[i - 1] + width[i])
        if conversion[i] >= level:
            return float(centre + gap * (level - conversion[i - 1]) / (conversion[i] - conversion[i - 1]))
        centre += gap
    return float(centre + 0.5 * width[width.size - 1])


@compiled_string
def account_tissue(totals: Array, before: float, after: float, seconds: float) -> None:
    """Time above lines, thermal dose and damage at the nail bed over a step."""
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


@compiled_piece
def account_contents(
    film: FilmArrays, state: State, totals: Array, radicals: int, oxygen: int, stabiliser: int
) -> None:
    """What the film holds of radicals, oxygen and stabiliser [mol m-2], into those items of the totals."""
    totals[radicals] = totals[oxygen] = totals[stabiliser] = 0.0
    for i in range(film.width.size):
        totals[radicals] += film.width[i] * state.radical[i]
        totals[oxygen] += film.width[i] * state.oxygen[i]
        totals[stabiliser] += film.width[i] * state.stabiliser[i]


@compiled_piece
def hottest_in_film(film: FilmArrays, temperature: Array) -> float:
    """Highest temperature in the cells of the film [K]."""
    hottest = temperature[0]
    for i in range(film.width.size):
        hottest = max(hottest, temperature[i])
    return float(hottest)


@compiled_piece
def note_peak(totals: Array, item: int, course: Array, time: float, value: float) -> None:
    """Raise a peak and its time (rows `item`, `item` + 1 of the totals) by the newest value of a course.

    `course` holds times and values of the two steps before, and is moved on. Where the middle one of three is the highest, the
    parabola through them gives the peak: a peak read off the steps alone would have a wrong slope against the blend.
    """
    first_s, first, middle_s, middle = course[0], course[1], course[2], course[3]
    peak_s, peak = time, value
    if middle > first and middle > value and middle_s > first_s:
        rise, fall = (middle - first) / (middle_s - first_s), (value - middle) / (time - middle_s)
        bend = (fall - rise) / (time - first_s)
        slope = rise + bend * (middle_s - first_s)
        peak_s, peak = middle_s - 0.5 * slope / bend, middle - 0.25 * slope * slope / bend
    if peak > totals[item]:
        totals[item], totals[item + 1] = peak, peak_s
    course[0], course[1], course[2], course[3] = middle_s, middle, time, value


@compiled_piece
def restart_course(course: Array, time: float, value: float) -> None:
    """Forget what was before a switch of the lamp: there the course has a corner."""
    course[0] = course[2] = time
    course[1] = course[3] = value


@compiled_sums
def observe(film: FilmArrays, work: Work, totals: Array) -> float:
    """Conversion of every cell and the peak of the lower face; returns the hottest temperature in the film [K]."""
    cell, heat = work.cell, work.heat
    n = cell.shape[1]
    for i in range(n):
        left = (cell[row.BONDS_0, i] + cell[row.BONDS_1, i]) * cell[row.PER_FULL, i]
        cell[row.CONVERSION, i] = 1.0 - left if cell[row.PER_FULL, i] > 0.0 else 0.0
    interface = face_temperature(film, heat[row.NOW_K], n)
    totals[at.PEAK_INTERFACE] = max(totals[at.PEAK_INTERFACE], interface)
    return hottest_in_film(film, heat[row.NOW_K])


@compiled_string
def record_line(film: FilmArrays, work: Work, line: Array, time: float, bed_k: float, hottest: float) -> None:
    """Write the record of a step."""
    cell, heat = work.cell, work.heat
    conversion, temperature = cell[row.CONVERSION], heat[row.NOW_K]
    n = cell.shape[1]
    total, thickness = 0.0, 0.0
    for i in range(n):
        total += film.width[i] * conversion[i]
        thickness += film.width[i]
    line[at.TIME] = time
    line[at.SURFACE] = surface_mean(film.width, conversion, 0.2)
    line[at.BOTTOM] = bottom_value(film.width, conversion)
    line[at.MEAN] = total / thickness
    line[at.FILM_MAX], line[at.INTERFACE] = hottest, face_temperature(film, temperature, n)
    line[at.BED], line[at.SURFACE_T] = bed_k, temperature[0]
