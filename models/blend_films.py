"""The film of a blend in a fixed setting: packed once with every substance present, then filled in blend by blend.

Everything that does not depend on the blend (light, kinetics, layers, schedule) is packed once; a blend only fills in
concentrations. Absorbers that a blend does not hold are left out of its light calculation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from .core_arrays import FilmArrays, State
from .cure import CureCase, film_model, schedule
from .formulation import gel_density_kg_m3, gel_resin, mix_resins
from .gel import Gel
from .materials import amine, photoinitiator
from .packing import pack
from .perturbed import Change, Surroundings, changed, surroundings
from .sensitisers import book_transfer, pairs_among
from .solver import SolverSettings, segment_rows

Array = NDArray[np.float64]
Rows = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class PackedSetting:
    """One setting packed once: the film with every substance present, its start and its schedule."""

    film: FilmArrays
    state: State
    segments: Array
    resin_share: float
    ceiling: float

    def under(self, around: Surroundings, change: Change) -> PackedSetting:
        """The same setting under other conditions (see `perturbed`)."""
        film, state, ceiling = changed(self.film, self.state, around, change)
        return replace(self, film=film, state=state, ceiling=ceiling)


class BlendFilms:
    """Films of blends of initiators and amines in one resin base.

    Parameters
    ----------
    gel : Gel
        Resin base, stabilisers and pigments; its own initiators and amines are ignored.
    initiators, amines : sequence of str
        Substances that may be in a blend, in the order of a loading row.

    Notes
    -----
    The density of the gel is that of its resin base and pigments.
    """

    def __init__(self, gel: Gel, initiators: Sequence[str], amines: Sequence[str]) -> None:
        self.initiators, self.amines = tuple(initiators), tuple(amines)
        density = gel_density_kg_m3(gel, mix_resins(gel.resin_parts).density_kg_m3)
        masses = [photoinitiator(key).molar_mass_kg_mol for key in initiators] + [
            amine(key).molar_mass_kg_mol for key in amines
        ]
        self._mol_m3_per_wt_pct = np.array([0.01 * density / mass for mass in masses])
        self._fixed_wt_pct = sum(gel.stabilisers_wt_pct.values()) + sum(gel.pigments_wt_pct.values())
        self._own_pairs = dict(gel.sensitiser_pairs)
        self._absorbing_amines = [key for key in amines if amine(key).absorption is not None]
        # Small equal amounts, so that every substance has its row; the blend overwrites them.
        # Energy transfer depends on the blend, so the packed film holds none.
        plain = replace(gel, sensitiser_pairs={})
        self.gel_of_all = plain.with_initiators(dict.fromkeys(initiators, 0.01), dict.fromkeys(amines, 0.01))

    def packed(self, case: CureCase, settings: SolverSettings) -> PackedSetting:
        """A setting, its gel being `gel_of_all`."""
        film, state = pack(film_model(case, settings))
        ceiling = gel_resin(case.gel).conversion_ceiling_fraction()
        share = case.gel.resin_base_wt_pct / 100.0
        return PackedSetting(film, state, segment_rows(schedule(case)), share, ceiling)

    def surroundings(self, case: CureCase, settings: SolverSettings, packed: PackedSetting) -> Surroundings:
        """Light beside a setting."""
        absorbers = (*self.initiators, *self._absorbing_amines)
        return surroundings(case.gel, case.lamp, case.lamp_position, absorbers, settings, packed.ceiling)

    def checked(self, loadings_wt_pct: Array) -> Array:
        """Loadings of blends, shape (n_blend, n_substance) [wt%].

        Raises
        ------
        InputError
            If a loading is negative, not finite, or a blend leaves no resin.
        """
        loadings = np.asarray(loadings_wt_pct, dtype=np.float64)
        wanted = len(self.initiators) + len(self.amines)
        if loadings.ndim != 2 or loadings.shape[1] != wanted:
            raise InputError(
                f"loadings: shape is {loadings.shape}; it must be (blends, {wanted}), initiators then amines."
            )
        if not np.all(np.isfinite(loadings)) or np.any(loadings < 0.0):
            raise InputError(
                "loadings: a value is negative or not a finite number; loadings are wt% of 0 or more."
            )
        if np.any(loadings.sum(axis=1) + self._fixed_wt_pct >= 100.0):
            raise InputError("loadings: a blend adds up to 100 wt% or more; nothing is left for the resin.")
        return loadings

    def film(self, loading_wt_pct: Array, packed: PackedSetting) -> tuple[FilmArrays, State, Rows]:
        """Film and start of one blend; the rows of the initiators it holds."""
        concentration = loading_wt_pct * self._mol_m3_per_wt_pct
        count, initiators = packed.film.width.size, len(self.initiators)
        absorbing = np.concatenate(
            [
                concentration[:initiators],
                [concentration[initiators + self.amines.index(key)] for key in self._absorbing_amines],
            ]
        )
        rows = np.flatnonzero(absorbing > 0.0)
        start = np.repeat(absorbing[rows, None], count, axis=1)
        share = (1.0 - 0.01 * (loading_wt_pct.sum() + self._fixed_wt_pct)) / packed.resin_share
        napierian, product = self._absorption(
            packed, rows, absorbing, float(concentration[initiators:].sum())
        )
        film = packed.film._replace(
            initial=packed.film.initial * share,
            start_concentration=start,
            species=np.ascontiguousarray(packed.film.species[rows]),
            napierian=np.ascontiguousarray(napierian),
            product=np.ascontiguousarray(product),
        )
        state = State(
            start.copy(),
            np.full(count, concentration[initiators:].sum()),
            film.initial.copy(),
            packed.state.radical.copy(),
            packed.state.oxygen.copy(),
            packed.state.temperature.copy(),
            packed.state.stabiliser.copy(),
        )
        return film, state, rows

    def _absorption(
        self, packed: PackedSetting, rows: Rows, absorbing: Array, amine_mol_m3: float
    ) -> tuple[Array, Array]:
        """Absorption of the substances a blend holds, with light that one hands on to another booked to the other."""
        napierian, product = packed.film.napierian[rows], packed.film.product[rows]
        keys = [self.initiators[row] for row in rows if row < len(self.initiators)]
        pairs = pairs_among(keys, self._own_pairs)
        if not any(pair.efficiency_fraction > 0.0 for pair in pairs):
            return napierian, product
        return book_transfer(pairs, keys, absorbing[rows], amine_mol_m3, napierian, product)

    def left_wt_pct(self, width: Array, state: State, rows: Rows) -> Array:
        """Initiator left in the film of a blend, its mean over the film, shape (n_initiator,) [wt%]."""
        left = state.concentration @ width / width.sum()
        found = np.zeros(len(self.initiators))
        for row, kind in enumerate(rows):
            if kind < found.size:
                found[kind] = left[row] / self._mol_m3_per_wt_pct[kind]
        return found
