"""Many blends of one resin base in a few fixed settings: the fast path of the search.

Each setting is packed once, a blend is filled into it (`blend_films`), and the films run in parallel threads.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from .balanced import solve_balanced
from .blend_figures import SCALARS, BlendFigures, Scenario, runs_of, scalars_of
from .blend_films import BlendFilms, PackedSetting
from .core_arrays import State
from .cure import CureCase, heat_ratio
from .cycle_runs import with_more
from .gel import Gel
from .perturbed import Change, Surroundings
from .solver import SolverSettings, control_row, conversion_of, run_parallel, solve_packed

__all__ = ["BlendEvaluator", "BlendFigures", "Scenario"]

Array = NDArray[np.float64]
Row = tuple[Array, Array, Array]  # scalars, residual initiator, time steps
REMEMBERED = 16  # blends whose time steps are kept, so that their neighbours can repeat them


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
        self._runs = runs_of(scenarios, [packed.segments for packed in self._packed])
        self._around: list[Surroundings] | None = None
        self._last: dict[bytes, list[Row]] = {}

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

    @property
    def ceilings(self) -> Array:
        """Conversion possible in each scenario, shape (n_scenario,) [-]; no blend changes it."""
        return np.array([packed.ceiling for packed in self._packed])

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
        blends, scenarios, runs = loadings.shape[0], len(self.scenarios), len(self._runs)

        def one(index: int) -> list[Row]:
            return self._run(loadings[index // runs], self._runs[index % runs])

        done = run_parallel(one, blends * runs, self._workers)
        rows = [
            row for blend in range(blends) for row in self._in_order(done[blend * runs : (blend + 1) * runs])
        ]
        self.simulations += len(rows)
        for blend in range(max(blends - REMEMBERED, 0), blends):
            self._keep(loadings[blend].tobytes(), rows[blend * scenarios : (blend + 1) * scenarios])
        return self._gather(rows, blends)

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
        where = set(range(len(self.scenarios))) if scenarios is None else set(scenarios)
        runs = [
            (*run[:1], *(each for each in run[1:] if each in where)) for run in self._runs if where & set(run)
        ]
        steps = np.diag(np.broadcast_to(np.asarray(step_wt_pct, dtype=np.float64), point.shape))[chosen]
        neighbours = self._films.checked(point[None, :] + steps)
        base = self._remembered(point)

        def one(index: int) -> list[Row]:
            run = runs[index % len(runs)]
            return self._run(neighbours[index // len(runs)], run, [base[scenario][2] for scenario in run])

        stepped = run_parallel(one, len(chosen) * len(runs), self._workers)
        self.simulations += len(chosen) * len(where)
        rows = [row for _ in chosen for row in base]
        for index, found in enumerate(stepped):
            for scenario, row in zip(runs[index % len(runs)], found, strict=True):
                if scenario in where:
                    rows[(index // len(runs)) * len(self.scenarios) + scenario] = row
        return self._gather(base, 1), self._gather(rows, len(chosen))

    def _remembered(self, point: Array) -> list[Row]:
        """Results of one blend in every scenario with its time steps, simulated unless still known."""
        key = point.tobytes()
        if key not in self._last:
            done = run_parallel(
                lambda index: self._run(point, self._runs[index]), len(self._runs), self._workers
            )
            self._keep(key, self._in_order(done))
            self.simulations += len(self.scenarios)
        return self._last[key]

    def forget(self) -> None:
        """Drop the blends whose time steps are kept."""
        self._last.clear()

    def _in_order(self, done: Sequence[list[Row]]) -> list[Row]:
        """Rows of all runs of one blend, in the order of the scenarios."""
        found = {
            scenario: row
            for run, rows in zip(self._runs, done, strict=True)
            for scenario, row in zip(run, rows, strict=True)
        }
        return [found[scenario] for scenario in range(len(self.scenarios))]

    def _keep(self, key: bytes, rows: list[Row]) -> None:
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

        runs = len(self._runs)

        def one(index: int) -> list[Row]:
            blend, run = index // runs, self._runs[index % runs]
            packed = self._packed[run[0]].under(around[run[0]], changes[blend])
            ceilings[blend, list(run)] = packed.ceiling
            return self._run(loadings[blend], run, packed=packed)

        done = run_parallel(one, len(loadings) * runs, self._workers)
        rows = [
            row
            for blend in range(len(loadings))
            for row in self._in_order(done[blend * runs : (blend + 1) * runs])
        ]
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
        self,
        loading: Array,
        run: Sequence[int],
        replay: Sequence[Array] | None = None,
        packed: PackedSetting | None = None,
    ) -> list[Row]:
        """Scalars, residual initiator [wt%] and time steps of one blend in the scenarios of a run, or in a setting of its own."""
        first = run[0]
        packed = packed or self._packed[first]
        film, state, kinds = self._films.film(loading, packed)
        what = f"blend in {self.scenarios[first].lamp.lamp_id}"

        def row(state: State, totals: Array, ratio: float, steps: Array) -> Row:
            scalars = scalars_of(film.width, conversion_of(film, state), totals, ratio)
            return scalars, self._films.left_wt_pct(film.width, state, kinds), steps

        if replay is None:
            solution = solve_balanced(
                film, state, packed.segments, self._settings, what, record=False, keep_steps=True
            )
        else:  # its steps are those of a run that balances
            solution = solve_packed(
                film, state, packed.segments, self._control, record=False, replay=replay[0]
            )
        steps = solution.steps_s if replay is None else replay[0]
        ratio = heat_ratio(solution.cycle_heat_j_m2) if self.scenarios[first].cycles > 1 else 0.0
        rows = [row(solution.state, solution.totals, ratio, steps)]
        for number, scenario in enumerate(run[1:], start=1):
            more = self._packed[scenario].segments[len(packed.segments) :]
            totals, heat, steps, end = with_more(
                film, solution, more, self._settings, what, replay=None if replay is None else replay[number]
            )
            rows.append(row(end, totals, heat_ratio(heat), steps))
        return rows

    def _gather(self, rows: list[Row], blends: int) -> BlendFigures:
        scenarios = len(self.scenarios)
        scalars = np.array([row[0] for row in rows]).reshape(blends, scenarios, len(SCALARS))
        residual = np.array([row[1] for row in rows]).reshape(blends, scenarios, len(self.initiators))
        return BlendFigures(
            **{name: scalars[:, :, column] for column, name in enumerate(SCALARS)},
            conversion_ceiling_fraction=self.ceilings,
            residual_initiator_wt_pct=residual,
        )
