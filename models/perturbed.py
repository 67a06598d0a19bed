"""A packed film under other conditions or with other material numbers, without packing it again.

A tolerance study cures one blend some thousand times, each time a little different. What differs is named by a knob and
changed in the packed arrays.

Knobs and their values (see `KNOBS`): ``film_thickness_m`` is the thickness itself, names ending in ``_ratio`` are factors,
in ``_shift_k`` are added, ``placement_fraction`` is how far a finger lies on the way to the position
before (negative) or after (positive) its own. A knob of an initiator ends in a colon and its key.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import unknown_name
from ..lamp_library.lamp import Lamp
from . import layout as at
from .assembly import gather_light
from .core_arrays import FilmArrays, State
from .formulation import CEILING_REFERENCE_K, MOBILITY_AT_CEILING
from .gel import Gel
from .grid import film_cells
from .optics import floor_heat_share, photons_in_bins
from .plain import vitrification_conversion
from .solver import SolverSettings

Array = NDArray[np.float64]
Change = Mapping[str, float]

# columns of the cell table that a factor multiplies, or to which a shift is added
_CELL_RATIOS: Mapping[str, tuple[int, ...]] = {
    "propagation_ratio": (at.KP_ACRYLATE, at.KP_METHACRYLATE),
    "termination_ratio": (at.KT,),
    "termination_decay_ratio": (at.KT_DECAY,),
    "propagation_energy_ratio": (at.EP_ACRYLATE, at.EP_METHACRYLATE),
    "termination_energy_ratio": (at.ET,),
    "reaction_diffusion_ratio": (at.REACTION_DIFFUSION,),
    "heat_of_polymerisation_ratio": (at.HEAT_ACRYLATE, at.HEAT_METHACRYLATE),
    "dibenedetto_lambda_ratio": (at.DIBENEDETTO,),
    "tg_half_width_ratio": (at.TG_HALF_WIDTH,),
    "vitrification_width_ratio": (at.SIGMOID_WIDTH,),
    "oxygen_diffusivity_ratio": (at.O2_DIFFUSIVITY,),
    "oxygen_decay_ratio": (at.O2_DECAY,),
    "oxygen_rate_ratio": (at.O2_RATE,),
    "oxygen_radicals_ratio": (at.O2_RADICALS,),
    "stabiliser_ratio": (at.STABILISER_RATE,),
    "stabiliser_radicals_ratio": (at.STABILISER_RADICALS,),
}
_CELL_SHIFTS: Mapping[str, tuple[int, ...]] = {
    "tg_monomer_shift_k": (at.TG_MONOMER,),
    "tg_polymer_shift_k": (at.TG_POLYMER,),
}
_THERMAL_RATIOS = (
    "heat_capacity_ratio",
    "conductivity_ratio",
    "nail_conductivity_ratio",
    "tissue_conductivity_ratio",
    "perfusion_ratio",
)
_OTHERS = (
    "film_thickness_m",
    "lamp_output_ratio",
    "placement_fraction",
    "hand_start_shift_k",
    "nail_thickness_ratio",
    "surface_loss_ratio",
    "oxygen_solubility_ratio",
    "pigment_absorption_ratio",
    "pigment_scattering_ratio",
    "vitrification_conversion_ratio",
)
INITIATOR_KNOBS = ("absorption_ratio", "quantum_yield_ratio", "initiation_efficiency_ratio")
RESIN_KNOBS = (*_CELL_RATIOS, *_CELL_SHIFTS)
KNOBS = (*_OTHERS, *_CELL_RATIOS, *_CELL_SHIFTS, *_THERMAL_RATIOS)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """What the packed arrays of a scenario no longer say.

    Attributes
    ----------
    absorbers : tuple of str
        Keys of the absorbing species, initiators first.
    wavelength_nm : ndarray, shape (n_bin,)
        Mean wavelength of each light bin.
    before, after : ndarray, shape (n_bin,), or None
        Photons at the neighbouring positions in the same bins [mol m-2 s-1]; None at an end of the row.
    nail_cells : int
        Thermal cells of the nail plate.
    ceiling : float
        Possible conversion of the unchanged film [-].
    """

    absorbers: tuple[str, ...]
    wavelength_nm: Array
    before: Array | None
    after: Array | None
    nail_cells: int
    ceiling: float


def surroundings(
    gel: Gel,
    lamp: Lamp,
    position: str,
    absorbers: tuple[str, ...],
    settings: SolverSettings,
    ceiling: float,
) -> Surroundings:
    """Bins and neighbouring light of a scenario; `gel` is the one its film was packed from.

    Notes
    -----
    The absorption coefficients of a bin stay those of the position itself; only its photons are mixed with a neighbour's.
    """
    light = gather_light([gel], lamp.spectrum(position), settings.light_bins)
    place = lamp.positions.index(position)

    def photons(index: int) -> Array | None:
        if not 0 <= index < len(lamp.positions):
            return None
        return photons_in_bins(lamp.spectrum(lamp.positions[index]).light(), light.bins.first_nm)

    return Surroundings(
        absorbers=absorbers,
        wavelength_nm=light.bins.wavelength_nm,
        before=photons(place - 1),
        after=photons(place + 1),
        nail_cells=settings.nail_cells,
        ceiling=ceiling,
    )


def changed(
    film: FilmArrays, state: State, around: Surroundings, change: Change
) -> tuple[FilmArrays, State, float]:
    """The film with its knobs turned, its start, and the conversion then possible.

    Parameters
    ----------
    film, state : FilmArrays, State
        Packed film and its start; not changed.
    around : Surroundings
        Its bins and neighbours.
    change : mapping of str to float
        Knob to value; knobs left out stay as they are.

    Raises
    ------
    UnknownNameError
        If a knob is not known.
    """
    _check(change, around)
    cell = film.cell.copy()
    turn_cells(cell, change)
    species, napierian, product = _absorbers(film, around, change)
    boundary = film.boundary.copy()
    boundary[at.O2_SURFACE] *= change.get("oxygen_solubility_ratio", 1.0)
    boundary[at.TOP_TRANSFER] *= change.get("surface_loss_ratio", 1.0)
    warmer = change.get("hand_start_shift_k", 0.0)
    boundary[at.BOTTOM_TEMPERATURE] += warmer
    boundary[at.BLOOD_TEMPERATURE] += warmer
    width, thermal, floor = _layers(film, around, change)
    turned = film._replace(
        width=width, cell=cell, species=species, napierian=napierian, product=product, boundary=boundary,
        thermal=thermal, floor=floor, photons=_photons(film, around, change),
        background=film.background * change.get("pigment_absorption_ratio", 1.0),
        scattering=film.scattering * change.get("pigment_scattering_ratio", 1.0),
    )  # fmt: skip
    start = state._replace(
        oxygen=state.oxygen * change.get("oxygen_solubility_ratio", 1.0),
        temperature=state.temperature + warmer,
    )
    return turned, start, possible_conversion(cell[-1], around.ceiling)


def turn_cells(cell: Array, change: Change) -> None:
    """Turn the knobs of the resin in some rows of the cell table, in place; knobs of other things are passed over.

    Parameters
    ----------
    cell : ndarray, shape (n, N_CELL_ROWS)
        Cells of one gel.
    change : mapping of str to float
        Knob to value.
    """
    for knobs, turn in ((_CELL_RATIOS, np.multiply), (_CELL_SHIFTS, np.add)):
        for knob, columns in knobs.items():
            if knob in change:
                for column in columns:
                    cell[:, column] = turn(cell[:, column], change[knob])
    if "vitrification_conversion_ratio" in change:
        _move_vitrification(cell, change["vitrification_conversion_ratio"])


def _check(change: Change, around: Surroundings) -> None:
    for knob in change:
        name, _, key = knob.partition(":")
        if (key and (name not in INITIATOR_KNOBS or key not in around.absorbers)) or (
            not key and name not in KNOBS
        ):
            raise unknown_name("knob", knob, KNOBS)


def _absorbers(film: FilmArrays, around: Surroundings, change: Change) -> tuple[Array, Array, Array]:
    species, napierian, product = film.species.copy(), film.napierian.copy(), film.product.copy()
    for row, key in enumerate(around.absorbers):
        turn_absorber(species[row], napierian[row], product[row], key, change)
    return species, napierian, product


def turn_absorber(species: Array, napierian: Array, product: Array, key: str, change: Change) -> None:
    """Turn the knobs of one initiator in its rows of the packed arrays, in place."""
    scale = change.get(f"absorption_ratio:{key}", 1.0)
    napierian *= scale
    product *= scale
    # no more than one molecule is lost per photon, whatever the error says
    most = max(1.0, species[at.QUANTUM_YIELD])
    species[at.QUANTUM_YIELD] = min(
        species[at.QUANTUM_YIELD] * change.get(f"quantum_yield_ratio:{key}", 1.0), most
    )
    species[at.RADICALS_PER_LOSS] *= change.get(f"initiation_efficiency_ratio:{key}", 1.0)


def _photons(film: FilmArrays, around: Surroundings, change: Change) -> Array:
    """Photons with the finger on the way to a neighbour; at an end of the row there is none to go to."""
    share = change.get("placement_fraction", 0.0)
    beside = around.before if share < 0.0 else around.after
    photons = film.photons if beside is None else (1.0 - abs(share)) * film.photons + abs(share) * beside
    return np.asarray(photons * change.get("lamp_output_ratio", 1.0))


def _layers(film: FilmArrays, around: Surroundings, change: Change) -> tuple[Array, Array, Array]:
    """Film cells, thermal table and the share of light that heats what lies below."""
    thermal, count, floor = film.thermal.copy(), film.width.size, film.floor
    width = film.width
    if "film_thickness_m" in change:
        width = film_cells(
            change["film_thickness_m"], count
        ).copy()  # read-only ones would have the core compiled anew
        thermal[at.T_WIDTH, :count] = width
    nail = slice(count, count + around.nail_cells)
    tissue = slice(count + around.nail_cells, None)
    thermal[at.T_CAPACITY_0 : at.T_CAPACITY_1 + 1, :count] *= change.get("heat_capacity_ratio", 1.0)
    thermal[at.T_CONDUCTIVITY, :count] *= change.get("conductivity_ratio", 1.0)
    thermal[at.T_CONDUCTIVITY, nail] *= change.get("nail_conductivity_ratio", 1.0)
    thermal[at.T_CONDUCTIVITY, tissue] *= change.get("tissue_conductivity_ratio", 1.0)
    thermal[at.T_PERFUSION, tissue] *= change.get("perfusion_ratio", 1.0)
    if "nail_thickness_ratio" in change:
        thermal[at.T_WIDTH, nail] *= change["nail_thickness_ratio"]
        floor = floor_heat_share(around.wavelength_nm, thermal[at.T_WIDTH, count:], around.nail_cells)
    return width, thermal, floor


def _move_vitrification(cell: Array, factor: float) -> None:
    """The half width that puts vitrification at the reference temperature where it is wanted; nothing without a glass."""
    monomer, polymer, ratio = cell[:, at.TG_MONOMER], cell[:, at.TG_POLYMER], cell[:, at.DIBENEDETTO]
    for i in np.flatnonzero(cell[:, at.VITRIFICATION_MODE] == 1.0):
        reference_k = cell[i, at.T_REF]
        stop = vitrification_conversion(
            reference_k, monomer[i], polymer[i], ratio[i], cell[i, at.TG_HALF_WIDTH]
        )
        wanted = factor * stop
        share = ratio[i] * wanted / (1.0 - (1.0 - ratio[i]) * wanted)
        cell[i, at.TG_HALF_WIDTH] = monomer[i] + share * (polymer[i] - monomer[i]) - reference_k


def possible_conversion(cell: Array, without_glass: float) -> float:
    """Possible conversion of one row of the cell table (see `formulation.ResinBase`); as given where there is no glass."""
    if cell[at.VITRIFICATION_MODE] != 1.0:
        return without_glass
    stop = vitrification_conversion(
        CEILING_REFERENCE_K,
        cell[at.TG_MONOMER],
        cell[at.TG_POLYMER],
        cell[at.DIBENEDETTO],
        cell[at.TG_HALF_WIDTH],
    )
    creep = cell[at.SIGMOID_WIDTH] * np.log(1.0 / MOBILITY_AT_CEILING - 1.0)
    return float(min(max(stop + creep, 0.0), 1.0))
