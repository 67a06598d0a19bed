"""The simulator as the search uses it, and how exactly it works at each stage."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from ..models.batch import BlendEvaluator, Scenario
from ..models.gel import Gel
from ..models.solver import SolverSettings

EvaluatorMaker = Callable[..., Any]

# settings of the screening stage, whose blends only say which initiators are worth polishing
COARSE = SolverSettings(cells=24, light_bins=8)


def blend_evaluator(
    gel: Gel,
    initiators: Sequence[str],
    amines: Sequence[str],
    scenarios: Sequence[Scenario],
    *,
    workers: int | None,
    coarse: bool = False,
    settings: SolverSettings | None = None,
) -> BlendEvaluator:
    """Evaluator of the blends of one gel.

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
    accuracy = settings or (COARSE if coarse else SolverSettings())
    return BlendEvaluator(gel, initiators, amines, scenarios, settings=accuracy, workers=workers)
