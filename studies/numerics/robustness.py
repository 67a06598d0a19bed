"""Does any gel, however absurd, break the solver?

Random cases from the corners of every allowed range: films of 1 um to 3 mm, no initiator at all or 20 % of a thioxanthone, a
thousandth to a thousand times the light of the lamp, exposures from 10 ms to an hour, every hand that is allowed. A run must
end, stay finite and inside its bounds, and balance photons, radicals, C=C, oxygen and heat to 1e-3; an input may only be
refused with the product's own one-line error. What fails is listed with all its inputs.

``python studies/numerics/robustness.py --count 20000 --workers 2`` writes the table of failures beside this script.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent))
from random_films import CORNERS, describe, random_case

from gelwright.lamp_library.errors import InputError
from gelwright.models.cure import CureCase, cure_many
from gelwright.models.results import CureResult
from gelwright.models.solver import SolverSettings

LARGEST_BALANCE_ERROR = 1e-3
LARGEST_K = 5000.0  # with a thousand suns a film gets hot; past this something else is wrong


def fault_of(case: CureCase, result: CureResult) -> str:
    """What is wrong with a result; empty if nothing."""
    bounded = {
        "conversion": (result.conversion_steps, -1e-9, 1.0 + 1e-9),
        "oxygen": (result.oxygen_mol_m3, 0.0, 1e3),
        "radicals": (result.radical_mol_m3, 0.0, 1e6),
        "film temperature": (result.film_max_k, 200.0, LARGEST_K),
        "nail bed": (result.nail_bed_k, 200.0, LARGEST_K),
        "photons absorbed": (np.array([result.absorbed_photon_fraction]), 0.0, 1.0 + 1e-9),
        "uncured layer": (np.array([result.uncured_layer_m]), 0.0, case.film_thickness_m * (1.0 + 1e-9)),
    }
    for name, (values, low, high) in bounded.items():
        if not np.all(np.isfinite(values)):
            return f"{name} is not finite"
        if values.min() < low or values.max() > high:
            return f"{name} runs from {values.min():.4g} to {values.max():.4g}"
    if not result.balances.worst <= LARGEST_BALANCE_ERROR:
        return f"balance off by {result.balances.worst:.3g}"
    return ""


def attempt(seed: int, settings: SolverSettings | None = None) -> dict[str, Any]:
    """Cure one absurd case; a row with its fault, if any."""
    case = random_case(seed, CORNERS)
    began = time.perf_counter()
    row: dict[str, Any] = {"seed": seed, "fault": "", "refused": "", "steps": 0, "worst_balance": np.nan}
    try:
        result = cure_many([case], workers=1, settings=settings)[0]
    except InputError as refusal:
        row["refused"] = str(refusal)
    except Exception as problem:  # whatever it is, it is a finding
        row["fault"] = f"{type(problem).__name__}: {problem}"
    else:
        row |= {"fault": fault_of(case, result), "steps": result.steps + result.rejected_steps}
        row["worst_balance"] = result.balances.worst
    row["seconds"] = time.perf_counter() - began
    return row | describe(case)


def _serve(line: Connection, seeds: Sequence[int], settings: SolverSettings | None) -> None:
    for seed in seeds:
        line.send(attempt(seed, settings))


def lane(seeds: Sequence[int], settings: SolverSettings | None = None) -> list[dict[str, Any]]:
    """Rows of seeds from a process of their own: one that dies is a fault of its case, and the next case gets a new one."""
    rows: list[dict[str, Any]] = []
    while len(rows) < len(seeds):
        ours, theirs = get_context("spawn").Pipe(duplex=False)
        child = get_context("spawn").Process(target=_serve, args=(theirs, seeds[len(rows) :], settings))
        child.start()
        theirs.close()
        try:
            while len(rows) < len(seeds):
                rows.append(ours.recv())
        except EOFError:
            child.join()
            seed = seeds[len(rows)]
            died = {"seed": seed, "fault": f"process died with exit code {child.exitcode}", "refused": ""}
            rows.append(
                died | {"steps": 0, "worst_balance": np.nan, "seconds": np.nan} | describe_absurd(seed)
            )
        child.join()
    return rows


def describe_absurd(seed: int) -> dict[str, Any]:
    """Inputs of an absurd case."""
    return describe(random_case(seed, CORNERS))


def run(
    count: int, workers: int, first_seed: int = 0, settings: SolverSettings | None = None
) -> pd.DataFrame:
    """Table of absurd cases; `workers` above 0 = that many processes of their own, 0 = in this one."""
    seeds = range(first_seed, first_seed + count)
    if workers == 0:
        return pd.DataFrame([attempt(seed, settings) for seed in seeds])
    with ThreadPoolExecutor(workers) as pool:
        lanes = pool.map(lambda start: lane(seeds[start::workers], settings), range(workers))
        rows = [row for part in lanes for row in part]
    return pd.DataFrame(rows).sort_values("seed", ignore_index=True)


def main(folder: Path, count: int = 100, workers: int = 0, first_seed: int = 0) -> pd.DataFrame:
    """Try absurd cases; write the faults and a summary into `folder`."""
    table = run(count, workers, first_seed)
    faults = table[table["fault"] != ""]
    faults.to_csv(folder / "robustness_faults.csv", index=False)
    short = pd.DataFrame(
        [
            {
                "cases": len(table),
                "faults": len(faults),
                "refused": int((table["refused"] != "").sum()),
                "worst_balance": table["worst_balance"].max(),
                "most_steps": int(table["steps"].max()),
                "median_steps": float(table["steps"].median()),
                "slowest_s": table["seconds"].iloc[1:].max(),
                "slowest_seed": int(table.loc[table["seconds"].iloc[1:].idxmax(), "seed"]),
            }
        ]
    )
    short.to_csv(folder / "robustness_summary.csv", index=False, float_format="%.4g")
    print(short.T.to_string(header=False))
    for _, row in faults.iterrows():
        print(f"seed {row['seed']}: {row['fault']}")
    for text, number in table.loc[table["refused"] != "", "refused"].value_counts().head(5).items():
        print(f"{number} x refused: {text}")
    return table


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent / "results")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    main(given.folder, given.count, given.workers, given.first_seed)
