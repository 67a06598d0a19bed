"""How far is the stepper from the exact answer of its own equations, over gels, lamps and films drawn at random?

Every case is cured by the product at default settings and by an implicit integrator (scipy's Radau, tight) on the same cells,
light bins and tissue. Compared at the end of the run: conversion at the bottom, in the upper fifth and as film mean, and the
profile; compared over the whole run: film mean of conversion, hottest point of the film, nail bed. The table also says how
much of a difference a second integrator (BDF) sees, so that the reference itself is not taken on trust.

``python studies/numerics/random_cases.py --count 200 --workers 2`` writes the table and a summary beside this script.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent))
from random_films import describe, random_case
from reference_film import ReferenceFilm

from gelwright.lamp_library.errors import GelwrightError
from gelwright.models import layout as at
from gelwright.models.cure import film_model, schedule
from gelwright.models.solver import SolverSettings, solve

FIGURES = ("bottom", "surface", "mean", "profile_mean", "profile_max", "mean_course")
KELVINS = ("film_peak_k", "film_course_k", "bed_peak_k", "bed_course_k")
PROMISED = {"bottom": 2e-3, "surface": 2e-3, "mean": 2e-3, "film_peak_k": 0.2, "bed_peak_k": 0.2}
CHECKED_TWICE = 10  # every tenth case is also integrated by BDF
RELATIVE = 1e-6
CURED = 0.02  # mean conversion; many a random gel has initiators that its lamp does not reach


def compare(seed: int, settings: SolverSettings | None = None) -> dict[str, Any]:
    """One random case by both, as a row of the table."""
    case, accuracy = random_case(seed), settings or SolverSettings()
    row: dict[str, Any] = {"seed": seed, **describe(case)}
    model, segments = film_model(case, accuracy), schedule(case)
    reference = ReferenceFilm(model, segments)
    try:
        began = time.perf_counter()
        solution = solve(model, segments, settings=accuracy)
        row["seconds"] = time.perf_counter() - began
    except GelwrightError as problem:
        return row | {"failure": str(problem)}
    times = solution.record[1:, at.TIME]
    began = time.perf_counter()
    exact = reference.integrate(times, relative=RELATIVE)
    row["reference_seconds"] = time.perf_counter() - began
    if seed % CHECKED_TWICE == 0:
        again = reference.integrate(times, method="BDF", relative=RELATIVE)
        row["reference_error"] = np.abs(again.conversion_fraction - exact.conversion_fraction).max()
        row["reference_error_k"] = np.abs(again.film_max_k - exact.film_max_k).max()
    width, record = reference.film.width, solution.record[1:]
    ours, theirs = record[:, [at.BOTTOM, at.SURFACE, at.MEAN]].T, exact.figures(width)
    profile = np.abs(solution.conversion_steps[-1] - exact.conversion_fraction[-1])
    film, bed = record[:, at.FILM_MAX], record[:, at.BED]
    return row | {
        "steps": times.size,
        "conversion": theirs[2, -1],
        **dict(zip(("bottom", "surface", "mean"), np.abs(ours - theirs)[:, -1], strict=True)),
        "profile_mean": width @ profile / width.sum(),
        "profile_max": profile.max(),
        "mean_course": np.abs(ours[2] - theirs[2]).max(),
        "film_peak_k": abs(film.max() - exact.film_max_k.max()),
        "film_course_k": np.abs(film - exact.film_max_k).max(),
        "bed_peak_k": abs(bed.max() - exact.bed_k.max()),
        "bed_course_k": np.abs(bed - exact.bed_k).max(),
    }


def summary(table: pd.DataFrame) -> pd.DataFrame:
    """Median, 95th percentile, worst, seed of the worst, and share within what is promised, of the films that cure at all."""
    rows, cured = [], table[table["conversion"] > CURED]
    for name in (*FIGURES, *KELVINS):
        values = cured[name].dropna()
        if values.empty:
            continue
        rows.append(
            {
                "error": name,
                "films": values.size,
                "median": values.median(),
                "p95": values.quantile(0.95),
                "worst": values.max(),
                "worst_seed": int(table.loc[values.idxmax(), "seed"]),
                "promised": PROMISED.get(name),
                "within_pct": 100.0 * (values <= PROMISED[name]).mean() if name in PROMISED else None,
            }
        )
    return pd.DataFrame(rows)


def run(
    count: int, workers: int, first_seed: int = 0, settings: SolverSettings | None = None
) -> pd.DataFrame:
    """Table of random cases; `workers` above 1 = that many processes."""
    seeds, task = range(first_seed, first_seed + count), partial(compare, settings=settings)
    if workers <= 1:
        return pd.DataFrame([task(seed) for seed in seeds])
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return pd.DataFrame(list(pool.map(task, seeds)))


def draw(table: pd.DataFrame, path: Path) -> None:
    """Errors in order of size, with the promised line."""
    from gelwright.optimiser.plots import COLOURS, new_figure, save

    figure, axes = new_figure(9.0, 3.8, 1, 2)
    for panel, names, line in ((axes[0], FIGURES, 2e-3), (axes[1], KELVINS, 0.2)):
        for colour, name in zip(COLOURS, names, strict=False):
            values = np.sort(table[name].dropna().to_numpy())
            share = 100.0 * (1.0 + np.arange(values.size)) / values.size
            panel.semilogx(np.maximum(values, 1e-9), share, color=colour, label=name)
        panel.axvline(line, color="#888888", lw=1, ls="--")
        panel.legend(frameon=False, fontsize=8)
        panel.set_ylabel("cases below / %")
    axes[0].set_xlabel("error of conversion")
    axes[1].set_xlabel("error of temperature / K")
    figure.suptitle(f"{len(table)} random films at default settings; dashed: what is asked")
    save(figure, path)


def main(folder: Path, count: int = 3, workers: int = 1, first_seed: int = 0) -> pd.DataFrame:
    """Compare random films and write table, summary and picture into `folder`."""
    table = run(count, workers, first_seed)
    table.to_csv(folder / "random_cases.csv", index=False, float_format="%.6g")
    short = summary(table)
    short.to_csv(folder / "random_cases_summary.csv", index=False, float_format="%.4g")
    draw(table, folder / "random_cases.png")
    print(short.to_string(index=False, float_format=lambda value: f"{value:.3g}"))
    if "failure" in table:
        print(table.loc[table["failure"].notna(), ["seed", "failure"]].to_string(index=False))
    return table


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent / "results")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    main(given.folder, given.count, given.workers, given.first_seed)
