"""Small pieces of text that every report of the optimiser shares."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from .brief import Brief
from .passing import Passing


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A Markdown table as lines."""
    return [
        f"| {' | '.join(head)} |",
        "|" + "---|" * len(head),
        *(f"| {' | '.join(cells)} |" for cells in rows),
    ]


def csv_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows as CSV: every column that some row has, in the order they first come up; numbers in all their digits.

    A cell that a row lacks stays empty. Written without pandas, whose import takes longer than any such table.

    Examples
    --------
    >>> csv_text([{"rank": 1, "cost": 0.25}, {"rank": 2, "a, b": True}]).splitlines()
    ['rank,cost,"a, b"', '1,0.25,', '2,,True']
    """
    columns = dict.fromkeys(key for row in rows for key in row)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(columns), restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(
        {key: float(value) if isinstance(value, np.floating) else value for key, value in row.items()}
        for row in rows
    )
    return text.getvalue()


def blend_text(blend_wt_pct: Mapping[str, float]) -> str:
    """A blend in one line, largest loading first."""
    members = sorted(blend_wt_pct.items(), key=lambda item: -item[1])
    return " + ".join(f"{key} {loading:.4g} %" for key, loading in members)


def materials_text(materials: Sequence[str]) -> str:
    """How many raw materials several gels need between them, and which.

    Examples
    --------
    >>> materials_text(["BAPO"])
    'One initiator for all: BAPO'
    >>> materials_text(["BAPO", "EDB"])
    '2 different initiators and amines: BAPO, EDB'
    """
    if len(materials) == 1:
        return f"One initiator for all: {materials[0]}"
    return f"{len(materials)} different initiators and amines: {', '.join(materials)}"


def chance_text(passing: Passing) -> str:
    """The probability of passing in words."""
    return (
        f"{100 * passing.probability_fraction:.0f} % "
        f"({100 * passing.low_fraction:.0f}-{100 * passing.high_fraction:.0f} %, {passing.draws} draws)"
    )


def objective_words(brief: Brief, value: float) -> str:
    """An objective of a brief with its unit."""
    return {
        "least_heat": f"{value:.2f} K above the start",
        "least_initiator": f"{value:.3f} wt%",
        "least_cost": f"{value:.3f} {brief.currency} per kg gel",
        "least_yellowing": f"{value:.2f} YI",
    }[brief.objective]
