"""What a tuned set means: its verdict in words, and every limit at its worst place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..lamp_library.units import c_from_k, um_from_m
from ..models.cure import TACKY_BELOW_FRACTION
from ..models.stack_results import StackResult
from .brief import Limits
from .constraints import Constraint
from .local import FEASIBLE
from .set_outcome import SetOutcome
from .stack_limits import rows_of_set, timed_events
from .stack_parts import Corner
from .stack_passing import without_margins
from .verdict import CureFigures, Verdict, headline, judge

CURE_FIGURES = (
    "bottom_conversion_fraction",
    "surface_conversion_fraction",
    "uncured_layer_m",
    "residual_wt_pct",
)
SHOWN_BURIED_M = 1e-6  # thinner ones lie inside the doubt of the oxygen layer
HEAT_FIGURES = ("nail_bed_peak_k", "cem43_min", "film_peak_k")


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """A limit of one coat where it is nearest to being broken.

    Parameters
    ----------
    what : str
        Limit and coat.
    constraint : Constraint
        The row concerned; its name holds the place.
    figure, value : float
        Figure in SI and scaled value.
    """

    what: str
    constraint: Constraint
    figure: float
    value: float

    @property
    def state(self) -> str:
        """Whether the limit is broken or decides."""
        return "broken" if self.value > FEASIBLE else "limits the set" if self.value > -0.05 else ""


def worst_rows(outcome: SetOutcome) -> list[Worst]:
    """Every limit of every coat at its worst corner, nearest first."""
    found: dict[str, Worst] = {}
    rows = zip(outcome.problem.constraints, outcome.figures, outcome.values, strict=True)
    for row, figure, value in rows:
        what = ", ".join(row.name.split(", ")[:2]) if ", coat " in row.name else row.name.split(", ")[0]
        if not row.lamp_id:
            what = row.name
        if what not in found or value > found[what].value:
            found[what] = Worst(what=what, constraint=row, figure=figure, value=value)
    return sorted(found.values(), key=lambda each: -each.value)


def set_verdict(outcome: SetOutcome) -> Verdict:
    """Whether the finished stacks cure through and stay cool, without the margins of the brief."""
    plain = without_margins(outcome.problem.coats)
    rows = [row.constraint for row in rows_of_set(plain)]
    broken = {
        row.figure
        for row, figure in zip(rows, outcome.figures, strict=True)
        if float(row.scaled(np.array(figure))) > FEASIBLE
    }
    cures, cool = not broken & set(CURE_FIGURES), not broken & set(HEAT_FIGURES)
    at = list(zip(outcome.problem.coats.corners, outcome.results, strict=True))
    limits = outcome.inputs.asked.brief.limits
    hot_corner, hot = max(at, key=lambda each: each[1].nail_bed_peak_k)
    said = judge(_figures(hot), _figures(hot), limits).sentences
    wettest = max(outcome.results, key=lambda each: each.tacky_layer_m)
    tacky = judge(_figures(wettest), _figures(wettest), limits).sentences[1]
    buried = thickest_buried(outcome)
    note = ", but leaves a layer uncured between coats" if buried.layer_m > SHOWN_BURIED_M else ""
    return Verdict(
        headline=headline(cures, cool) + note,
        sentences=(
            _bond(outcome, at),
            _softest(outcome),
            *([buried.sentence] if note else []),
            tacky,
            _heat(outcome, hot_corner, hot, limits),
            *said[3:],
        ),
        cures=cures,
        stays_cool=cool,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Buried:
    """The thickest layer below another coat that stays below the tacky threshold [m], with its coat and place."""

    layer_m: float
    coat: str
    place: str

    @property
    def sentence(self) -> str:
        """What it means."""
        return (
            f"Under the coat above, {um_from_m(self.layer_m):.0f} µm at the top of {self.coat} stay uncured ({self.place}): its "
            "tacky layer has spent its initiator. The model lets none wander in from the fresh coat, so this may be too "
            "harsh; wipe that coat (wipe = true), or test the set for peeling between coats."
        )


def thickest_buried(outcome: SetOutcome) -> Buried:
    """The thickest uncured layer between two coats, over all corners."""
    coats = outcome.problem.coats
    worst = Buried(layer_m=0.0, coat="", place="")
    for corner, result in zip(coats.corners, outcome.results, strict=True):
        layers = coats.layers(corner.stack)
        for number in sorted({int(each) for each in result.coat_number})[:-1]:
            soft = (result.coat_number == number) & (result.conversion_fraction < TACKY_BELOW_FRACTION)
            layer_m = float(result.width_m[soft].sum())
            if layer_m > worst.layer_m:
                name = f"coat {number} ({coats.parts[layers[number - 1]].name})"
                worst = Buried(layer_m=layer_m, coat=name, place=coats.place(corner))
    return worst


def _figures(result: StackResult) -> CureFigures:
    return CureFigures(
        position=result.position,
        thickness_m=result.thickness_m,
        bottom_conversion_fraction=result.bond_side_conversion_fraction,
        conversion_ceiling_fraction=result.coats[0].conversion_ceiling_fraction,
        film_peak_k=result.film_peak_k,
        nail_bed_peak_k=result.nail_bed_peak_k,
        cem43_min=result.cem43_min,
        uncured_layer_m=result.tacky_layer_m,
    )


def _bond(outcome: SetOutcome, at: Sequence[tuple[Corner, StackResult]]) -> str:
    corner, result = min(at, key=lambda each: each[1].bond_side_conversion_fraction)
    coats = outcome.problem.coats
    return (
        f"After everything the bond side of the {coats.parts[coats.stacks[corner.stack][0]].name} reaches a conversion of "
        f"{result.bond_side_conversion_fraction:.2f} ({coats.place(corner)}); about "
        f"{result.coats[0].conversion_ceiling_fraction:.2f} is possible."
    )


def _softest(outcome: SetOutcome) -> str:
    rows = [each for each in worst_rows(outcome) if each.constraint.figure in CURE_FIGURES[:2]]
    if not rows:
        return "No cure limit is asked for."
    worst = rows[0]
    kept_off = outcome.inputs.asked.brief.margins.conversion_fraction
    name = worst.constraint.name.split(", ", 1)
    note = f", {kept_off:g} of it a margin kept on purpose" if kept_off else ""
    return (
        f"Nearest to its cure limit is the {name[0]} of {name[1]}: {worst.figure:.2f}; at least "
        f"{worst.constraint.limit:.2f} is asked for{note}."
    )


def hottest_layer(result: StackResult, layers: int) -> int:
    """The layer during whose cure the nail bed is hottest, counted from 1."""
    return max(
        range(1, layers + 1),
        key=lambda layer: max(event.nail_bed_peak_k for event in timed_events(result, layer)),
    )


def _heat(outcome: SetOutcome, corner: Corner, result: StackResult, limits: Limits) -> str:
    coats = outcome.problem.coats
    layers = coats.layers(corner.stack)
    layer = hottest_layer(result, len(layers))
    dose = max(each.cem43_min for each in outcome.results)
    return (
        f"The nail bed peaks at {c_from_k(result.nail_bed_peak_k):.1f} °C while coat {layer} "
        f"({coats.parts[layers[layer - 1]].name}) cures ({coats.place(corner)}), with the warmth left from the coats "
        f"before; the thermal dose of the whole schedule is {dose:.2g} CEM43 min. The limits are "
        f"{c_from_k(limits.nail_bed_max_k):.0f} °C and {limits.cem43_max_min:g} min. The film itself peaks at "
        f"{c_from_k(result.film_peak_k):.0f} °C."
    )
