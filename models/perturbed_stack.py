"""A packed stack of coats whose gels have other material numbers: `perturbed` coat by coat, without packing it again.

Only what belongs to a gel is turned here: its resin, its initiators, its pigments, oxygen dissolved in it. What belongs to the
hand, the lamp, the thickness or the weighing is changed where it is given, in the schedule and the lamp.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..lamp_library.errors import unknown_name
from . import layout as at
from .assembly import CoatCells, InitiatorId, initiator_id
from .core_arrays import FilmArrays, State
from .perturbed import INITIATOR_KNOBS, RESIN_KNOBS, Change, turn_absorber, turn_cells

GEL_KNOBS = (
    *RESIN_KNOBS,
    "heat_capacity_ratio",
    "conductivity_ratio",
    "oxygen_solubility_ratio",
    "pigment_absorption_ratio",
    "pigment_scattering_ratio",
    "vitrification_conversion_ratio",
)
Changes = Mapping[str, Change]


def changed_stack(
    film: FilmArrays,
    state: State,
    coats: Sequence[CoatCells],
    initiator_ids: Sequence[InitiatorId],
    changes: Changes,
) -> tuple[FilmArrays, State]:
    """Coats with the knobs of their gels turned.

    Parameters
    ----------
    film, state : FilmArrays, State
        Packed fresh coats and their start; not changed.
    coats : sequence of CoatCells
        From the air side down.
    initiator_ids : sequence of InitiatorId
        The first of the absorbers, in their order.
    changes : mapping of str to mapping of str to float
        Name of a gel to its knobs (see `GEL_KNOBS` and `perturbed.INITIATOR_KNOBS`); gels left out stay as they are.

    Returns
    -------
    tuple of FilmArrays, State

    Raises
    ------
    UnknownNameError
        If a knob is none of a gel.

    Notes
    -----
    An initiator that two gels share is one substance with one error: the knobs of the topmost gel that holds it count. Oxygen
    at the surface is that which the topmost gel dissolves.
    """
    for change in changes.values():
        for knob in change:
            if knob not in GEL_KNOBS and knob.partition(":")[0] not in INITIATOR_KNOBS:
                raise unknown_name("knob of a gel", knob, (*GEL_KNOBS, *INITIATOR_KNOBS))
    cell, thermal, boundary = film.cell.copy(), film.thermal.copy(), film.boundary.copy()
    background, scattering, oxygen = film.background.copy(), film.scattering.copy(), state.oxygen.copy()
    first = 0
    for coat in coats:
        own, first = slice(first, first + coat.width_m.size), first + coat.width_m.size
        change = changes.get(coat.gel.name, {})
        turn_cells(cell[own], change)
        thermal[at.T_CAPACITY_0 : at.T_CAPACITY_1 + 1, own] *= change.get("heat_capacity_ratio", 1.0)
        thermal[at.T_CONDUCTIVITY, own] *= change.get("conductivity_ratio", 1.0)
        oxygen[own] *= change.get("oxygen_solubility_ratio", 1.0)
        background[:, own] *= change.get("pigment_absorption_ratio", 1.0)
        scattering[:, own] *= change.get("pigment_scattering_ratio", 1.0)
    boundary[at.O2_SURFACE] *= changes.get(coats[0].gel.name, {}).get("oxygen_solubility_ratio", 1.0)
    species, napierian, product = film.species.copy(), film.napierian.copy(), film.product.copy()
    for row, name in enumerate(initiator_ids):
        key = name[0]
        holds = (
            coat.gel
            for coat in coats
            if key in coat.gel.initiators_wt_pct and initiator_id(coat.gel, key) == name
        )
        gel = next(holds, None)
        if gel is not None:
            turn_absorber(species[row], napierian[row], product[row], key, changes.get(gel.name, {}))
    turned = film._replace(
        cell=cell, thermal=thermal, boundary=boundary, background=background, scattering=scattering,
        species=species, napierian=napierian, product=product,
    )  # fmt: skip
    return turned, state._replace(oxygen=np.asarray(oxygen))
