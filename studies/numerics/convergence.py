"""Does the stepper converge to its own equations as steps shrink, and do its cells converge as they are refined - how fast?

Steps: fixed steps of the same length from switch to switch, against scipy's Radau on the same cells, for a film in nitrogen,
in air, and with a type II initiator; then the adaptive stepper against its tolerance. Cells: the same film on 20 to 320
cells against twice as many as the finest, each integrated to 1e-7 so that only the cells differ. Orders are the slopes
between neighbouring lines of the table.

``python studies/numerics/convergence.py`` writes the tables and a picture beside this script.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent))
from plain_film import plain_film
from reference_film import Course, ReferenceFilm

from gelwright.models import layout as at
from gelwright.models.film import Absorber, FilmModel
from gelwright.models.grid import film_cells
from gelwright.models.packing import pack
from gelwright.models.solver import (
    Segment,
    SolverSettings,
    control_row,
    segment_rows,
    solve,
    solve_packed,
)

Array = NDArray[np.float64]
CASES = ("nitrogen", "air", "type II in nitrogen", "type II in air")
LIT_S, DARK_S = 4.0, 2.0
PROGRAMME = [
    Segment(duration_s=LIT_S),
    Segment(duration_s=DARK_S, level_start_ratio=0.0, level_end_ratio=0.0),
]
THICKNESS_M, NAIL_CELLS, NAIL_M = 100e-6, 8, 0.5e-3
STEPS_S = (0.2, 0.1, 0.05, 0.025, 0.0125, 0.00625)
TOLERANCES = (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5)
CELLS = (20, 40, 80, 160, 320)


# needs amine, is quenched by oxygen
TYPE_II = Absorber(
    concentration_mol_m3=30.0,
    napierian_m2_mol=[250.0, 120.0],
    product_m2_mol=[25.0, 12.0],
    quantum_yield=0.5,
    radicals_per_molecule=1.0,
    needs_amine=True,
    amine_half_mol_m3=20.0,
    oxygen_quenching=5.0,
)


def film(case: str, cells: int) -> FilmModel:
    """The film of a case: 0.1 mm on a nail of 0.5 mm."""
    more = {"absorbers": (TYPE_II,), "amine_mol_m3": 60.0} if case.startswith("type II") else {}
    return plain_film(cells, THICKNESS_M, NAIL_CELLS, NAIL_M, in_air=case.endswith("air"), **more)


@cache
def exact(case: str, cells: int) -> Course:
    """The reference at the end of light and dark."""
    return ReferenceFilm(film(case, cells), PROGRAMME).integrate(np.array([LIT_S, LIT_S + DARK_S]))


def errors(conversion: Array, case: str, cells: int) -> dict[str, float]:
    """Largest and mean error of the profile at the end."""
    width = film_cells(THICKNESS_M, cells)
    gap = conversion - exact(case, cells).conversion_fraction[-1]
    mean = float(abs(width @ gap) / width.sum())
    return {"profile_max": float(np.abs(gap).max()), "mean": mean}


def orders(steps: Sequence[float], values: Sequence[float]) -> list[float]:
    """Slope of log(error) between neighbouring entries; the first has none."""
    pairs = zip(steps[:-1], steps[1:], values[:-1], values[1:], strict=True)
    return [float("nan"), *[float(np.log(a / b) / np.log(h / k)) for h, k, a, b in pairs]]


def in_steps(case: str, cells: int, steps_s: Sequence[float] = STEPS_S) -> pd.DataFrame:
    """Error at fixed steps, two passes each, light worked out every step."""
    packed = film(case, cells)
    control = control_row(SolverSettings(light_tolerance=0.0))
    rows = []
    for step in steps_s:
        arrays, state = pack(packed)
        replay = np.full(round((LIT_S + DARK_S) / step), step)
        solution = solve_packed(arrays, state, segment_rows(PROGRAMME), control, record=False, replay=replay)
        rows.append({"case": case, "step_s": step, **errors(solution.conversion_fraction, case, cells)})
    table = pd.DataFrame(rows)
    for name in ("profile_max", "mean"):
        table[f"order_{name}"] = orders(steps_s, list(table[name]))
    return table


def in_tolerance(case: str, cells: int, tolerances: Sequence[float] = TOLERANCES) -> pd.DataFrame:
    """Error and steps of the adaptive stepper; both tolerances and that of the light go together."""
    rows = []
    for tolerance in tolerances:
        settings = SolverSettings(
            tolerance_conversion=tolerance,
            tolerance_temperature_k=50.0 * tolerance,
            light_tolerance=tolerance,
        )
        solution = solve(film(case, cells), PROGRAMME, settings=settings)
        row = {"case": case, "tolerance": tolerance, "steps": int(solution.totals[at.STEPS])}
        rows.append(row | errors(solution.conversion_fraction, case, cells))
    return pd.DataFrame(rows)


def in_cells(case: str, counts: Sequence[int] = CELLS) -> pd.DataFrame:
    """Error of film mean, upper fifth and bottom from the cells alone, against twice the finest."""

    def figures(count: int) -> Array:
        model = film(case, count)
        course = ReferenceFilm(model, PROGRAMME).integrate(
            np.array([LIT_S + DARK_S]), method="BDF", relative=1e-7
        )
        return course.figures(np.asarray(model.width_m))[:, -1]

    finest = figures(2 * counts[-1])
    rows = []
    for count in counts:
        gap = np.abs(figures(count) - finest)
        rows.append({"case": case, "cells": count, "bottom": gap[0], "surface": gap[1], "mean": gap[2]})
    table = pd.DataFrame(rows)
    for name in ("bottom", "surface", "mean"):
        table[f"order_{name}"] = orders([1.0 / count for count in counts], list(table[name]))
    return table


def draw(steps: pd.DataFrame, tolerances: pd.DataFrame, cells: pd.DataFrame, path: Path) -> None:
    """Error against step, against work, against cells."""
    from gelwright.optimiser.plots import COLOURS, new_figure, save

    figure, axes = new_figure(11.0, 3.8, 1, 3)
    for colour, case in zip(COLOURS, CASES, strict=False):
        part = steps[steps["case"] == case]
        axes[0].loglog(part["step_s"], part["profile_max"], "o-", ms=3, color=colour, label=case)
        part = tolerances[tolerances["case"] == case]
        axes[1].loglog(part["steps"], part["profile_max"], "o-", ms=3, color=colour)
        part = cells[cells["case"] == case]
        axes[2].loglog(part["cells"], part["mean"], "o-", ms=3, color=colour)
    step = np.array([steps["step_s"].max(), steps["step_s"].min()])
    axes[0].loglog(step, 3e-3 * (step / step[0]) ** 2, "--", color="#888888", lw=1, label="second order")
    axes[0].set_xlabel("fixed step / s")
    axes[0].set_ylabel("largest error of conversion")
    axes[0].legend(frameon=False, fontsize=8)
    axes[1].set_xlabel("steps taken at a tolerance")
    axes[2].set_xlabel("cells")
    axes[2].set_ylabel("error of mean conversion")
    save(figure, path)


def main(folder: Path, cells: int = 10, steps_s: Sequence[float] = (0.1, 0.05), most: int = 20) -> None:
    """Measure the orders; tables and picture into `folder`. The defaults are a small version."""
    cases = CASES if most > 40 else CASES[:2]
    counts = [count for count in (10, *CELLS) if count <= most][-5:]
    steps = pd.concat([in_steps(case, cells, steps_s) for case in cases])
    tolerances = pd.concat([in_tolerance(case, cells) for case in cases])
    by_cells = pd.concat([in_cells(case, counts) for case in cases])
    for name, table in (("steps", steps), ("tolerances", tolerances), ("cells", by_cells)):
        table.to_csv(folder / f"convergence_{name}.csv", index=False, float_format="%.4g")
        print(table.to_string(index=False, float_format=lambda value: f"{value:.3g}"))
    draw(steps, tolerances, by_cells, folder / "convergence.png")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, default=40, help="cells of the film whose steps are refined")
    parser.add_argument("--most", type=int, default=320, help="most cells of the refinement in cells")
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent / "results")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    main(given.folder, given.cells, STEPS_S, given.most)
