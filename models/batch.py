"""Many blends of one resin base in a few fixed settings: the fast path of the search.

Everything that does not depend on the blend (light, kinetics, layers, schedule) is packed once per setting; a blend only
fills in concentrations. Absorbers that a blend does not hold are left out of its light calculation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from . import layout as at
from .balanced import solve_balanced
from .core_arrays import FilmArrays, State
from .core_totals import bottom_value, depth_reaching, surface_mean
from .cure import (
    SURFACE_SHARE,
    TACKY_BELOW_FRACTION,
    CureCase,
    film_model,
    heat_ratio,
    schedule,
)
from .formulation import gel_density_kg_m3, gel_resin, mix_resins
from .gel import Gel
from .heat import Hand
from .materials import amine, photoinitiator
from .packing import pack
from .perturbed import Change, Surroundings, changed, surroundings
from .sensitisers import book_transfer, pairs_among
from .solver import SolverSettings, control_row, run_parallel, segment_rows, solve_packed

Array = NDArray[np.float64]
REMEMBERED = 16  # blends whose time steps are kept, so that their neighbours can repeat them
Rows = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scenario:
    """One setting a blend must stand: lamp position, thickness, programme, hand.

    Attributes
    ----------
    lamp, position, programme : Lamp, str, str
        Light.
    thickness_m, exposure_s, rest_s : float
        Film [m]; lit and dark time of one cycle [s].
    cycles : int
        Exposures; 2 gives the second-cycle heat.
    hand : Hand
        Nail, tissue, start temperature.
    """

    lamp: Lamp
    position: str
    thickness_m: float
    exposure_s: float
    programme: str = "steady"
    cycles: int = 2
    rest_s: float = 60.0
    hand: Hand = field(default_factory=Hand)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlendFigures:
    """Figures of blends in scenarios; arrays of shape (n_blend, n_scenario) unless said otherwise.

    Attributes
    ----------
    bottom_conversion_fraction, surface_conversion_fraction, mean_conversion_fraction : ndarray
        Conversion after the last rest [-].
    uncured_layer_m : ndarray
        Tacky layer [m].
    film_peak_k, nail_bed_peak_k : ndarray
        Hottest film and nail bed [K].
    cem43_min, damage_henriques, damage_weaver_stoll : ndarray
        Dose [min] and damage band [-] at the nail bed.
    second_cycle_heat_ratio : ndarray
        Second-cycle heat over the first [-]; 0 in scenarios of one cycle.
    conversion_ceiling_fraction : ndarray, shape (n_scenario,)
        Conversion possible in a film at 33 C [-]; shape (n_blend, n_scenario) where each blend met conditions of its own.
    residual_initiator_wt_pct : ndarray, shape (n_blend, n_scenario, n_initiator)
        Initiator left, film mean [wt%].
    """

    bottom_conversion_fraction: Array
    surface_conversion_fraction: Array
    mean_conversion_fraction: Array
    uncured_layer_m: Array
    film_peak_k: Array
    nail_bed_peak_k: Array
    cem43_min: Array
    damage_henriques: Array
    damage_weaver_stoll: Array
    second_cycle_heat_ratio: Array
    conversion_ceiling_fraction: Array
    residual_initiator_wt_pct: Array

    def blends(self, start: int, stop: int) -> BlendFigures:
        """The figures of some of the blends."""
        return BlendFigures(
            **{
                item.name: getattr(self, item.name)
                if item.name == "conversion_ceiling_fraction"
                else getattr(self, item.name)[start:stop]
                for item in fields(self)
            }
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Template:
    """A scenario packed once: the film with every substance present, its start and its schedule."""

    film: FilmArrays
    state: State
    segments: Array
    resin_share: float
    ceiling: float


_SCALARS = tuple(
    item.name
    for item in fields(BlendFigures)
    if item.name not in ("conversion_ceiling_fraction", "residual_initiator_wt_pct")
)


class BlendEvaluator:
    """Cures blends of initiators and amines in one resin base.

    Parameters
    ----------
    gel : Gel
        Resin base and stabilisers; its own initiators and amines are ignored.
    initiators, amines : sequence of str
        Substances that may be in a blend; a loading row gives initiators first, then amines [wt%].
    scenarios : sequence of Scenario
        Settings every blend is cured in.
    settings : SolverSettings, optional
        Accuracy.
    workers : int, optional
        Threads; default all cores.

    Notes
    -----
    Results do not depend on the number of threads. The density of the gel is that of its resin base and pigments.
    """

    def __init__(
        self,
        gel: Gel,
        initiators: Sequence[str],
        amines: Sequence[str],
        scenarios: Sequence[Scenario],
        *,
        settings: SolverSettings | None = None,
        workers: int | None = None,
    ) -> None:
        """Pack every scenario once."""
        if not initiators or not scenarios:
            raise InputError("blend evaluator: give at least one initiator and one scenario.")
        self.initiators, self.amines, self.scenarios = tuple(initiators), tuple(amines), tuple(scenarios)
        self.simulations = 0
        self._workers = workers
        self._settings = settings or SolverSettings()
        self._control = control_row(self._settings)
        density = gel_density_kg_m3(gel, mix_resins(gel.resin_parts).density_kg_m3)
        masses = [photoinitiator(key).molar_mass_kg_mol for key in initiators] + [
            amine(key).molar_mass_kg_mol for key in amines
        ]
        self._mol_m3_per_wt_pct = np.array([0.01 * density / mass for mass in masses])
        self._fixed_wt_pct = sum(gel.stabilisers_wt_pct.values()) + sum(gel.pigments_wt_pct.values())
        self._own_pairs = dict(gel.sensitiser_pairs)
        # Small equal amounts, so that every substance has its row; the blend overwrites them.
        # Energy transfer depends on the blend, so the template holds none.
        plain = replace(gel, sensitiser_pairs={})
        full = plain.with_initiators(dict.fromkeys(initiators, 0.01), dict.fromkeys(amines, 0.01))
        self._absorbing_amines = [key for key in amines if amine(key).absorption is not None]
        self._full = full
        self._templates = [self._template(full, scenario) for scenario in scenarios]
        self._around: list[Surroundings] | None = None
        self._last: dict[bytes, list[tuple[Array, Array, Array]]] = {}

    def _template(self, gel: Gel, scenario: Scenario) -> _Template:
        case = CureCase(
            gel=gel,
            lamp=scenario.lamp,
            exposure_s=scenario.exposure_s,
            position=scenario.position,
            thickness_m=scenario.thickness_m,
            programme=scenario.programme,
            cycles=scenario.cycles,
            rest_s=scenario.rest_s,
            hand=scenario.hand,
        )
        film, state = pack(film_model(case, self._settings))
        ceiling = gel_resin(gel).conversion_ceiling_fraction()
        return _Template(film, state, segment_rows(schedule(case)), gel.resin_base_wt_pct / 100.0, ceiling)

    def __call__(self, loadings_wt_pct: Array) -> BlendFigures:
        """Cure every blend in every scenario.

        Parameters
        ----------
        loadings_wt_pct : ndarray, shape (n_blend, n_substance)
            Loadings, initiators then amines [wt% of the gel].

        Returns
        -------
        BlendFigures

        Raises
        ------
        InputError
            If a loading is negative, not finite, or a blend leaves no resin.
        """
        loadings = self._checked(loadings_wt_pct)
        blends, scenarios = loadings.shape[0], len(self.scenarios)

        def one(index: int) -> tuple[Array, Array, Array]:
            return self._run(loadings[index // scenarios], index % scenarios, None)

        rows = run_parallel(one, blends * scenarios, self._workers)
        self.simulations += len(rows)
        for blend in range(max(blends - REMEMBERED, 0), blends):
            self._keep(loadings[blend].tobytes(), rows[blend * scenarios : (blend + 1) * scenarios])
        return self._gather([row[:2] for row in rows], blends)

    def with_jacobian(
        self,
        loadings_wt_pct: Array,
        step_wt_pct: Array | float,
        *,
        columns: Sequence[int] | None = None,
        scenarios: Sequence[int] | None = None,
    ) -> tuple[BlendFigures, BlendFigures]:
        """Figures of a blend and of its forward neighbours, for finite differences.

        The neighbours repeat the time steps of the blend, so that their difference is smooth to rounding. The blend
        itself is not simulated again if it was among the last few.

        Parameters
        ----------
        loadings_wt_pct : ndarray, shape (n_substance,)
            The blend [wt%].
        step_wt_pct : float or ndarray, shape (n_substance,)
            Step of each loading [wt%]; may be negative, never 0.
        columns : sequence of int, optional
            Substances to step; all if left out.
        scenarios : sequence of int, optional
            Scenarios in which neighbours are simulated; in the others they get the figures of the blend.

        Returns
        -------
        tuple of BlendFigures
            The blend (leading axis 1) and its neighbours, one for each column.
        """
        point = self._checked(np.asarray(loadings_wt_pct, dtype=np.float64)[None, :])[0]
        chosen = list(range(point.size)) if columns is None else list(columns)
        where = list(range(len(self.scenarios))) if scenarios is None else list(scenarios)
        steps = np.diag(np.broadcast_to(np.asarray(step_wt_pct, dtype=np.float64), point.shape))[chosen]
        neighbours = self._checked(point[None, :] + steps)
        base = self._remembered(point)

        def one(index: int) -> tuple[Array, Array, Array]:
            scenario = where[index % len(where)]
            return self._run(neighbours[index // len(where)], scenario, base[scenario][2])

        stepped = run_parallel(one, len(chosen) * len(where), self._workers)
        self.simulations += len(stepped)
        rows = [row[:2] for _ in chosen for row in base]
        for index, row in enumerate(stepped):
            rows[(index // len(where)) * len(self.scenarios) + where[index % len(where)]] = row[:2]
        return self._gather([row[:2] for row in base], 1), self._gather(rows, len(chosen))

    def _remembered(self, point: Array) -> list[tuple[Array, Array, Array]]:
        """Results of one blend in every scenario with its time steps, simulated unless still known."""
        key = point.tobytes()
        if key not in self._last:
            self._keep(
                key,
                run_parallel(lambda index: self._run(point, index, None), len(self.scenarios), self._workers),
            )
            self.simulations += len(self.scenarios)
        return self._last[key]

    def forget(self) -> None:
        """Drop the blends whose time steps are kept."""
        self._last.clear()

    def _keep(self, key: bytes, rows: list[tuple[Array, Array, Array]]) -> None:
        self._last[key] = rows
        while len(self._last) > REMEMBERED:
            self._last.pop(next(iter(self._last)))

    def under(self, loadings_wt_pct: Array, changes: Sequence[Change]) -> BlendFigures:
        """Figures of blends, each under conditions of its own.

        Parameters
        ----------
        loadings_wt_pct : ndarray, shape (n_blend, n_substance)
            Loadings [wt% of the gel].
        changes : sequence of mapping, length n_blend
            What differs from the scenarios for each blend (see `perturbed`).
        """
        loadings = self._checked(loadings_wt_pct)
        scenarios, around = len(self.scenarios), self._surroundings()
        ceilings = np.zeros((len(loadings), scenarios))

        def one(index: int) -> tuple[Array, Array]:
            blend, scenario = divmod(index, scenarios)
            packed = self._templates[scenario]
            film, state, ceiling = changed(packed.film, packed.state, around[scenario], changes[blend])
            ceilings[blend, scenario] = ceiling
            template = _Template(film, state, packed.segments, packed.resin_share, ceiling)
            return self._run(loadings[blend], scenario, None, template)[:2]

        rows = run_parallel(one, len(loadings) * scenarios, self._workers)
        self.simulations += len(rows)
        return replace(self._gather(rows, len(loadings)), conversion_ceiling_fraction=ceilings)

    def _surroundings(self) -> list[Surroundings]:
        """Light beside each scenario, worked out when first asked for."""
        if self._around is None:
            absorbers = (*self.initiators, *self._absorbing_amines)
            self._around = [
                surroundings(
                    self._full, each.lamp, each.position, absorbers, self._settings, template.ceiling
                )
                for each, template in zip(self.scenarios, self._templates, strict=True)
            ]
        return self._around

    def _checked(self, loadings_wt_pct: Array) -> Array:
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

    def _film(self, loading: Array, template: _Template) -> tuple[FilmArrays, State, Rows]:
        """Film and start of one blend; the rows of the initiators it holds."""
        concentration = loading * self._mol_m3_per_wt_pct
        count, initiators = template.film.width.size, len(self.initiators)
        absorbing = np.concatenate(
            [
                concentration[:initiators],
                [concentration[initiators + self.amines.index(key)] for key in self._absorbing_amines],
            ]
        )
        rows = np.flatnonzero(absorbing > 0.0)
        start = np.repeat(absorbing[rows, None], count, axis=1)
        share = (1.0 - 0.01 * (loading.sum() + self._fixed_wt_pct)) / template.resin_share
        napierian, product = self._absorption(
            template, rows, absorbing, float(concentration[initiators:].sum())
        )
        film = template.film._replace(
            initial=template.film.initial * share,
            start_concentration=start,
            species=np.ascontiguousarray(template.film.species[rows]),
            napierian=np.ascontiguousarray(napierian),
            product=np.ascontiguousarray(product),
        )
        state = State(
            start.copy(),
            np.full(count, concentration[initiators:].sum()),
            film.initial.copy(),
            template.state.radical.copy(),
            template.state.oxygen.copy(),
            template.state.temperature.copy(),
        )
        return film, state, rows

    def _absorption(
        self, template: _Template, rows: Rows, absorbing: Array, amine_mol_m3: float
    ) -> tuple[Array, Array]:
        """Absorption of the substances a blend holds, with light that one hands on to another booked to the other."""
        napierian, product = template.film.napierian[rows], template.film.product[rows]
        keys = [self.initiators[row] for row in rows if row < len(self.initiators)]
        pairs = pairs_among(keys, self._own_pairs)
        if not any(pair.efficiency_fraction > 0.0 for pair in pairs):
            return napierian, product
        return book_transfer(pairs, keys, absorbing[rows], amine_mol_m3, napierian, product)

    def _run(
        self, loading: Array, scenario: int, replay: Array | None, template: _Template | None = None
    ) -> tuple[Array, Array, Array]:
        """Scalars, residual initiator [wt%] and time steps of one blend in one scenario, or in a template of its own."""
        template = template or self._templates[scenario]
        film, state, rows = self._film(loading, template)
        what = f"blend in {self.scenarios[scenario].lamp.lamp_id}"
        if replay is None:
            solution = solve_balanced(
                film, state, template.segments, self._settings, what, record=False, keep_steps=True
            )
        else:  # its steps are those of a run that balances
            solution = solve_packed(
                film, state, template.segments, self._control, record=False, replay=replay
            )
        profile, width, totals = solution.conversion_fraction, film.width, solution.totals
        ratio = heat_ratio(solution.cycle_heat_j_m2) if self.scenarios[scenario].cycles > 1 else 0.0
        scalars = np.array(
            [
                bottom_value(width, profile),
                surface_mean(width, profile, SURFACE_SHARE),
                width @ profile / width.sum(),
                depth_reaching(width, profile, TACKY_BELOW_FRACTION),
                totals[at.PEAK_FILM],
                totals[at.PEAK_BED],
                totals[at.CEM43],
                totals[at.OMEGA_HENRIQUES],
                totals[at.OMEGA_WEAVER_STOLL],
                ratio,
            ]
        )
        residual = np.zeros(len(self.initiators))
        left = solution.state.concentration @ width / width.sum()
        for row, kind in enumerate(rows):
            if kind < residual.size:
                residual[kind] = left[row] / self._mol_m3_per_wt_pct[kind]
        return scalars, residual, solution.steps_s

    def _gather(self, rows: list[tuple[Array, Array]], blends: int) -> BlendFigures:
        scenarios = len(self.scenarios)
        scalars = np.array([row[0] for row in rows]).reshape(blends, scenarios, len(_SCALARS))
        residual = np.array([row[1] for row in rows]).reshape(blends, scenarios, len(self.initiators))
        return BlendFigures(
            **{name: scalars[:, :, column] for column, name in enumerate(_SCALARS)},
            conversion_ceiling_fraction=np.array([template.ceiling for template in self._templates]),
            residual_initiator_wt_pct=residual,
        )
