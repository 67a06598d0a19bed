"""A run whose balances must close: worked out again with finer steps where they do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import SolverError
from .core_arrays import FilmArrays, State
from .plain import copy_state
from .results import Balances, balances_of
from .solver import Solution, SolverSettings, control_row, solve_packed

Array = NDArray[np.float64]

LARGEST_BALANCE_ERROR = 1.0e-3
# Default steps close the balances of nearly all films; the rare rest needs finer ones, found by these divisors.
_FINER = (1.0, 5.0, 25.0, 125.0)


def checked_balances(totals: Array, what: str) -> Balances:
    """Balances of a run; raises `SolverError` where one is off by more than 1e-3 or is not a number."""
    balances = balances_of(totals)
    if not balances.worst <= LARGEST_BALANCE_ERROR:
        raise SolverError(
            f"{what}: a balance is off by {balances.worst:.2g} (photons {balances.photons:.1g}, radicals "
            f"{balances.radicals:.1g}, C=C {balances.double_bonds:.1g}, oxygen {balances.oxygen:.1g}, "
            f"stabiliser {balances.stabiliser:.1g}, heat {balances.enthalpy:.1g}); allowed is {LARGEST_BALANCE_ERROR:g}. Tighten tolerance_conversion."
        )
    return balances


def solve_balanced(
    film: FilmArrays,
    state: State,
    segments: Array,
    settings: SolverSettings,
    what: str,
    *,
    record: bool,
    keep_steps: bool = False,
    must_close: bool = True,
) -> Solution:
    """Run a packed film; where a balance is off, run it again with 5, 25 and 125 times smaller tolerances and first steps.

    The first step after a switch has no past to judge its error by, and a flash may be over within it: no tolerance makes it
    shorter.

    Parameters
    ----------
    film, state : FilmArrays, State
        Packed film and its start, which is not changed.
    segments : ndarray
        Programme (see `solver.segment_rows`).
    settings : SolverSettings
        Accuracy to begin with.
    what : str
        Words for an error.
    record, keep_steps : bool
        What to keep (see `solver.solve_packed`).
    must_close : bool
        Raise where the balances stay off; False for a part of a longer run, whose sum is checked in the end: a second of dark
        with next to no radicals cannot close to a thousandth of itself.

    Raises
    ------
    SolverError
        If the balances stay off and must close, or the run fails.
    """
    for divisor in _FINER:
        finer = replace(
            settings,
            tolerance_conversion=settings.tolerance_conversion / divisor,
            light_tolerance=settings.light_tolerance / divisor,
            first_step_s=settings.first_step_s / divisor,
        )
        solution = solve_packed(
            film, copy_state(state), segments, control_row(finer), record=record, keep_steps=keep_steps
        )
        if balances_of(solution.totals).worst <= LARGEST_BALANCE_ERROR:
            return solution
    if must_close:
        checked_balances(solution.totals, what)
    return solution
