"""The simulator as the search uses it: the blend evaluator, with finer steps where a balance does not close."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import SolverError
from ..models.batch import BlendEvaluator, BlendFigures, Scenario
from ..models.gel import Gel
from ..models.perturbed import Change
from ..models.solver import SolverSettings

Floats = NDArray[np.float64]
T = TypeVar("T")
EvaluatorMaker = Callable[..., Any]

# settings of the screening stage, whose blends only say which initiators are worth polishing
COARSE = SolverSettings(cells=24, light_bins=8)
FINER = 4.0
MOST_REFINEMENTS = 2


class SteadyEvaluator:
    """A `BlendEvaluator` that takes finer steps, from then on, once a balance was off.

    A search meets extreme blends; one that the default steps do not resolve must not end the run.

    Parameters
    ----------
    gel : Gel
        Resin base.
    initiators, amines : sequence of str
        Substances in the order of the loading vector.
    scenarios : sequence of Scenario
        What is simulated.
    workers : int or None
        Threads.
    coarse : bool
        Half the cost, about 0.01 of conversion and 0.3 K off.
    settings : SolverSettings, optional
        Accuracy, in place of either.
    """

    def __init__(
        self,
        gel: Gel,
        initiators: Sequence[str],
        amines: Sequence[str],
        scenarios: Sequence[Scenario],
        *,
        workers: int | None,
        coarse: bool = False,
        settings: SolverSettings | None = None,
    ) -> None:
        def make(settings: SolverSettings) -> BlendEvaluator:
            return BlendEvaluator(gel, initiators, amines, scenarios, settings=settings, workers=workers)

        self._make = make
        self._settings = settings or (COARSE if coarse else SolverSettings())
        self._made: list[BlendEvaluator] = [self._make(self._settings)]
        self._refinements = 0

    @property
    def simulations(self) -> int:
        """Films simulated."""
        return sum(each.simulations for each in self._made)

    @property
    def ceilings(self) -> Floats:
        """Conversion possible in each scenario, shape (n_scenario,) [-]."""
        return self._evaluator.ceilings

    @property
    def _evaluator(self) -> BlendEvaluator:
        return self._made[self._refinements]

    def __call__(self, loadings_wt_pct: Floats) -> BlendFigures:
        """Figures of every blend in every scenario, loadings of shape (n_blend, n_substance)."""
        return self._steady(lambda: self._evaluator(loadings_wt_pct))

    def under(self, loadings_wt_pct: Floats, changes: Sequence[Change]) -> BlendFigures:
        """Figures of blends, each under conditions of its own (see `models.perturbed`)."""
        return self._steady(lambda: self._evaluator.under(loadings_wt_pct, changes))

    def with_jacobian(
        self,
        loadings_wt_pct: Floats,
        step_wt_pct: Floats,
        *,
        columns: Sequence[int] | None = None,
        scenarios: Sequence[int] | None = None,
    ) -> tuple[BlendFigures, BlendFigures]:
        """Figures of one blend and of its forward neighbours (see `BlendEvaluator.with_jacobian`)."""
        return self._steady(
            lambda: self._evaluator.with_jacobian(
                loadings_wt_pct, step_wt_pct, columns=columns, scenarios=scenarios
            )
        )

    def forget(self) -> None:
        """Go back to the first settings and drop what is remembered: what follows then does not depend on what was."""
        self._refinements = 0
        for each in self._made:
            each.forget()

    def _steady(self, job: Callable[[], T]) -> T:
        while True:
            try:
                return job()
            except SolverError:
                if self._refinements == MOST_REFINEMENTS:
                    raise
                self._refine()

    def _refine(self) -> None:
        self._refinements += 1
        if self._refinements < len(self._made):
            return
        divisor = FINER**self._refinements
        self._made.append(
            self._make(
                replace(
                    self._settings,
                    tolerance_conversion=self._settings.tolerance_conversion / divisor,
                    tolerance_temperature_k=self._settings.tolerance_temperature_k / divisor,
                    light_tolerance=self._settings.light_tolerance / divisor,
                )
            )
        )
