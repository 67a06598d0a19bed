"""Heat of repeated exposures as text and data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..lamp_library.units import m2_from_cm2
from ..models.cycles import CyclesResult
from ..models.results import CureResult


def cycle_shares(result: CureResult) -> list[float]:
    """Heat of each cycle over that of the first [-]; 0 where there was none at all."""
    first = float(result.heat_by_cycle_j_m2[0])
    return [float(heat) / first if first > 0.0 else 0.0 for heat in result.heat_by_cycle_j_m2]


def cycle_lines(results: Sequence[CureResult]) -> list[str]:
    """One line per position: heat of reaction of each cycle and its share of the first; none for a single cycle."""
    if results[0].cycles < 2:
        return []
    lines = [
        f"Heat of reaction by cycle in J/cm2, {results[0].rest_s:g} s of rest between (share of the first cycle):"
    ]
    width = max(len(result.position) for result in results)
    for result in results:
        each = [
            f"{float(heat) * m2_from_cm2(1.0):.4f}" + (f" ({100.0 * share:.2f} %)" if number else "")
            for number, (heat, share) in enumerate(
                zip(result.heat_by_cycle_j_m2, cycle_shares(result), strict=True)
            )
        ]
        lines.append(f"{result.position.rjust(width)}  {',  '.join(each)}")
    return lines


def rise_lines(cycles: Sequence[CyclesResult]) -> list[str]:
    """One line per position: what the reaction alone adds to the temperature in each cycle; none without blanks."""
    if not cycles:
        return []
    lines = [
        "Rise by reaction in K, sample minus blank (the cured film in the same lamp), the most in each cycle:"
    ]
    width = max(len(each.position) for each in cycles)
    for each in cycles:
        film = ", ".join(f"{rise:.2f}" for rise in each.peak_rise_by_cycle_k)
        face = ", ".join(f"{rise:.2f}" for rise in each.interface_peak_rise_by_cycle_k)
        lines.append(f"{each.position.rjust(width)}  hottest place {film};  face of film and nail {face}")
    return lines


def rise_data(cycles: CyclesResult) -> dict[str, list[float]]:
    """Rise by reaction of each cycle [K], for machines."""
    return {
        "peak_rise_by_cycle_k": [float(rise) for rise in cycles.peak_rise_by_cycle_k],
        "interface_peak_rise_by_cycle_k": [float(rise) for rise in cycles.interface_peak_rise_by_cycle_k],
        "blank_heat_by_cycle_j_m2": [float(heat) for heat in cycles.blank_heat_by_cycle_j_m2],
    }


def cycle_data(result: CureResult) -> dict[str, Any]:
    """Heat of each cycle [J/m2] and its share of the first, for machines."""
    return {
        "heat_by_cycle_j_m2": [float(heat) for heat in result.heat_by_cycle_j_m2],
        "heat_share_by_cycle": cycle_shares(result),
    }
