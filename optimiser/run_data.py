"""An outcome as plain data: results.json and candidates.csv, every key with its unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from .answer import Candidate
from .cautions import short_cautions
from .constraints import Constraint
from .curve_data import cure_curves
from .impossible import way_out_data
from .local import Local
from .problem import OBJECTIVE_WORDS
from .tune import Outcome
from .versions import versions

UNIT_SUFFIX = {
    "min": "min",
    "per_kg": "per_kg",
    "wt_pct": "wt_pct",
    "k": "k",
    "m": "m",
    "fraction": "fraction",
    "ratio": "ratio",
}
OBJECTIVE_UNIT = {
    "least_heat": "k",
    "least_initiator": "wt_pct",
    "least_cost": "per_kg",
    "least_yellowing": "ratio",
}


def limit_rows(constraints: Sequence[Constraint], figures: Sequence[float]) -> list[dict[str, Any]]:
    """Limits with figure and margin, one row per scenario."""
    rows = []
    for row, figure in zip(constraints, figures, strict=True):
        unit = UNIT_SUFFIX[row.unit]
        rows.append(
            {
                "limit": row.name,
                "lamp": row.lamp_id,
                "words": row.words,
                f"figure_{unit}": figure,
                f"limit_{unit}": row.limit,
                f"margin_{unit}": row.margin(figure),
            }
        )
    return rows


def candidate_data(shown: Candidate, outcome: Outcome) -> dict[str, Any]:
    """One blend as plain data."""
    unit = OBJECTIVE_UNIT[outcome.inputs.brief.objective]
    space = outcome.inputs.space
    return {
        "name": shown.name,
        "loadings_wt_pct": shown.blend_wt_pct,
        "is_feasible": shown.is_feasible,
        "verdict": shown.verdict.headline,
        "verdict_text": shown.verdict.text,
        f"objective_{unit}": shown.objective,
        "total_wt_pct": shown.total_wt_pct,
        "cost_per_kg": shown.cost_per_kg,
        "yellowness_ratio": shown.yellowness_ratio,
        "passing": asdict(shown.passing),
        "passing_with_data": asdict(shown.passing_with_data),
        "limits": limit_rows(shown.constraints, shown.figures),
        "binding_limits": [shown.constraints[i].name for i in shown.binding],
        "positions": [asdict(place) for place in shown.places],
        "flags": {
            key: list(space.substance(key).flags) for key in shown.blend_wt_pct if space.substance(key).flags
        },
    }


def outcome_data(outcome: Outcome) -> dict[str, Any]:
    """The whole outcome as plain data, ready for JSON.

    Missing figures (a cost without prices) are null and the report says why.
    """
    brief, space = outcome.inputs.brief, outcome.inputs.space
    unit = OBJECTIVE_UNIT[brief.objective]
    return {
        "title": brief.title,
        "is_demonstration": brief.is_demonstration
        or any(lamp.is_demonstration for lamp in outcome.inputs.lamps),
        "is_feasible": outcome.found.is_feasible,
        "objective": brief.objective,
        "objective_words": OBJECTIVE_WORDS[brief.objective],
        "currency": brief.currency,
        "lamps": [
            {
                "lamp": lamp.lamp_id,
                "programme": brief.programme_in(i),
                "exposure_s": brief.exposure_in_s(i),
            }
            for i, lamp in enumerate(outcome.inputs.lamps)
        ],
        "rest_s": brief.rest_s,
        "hand_start_k": brief.hand_start_k,
        "nail_thickness_m": brief.nail_thickness_m,
        "thickness_low_m": brief.thickness_low_m,
        "thickness_high_m": brief.thickness_high_m,
        "markets": list(brief.markets),
        "law_date": str(brief.on_date),
        "candidates": [candidate_data(shown, outcome) for shown in outcome.candidates],
        "shadow_prices": [
            {
                "limit": price.constraint.name,
                "unit": UNIT_SUFFIX[price.constraint.unit],
                f"objective_{unit}_per_unit": price.objective_per_unit,
                f"step_{UNIT_SUFFIX[price.constraint.unit]}": price.step,
                f"saved_{unit}": None if math.isnan(price.saved) else price.saved,
            }
            for price in outcome.prices
        ],
        "conflicts": [
            {
                "family": each.family,
                "broken": each.broken,
                "limits": limit_rows(
                    [held.constraint for held in each.held], [held.figure for held in each.held]
                ),
                "enough": [
                    {
                        "limit": held.constraint.limit_name,
                        UNIT_SUFFIX[held.constraint.unit]: each.enough[name],
                    }
                    for held in each.held
                    if (name := held.constraint.limit_name) in each.enough
                ],
                "blend_wt_pct": each.blend_wt_pct,
                "sentence": each.sentence,
            }
            for each in outcome.conflicts
        ],
        "impossible": None if outcome.impossible is None else way_out_data(outcome.impossible),
        "curves": cure_curves(outcome.traces),
        "excluded": [{"key": out.key, "name": out.name, "reason": out.reason} for out in space.excluded],
        "law_notes": list(space.law_notes),
        "law_breaches": list(space.law_breaches),
        "search": {
            "method": outcome.found.method,
            "films_simulated": outcome.simulations,
            "units": outcome.found.units,
            "distinct_blends": len(outcome.found.ranked),
            "seed": brief.seed,
            "fingerprint": outcome.digest,
        },
        "versions": versions(),
        "citations": list(citations(outcome)),
        "cautions": short_cautions(brief.on_date),
    }


def citations(outcome: Outcome) -> tuple[str, ...]:
    """References of the runs behind the outcome, each once."""
    return tuple(dict.fromkeys(text for result in outcome.traces for text in result.citations))


def candidate_table(outcome: Outcome) -> list[dict[str, Any]]:
    """All distinct blends as rows of one table: loadings, objective, and the margin to every limit.

    Returns
    -------
    list of dict
        One row per blend, best first, loadings before rounding.
    """
    unit = OBJECTIVE_UNIT[outcome.inputs.brief.objective]
    # by name: the first blend may have been judged at more positions than the search looks at
    constraints = {row.name: row for row in outcome.candidates[0].constraints}

    def row(rank: int, found: Local) -> dict[str, Any]:
        cells: dict[str, Any] = {
            "rank": rank,
            "is_feasible": found.is_feasible,
            f"objective_{unit}": found.objective,
        }
        cells |= {f"{key}_wt_pct": found.blend_wt_pct.get(key, 0.0) for key in outcome.inputs.space.keys}
        for name, figure in zip(found.limits, found.figures, strict=True):
            limit = constraints[name]
            cells[f"{limit.name} margin_{UNIT_SUFFIX[limit.unit]}"] = limit.margin(figure)
        return cells

    return [row(rank, found) for rank, found in enumerate(outcome.found.ranked, start=1)]
