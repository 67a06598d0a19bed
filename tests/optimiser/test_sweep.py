"""One sweep through threads, processes and a Dask cluster: the same table each time."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.batch import BlendEvaluator, Scenario
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.sweep import Sweep, executor_of, grid_of, run_sweep

# a bare checkout makes the package inside this process alone
installed = pytest.mark.skipif(
    sys.modules["gelwright"].__spec__ is None,
    reason="child processes cannot import a bare checkout: pip install .",
)
LOADINGS = grid_of([[0.2, 0.6, 1.0], [0.1, 0.5]])


@pytest.fixture(scope="module")
def sweep() -> Sweep:
    lamp = load_lamp("demo_narrow_405")
    scenarios = tuple(
        Scenario(lamp=lamp, position=lamp.weakest, thickness_m=h, exposure_s=10.0, cycles=cycles)
        for h, cycles in ((50e-6, 1), (100e-6, 2))
    )
    gel = load_any_gel("top_coat").with_initiators({}, {})
    return Sweep(gel=gel, initiators=("TPO-L", "BAPO"), amines=(), scenarios=scenarios)


@pytest.fixture(scope="module")
def expected(sweep: Sweep) -> pd.DataFrame:
    with ThreadPoolExecutor(1) as one:
        return run_sweep(sweep, LOADINGS, one, batch=2)


def test_a_sweep_is_the_evaluator_blend_by_blend(sweep: Sweep, expected: pd.DataFrame) -> None:
    evaluator = BlendEvaluator(sweep.gel, sweep.initiators, sweep.amines, sweep.scenarios, workers=1)
    assert len(expected) == len(LOADINGS) * 2
    for i, blend in enumerate(LOADINGS):
        figures = evaluator(blend[np.newaxis, :])
        rows = expected.iloc[2 * i : 2 * i + 2]
        assert rows[["TPO-L_wt_pct", "BAPO_wt_pct"]].to_numpy().tolist() == [blend.tolist()] * 2
        assert rows["thickness_m"].tolist() == [50e-6, 100e-6]
        assert rows["film_peak_k"].tolist() == figures.film_peak_k[0].tolist()
        assert rows["bottom_conversion_fraction"].tolist() == figures.bottom_conversion_fraction[0].tolist()
        assert np.isnan(rows["second_cycle_heat_ratio"].iloc[0])
        assert rows["second_cycle_heat_ratio"].iloc[1] == figures.second_cycle_heat_ratio[0, 1]


@pytest.mark.parametrize("batch", [1, 4, 64])
def test_threads_and_batches_change_nothing(sweep: Sweep, expected: pd.DataFrame, batch: int) -> None:
    with executor_of("threads", 2) as executor:
        pd.testing.assert_frame_equal(
            run_sweep(sweep, LOADINGS, executor, batch=batch), expected, check_exact=True
        )


@installed
@pytest.mark.parametrize("kind", ["processes", "dask"])
@pytest.mark.filterwarnings("default")  # a cluster that shuts down warns of its own sockets
def test_processes_and_a_cluster_of_two_change_nothing(
    sweep: Sweep, expected: pd.DataFrame, kind: str
) -> None:
    if kind == "dask":
        pytest.importorskip("distributed", reason="an extra: pip install 'gelwright[cluster]'")
    with executor_of(kind, 2) as executor:
        found = run_sweep(sweep, LOADINGS, executor, batch=2)
    # processes may have compiled the solver apart and round their last digits differently
    pd.testing.assert_frame_equal(found, expected, rtol=1e-9, atol=1e-12)


def test_faults_are_said(sweep: Sweep, monkeypatch: pytest.MonkeyPatch) -> None:
    with ThreadPoolExecutor(1) as one:
        with pytest.raises(InputError, match="for 2 substances"):
            run_sweep(sweep, LOADINGS[:, :1], one)
        with pytest.raises(InputError, match="no blends"):
            run_sweep(sweep, LOADINGS[:0], one)
        with pytest.raises(InputError, match="a batch of 0"):
            run_sweep(sweep, LOADINGS, one, batch=0)
    with pytest.raises(UnknownNameError, match="threads"), executor_of("thread", 2):
        pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"gelwright\[cluster\]"), executor_of("dask", 2):
        pass
