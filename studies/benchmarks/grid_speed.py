"""How long does a grid of 20 gels and 20 lamps with 5 positions take, and what share of it is the solver?

The packaged gels and lamps are varied (loadings and outputs by a few per cent) until there are 20 of each; reasons and
rescues included. Let nothing else run meanwhile.

Run it with ``python studies/benchmarks/grid_speed.py``; the table goes to ``studies/benchmarks/results/grid_speed.csv``.
"""

import os
import time
from dataclasses import replace
from pathlib import Path

import pandas as pd

from gelwright.optimiser.grid import run_grid
from gelwright.optimiser.grid_inputs import load_gels, load_lamps

SIZE = 20


def run(folder: Path) -> pd.DataFrame:
    """Time the grid, compiled code warm, and write the table into `folder`."""
    gels, lamps = list(load_gels("demo").items()), list(load_lamps("demo").values())
    many_gels = {}
    for i in range(SIZE):
        key, gel = gels[i % len(gels)]
        factor = 1.0 + 0.03 * (i // len(gels))
        many_gels[f"{key}_{i}"] = gel.with_initiators(
            {k: v * factor for k, v in gel.initiators_wt_pct.items()}
        )
    many_lamps = {}
    for i in range(SIZE):
        lamp = lamps[i % len(lamps)].with_output(1.0 + 0.05 * (i // len(lamps)))
        many_lamps[f"{lamp.lamp_id}_{i}"] = replace(lamp, lamp_id=f"{lamp.lamp_id}_{i}")
    run_grid(dict(list(many_gels.items())[:1]), dict(list(many_lamps.items())[:1]))
    start, busy = time.perf_counter(), time.process_time()
    grid = run_grid(many_gels, many_lamps)
    clock, cpu = time.perf_counter() - start, time.process_time() - busy
    table = pd.DataFrame(
        [
            {
                "pairs": len(grid.cells),
                "films": grid.films,
                "seconds": clock,
                "cpu_ms_per_film": 1e3 * cpu / grid.films,
                "cores": os.cpu_count(),
                "cores_used": cpu / clock,
            }
        ]
    )
    table.to_csv(folder / "grid_speed.csv", index=False, float_format="%.3g")
    return table


if __name__ == "__main__":
    print(run(Path(__file__).parent / "results").to_string(index=False))
