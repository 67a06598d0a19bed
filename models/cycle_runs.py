"""A film that goes on from one cycle to the next: one run serves the setting of one cycle and that of two.

A second cycle begins where the first ends, so simulating both settings apart would cure the first cycle twice.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from . import layout as at
from .balanced import LARGEST_BALANCE_ERROR, checked_balances, solve_balanced
from .core_arrays import FilmArrays, State
from .plain import copy_state
from .results import balances_of
from .solver import Solution, SolverSettings, control_row, solve_packed

Array = NDArray[np.float64]


def goes_on(first: Array, both: Array) -> bool:
    """Whether a longer programme begins with a shorter one, both as rows (see `solver.segment_rows`)."""
    return len(both) > len(first) and np.array_equal(first, both[: len(first)])


def joined_totals(parts: Sequence[Array]) -> Array:
    """Totals of runs that follow one another, peaks aside; what came or went between two counts as there from the start."""
    totals = np.sum(parts, axis=0)
    last = parts[-1]
    for start, left in (
        (at.RADICALS_START, at.RADICALS_LEFT),
        (at.OXYGEN_START, at.OXYGEN_LEFT),
        (at.STABILISER_START, at.STABILISER_LEFT),
    ):
        totals[start] -= totals[left] - last[left]
        totals[left] = last[left]
    return np.asarray(totals)


def with_more(
    film: FilmArrays,
    first: Solution,
    segments: Array,
    settings: SolverSettings,
    what: str,
    *,
    replay: Array | None = None,
) -> tuple[Array, Array, Array, State]:
    """Go on from the end of a run.

    Parameters
    ----------
    film : FilmArrays
        The film.
    first : Solution
        The run so far; it is not changed.
    segments : ndarray
        What comes next.
    settings : SolverSettings
        Accuracy.
    what : str
        Words for an error.
    replay : ndarray, optional
        Time steps to repeat; their run balanced.

    Returns
    -------
    tuple of ndarray, ndarray, ndarray and State
        Totals of both runs with their peaks, heat by cycle [J/m2], time steps of the second run, and its end.

    Raises
    ------
    SolverError
        If the balances of both together stay open: those of a second cycle alone, in which hardly anything happens, need not close
        to a thousandth of themselves.
    """
    if replay is not None:
        more = solve_packed(
            film, copy_state(first.state), segments, control_row(settings), record=False, replay=replay
        )
        return *_joined(first, more), replay, more.state
    more = solve_packed(
        film, copy_state(first.state), segments, control_row(settings), record=False, keep_steps=True
    )
    totals, heat = _joined(first, more)
    if not balances_of(totals).worst <= LARGEST_BALANCE_ERROR:
        more = solve_balanced(
            film, first.state, segments, settings, what, record=False, keep_steps=True, must_close=False
        )
        totals, heat = _joined(first, more)
        checked_balances(totals, what)
    return totals, heat, more.steps_s, more.state


def _joined(first: Solution, more: Solution) -> tuple[Array, Array]:
    totals = joined_totals([first.totals, more.totals])
    for peak in (at.PEAK_FILM, at.PEAK_INTERFACE, at.PEAK_BED):
        totals[peak] = max(first.totals[peak], more.totals[peak])
    heat = more.cycle_heat_j_m2.copy()
    heat[: len(first.cycle_heat_j_m2)] += first.cycle_heat_j_m2
    return totals, heat
