"""What the compiled core works on, as named tuples of arrays (n film cells, m thermal cells, n_bin light bins)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled, compiled_piece

Array = NDArray[np.float64]


class FilmArrays(NamedTuple):
    """One film and what surrounds it; never changed by a run. Row numbers in `layout`."""

    width: Array  # (n,) cell widths [m]
    cell: Array  # (n, N_CELL_ROWS) properties of each cell
    initial: Array  # (2, n) C=C of acrylate and methacrylate before any cure [mol m-3]
    start_concentration: Array  # (n_species, n) absorbers as weighed in [mol m-3]
    species: Array  # (n_species, N_SPECIES_ROWS)
    napierian: Array  # (n_species, n_bin) [m2/mol]
    product: Array  # (n_species, n_bin) [m2/mol]
    background: Array  # (n_bin, n) [1/m]
    scattering: Array  # (n_bin, n) reduced scattering coefficient [1/m]
    floor_reflectance: Array  # (n_bin,) share of light turned back by the nail
    photons: Array  # (n_bin,) [mol m-2 s-1]
    energy: Array  # (n_bin,) [J/mol]
    floor: Array  # (n_bin, m - n) share of leaving light turned to heat in each cell below
    thermal: Array  # (N_THERMAL_ROWS, m)
    boundary: Array  # (N_BOUNDARY,)


class State(NamedTuple):
    """What changes in time; advanced in place."""

    concentration: Array  # (n_species, n) [mol m-3]
    amine: Array  # (n,) [mol m-3]
    bonds: Array  # (2, n) C=C left [mol m-3]
    radical: Array  # (n,) [mol m-3]
    oxygen: Array  # (n,) [mol m-3]
    temperature: Array  # (m,) [K]
    stabiliser: Array  # (n,) [mol m-3]


class Work(NamedTuple):
    """Tables of the step in hand; rows in `core_rows`."""

    cell: Array  # (N_CELL, n)
    absorber: Array  # (N_ABSORBER, n_species, n)
    heat: Array  # (N_HEAT, m)
    beam: Array  # (N_BEAM, n_bin)
    light: Array  # (N_LIGHT, n + 1, n_bin)
    course: Array  # (2, 4) the last two times and values of nail bed and film (see `core_totals.note_peak`)


@compiled
def copy_state(state: State) -> State:
    """Independent copy of a state."""
    return State(
        state.concentration.copy(),
        state.amine.copy(),
        state.bonds.copy(),
        state.radical.copy(),
        state.oxygen.copy(),
        state.temperature.copy(),
        state.stabiliser.copy(),
    )


def empty_work(film: FilmArrays) -> Work:
    """Work tables of a film's size, all zero; made in Python, where NumPy's calls need no compiling."""
    n, m = film.width.size, film.thermal.shape[1]
    kinds, bins = film.species.shape[0], film.photons.size
    return Work(
        cell=np.zeros((row.N_CELL, n)),
        absorber=np.zeros((row.N_ABSORBER, kinds, n)),
        heat=np.zeros((row.N_HEAT, m)),
        beam=np.zeros((row.N_BEAM, bins)),
        light=np.zeros((row.N_LIGHT, n + 1, bins)),
        course=np.zeros((2, 4)),
    )


@compiled_piece
def fill_work(film: FilmArrays, state: State, work: Work) -> None:
    """Fill empty work tables with what a run does not change and with the start."""
    n, m = film.width.size, film.thermal.shape[1]
    kinds, bins = film.species.shape[0], film.photons.size
    cell, absorber, heat, light = work.cell, work.absorber, work.heat, work.light
    for i in range(n):
        for item in range(at.N_CELL_ROWS):
            cell[item, i] = film.cell[i, item]
        full = film.initial[0, i] + film.initial[1, i]
        cell[row.WIDTH, i], cell[row.FULL, i] = film.width[i], full
        cell[row.PER_FULL, i] = 1.0 / full if full > 0.0 else 0.0
        cell[row.BONDS_0, i], cell[row.BONDS_1, i] = state.bonds[0, i], state.bonds[1, i]
        cell[row.PAST_0, i], cell[row.PAST_1, i] = state.bonds[0, i], state.bonds[1, i]
        cell[row.PAST_OXYGEN, i] = state.oxygen[i]
        cell[row.RADICAL, i], cell[row.OXYGEN, i] = state.radical[i], state.oxygen[i]
        cell[row.PAST_RADICAL, i] = state.radical[i]
        cell[row.NEW_OXYGEN, i] = state.oxygen[i]
        cell[row.STABILISER, i] = state.stabiliser[i]
        cell[row.AMINE, i] = state.amine[i]
    for kind in range(kinds):
        for i in range(n):
            absorber[row.A_START, kind, i] = film.start_concentration[kind, i]
            absorber[row.A_NOW, kind, i] = state.concentration[kind, i]
            absorber[row.A_NEW, kind, i] = state.concentration[kind, i]
            absorber[row.A_LIT, kind, i] = -1.0
            absorber[row.A_YIELD, kind, i] = film.species[kind, at.QUANTUM_YIELD]
    for i in range(m):
        for item in range(at.N_THERMAL_ROWS):
            heat[item, i] = film.thermal[item, i]
        heat[row.NOW_K, i] = heat[row.PAST_K, i] = state.temperature[i]
        heat[row.MIDDLE_K, i] = heat[row.NEW_K, i] = state.temperature[i]
    for q in range(bins):
        for i in range(n):
            light[row.BACKGROUND, i, q] = film.background[q, i]
            light[row.SCATTERING, i, q] = film.scattering[q, i]


@compiled_piece
def accept(work: Work) -> None:
    """Make the new values the present ones."""
    cell, absorber, heat = work.cell, work.absorber, work.heat
    for i in range(cell.shape[1]):
        cell[row.PAST_0, i], cell[row.PAST_1, i] = cell[row.BONDS_0, i], cell[row.BONDS_1, i]
        cell[row.PAST_OXYGEN, i] = cell[row.OXYGEN, i]
        cell[row.BONDS_0, i], cell[row.BONDS_1, i] = cell[row.NEW_0, i], cell[row.NEW_1, i]
        cell[row.PAST_RADICAL, i] = cell[row.RADICAL, i]
        cell[row.RADICAL, i], cell[row.OXYGEN, i] = cell[row.NEW_RADICAL, i], cell[row.NEW_OXYGEN, i]
        cell[row.STABILISER, i] = cell[row.NEW_STABILISER, i]
        cell[row.AMINE, i] = cell[row.NEW_AMINE, i]
    for kind in range(absorber.shape[1]):
        for i in range(cell.shape[1]):
            absorber[row.A_NOW, kind, i] = absorber[row.A_NEW, kind, i]
    for i in range(heat.shape[1]):
        heat[row.PAST_K, i] = heat[row.NOW_K, i]
        heat[row.NOW_K, i] = heat[row.NEW_K, i]


@compiled_piece
def store_state(work: Work, state: State) -> None:
    """Hand the present values back."""
    cell, absorber, heat = work.cell, work.absorber, work.heat
    for i in range(cell.shape[1]):
        state.bonds[0, i], state.bonds[1, i] = cell[row.BONDS_0, i], cell[row.BONDS_1, i]
        state.radical[i], state.oxygen[i] = cell[row.RADICAL, i], cell[row.OXYGEN, i]
        state.amine[i], state.stabiliser[i] = cell[row.AMINE, i], cell[row.STABILISER, i]
        for kind in range(absorber.shape[1]):
            state.concentration[kind, i] = absorber[row.A_NOW, kind, i]
    for i in range(heat.shape[1]):
        state.temperature[i] = heat[row.NOW_K, i]
