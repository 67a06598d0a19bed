"""Light and photolysis for all cells at once (compiled); `optics` and `photochemistry` hold the formulas one cell at a time.

`cell`, `absorber`, `beam`, `ray` are the tables of `core_rows`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled_piece, compiled_sums
from .core_arrays import FilmArrays, Work
from .optics import light_two_flux
from .vector_math import quick_exp, quick_fall

Array = NDArray[np.float64]
_TRACE = 1e-3  # of what was weighed in


@compiled_piece
def straight_light(film: FilmArrays, cell: Array, absorber: Array, beam: Array, ray: Array) -> None:
    """Photon uptake, heat by light and light leaving the film at full output: `optics.light_in_film`, bin by bin."""
    n, kinds = cell.shape[1], absorber.shape[1]
    background, napierian, product = film.background, film.napierian, film.product
    for i in range(n):
        cell[row.LIGHT_HEAT, i] = 0.0
        for kind in range(kinds):
            absorber[row.A_UPTAKE, kind, i] = 0.0
    for q in range(beam.shape[1]):
        for i in range(n):
            ray[row.COEFFICIENT, i] = background[q, i]
        for kind in range(kinds):
            parent, rest = napierian[kind, q], product[kind, q]
            for i in range(n):
                ray[row.COEFFICIENT, i] += (
                    parent * absorber[row.A_LIT, kind, i] + rest * absorber[row.A_LOST, kind, i]
                )
        for i in range(n):
            depth = ray[row.COEFFICIENT, i] * cell[row.WIDTH, i]
            taken = quick_fall(depth)
            ray[row.TAKEN, i] = taken
            # Mean over the cell of what is left of the light; the series avoids 0/0 in a clear cell.
            ray[row.MEAN, i] = taken / depth if depth > 1e-5 else 1.0 - 0.5 * depth
        intensity = film.photons[q]
        for i in range(n):
            ray[row.ENTERING, i] = intensity
            intensity -= intensity * ray[row.TAKEN, i]
        beam[row.LEAVING, q] = intensity
        energy = film.energy[q]
        for i in range(n):
            cell[row.LIGHT_HEAT, i] += ray[row.ENTERING, i] * ray[row.TAKEN, i] * energy
            ray[row.MEAN, i] *= ray[row.ENTERING, i]
        for kind in range(kinds):
            parent = napierian[kind, q]
            for i in range(n):
                absorber[row.A_UPTAKE, kind, i] += parent * ray[row.MEAN, i]


@compiled_piece
def light_shift(absorber: Array, ray: Array, dose: float) -> float:
    """Largest shift of an absorber since the light was last worked out, as a share of what is there.

    Where the step bleaches an absorber many times over, a small rest still takes many photons: the shift counts by the photons
    of a step of `dose` seconds at full output. Less than a thousandth of what was weighed in counts as that much.
    """
    kinds, n = absorber.shape[1], absorber.shape[2]
    moved = 0.0
    for kind in range(kinds):
        for i in range(
            n
        ):  # two loops: the search for the largest does not become vector instructions, the shares do
            shift = abs(absorber[row.A_MIDDLE, kind, i] - absorber[row.A_LIT, kind, i])
            many = absorber[row.A_YIELD, kind, i] * absorber[row.A_UPTAKE, kind, i] * dose
            there = absorber[row.A_NOW, kind, i] + _TRACE * absorber[row.A_START, kind, i] + 1e-300
            ray[row.TAKEN, i] = shift * (1.0 + many) / there
        for i in range(n):
            moved = max(moved, ray[row.TAKEN, i])
    return moved


@compiled_piece
def update_light(film: FilmArrays, work: Work, tolerance: float, dose: float) -> bool:
    """Work out the light again if an absorber has moved by more than a share (see `light_shift`); whether it had."""
    cell, absorber, heat, beam = work.cell, work.absorber, work.heat, work.beam
    n = cell.shape[1]
    never = absorber.shape[1] == 0 or absorber[row.A_LIT, 0, 0] < 0.0
    if not never and light_shift(absorber, work.ray, dose) <= tolerance:
        return False
    for kind in range(absorber.shape[1]):
        for i in range(n):
            present = absorber[row.A_MIDDLE, kind, i]
            lost = absorber[row.A_START, kind, i] - present
            absorber[row.A_LIT, kind, i] = present
            absorber[row.A_LOST, kind, i] = max(0.0, lost)
    if film.boundary[at.TWO_FLUX] == 0.0:
        straight_light(film, cell, absorber, beam, work.ray)
    else:
        light_two_flux(
            film.width,
            absorber[row.A_LIT],
            absorber[row.A_LOST],
            film.napierian,
            film.product,
            film.background,
            film.scattering,
            film.floor_reflectance,
            film.boundary[at.SURFACE_REFLECTANCE],
            film.photons,
            film.energy,
            absorber[row.A_UPTAKE],
            cell[row.LIGHT_HEAT],
            beam[row.LEAVING],
            beam[row.REFLECTED],
            work.ray,
        )
    floor = film.floor
    for i in range(n, heat.shape[1]):
        heat[row.BELOW_HEAT, i] = 0.0
    for q in range(beam.shape[1]):
        power = beam[row.LEAVING, q] * film.energy[q]
        for j in range(floor.shape[1]):
            heat[row.BELOW_HEAT, n + j] += floor[q, j] * power
    return True


@compiled_piece
def guess_initiators(absorber: Array, dose: float) -> None:
    """Mean of the initiators over a step of `dose` seconds at full output, from the last known photolysis rates.

    (1 - exp(-x))/x by its Pade form; the mean, not the middle, is what the light of the step meets.
    """
    for kind in range(absorber.shape[1]):
        for i in range(absorber.shape[2]):
            x = absorber[row.A_YIELD, kind, i] * absorber[row.A_UPTAKE, kind, i] * dose
            absorber[row.A_MIDDLE, kind, i] = absorber[row.A_NOW, kind, i] / (1.0 + x * (0.5 + x / 12.0))


@compiled_piece
def _photolyse_kind(cell: Array, absorber: Array, kind: int, made_each: float, dose: float) -> None:
    """Loss of one absorber (exact exponential), the radicals it makes, its mean over the step."""
    for i in range(cell.shape[1]):
        present = absorber[row.A_NOW, kind, i]
        x = absorber[row.A_YIELD, kind, i] * absorber[row.A_UPTAKE, kind, i] * dose
        gone = present * quick_fall(x)
        absorber[row.A_NEW, kind, i] = present - gone
        absorber[row.A_MIDDLE, kind, i] = gone / x if x > 1e-6 else present
        cell[row.MADE, i] += made_each * gone


@compiled_piece
def _use_amine(cell: Array, absorber: Array, kind: int) -> None:
    """Amine used up by the radicals of one type II initiator."""
    for i in range(cell.shape[1]):
        gone = absorber[row.A_NOW, kind, i] - absorber[row.A_NEW, kind, i]
        amine = cell[row.AMINE, i]
        cell[row.NEW_AMINE, i] *= quick_exp(-gone / amine) if amine > 0.0 else 1.0


@compiled_piece
def photolyse(film: FilmArrays, cell: Array, absorber: Array, dose: float, seconds: float) -> None:
    """Initiators lost and radicals made in a step of `dose` seconds at full output; amine used up by type II initiators."""
    n = cell.shape[1]
    for i in range(n):
        cell[row.MADE, i] = cell[at.FIXED_INITIATION, i] * dose
        cell[row.NEW_AMINE, i] = cell[row.AMINE, i]
    for kind in range(absorber.shape[1]):
        quantum_yield, assisted = (
            film.species[kind, at.QUANTUM_YIELD],
            film.species[kind, at.NEEDS_AMINE] != 0.0,
        )
        half, quenching = film.species[kind, at.AMINE_HALF], film.species[kind, at.O2_QUENCHING]
        if assisted:
            for i in range(n):  # photochemistry.amine_share
                amine = cell[row.AMINE, i]
                share = amine / (amine + half + quenching * cell[row.OXYGEN, i])
                absorber[row.A_YIELD, kind, i] = quantum_yield * share if amine > 0.0 else 0.0
        _photolyse_kind(cell, absorber, kind, film.species[kind, at.RADICALS_PER_LOSS], dose)
        if assisted:
            _use_amine(cell, absorber, kind)
    for i in range(n):
        cell[row.FORMATION, i] = cell[row.MADE, i] / seconds


@compiled_piece
def photolyse_corrected(film: FilmArrays, work: Work, level: float, seconds: float, tolerance: float) -> None:
    """Photolysis with light through the guessed mean of the step, again where the true mean turns out elsewhere."""
    dose = level * seconds
    if level > 0.0:
        guess_initiators(work.absorber, dose)
        update_light(film, work, tolerance, dose)
    photolyse(film, work.cell, work.absorber, dose, seconds)
    if level <= 0.0 or film.species.shape[0] == 0:
        return
    for _ in range(3):
        if not update_light(film, work, tolerance, dose):
            return
        photolyse(film, work.cell, work.absorber, dose, seconds)


@compiled_sums
def account_light(film: FilmArrays, work: Work, totals: Array, dose: float) -> None:
    """Photons in, out, absorbed and used over a step of `dose` seconds at full output."""
    cell, absorber, beam, heat = work.cell, work.absorber, work.beam, work.heat
    entering, leaving, reflected, warmth = 0.0, 0.0, 0.0, 0.0
    for q in range(beam.shape[1]):
        entering += film.photons[q]
        leaving += beam[row.LEAVING, q]
        reflected += beam[row.REFLECTED, q]
    totals[at.PHOTONS_IN] += entering * dose
    totals[at.PHOTONS_OUT] += leaving * dose
    totals[at.PHOTONS_ABSORBED] += (entering - leaving - reflected) * dose
    for i in range(cell.shape[1]):
        warmth += cell[row.LIGHT_HEAT, i]
    for i in range(cell.shape[1], heat.shape[1]):
        warmth += heat[row.BELOW_HEAT, i]
    totals[at.HEAT_LIGHT] += warmth * dose
    for kind in range(absorber.shape[1]):
        used, lost = 0.0, 0.0
        for i in range(cell.shape[1]):
            # Photons that the light calculation gave to an initiator, against molecules that the exponential took away.
            photons = absorber[row.A_UPTAKE, kind, i] * absorber[row.A_LIT, kind, i]
            used += cell[row.WIDTH, i] * photons * absorber[row.A_YIELD, kind, i]
            lost += cell[row.WIDTH, i] * (absorber[row.A_NOW, kind, i] - absorber[row.A_NEW, kind, i])
        totals[at.PHOTONS_INITIATOR] += used * dose
        totals[at.INITIATOR_LOST] += lost
