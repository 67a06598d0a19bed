"""Right-hand side of one film as one system of equations, compiled.

The same cells, light bins, oxygen, heat and photochemistry as the product's stepper, with no splitting and no step of its own:
what an ordinary stiff integrator needs. Light, rate coefficients and the type II share are the product's pure functions;
balances, diffusion and conduction are written here again.

Variables stand cell by cell from the air side down: absorbers that are used up, amine, C=C, radicals, oxygen, stabiliser,
temperature, each only where it can change; then the temperatures below the film. So the Jacobian is banded but for light, where the absorbers of
a cell shade all cells below.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gelwright.models import layout as at
from gelwright.models.compiled import compiled
from gelwright.models.core_arrays import FilmArrays, State
from gelwright.models.kinetics import (
    arrhenius_factor,
    loss_coefficients,
    mobility,
    vitrification_conversion,
)
from gelwright.models.optics import light_in_film, light_two_flux
from gelwright.models.photochemistry import amine_share

Array = NDArray[np.float64]
OUT_OF_REACH = 1e9  # conversion at which a network without vitrification would turn to glass


class Lighting(NamedTuple):
    """Light in the film at full output."""

    uptake: Array  # (n_species, n) [1/s]
    heat: Array  # (n,) [W m-2]
    leaving: Array  # (n_bin,) [mol m-2 s-1]
    reflected: Array
    flux: Array
    lost: Array


@compiled
def new_lighting(film: FilmArrays) -> Lighting:
    kinds, bins, n = film.species.shape[0], film.photons.size, film.width.size
    return Lighting(
        np.zeros((kinds, n)),
        np.zeros(n),
        np.zeros(bins),
        np.zeros(bins),
        np.zeros((6, n + 1)),
        np.zeros((kinds, n)),
    )


@compiled
def spread(y: Array, place: NDArray[np.int64], block: int, state: State) -> None:
    """Write the variables into the arrays of a state; what is no variable stays."""
    kinds, n, m = state.concentration.shape[0], state.amine.size, state.temperature.size
    for i in range(n):
        base = i * block
        for kind in range(kinds):
            if place[kind] >= 0:
                state.concentration[kind, i] = y[base + place[kind]]
        if place[kinds] >= 0:
            state.amine[i] = y[base + place[kinds]]
        for k in range(2):
            if place[kinds + 1 + k] >= 0:
                state.bonds[k, i] = y[base + place[kinds + 1 + k]]
        state.radical[i] = y[base + place[kinds + 3]]
        if place[kinds + 4] >= 0:
            state.oxygen[i] = y[base + place[kinds + 4]]
        if place[kinds + 5] >= 0:
            state.stabiliser[i] = y[base + place[kinds + 5]]
        if place[kinds + 6] >= 0:
            state.temperature[i] = y[base + place[kinds + 6]]
    if place[kinds + 6] >= 0:
        for j in range(n, m):
            state.temperature[j] = y[n * block + j - n]


@compiled
def light(film: FilmArrays, state: State, lit: Lighting) -> None:
    """Light of a state."""
    for kind in range(film.species.shape[0]):
        for i in range(film.width.size):
            lit.lost[kind, i] = max(film.start_concentration[kind, i] - state.concentration[kind, i], 0.0)
    if film.boundary[at.TWO_FLUX] == 0.0:
        light_in_film(
            film.width,
            state.concentration,
            lit.lost,
            film.napierian,
            film.product,
            film.background,
            film.photons,
            film.energy,
            lit.uptake,
            lit.heat,
            lit.leaving,
        )
    else:
        light_two_flux(
            film.width,
            state.concentration,
            lit.lost,
            film.napierian,
            film.product,
            film.background,
            film.scattering,
            film.floor_reflectance,
            film.boundary[at.SURFACE_REFLECTANCE],
            film.photons,
            film.energy,
            lit.uptake,
            lit.heat,
            lit.leaving,
            lit.reflected,
            lit.flux,
        )


@compiled
def lamp_and_air(segment: Array, boundary: Array, time: float) -> tuple[float, float]:
    """Relative output and air temperature [K] at a time within a segment [s]."""
    start, end = segment[at.S_LEVEL_START], segment[at.S_LEVEL_END]
    level = start + (end - start) * time / segment[at.S_DURATION]
    on = segment[at.S_ON_TIME] + time
    if boundary[at.WARM_UP] != 0.0:
        overshoot = 1.0 + boundary[at.WARM_UP] * math.exp(-on / boundary[at.WARM_UP_TIME])
        level *= overshoot * boundary[at.WARM_UP_NORM]
    rise = segment[at.S_AIR_RISE] * (1.0 - math.exp(-on / segment[at.S_AIR_TIME]))
    return level, segment[at.S_AIR] + rise


@compiled
def coefficients(
    cell: Array, acrylate: float, methacrylate: float, conversion: float, kelvin: float
) -> tuple[float, float, float, float]:
    """Loss coefficients of both kinds of C=C, k_t and that of radicals with stabiliser in a cell [m3 mol-1 s-1]."""
    glass = OUT_OF_REACH
    if cell[at.VITRIFICATION_MODE] == 1.0:
        glass = vitrification_conversion(
            kelvin, cell[at.TG_MONOMER], cell[at.TG_POLYMER], cell[at.DIBENEDETTO], cell[at.TG_HALF_WIDTH]
        )
    elif cell[at.VITRIFICATION_MODE] == 2.0:
        glass = cell[at.X_REF] + cell[at.X_SLOPE] * (kelvin - cell[at.T_REF])
    free, reference = mobility(conversion, glass, cell[at.SIGMOID_WIDTH]), cell[at.T_REF]
    loss_0, loss_1 = loss_coefficients(
        cell[at.KP_ACRYLATE] * free * arrhenius_factor(cell[at.EP_ACRYLATE], kelvin, reference),
        cell[at.KP_METHACRYLATE] * free * arrhenius_factor(cell[at.EP_METHACRYLATE], kelvin, reference),
        cell[at.R_ACRYLATE],
        cell[at.R_METHACRYLATE],
        acrylate,
        methacrylate,
    )
    termination = cell[at.KT] * arrhenius_factor(cell[at.ET], kelvin, reference)
    termination *= math.exp(-cell[at.KT_DECAY] * conversion)
    termination += cell[at.REACTION_DIFFUSION] * (loss_0 * acrylate + loss_1 * methacrylate)
    return loss_0, loss_1, termination, cell[at.STABILISER_RATE] * free


@compiled
def conversion_in(film: FilmArrays, state: State, i: int) -> float:
    full = film.initial[0, i] + film.initial[1, i]
    return 1.0 - (state.bonds[0, i] + state.bonds[1, i]) / full if full > 0.0 else 0.0


@compiled
def oxygen_resistance(film: FilmArrays, state: State, i: int) -> float:
    """Half a cell's width over the diffusivity of oxygen in it [s/m]."""
    cell = film.cell[i]
    slowing = math.exp(-cell[at.O2_DECAY] * conversion_in(film, state, i))
    return 0.5 * film.width[i] / (cell[at.O2_DIFFUSIVITY] * slowing)


@compiled
def oxygen_inflow(film: FilmArrays, state: State, i: int) -> float:
    """Oxygen entering a cell through its two faces [mol m-2 s-1]."""
    own, inflow = oxygen_resistance(film, state, i), 0.0
    if i > 0:
        inflow += (state.oxygen[i - 1] - state.oxygen[i]) / (oxygen_resistance(film, state, i - 1) + own)
    elif film.boundary[at.OXYGEN_MODE] == 2.0:
        inflow += (film.boundary[at.O2_SURFACE] - state.oxygen[0]) / own
    if i + 1 < film.width.size:
        inflow += (state.oxygen[i + 1] - state.oxygen[i]) / (own + oxygen_resistance(film, state, i + 1))
    return inflow


@compiled
def heat_inflow(film: FilmArrays, kelvin: Array, i: int, air: float) -> float:
    """Heat entering a thermal cell through its faces and by blood [W m-2]."""
    thermal, edge, last = film.thermal, film.boundary, kelvin.size - 1
    half = 0.5 * thermal[at.T_WIDTH, i] / thermal[at.T_CONDUCTIVITY, i]
    blood = thermal[at.T_PERFUSION, i] * thermal[at.T_WIDTH, i]
    inflow = blood * (edge[at.BLOOD_TEMPERATURE] - kelvin[i])
    for j in (i - 1, i + 1):
        if 0 <= j <= last:
            other = 0.5 * thermal[at.T_WIDTH, j] / thermal[at.T_CONDUCTIVITY, j]
            inflow += (kelvin[j] - kelvin[i]) / (half + other)
    if i == 0:
        inflow += edge[at.TOP_FLUX]
        if edge[at.TOP_FIXED] != 0.0:
            inflow += (edge[at.TOP_TEMPERATURE] - kelvin[0]) / half
        elif edge[at.TOP_TRANSFER] > 0.0:
            inflow += (air - kelvin[0]) / (half + 1.0 / edge[at.TOP_TRANSFER])
    if i == last and edge[at.BOTTOM_FIXED] != 0.0:
        inflow += (edge[at.BOTTOM_TEMPERATURE] - kelvin[last]) / half
    return inflow


@compiled
def photolysis(
    film: FilmArrays,
    state: State,
    lit: Lighting,
    level: float,
    i: int,
    place: NDArray[np.int64],
    dy: Array,
    base: int,
) -> float:
    """Rates of absorbers and amine of a cell; radicals formed [mol m-3 s-1]."""
    kinds, formed, amine_rate = film.species.shape[0], film.cell[i, at.FIXED_INITIATION] * level, 0.0
    for kind in range(kinds):
        row = film.species[kind]
        share = row[at.QUANTUM_YIELD]
        if row[at.NEEDS_AMINE] != 0.0:
            share *= amine_share(state.amine[i], state.oxygen[i], row[at.AMINE_HALF], row[at.O2_QUENCHING])
        gone = share * lit.uptake[kind, i] * level * state.concentration[kind, i]
        formed += row[at.RADICALS_PER_LOSS] * gone
        if place[kind] >= 0:
            dy[base + place[kind]] = -gone
        if row[at.NEEDS_AMINE] != 0.0:
            amine_rate -= gone
    if place[kinds] >= 0:
        dy[base + place[kinds]] = amine_rate
    return formed


@compiled
def prescribed_heat(film: FilmArrays, i: int, clock: float) -> float:
    """Prescribed heat of a thermal cell [W m-2] at a time since the start of the run."""
    tau = film.boundary[at.SOURCE_DECAY]
    decay = math.exp(-clock / tau) if tau > 0.0 else 1.0
    return film.thermal[at.T_SOURCE, i] * film.thermal[at.T_WIDTH, i] * decay


@compiled
def local_rates(
    film: FilmArrays,
    state: State,
    lit: Lighting,
    segment: Array,
    time: float,
    clock: float,
    place: NDArray[np.int64],
    block: int,
    dy: Array,
) -> None:
    """Rates of all variables with the light given; `clock` is the time since the start of the run [s]."""
    kinds, n = film.species.shape[0], film.width.size
    level, air = lamp_and_air(segment, film.boundary, time)
    warm = place[kinds + 6] >= 0
    for i in range(n):
        base, cell = i * block, film.cell[i]
        formed = photolysis(film, state, lit, level, i, place, dy, base)
        x, radical = conversion_in(film, state, i), state.radical[i]
        loss_0, loss_1, termination, catch = coefficients(
            cell, state.bonds[0, i], state.bonds[1, i], x, state.temperature[i]
        )
        gone_0, gone_1 = loss_0 * state.bonds[0, i] * radical, loss_1 * state.bonds[1, i] * radical
        if place[kinds + 1] >= 0:
            dy[base + place[kinds + 1]] = -gone_0
        if place[kinds + 2] >= 0:
            dy[base + place[kinds + 2]] = -gone_1
        caught = 0.0
        if place[kinds + 4] >= 0:
            caught = cell[at.O2_RATE] * state.oxygen[i] * max(radical, 0.0)
            dy[base + place[kinds + 4]] = oxygen_inflow(film, state, i) / film.width[i] - caught
        # |R| R is R^2, and what strays below zero feeds neither radicals nor oxygen: an integrator comes back
        dy[base + place[kinds + 3]] = (
            formed
            - (cell[at.RADICAL_LOSS] + termination * abs(radical) + catch * max(state.stabiliser[i], 0.0))
            * radical
            - cell[at.O2_RADICALS] * cell[at.O2_RATE] * max(state.oxygen[i], 0.0) * radical
        )
        if place[kinds + 5] >= 0:
            met = catch * state.stabiliser[i] * max(radical, 0.0)
            dy[base + place[kinds + 5]] = -met / cell[at.STABILISER_RADICALS]
        if warm:
            heat = (cell[at.HEAT_ACRYLATE] * gone_0 + cell[at.HEAT_METHACRYLATE] * gone_1) * film.width[i]
            heat += lit.heat[i] * level + prescribed_heat(film, i, clock)
            capacity = film.thermal[at.T_CAPACITY_0, i] * (1.0 - x) + film.thermal[at.T_CAPACITY_1, i] * x
            inflow = heat_inflow(film, state.temperature, i, air)
            dy[base + place[kinds + 6]] = (heat + inflow) / (capacity * film.width[i])
    if warm:
        for j in range(n, state.temperature.size):
            heat = prescribed_heat(film, j, clock) + heat_inflow(film, state.temperature, j, air)
            for q in range(film.photons.size):
                heat += film.floor[q, j - n] * lit.leaving[q] * film.energy[q] * level
            dy[n * block + j - n] = heat / (film.thermal[at.T_CAPACITY_0, j] * film.thermal[at.T_WIDTH, j])


@compiled
def film_rates(
    time: float,
    clock: float,
    y: Array,
    film: FilmArrays,
    state: State,
    lit: Lighting,
    segment: Array,
    place: NDArray[np.int64],
    block: int,
    dy: Array,
) -> None:
    """dy/dt of the whole film into `dy`; `state` and `lit` are overwritten."""
    spread(y, place, block, state)
    level, _ = lamp_and_air(segment, film.boundary, time)
    if level > 0.0:
        light(film, state, lit)
    local_rates(film, state, lit, segment, time, clock, place, block, dy)


@compiled
def column_of(cell: int, variable: int, n: int, block: int, size: int) -> int:
    """Number of a variable of a cell; below the film only the last, the temperature, exists. -1 = there is none."""
    if cell < n:
        return cell * block + variable
    column = n * block + cell - n
    return column if variable == block - 1 and column < size else -1


@compiled
def film_band(
    time: float,
    clock: float,
    y: Array,
    film: FilmArrays,
    state: State,
    lit: Lighting,
    segment: Array,
    place: NDArray[np.int64],
    block: int,
    typical: Array,
    lower: int,
    upper: int,
    band: Array,
) -> None:
    """Banded Jacobian by differences with the light held, band[upper + i - j, j] = d(dy_i)/dy_j.

    Light answers to the absorbers within seconds, everything stiff lies in the band: Newton iterations converge with it.
    """
    size, n, m = y.size, film.width.size, film.thermal.shape[1]
    first, second, moved = np.zeros(size), np.zeros(size), y.copy()
    band[:, :] = 0.0
    film_rates(time, clock, y, film, state, lit, segment, place, block, first)
    for group in range(3):
        for variable in range(block):
            for cell in range(group, m, 3):
                j = column_of(cell, variable, n, block, size)
                if j >= 0:
                    moved[j] = y[j] + 1e-7 * (abs(y[j]) + typical[j])
            spread(moved, place, block, state)
            local_rates(film, state, lit, segment, time, clock, place, block, second)
            for cell in range(group, m, 3):
                j = column_of(cell, variable, n, block, size)
                if j < 0:
                    continue
                begin = (cell - 1) * block if cell - 1 <= n else n * block + cell - 1 - n
                end = (cell + 2) * block if cell + 2 <= n else n * block + cell + 2 - n
                for i in range(max(begin, j - upper, 0), min(end, j + lower + 1, size)):
                    band[upper + i - j, j] = (second[i] - first[i]) / (moved[j] - y[j])
                moved[j] = y[j]
