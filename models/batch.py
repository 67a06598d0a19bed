"""Many blends of one resin base in a few fixed settings: the fast path of the search.

Each setting is packed once, a blend is filled into it (`blend_films`), and the films run in parallel threads.
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
from .blend_films import BlendFilms, PackedSetting
from .core_totals import bottom_value, depth_reaching, surface_mean
from .cure import SURFACE_SHARE, TACKY_BELOW_FRACTION, CureCase, heat_ratio
from .gel import Gel
from .heat import Hand
from .perturbed import Change, Surroundings
from .solver import SolverSettings, control_row, run_parallel, solve_packed

Array = NDArray[np.float64]
REMEMBERED = 16  # blends whose time steps are kept, so that their neighbours can repeat them


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
        self._films = BlendFilms(gel, initiators, amines)
        self._cases = [self._case(scenario) for scenario in scenarios]
        self._packed = [self._films.packed(case, self._settings) for case in self._cases]
        self._around: list[Surroundings] | None = None
        self._last: dict[bytes, list[tuple[Array, Array, Array]]] = {}

    def _case(self, scenario: Scenario) -> CureCase:
        return CureCase(
            gel=self._films.gel_of_all,
            lamp=scenario.lamp,
            exposure_s=scenario.exposure_s,
            position=scenario.position,
            thickness_m=scenario.thickness_m,
            programme=scenario.programme,
            cycles=scenario.cycles,
            rest_s=scenario.rest_s,
            hand=scenario.hand,
        )

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
        loadings = self._films.checked(loadings_wt_pct)
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
        point = self._films.checked(np.asarray(loadings_wt_pct, dtype=np.float64)[None, :])[0]
        chosen = list(range(point.size)) if columns is None else list(columns)
        where = list(range(len(self.scenarios))) if scenarios is None else list(scenarios)
        steps = np.diag(np.broadcast_to(np.asarray(step_wt_pct, dtype=np.float64), point.shape))[chosen]
        neighbours = self._films.checked(point[None, :] + steps)
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
        loadings = self._films.checked(loadings_wt_pct)
        scenarios, around = len(self.scenarios), self._surroundings()
        ceilings = np.zeros((len(loadings), scenarios))

        def one(index: int) -> tuple[Array, Array]:
            blend, scenario = divmod(index, scenarios)
            packed = self._packed[scenario].under(around[scenario], changes[blend])
            ceilings[blend, scenario] = packed.ceiling
            return self._run(loadings[blend], scenario, None, packed)[:2]

        rows = run_parallel(one, len(loadings) * scenarios, self._workers)
        self.simulations += len(rows)
        return replace(self._gather(rows, len(loadings)), conversion_ceiling_fraction=ceilings)

    def _surroundings(self) -> list[Surroundings]:
        """Light beside each scenario, worked out when first asked for."""
        if self._around is None:
            self._around = [
                self._films.surroundings(case, self._settings, packed)
                for case, packed in zip(self._cases, self._packed, strict=True)
            ]
        return self._around

    def _run(
        self, loading: Array, scenario: int, replay: Array | None, packed: PackedSetting | None = None
    ) -> tuple[Array, Array, Array]:
        """Scalars, residual initiator [wt%] and time steps of one blend in one scenario, or in a setting of its own."""
        packed = packed or self._packed[scenario]
        film, state, rows = self._films.film(loading, packed)
        what = f"blend in {self.scenarios[scenario].lamp.lamp_id}"
        if replay is None:
            solution = solve_balanced(
                film, state, packed.segments, self._settings, what, record=False, keep_steps=True
            )
        else:  # its steps are those of a run that balances
            solution = solve_packed(film, state, packed.segments, self._control, record=False, replay=replay)
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
        return scalars, self._films.left_wt_pct(solution, rows), solution.steps_s

    def _gather(self, rows: list[tuple[Array, Array]], blends: int) -> BlendFigures:
        scenarios = len(self.scenarios)
        scalars = np.array([row[0] for row in rows]).reshape(blends, scenarios, len(_SCALARS))
        residual = np.array([row[1] for row in rows]).reshape(blends, scenarios, len(self.initiators))
        return BlendFigures(
            **{name: scalars[:, :, column] for column, name in enumerate(_SCALARS)},
            conversion_ceiling_fraction=np.array([packed.ceiling for packed in self._packed]),
            residual_initiator_wt_pct=residual,
        )
