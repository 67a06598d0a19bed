"""The curves that a page draws, as plain data for the results file beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..models.results import CureResult
from ..models.stack_results import StackResult

Floats = NDArray[np.float64]


def coat_edges(result: StackResult) -> list[tuple[str, float, float]]:
    """Name, upper and lower depth [m] of every coat, from the air side down."""
    edges, depth = [], 0.0
    for coat in reversed(result.coats):
        edges.append((f"{coat.number} {coat.coat}", depth, depth + coat.thickness_m))
        depth += coat.thickness_m
    return edges


def profiles(result: StackResult) -> list[tuple[Floats, Floats, float]]:
    """Depth [m] and conversion of every coat from its upper to its lower face, and what is possible in it."""
    found = []
    for coat, (_, upper, lower) in zip(reversed(result.coats), coat_edges(result), strict=True):
        own = result.coat_number == coat.number
        conversion = result.conversion_fraction[own]
        depth = np.concatenate([[upper], result.depth_m[own], [lower]])
        conversion = np.concatenate([conversion[:1], conversion, [coat.bottom_conversion_fraction]])
        found.append((depth, conversion, coat.conversion_ceiling_fraction))
    return found


def cure_curves(results: Sequence[CureResult]) -> list[dict[str, Any]]:
    """Conversion against depth, film and nail bed against time, one entry per run.

    Parameters
    ----------
    results : sequence of CureResult
        Runs, one per position.
    """
    return [
        {
            "position": result.position,
            "thickness_m": float(result.thickness_m),
            "depth_m": _rounded(result.depth_m, 9),
            "conversion_fraction": _rounded(result.conversion_fraction, 5),
            **_temperatures(result),
        }
        for result in results
    ]


def build_curves(results: Sequence[StackResult]) -> list[dict[str, Any]]:
    """The same for whole builds, every coat by itself from the nail upwards.

    Parameters
    ----------
    results : sequence of StackResult
        Runs, one per place.
    """
    return [
        {
            "position": result.position,
            "coats": [
                {
                    "number": coat.number,
                    "depth_m": _rounded(depth, 9),
                    "conversion_fraction": _rounded(conversion, 5),
                }
                for coat, (depth, conversion, _) in zip(result.coats, reversed(profiles(result)), strict=True)
            ],
            **_temperatures(result),
        }
        for result in results
    ]


def _temperatures(result: CureResult | StackResult) -> dict[str, list[float]]:
    return {
        "time_s": _rounded(result.time_s, 4),
        "film_hottest_k": _rounded(result.film_max_k, 3),
        "nail_bed_k": _rounded(result.nail_bed_k, 3),
    }


def _rounded(values: Floats, digits: int) -> list[float]:
    return [round(float(each), digits) for each in values]
