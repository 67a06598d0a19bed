"""Does any gel, however absurd, break the solver?

Random cases from the corners of every allowed range: films of 1 um to 3 mm, no initiator at all or 20 % of a thioxanthone, a
thousandth to a thousand times the light of the lamp, exposures from 10 ms to an hour, every hand that is allowed. A run must
end, stay finite and inside its bounds (temperature: what the light and the C=C of the case can give), and balance photons, radicals, C=C, oxygen, stabiliser and heat to 1e-3; an input may only be
refused with the product's own one-line error. What fails is listed with all its inputs.

``python studies/numerics/robustness.py --count 20000 --workers 2`` writes the table of failures beside this script.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent))
from heat_bound import coldest_k, hottest_k
from random_films import CORNERS, describe, random_case

from gelwright.lamp_library.errors import InputError
from gelwright.models.cure import CureCase, cure_many
from gelwright.models.results import CureResult

LARGEST_BALANCE_ERROR = 1e-3
# The rule of heat lets a step that is long for a mode carry it past its rest by up to (sqrt 2 - 1)/2 of its fall: the least
# value of its stability function, (1 - (1 - 2g) x)/(1 + g x)^2 with g = 1 - 1/sqrt 2, at x = 4 + 3 sqrt 2. After a flash of a
# thousand suns it shows: the first dark step has no past that would make it shorter.
UNDERSHOOT = (2.0**0.5 - 1.0) / 2.0
ROUNDING_K = 1e-6


def fault_of(case: CureCase, result: CureResult) -> str:
    """What is wrong with a result; empty if nothing. With a thousand suns a film gets hot: how hot says `heat_bound`."""
    coldest, hottest = coldest_k(case), hottest_k(case)
    least = {
        name: coldest - UNDERSHOOT * (course.max() - coldest) - ROUNDING_K
        for name, course in (("film", result.film_max_k), ("bed", result.nail_bed_k))
    }
    bounded = {
        "conversion": (result.conversion_steps, -1e-9, 1.0 + 1e-9),
        "oxygen": (result.oxygen_mol_m3, 0.0, 1e3),
        "radicals": (result.radical_mol_m3, 0.0, 1e6),
        "film temperature": (result.film_max_k, least["film"], hottest),
        "nail bed": (result.nail_bed_k, least["bed"], hottest),
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


def attempt(seed: int) -> dict[str, Any]:
    """Cure one absurd case; a row with its fault, if any."""
    case = random_case(seed, CORNERS)
    began = time.perf_counter()
    row: dict[str, Any] = {
        "seed": seed,
        "fault": "",
        "refused": "",
        "steps": 0,
        "worst_balance": float("nan"),
    }
    try:
        result = cure_many([case], workers=1)[0]
    except InputError as refusal:
        row["refused"] = str(refusal)
    except Exception as problem:  # noqa: BLE001 - whatever it is, it is a finding
        row["fault"] = f"{type(problem).__name__}: {problem}"
    else:
        row |= {"fault": fault_of(case, result), "steps": result.steps + result.rejected_steps}
        row["worst_balance"] = result.balances.worst
    row["seconds"] = time.perf_counter() - began
    return row | describe(case)


def serve(first: int, stop: int, stride: int) -> None:
    """Print one row after the other as lines of JSON, for `lane`."""
    for seed in range(first, stop, stride):
        print(json.dumps(attempt(seed)), flush=True)


def lane(seeds: range) -> list[dict[str, Any]]:
    """Rows of seeds from a process of their own: one that dies is a fault of its case, and the next case gets a new one."""
    rows: list[dict[str, Any]] = []
    while len(rows) < len(seeds):
        left = seeds[len(rows) :]
        command = [sys.executable, __file__, "--serve", f"{left.start}:{left.stop}:{left.step}"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            rows += [json.loads(line) for line in child.stdout]
            code = child.wait()
        if len(rows) < len(seeds):
            died = {"seed": seeds[len(rows)], "fault": f"process died with exit code {code}", "refused": ""}
            nothing = {"steps": 0, "worst_balance": float("nan"), "seconds": float("nan")}
            rows.append(died | nothing | describe_absurd(seeds[len(rows)]))
    return rows


def describe_absurd(seed: int) -> dict[str, Any]:
    """Inputs of an absurd case."""
    return describe(random_case(seed, CORNERS))


def run(count: int, workers: int, first_seed: int = 0) -> pd.DataFrame:
    """Table of absurd cases, cured in `workers` processes of their own."""
    seeds = range(first_seed, first_seed + count)
    with ThreadPoolExecutor(workers) as pool:
        lanes = pool.map(lane, [seeds[start::workers] for start in range(workers)])
        rows = [row for part in lanes for row in part]
    return pd.DataFrame(rows).sort_values("seed", ignore_index=True)


def main(folder: Path, count: int = 20, workers: int = 1, first_seed: int = 0) -> pd.DataFrame:
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
    parser.add_argument("--serve", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.serve:
        serve(*(int(part) for part in given.serve.split(":")))
        sys.exit(0)
    given.folder.mkdir(parents=True, exist_ok=True)
    main(given.folder, given.count, given.workers, given.first_seed)
