"""A cheap smooth stand-in for the simulator, and small briefs, for tests of the search alone."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.gel import Gel
from gelwright.models.materials import photoinitiator
from gelwright.optimiser.brief import Brief, Limits, Uncertainty
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.search_space import build_search_space

CEILING = 0.7


@dataclass(frozen=True)
class Figures:
    """Same fields as the simulator's figures."""

    bottom_conversion_fraction: Any
    surface_conversion_fraction: Any
    mean_conversion_fraction: Any
    uncured_layer_m: Any
    film_peak_k: Any
    nail_bed_peak_k: Any
    cem43_min: Any
    damage_henriques: Any
    damage_weaver_stoll: Any
    second_cycle_heat_ratio: Any
    conversion_ceiling_fraction: Any
    residual_initiator_wt_pct: Any


class StandIn:
    """Beer-Lambert light, square-root rate, heat growing with mean rate: algebra in place of a simulation."""

    def __init__(
        self,
        gel: Gel,
        initiators: Sequence[str],
        amines: Sequence[str],
        scenarios: Sequence[Any],
        *,
        workers: int | None,
        coarse: bool = False,
    ) -> None:
        self.scenarios, self.n_amines, self.simulations = scenarios, len(amines), 0
        self.data = [photoinitiator(key) for key in initiators]
        self.ceilings = np.full(len(scenarios), CEILING)

    def __call__(self, loadings_wt_pct: Any) -> Figures:
        columns = [self._film(loadings_wt_pct, scenario) for scenario in self.scenarios]
        self.simulations += len(loadings_wt_pct) * len(self.scenarios)
        stacked = [np.stack([column[i] for column in columns], axis=1) for i in range(11)]
        ceilings = np.full(len(self.scenarios), CEILING)
        return Figures(*stacked[:10], ceilings, stacked[10])

    def under(self, loadings_wt_pct: Any, changes: Sequence[Any]) -> Figures:
        """Thickness, lamp output, hand and initiator yields are followed; other knobs do nothing."""
        rows = []
        for loading, change in zip(loadings_wt_pct, changes, strict=True):
            altered = [
                replace(
                    each,
                    lamp=each.lamp.with_output(change.get("lamp_output_ratio", 1.0)),
                    thickness_m=change.get("film_thickness_m", each.thickness_m),
                    hand=replace(
                        each.hand, start_k=each.hand.start_k + change.get("hand_start_shift_k", 0.0)
                    ),
                )
                for each in self.scenarios
            ]
            useful = loading.copy()
            for i, each in enumerate(self.data):
                useful[i] *= change.get(f"quantum_yield_ratio:{each.key}", 1.0)
            columns = [self._film(useful[np.newaxis, :], each) for each in altered]
            rows.append([np.stack([column[i] for column in columns], axis=1) for i in range(11)])
        self.simulations += len(rows) * len(self.scenarios)
        stacked = [np.concatenate([row[i] for row in rows]) for i in range(11)]
        return Figures(*stacked[:10], np.full(stacked[0].shape, CEILING), stacked[10])

    def with_jacobian(
        self, loadings: Any, step_wt_pct: Any, *, columns: Any = None, scenarios: Any = None
    ) -> tuple[Figures, Figures]:
        """Counts as the simulator does: the blend itself is known, and only the scenarios asked for are simulated."""
        before = self.simulations
        steps = np.diag(step_wt_pct)[list(range(len(loadings))) if columns is None else list(columns)]
        figures = self(loadings[np.newaxis, :]), self(loadings[np.newaxis, :] + steps)
        self.simulations = before + len(steps) * len(self.scenarios if scenarios is None else scenarios)
        return figures

    def _film(self, loadings: Any, scenario: Any) -> list[Any]:
        spectrum = scenario.lamp.spectrum(scenario.position).light()
        lit = spectrum.wavelength_nm >= 330.0
        grid, power = spectrum.wavelength_nm[lit], spectrum.spectral_irradiance_w_m2_nm[lit]
        n = len(self.data)
        epsilon = np.stack([each.absorption.at(grid) for each in self.data])
        mass = np.array([each.molar_mass_kg_mol for each in self.data])
        useful = np.array([each.quantum_yield * each.initiation_efficiency for each in self.data])
        concentration = 11.0 * loadings[:, :n] / mass
        helped = np.ones(n)
        if self.n_amines:
            support = loadings[:, n:].sum(axis=1, keepdims=True)
            type_two = np.array([each.mechanism == "type_II" for each in self.data])
            helped = np.where(type_two, support / (support + 0.3), 1.0)
        total = concentration @ epsilon
        at_bottom = power * 10.0 ** (-total * scenario.thickness_m)
        rate = np.einsum("bw,bi,iw->bi", at_bottom, concentration * useful * helped, epsilon)
        weight = float(grid[1] - grid[0])
        bottom_drive = np.sqrt(rate.sum(axis=1) * weight + 1e-9)
        top_rate = np.einsum("w,bi,iw->bi", power, concentration * useful * helped, epsilon)
        mean_drive = 0.5 * (bottom_drive + np.sqrt(top_rate.sum(axis=1) * weight + 1e-9))
        reach = 2.5e-4 * scenario.exposure_s
        bottom = CEILING * (1.0 - np.exp(-reach * bottom_drive))
        mean = CEILING * (1.0 - np.exp(-reach * mean_drive))
        rise = 3.0e4 * scenario.thickness_m * mean * (1.0 - np.exp(-mean_drive / 400.0)) + 3.0
        nail_bed = scenario.hand.start_k + rise
        film = nail_bed + 15.0
        cem43 = 0.5 * 2.0 ** (nail_bed - 318.15)
        zero = np.zeros_like(bottom)
        second = np.exp(-reach * bottom_drive) / 2.0
        residual = 0.5 * loadings[:, :n]
        return [bottom, 0.9 * mean, mean, zero + 5e-6, film, nail_bed, cem43, zero, zero, second, residual]


def brief_for(**changes: Any) -> Brief:
    """A plain brief with the fields named changed."""
    plain = Brief(
        title="test", lamps=("demo_arch_365_405",), exposure_s=60.0, thickness_low_m=300e-6, thickness_high_m=400e-6,
        markets=("EU",), on_date=date(2026, 1, 15), professional_use=True, objective="least_initiator",
        resin_parts={"UDMA": 70.0, "HPMA": 30.0}, allowed=("BAPO", "TPO-L", "HCPK"),
        limits=Limits(second_cycle_heat_max_ratio=None), uncertainty=Uncertainty(draws=32),
    )  # fmt: skip
    return replace(plain, **changes)


def problem_for(brief: Brief, make_evaluator: Callable[..., Any]) -> Problem:
    """The problem of a brief on some simulator."""
    from gelwright.optimiser.tune import resin_base

    lamp, gel = load_lamp(brief.lamps[0]), resin_base(brief)
    return Problem(
        brief=brief,
        lamp=lamp,
        gel=gel,
        space=build_search_space(brief, lamp, gel),
        make_evaluator=make_evaluator,
    )


@pytest.fixture
def make_brief() -> Callable[..., Brief]:
    """Briefs that differ from a plain one in the fields named."""
    return brief_for


@pytest.fixture
def make_problem() -> Callable[..., Problem]:
    """Problems on the stand-in simulator."""
    return lambda **changes: problem_for(brief_for(**changes), StandIn)


@pytest.fixture
def stand_in() -> type[StandIn]:
    """The stand-in simulator itself."""
    return StandIn


@pytest.fixture(scope="module")
def database() -> Iterator[str]:
    """URL of a PostgreSQL server of our own, on a socket in a folder of its own, run by an unprivileged user."""
    pytest.importorskip("psycopg2", reason="the driver is an extra: pip install 'gelwright[cluster]'")
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    initdb = Path(shutil.which("initdb") or (found[-1] if found else ""))
    if not initdb.is_file():
        pytest.skip("no PostgreSQL server here (Debian: apt-get install postgresql)")
    folder = Path(tempfile.mkdtemp(prefix="gw", dir="/tmp"))  # a socket's path must be short
    user: dict[str, Any] = {}
    if os.geteuid() == 0:  # the server refuses to run as root
        shutil.chown(folder, "nobody")
        user = {"user": "nobody"}
    data = folder / "data"

    def call(*arguments: str) -> None:
        done = subprocess.run(
            arguments, check=False, capture_output=True, text=True, timeout=120, cwd="/", **user
        )
        assert done.returncode == 0, done.stderr

    call(str(initdb), "-D", str(data), "-U", "worker", "--auth=trust", "-E", "UTF8", "--no-sync")
    options = f"-k {folder} -c listen_addresses= -c fsync=off"
    server = subprocess.Popen(
        [str(initdb.with_name("postgres")), "-D", str(data), *options.split()],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/", **user,
    )  # fmt: skip
    try:
        import psycopg2

        end = time.monotonic() + 60.0
        while True:
            try:
                psycopg2.connect(host=str(folder), user="worker", dbname="postgres").close()
                break
            except psycopg2.OperationalError:
                assert time.monotonic() < end, "the server did not start"
                time.sleep(0.1)
        yield f"postgresql://worker:not-to-be-shown@/postgres?host={folder}"
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(timeout=60)
        shutil.rmtree(folder, ignore_errors=True)
