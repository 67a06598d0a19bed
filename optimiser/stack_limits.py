"""The limits of a set of coats: one value per limit, coat, stack, position and end of the thickness windows.

Judged in the finished stack: the lower face of every coat after everything (the bond side is that of the first coat), the
heat of each exposure with the warmth that was left from those before, the thermal dose of the whole schedule, the tacky
layer of the topmost coat. Second-cycle heat and yellowness are judged coat by coat, not here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..models.formulation import gel_resin
from ..models.stack_results import CoatFigures, EventResult, StackResult
from .constraints import Constraint, blend_limits, cure_limits, heat_limits
from .stack_parts import CoatSet, Part

Floats = NDArray[np.float64]
Results = Mapping[int, StackResult]
WHOLE_NAIL = ("nail_bed_peak_k", "cem43_min", "film_peak_k")  # one limit for all coats
LAYER_FIGURES = {
    "bottom_conversion_fraction": "bottom_conversion_fraction",
    "surface_conversion_fraction": "top_conversion_fraction",
}


@dataclass(frozen=True, slots=True, eq=False)
class StackRow:
    """A limit, how its figure is read from the builds of all corners and the loadings of every gel, and whose coat it judges.

    `part` is the number of the coat's gel; None for the thermal dose, which belongs to the whole schedule. A limit on cure also
    tells its layer, counted from 1, and the conversion possible there [-].
    """

    constraint: Constraint
    read: Callable[[Results, Sequence[Floats]], float]
    part: int | None = None
    layer: int | None = None
    ceiling_fraction: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A row of a set's limits under a name that tells whose coat it is.

    Parameters
    ----------
    row : Constraint
        The row, its `limit_name` with the coat, such as ``base conversion of builder``.
    limit_name : str
        Name of the limit as the brief has it: heat holds for the nail as a whole, in whichever coat it arises.
    part : int or None
        Number of the coat's gel; None for the thermal dose.
    """

    row: Constraint
    limit_name: str
    part: int | None


def judged_rows(coats: CoatSet) -> list[Judged]:
    """The limits of a set, row by row as `StackProblem` has them."""
    found = []
    for each in rows_of_set(coats):
        row, part = each.constraint, each.part
        name = row.limit_name
        own = ""
        if part is not None:
            own = f" {'while' if row.figure in WHOLE_NAIL else 'of'} {coats.parts[part].name}"
            own += " cures" if row.figure in WHOLE_NAIL else ""
        whole = name if row.figure in WHOLE_NAIL else f"{name}{own}"
        found.append(Judged(row=replace(row, limit_name=f"{name}{own}"), limit_name=whole, part=part))
    return found


def rows_of_set(coats: CoatSet) -> list[StackRow]:
    """All limits of a set: corner by corner, then gel by gel.

    Parameters
    ----------
    coats : CoatSet
        The set.

    Returns
    -------
    list of StackRow
    """
    rows: list[StackRow] = []
    for i, corner in enumerate(coats.corners):
        place, layers = coats.place(corner), coats.layers(corner.stack)
        for layer, number in enumerate(layers, start=1):
            coat = f"coat {layer} ({coats.parts[number].name}), {place}"
            rows += _heat_rows(coats, i, layer, number, coat)
            rows += _cure_rows(coats, i, layer, number, coat)
        rows += _dose_rows(coats, i, place)
    for number, part in enumerate(coats.parts):
        rows += _gel_rows(number, part)
    return rows


def _row(
    coats: CoatSet,
    spec: dict[str, Any],
    place: str,
    corner: int,
    read: Callable[..., float],
    part: int | None = None,
) -> StackRow:
    name = f"{spec['limit_name']}, {place}"
    return StackRow(Constraint(name=name, scenario=corner, lamp_id=coats.lamp.lamp_id, **spec), read, part)


def _heat_rows(coats: CoatSet, corner: int, layer: int, number: int, coat: str) -> list[StackRow]:
    def hottest(results: Results, _: Sequence[Floats], figure: str) -> float:
        return max(float(getattr(event, figure)) for event in timed_events(results[corner], layer))

    specs = [spec for spec in heat_limits(coats.brief) if spec["figure"] != "cem43_min"]
    return [
        _row(coats, spec, coat, corner, partial(hottest, figure=spec["figure"]), number) for spec in specs
    ]


def _dose_rows(coats: CoatSet, corner: int, place: str) -> list[StackRow]:
    specs = [spec for spec in heat_limits(coats.brief) if spec["figure"] == "cem43_min"]
    return [
        _row(coats, spec, place, corner, lambda results, _: float(results[corner].cem43_min))
        for spec in specs
    ]


def timed_events(result: StackResult, layer: int) -> list[EventResult]:
    """Exposure and rest that follow the application of a layer, counted from 1."""
    found, applied = [], 0
    for event in result.events:
        applied += event.kind == "apply"
        if applied == layer and event.kind in ("expose", "rest"):
            found.append(event)
    return found


def coat_of(result: StackResult, layer: int) -> CoatFigures | None:
    """Figures of a layer at the end; None when it was wiped off whole."""
    return next((each for each in result.coats if each.number == layer), None)


def _cure_rows(coats: CoatSet, corner: int, layer: int, number: int, coat: str) -> list[StackRow]:
    part, is_top = coats.parts[number], layer == len(coats.layers(coats.corners[corner].stack))
    ceiling = gel_resin(part.gel).conversion_ceiling_fraction()

    def conversion(results: Results, _: Sequence[Floats], figure: str) -> float:
        mine = coat_of(results[corner], layer)
        return 0.0 if mine is None else float(getattr(mine, LAYER_FIGURES[figure]))

    def tacky(results: Results, _: Sequence[Floats]) -> float:
        return float(results[corner].tacky_layer_m)

    def residual(results: Results, loadings: Sequence[Floats]) -> float:
        mine = coat_of(results[corner], layer)
        weighed = dict(zip(part.space.keys, loadings[number], strict=True))
        shares = {} if mine is None else mine.residual_initiator_fraction
        return float(sum(share * weighed.get(key, 0.0) for key, share in shares.items()))

    readers: dict[str, Callable[..., float]] = {
        "bottom_conversion_fraction": partial(conversion, figure="bottom_conversion_fraction"),
        "surface_conversion_fraction": partial(conversion, figure="surface_conversion_fraction"),
        "uncured_layer_m": tacky,
        "residual_wt_pct": residual,
    }
    return [
        replace(
            _row(coats, spec, coat, corner, readers[spec["figure"]], number),
            layer=layer,
            ceiling_fraction=ceiling,
        )
        for spec in cure_limits(part.brief, ceiling)
        if is_top or spec["figure"] != "uncured_layer_m"  # what lies under another coat has no tacky layer
    ]


def _gel_rows(number: int, part: Part) -> list[StackRow]:
    prices = np.array([part.brief.prices_per_kg.get(key, 0.0) for key in part.space.keys])

    def read(_: Results, loadings: Sequence[Floats], figure: str) -> float:
        own = loadings[number]
        return float(own.sum()) if figure == "total_wt_pct" else float(own @ prices) / 100.0

    return [
        StackRow(
            Constraint(name=f"{spec['limit_name']}, {part.name}", scenario=0, **spec),
            partial(read, figure=spec["figure"]),
            number,
        )
        for spec in blend_limits(part.brief)
    ]
