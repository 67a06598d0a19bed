"""Many blends through any `concurrent.futures` executor, in batches: threads, processes, or a Dask cluster.

Every film is a calculation of its own and every batch starts afresh, so the figures do not depend on the executor or on
how many workers it has.
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import pkgutil
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError, Executor, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, SolverError, unknown_name
from ..models.batch import Scenario
from ..models.gel import Gel
from .code_version import code_version
from .evaluators import blend_evaluator
from .problem import SCENARIO_FIGURES

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

BATCH = 64  # blends; a batch should take some 100 ms at least, which is what a cluster's hand-over is worth
EXECUTORS = ("threads", "processes", "dask")
DASK_SLOTS = 64  # batches a cluster of unknown size is kept busy with
SCHEDULER_TIMEOUT_S = 10
VERSION_FUNCTION = "gelwright.optimiser.code_version:code_version"
INSTALL = "Install it with: pip install 'gelwright[cluster]'"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sweep:
    """Blends of the same substances in the same scenarios; goes to a worker as it is.

    Parameters
    ----------
    gel : Gel
        Resin base.
    initiators, amines : tuple of str
        Substances in the order of the loadings.
    scenarios : tuple of Scenario
        Lamps, positions, films.
    """

    gel: Gel
    initiators: tuple[str, ...]
    amines: tuple[str, ...]
    scenarios: tuple[Scenario, ...]

    def __call__(self, loadings_wt_pct: Floats) -> Floats:
        """One batch on one core.

        Parameters
        ----------
        loadings_wt_pct : ndarray, shape (n_blend, n_substance)
            The blends.

        Returns
        -------
        ndarray, shape (n_blend, n_scenario, n_figure)
            `SCENARIO_FIGURES`, each in its unit.
        """
        figures = blend_evaluator(self.gel, self.initiators, self.amines, self.scenarios, workers=1)(
            loadings_wt_pct
        )
        return np.stack([getattr(figures, name) for name in SCENARIO_FIGURES], axis=2)


def run_sweep(sweep: Sweep, loadings_wt_pct: Floats, executor: Executor, batch: int = BATCH) -> pd.DataFrame:
    """Simulate blends on an executor.

    Parameters
    ----------
    sweep : Sweep
        Substances and scenarios.
    loadings_wt_pct : ndarray, shape (n_blend, n_substance)
        The blends.
    executor : concurrent.futures.Executor
        What runs the batches.
    batch : int
        Blends in a batch.

    Returns
    -------
    DataFrame
        One row per blend and scenario: loadings, place, figures; a second cycle that was not run is NaN.

    Raises
    ------
    InputError
        If the loadings have another shape than the substances, or a batch is empty.
    SolverError
        If a simulation fails.
    """
    import pandas as pd

    keys = (*sweep.initiators, *sweep.amines)
    if loadings_wt_pct.ndim != 2 or loadings_wt_pct.shape[1] != len(keys):
        raise InputError(
            f"sweep: loadings of shape {loadings_wt_pct.shape} for {len(keys)} substances; give (blends, {len(keys)}), in wt%."
        )
    if batch < 1:
        raise InputError(f"sweep: a batch of {batch} blends; give 1 or more, usually {BATCH}.")
    parts = [loadings_wt_pct[i : i + batch] for i in range(0, len(loadings_wt_pct), batch)]
    if not parts:
        raise InputError("sweep: no blends; give at least one.")
    found = np.concatenate(list(executor.map(sweep, parts)))
    blends = np.repeat(loadings_wt_pct, len(sweep.scenarios), axis=0)
    table = pd.DataFrame(blends, columns=[f"{key}_wt_pct" for key in keys])
    for name in ("position", "thickness_m", "exposure_s", "cycles"):
        table[name] = [getattr(each, name) for each in sweep.scenarios] * len(loadings_wt_pct)
    table["lamp"] = [each.lamp.lamp_id for each in sweep.scenarios] * len(loadings_wt_pct)
    figures = pd.DataFrame(found.reshape(-1, len(SCENARIO_FIGURES)), columns=list(SCENARIO_FIGURES))
    figures.loc[table["cycles"] < 2, "second_cycle_heat_ratio"] = np.nan
    return pd.concat([table, figures], axis=1)


@contextmanager
def executor_of(kind: str, workers: int, scheduler: str | None = None) -> Iterator[Executor]:
    """An executor by name, shut down afterwards.

    Parameters
    ----------
    kind : {"threads", "processes", "dask"}
        Threads suit one machine: the solver leaves Python's lock alone.
    workers : int
        How many.
    scheduler : str, optional
        Address of a running Dask scheduler, e.g. ``tcp://host:8786``; without it a cluster is started on this machine.

    Yields
    ------
    concurrent.futures.Executor

    Raises
    ------
    UnknownNameError
        If there is no such kind.
    InputError
        If Dask is asked for and not installed, no scheduler answers, or its workers lack this version of the code.
    SolverError
        If a Dask cluster loses its work.
    """
    if kind == "threads":
        with ThreadPoolExecutor(workers) as threads:
            yield threads
    elif kind == "processes":
        # spawned, not forked: a fork copies the locks of running threads
        with ProcessPoolExecutor(
            workers, mp_context=multiprocessing.get_context("spawn"), initializer=_as_worker
        ) as processes:
            yield processes
    elif kind == "dask":
        with _dask(workers, scheduler) as cluster:
            yield cluster
    else:
        raise unknown_name("executor", kind, EXECUTORS)


@contextmanager
def _dask(workers: int, scheduler: str | None) -> Iterator[Executor]:
    try:
        dask: Any = importlib.import_module("distributed")  # an extra, and without types
    except ImportError:
        raise InputError(f"sweep: Dask's distributed is missing. {INSTALL}") from None
    try:
        if scheduler is not None:
            with _client(dask, scheduler) as client:
                yield client.get_executor(pure=False)  # pure would hand out one result for equal batches
            return
        with (
            dask.LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as cluster,
            dask.Client(cluster) as client,
        ):
            yield client.get_executor(pure=False)
    except (dask.KilledWorker, CancelledError) as error:
        raise SolverError(
            f"sweep: the Dask cluster lost its work ({type(error).__name__}): workers or the scheduler ended. Look at their logs, often "
            "there was too little memory; finished batches are kept where a folder was named."
        ) from None


def _client(dask: Any, scheduler: str) -> Any:
    """Client of a running scheduler that has a worker at least."""
    try:
        client = dask.Client(scheduler, timeout=SCHEDULER_TIMEOUT_S)
    except (OSError, ValueError) as error:
        raise InputError(
            f"sweep: no Dask scheduler answers at {scheduler} ({type(error).__name__}). Start one with `dask scheduler` and give the "
            "address it prints."
        ) from None
    try:
        _check_workers(client, scheduler)
    except BaseException:
        client.close()
        raise
    return client


def _check_workers(client: Any, scheduler: str) -> None:
    """Refuse a cluster without workers, or with one that lacks this version of the code: it would die of its first batch."""
    where = client.run(pkgutil.resolve_name, VERSION_FUNCTION, on_error="return")
    if not where:
        raise InputError(
            f"sweep: the Dask scheduler at {scheduler} has no workers. Start some: dask worker {scheduler}"
        )
    lacking = [worker for worker, found in where.items() if isinstance(found, Exception)]
    if lacking:
        raise InputError(
            f"sweep: {len(lacking)} of {len(where)} Dask workers have no gelwright, first {lacking[0]}. Install there the version "
            "used here."
        )
    other = {worker: found for worker, found in client.run(code_version).items() if found != code_version()}
    if other:
        worker, found = next(iter(other.items()))
        raise InputError(
            f"sweep: {len(other)} of {len(where)} Dask workers run another version of the model or its data, first {worker} ({found}; "
            f"here it is {code_version()}). Install the same gelwright on every worker."
        )


def _as_worker() -> None:
    """Leave Ctrl-C to the parent, and never outlive it: a killed parent closes nothing."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_after, args=(parent,), daemon=True).start()


def _leave_after(parent: Any) -> None:
    parent.join()
    os._exit(1)


def grid_of(levels_wt_pct: Sequence[Sequence[float]]) -> Floats:
    """Every combination of the levels of each substance.

    Parameters
    ----------
    levels_wt_pct : sequence of sequence of float
        Loadings to try, substance by substance [wt%].

    Returns
    -------
    ndarray, shape (n_blend, n_substance)
        The last substance varies fastest.

    Examples
    --------
    >>> grid_of([[1.0, 2.0], [0.5]]).tolist()
    [[1.0, 0.5], [2.0, 0.5]]
    """
    return np.stack([each.ravel() for each in np.meshgrid(*levels_wt_pct, indexing="ij")], axis=1)
