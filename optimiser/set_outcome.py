"""What is asked for a whole set and what came of it: the plain data that reports on a set are written from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from ..models.stack_results import StackResult
from .impossible import Impossible
from .local import FEASIBLE
from .set_brief import SetBrief
from .sharing import Shared
from .stack_passing import SetPassing
from .stack_problem import StackProblem
from .takers import SearchedTaker
from .tune import Inputs

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetInputs:
    """A set with its lamp, resin bases and usable substances, gel by gel."""

    asked: SetBrief
    lamp: Lamp
    gels: tuple[Inputs, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetOutcome:
    """Everything a report on a set needs.

    Parameters
    ----------
    inputs : SetInputs
        What was asked.
    takers : tuple of SearchedTaker
        The search of every gel on its own.
    shared : Shared
        The blends the joint polish began with.
    problem : StackProblem
        The stacks, narrowed to the substances chosen.
    loadings_wt_pct : ndarray
        The answer in the order of the problem, rounded to what can be weighed.
    values, figures : tuple of float
        Scaled values of the limits and the figures behind them.
    objective, objective_before : float
        Mean over the gels; before the joint polish it is that of the single-coat answers.
    results : tuple of StackResult
        The builds of every corner.
    passing, passing_with_data : SetPassing
        Chance of passing under the conditions of use, and with the doubt about the model's numbers on top.
    polished : tuple of str
        What was tried, in sentences.
    builds : int
        Stacks simulated by the joint polishes of the choices tried, whoever did them and however often they were interrupted.
    impossible : Impossible or None
        The smallest clash and the single changes that make the set possible; None when blends were found, or none was sought.
    """

    inputs: SetInputs
    takers: tuple[SearchedTaker, ...]
    shared: Shared
    problem: StackProblem
    loadings_wt_pct: Floats
    values: tuple[float, ...]
    figures: tuple[float, ...]
    objective: float
    objective_before: float
    results: tuple[StackResult, ...]
    passing: SetPassing
    passing_with_data: SetPassing
    polished: tuple[str, ...]
    builds: int
    impossible: Impossible | None = None

    @property
    def is_feasible(self) -> bool:
        """Whether every limit of the finished stacks is kept."""
        return max(self.values) <= FEASIBLE

    @property
    def blends(self) -> dict[str, dict[str, float]]:
        """The blend of every gel by its name, wt%."""
        own = self.problem.by_gel(self.loadings_wt_pct)
        return {
            part.name: {key: float(load) for key, load in zip(part.space.keys, each, strict=True)}
            for part, each in zip(self.problem.coats.parts, own, strict=True)
        }

    @property
    def materials(self) -> tuple[str, ...]:
        """Different initiators and amines in the set."""
        return tuple(sorted({key for blend in self.blends.values() for key in blend}))
