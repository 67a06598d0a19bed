"""What a whole build leaves behind: every coat's residues, shrinkage and setting, and the colour of all binders together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from . import layout as at
from .after_cure import (
    AfterCure,
    FilmEnd,
    Tint,
    after_cure,
    binder_absorbance,
    left_fraction,
    sensitisers_left,
    tint_of,
)
from .assembly import CoatCells, amine_mol_m3, initiator_id
from .formulation import gel_density_kg_m3, gel_resin, stabiliser_blend
from .plain import bottom_value
from .setting import Setting, setting_of
from .stack_state import Nail

Array = NDArray[np.float64]
SENSITISERS_LEFT = "Known skin sensitisers predicted unreacted"


def remains_of(nail: Nail) -> tuple[tuple[AfterCure, ...], Tint]:
    """What is left in every coat, from the nail upwards, and the colour of their clear binders together over white."""
    found, absorbance = [], None
    for coat, number, part in zip(nail.coats, nail.numbers, nail.slices, strict=True):
        end, density = _end(nail, coat, part), gel_resin(coat.gel).density_kg_m3
        found.append(after_cure(coat.gel, density, end, _setting(nail, coat, number)))
        own = binder_absorbance(coat.gel, density, end)
        absorbance = own if absorbance is None else absorbance + own
    assert absorbance is not None  # a nail has a coat
    return tuple(reversed(found)), tint_of(absorbance)


def _end(nail: Nail, coat: CoatCells, part: slice) -> FilmEnd:
    """One coat before and after."""
    state, gel = nail.state, coat.gel
    resin = gel_resin(gel)
    rows = [nail.light.initiator_ids.index(initiator_id(gel, key)) for key in gel.initiators_wt_pct]
    amine = np.full(coat.width_m.size, amine_mol_m3(coat, resin))
    kept = stabiliser_blend(gel, gel_density_kg_m3(gel, resin.density_kg_m3)).content_mol_m3
    return FilmEnd(
        width_m=coat.width_m,
        initiator_left_fraction=left_fraction(
            state.concentration[rows, part], nail.film.start_concentration[rows, part]
        ),
        amine_left_fraction=left_fraction(state.amine[part], amine),
        stabiliser_left_fraction=left_fraction(state.stabiliser[part], np.full(coat.width_m.size, kept)),
        start_bonds_mol_m3=nail.film.initial[:, part],
        bonds_mol_m3=state.bonds[:, part],
    )


def _setting(nail: Nail, coat: CoatCells, number: int) -> Setting:
    """When the faces of a coat set, from its application to the first wipe that takes some of it."""
    times: list[Array] = []
    steps: list[Array] = []
    for run in nail.runs:
        if number not in run.numbers:
            continue
        part = run.slices[run.numbers.index(number)]
        if steps and part.stop - part.start != steps[0].shape[1]:
            break
        times.append(run.start_s + run.solution.record[:, at.TIME])
        steps.append(run.solution.conversion_steps[:, part])
    if not steps:  # applied and never lit nor left
        times, steps = [np.zeros(2)], [np.zeros((2, coat.width_m.size))]
    course, time_s = np.ascontiguousarray(np.vstack(steps)), np.concatenate(times)
    width = coat.width_m
    if course.shape[1] != width.size:  # wiped since: the cells taken off were the uppermost
        first = next(run for run in nail.runs if number in run.numbers)
        width = np.ascontiguousarray(first.solution.film.width[first.slices[first.numbers.index(number)]])
    return setting_of(width, time_s, course, np.array([bottom_value(width, row) for row in course]))


def remains_flags(numbers: Sequence[int], remains: Sequence[AfterCure]) -> tuple[str, ...]:
    """Sentences on allergens left unreacted in the coats and on wrinkling."""
    named = [
        f"coat {number}: {', '.join(left)}"
        for number, found in zip(numbers, remains, strict=True)
        if (left := sensitisers_left(found))
    ]
    flags = []
    if named:
        flags.append(
            f"{SENSITISERS_LEFT} in the upper fifth and at the lower face of the coats, upper estimate "
            f"with independent C=C groups: {'; '.join(named)}. Keep uncured gel off the skin."
        )
    flags += [
        f"Coat {number}: {found.setting.warning}"
        for number, found in zip(numbers, remains, strict=True)
        if found.setting.may_wrinkle
    ]
    return tuple(flags)
