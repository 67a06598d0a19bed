"""Tables, picture and README section of the benchmark of peers."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd
from readme_section import markdown

TARGETS = (2e-3, 5e-4, 1e-4)
MARKS = ("<!-- numbers: written by peers.py -->", "<!-- end of numbers -->")


def at_equal_error(table: pd.DataFrame, targets: Sequence[float] = TARGETS) -> pd.DataFrame:
    """Cheapest run of each method that meets an error, and how many times the stepper's time that is."""
    rows = []
    for name, part in table.groupby("method", sort=False):
        row: dict[str, Any] = {"method": name}
        for target in targets:
            took = part.loc[part["error"] <= target, "seconds_per_film"].min()
            ours = table[(table["method"] == "stepper") & (table["error"] <= target)][
                "seconds_per_film"
            ].min()
            row |= {f"ms at {target:g}": 1e3 * took, f"times stepper at {target:g}": took / ours}
        rows.append(row)
    return pd.DataFrame(rows)


def draw(table: pd.DataFrame, grown: pd.DataFrame, path: Path) -> None:
    """Error against time per film, and time per step against size."""
    from gelwright.optimiser.plots import COLOURS, new_figure, save

    figure, axes = new_figure(10.0, 4.2, 1, 2)
    for colour, (name, part) in zip(COLOURS, table.groupby("method", sort=False), strict=False):
        axes[0].loglog(1e3 * part["seconds_per_film"], part["error"], "o-", ms=3, color=colour, label=name)
    axes[0].set_xlabel("time per film / ms")
    axes[0].set_ylabel("error of conversion")
    axes[0].legend(frameon=False, fontsize=7)
    for colour, (name, part) in zip(COLOURS, grown.groupby("what"), strict=False):
        axes[1].loglog(part["count"], part["us_per_step"], "o-", ms=3, color=colour, label=name)
    axes[1].set_xlabel("number of cells or bins")
    axes[1].set_ylabel("time per step / µs")
    axes[1].legend(frameon=False, fontsize=8)
    save(figure, path)


def report(
    table: pd.DataFrame,
    grown: pd.DataFrame,
    cold: tuple[float, float] | None,
    cores: tuple[float, float],
    doubt: float,
) -> str:
    """The numbers in Markdown; `cores` holds the shares of two cores kept busy and gained by a batch."""
    busy, gained = (100.0 * share for share in cores)
    slopes = {kind: part["slope"].iloc[0] for kind, part in grown.groupby("what")}
    lines = [
        "Time per film to reach an error, and as a multiple of the stepper's (one film, one thread):",
        "",
        markdown(at_equal_error(table)),
        "",
        "Every run:",
        "",
        markdown(table),
        "",
        "Time per step against size: "
        + ", ".join(f"count^{slope:.2f} in {kind}" for kind, slope in slopes.items())
        + ".",
        "",
        markdown(grown.drop(columns="slope")),
        "",
        (
            f"A batch on two threads keeps two cores {busy:.0f} % busy (processor time over twice the time by the clock) and "
            f"gains {gained:.0f} % of the second (time on one thread over twice that on two)."
        ),
    ]
    if cold is not None:
        lines += [
            "",
            f"The reference, BDF at 1e-9, and Radau at 1e-7 agree to {doubt:.1g}.",
            "",
            f"From the start of Python to the first result: {cold[0]:.1f} s with nothing compiled, {cold[1]:.1f} s later.",
        ]
    return "\n".join(lines)
