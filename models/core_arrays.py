"""What the compiled core works on, as named tuples of arrays (n film cells, m thermal cells, n_bin light bins)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled

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


class Conduction(NamedTuple):
    """Conduction matrix of a film: fixed parts, and the parts each step fills in."""

    capacity: Array  # (m,) [J m-2 K-1]
    conductance: Array  # (m,) between cell i and i + 1 [W m-2 K-1]
    exchange: Array  # (m,) with air, fixed faces and blood [W m-2 K-1]
    exchange_k: Array  # (m,) [K]
    source: Array  # (m,) [W m-2]
    stage: Array  # (m,) [K]
    work: Array  # (2, m)


class Scratch(NamedTuple):
    """Values of the step in hand."""

    full: Array  # (n,) C=C before any cure [mol m-3]
    uptake: Array  # (n_species, n) [1/s]
    light_heat: Array  # (n,) [W m-2]
    leaving: Array  # (n_bin,) downwards, into the nail [mol m-2 s-1]
    reflected: Array  # (n_bin,) back to the air [mol m-2 s-1]
    flux: Array  # (6, n + 1) work space of the two-flux light
    lost: Array  # (n_species, n) [mol m-3]
    lit: Array  # (n_species, n) concentrations of the last light calculation; -1 = none yet
    yield_: Array  # (n_species, n) molecules lost per photon absorbed
    made: Array  # (n,) radicals formed in the step [mol m-3]
    formation: Array  # (n,) [mol m-3 s-1]
    base_loss: Array  # (n,) [1/s]
    oxygen_rate: Array  # (n,) [m3 mol-1 s-1]
    per_oxygen: Array  # (n,) radicals lost per O2
    loss: Array  # (2, n) loss coefficients of acrylate, methacrylate [m3 mol-1 s-1]
    termination: Array  # (n,) [m3 mol-1 s-1]
    alive: Array  # (n,) part of the step in which radicals live [s]
    oxygen_loss: Array  # (n,) first-order loss of radicals to oxygen while they live [1/s]
    integral: Array  # (n,) integral of R over the step [mol s m-3]
    alive_integral: Array  # (n,) the part of it after stored oxygen ran out [mol s m-3]
    faces: Array  # (n + 1,) oxygen conductance [m/s]
    oxygen_work: Array  # (2, n)
    first_bonds: Array  # (2, n) result of the first pass
    first_temperature: Array  # (m,)


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
    )


@compiled
def assign_state(target: State, source: State) -> None:
    """Overwrite one state with another."""
    target.concentration[:, :] = source.concentration
    target.amine[:] = source.amine
    target.bonds[:, :] = source.bonds
    target.radical[:] = source.radical
    target.oxygen[:] = source.oxygen
    target.temperature[:] = source.temperature


@compiled
def new_scratch(film: FilmArrays) -> Scratch:
    """Scratch arrays of the right shapes for a film."""
    n, m = film.width.size, film.thermal.shape[1]
    kinds, bins = film.species.shape[0], film.photons.size
    return Scratch(
        film.initial[0] + film.initial[1],
        np.zeros((kinds, n)),
        np.zeros(n),
        np.zeros(bins),
        np.zeros(bins),
        np.zeros((6, n + 1)),
        np.zeros((kinds, n)),
        np.full((kinds, n), -1.0),
        np.zeros((kinds, n)),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros((2, n)),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n + 1),
        np.zeros((2, n)),
        np.zeros((2, n)),
        np.zeros(m),
    )
