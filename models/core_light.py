"""Light and photolysis for all cells at once (compiled); `optics` and `photochemistry` hold the formulas one cell at a time.

`cell`, `absorber`, `beam`, `light` are the tables of `core_rows`. The innermost loops run over the light bins: they know nothing of each
other, so that they become vector instructions, while the light itself goes from cell to cell.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled_piece, compiled_string, compiled_sums
from .core_arrays import FilmArrays, Work
from .vector_math import quick_exp, quick_fall

Array = NDArray[np.float64]
_AMINE_ROUNDS = 3  # of the fixed point of mean amine; it falls by far more than ten times each
_TRACE = 1e-3  # of what was weighed in


@compiled_piece
def _absorption(film: FilmArrays, absorber: Array, light: Array, i: int) -> None:
    """Napierian absorption coefficient of cell `i` in every bin [1/m]."""
    for q in range(light.shape[2]):
        light[row.COEFFICIENT, i, q] = light[row.BACKGROUND, i, q]
    for kind in range(absorber.shape[1]):
        present, lost = absorber[row.A_LIT, kind, i], absorber[row.A_LOST, kind, i]
        for q in range(light.shape[2]):
            light[row.COEFFICIENT, i, q] += film.napierian[kind, q] * present + film.product[kind, q] * lost


@compiled_sums
def _take_up(film: FilmArrays, cell: Array, absorber: Array, beam: Array, i: int) -> None:
    """Heat by light in cell `i` from the photons it took, and what each absorber takes of its mean light."""
    warmth = 0.0
    for q in range(beam.shape[1]):
        warmth += beam[row.PART, q] * film.energy[q]
    cell[row.LIGHT_HEAT, i] = warmth
    for kind in range(absorber.shape[1]):
        uptake = 0.0
        for q in range(beam.shape[1]):
            uptake += film.napierian[kind, q] * beam[row.MEAN, q]
        absorber[row.A_UPTAKE, kind, i] = uptake


@compiled_string
def straight_light(film: FilmArrays, work: Work) -> None:
    """Photon uptake, heat by light and light leaving the film at full output: `optics.light_in_film`, all bins at once."""
    cell, absorber, beam, light = work.cell, work.absorber, work.beam, work.light
    bins = beam.shape[1]
    for q in range(bins):
        beam[row.DOWN, q] = film.photons[q]
    for i in range(cell.shape[1]):
        _absorption(film, absorber, light, i)
        width = cell[row.WIDTH, i]
        for q in range(bins):
            depth = light[row.COEFFICIENT, i, q] * width
            taken = quick_fall(depth)
            entering = beam[row.DOWN, q]
            # Mean over the cell of what is left of the light; the series avoids 0/0 in a clear cell.
            beam[row.MEAN, q] = entering * (taken / depth if depth > 1e-5 else 1.0 - 0.5 * depth)
            beam[row.PART, q] = entering * taken
            beam[row.DOWN, q] = entering - entering * taken
        _take_up(film, cell, absorber, beam, i)
    for q in range(bins):
        beam[row.LEAVING, q] = beam[row.DOWN, q]


@compiled_piece
def _layer(light: Array, width: float, i: int) -> None:
    """Cell `i` as a layer in every bin: what it scatters of the straight light, its diffuse reflectance and transmittance.

    `optics.layer_reflection`, its hyperbolic functions divided by exp(K d): nothing overflows and no branch is needed.
    """
    for q in range(light.shape[2]):
        coefficient, scatter = light[row.COEFFICIENT, i, q], light[row.SCATTERING, i, q]
        total = coefficient + scatter
        entering = light[row.STRAIGHT, i, q]
        taken = entering * quick_fall(total * width)
        light[row.STRAIGHT, i + 1, q] = entering - taken
        light[row.SCATTERED, i, q] = taken * scatter / total if total > 0.0 else 0.0
        absorbs, scatters = 2.0 * coefficient, 0.75 * scatter
        root = math.sqrt(absorbs * (absorbs + 2.0 * scatters))
        depth = root * width
        fall = quick_fall(2.0 * depth)
        # sinh(x)/x stays finite where neither absorption nor scattering is left
        ratio = fall / root if depth > 1e-12 else 2.0 * width
        bottom = 2.0 - fall + (absorbs + scatters) * ratio
        light[row.MIRROR, i, q] = scatters * ratio / bottom
        light[row.TRANSMIT, i, q] = 2.0 * quick_exp(-depth) / bottom


@compiled_piece
def _join_layers(film: FilmArrays, light: Array) -> None:
    """Reflectance of all that lies below each face, and the light that rises there by itself, from the floor upwards."""
    n = light.shape[1] - 1
    for q in range(light.shape[2]):
        light[row.BELOW, n, q] = film.floor_reflectance[q]
        light[row.RISING, n, q] = film.floor_reflectance[q] * light[row.STRAIGHT, n, q]
    for i in range(n - 1, -1, -1):
        for q in range(light.shape[2]):
            mirror, transmit = light[row.MIRROR, i, q], light[row.TRANSMIT, i, q]
            half, below = 0.5 * light[row.SCATTERED, i, q], light[row.BELOW, i + 1, q]
            through = transmit / (1.0 - mirror * below)
            light[row.BELOW, i, q] = mirror + transmit * through * below
            light[row.RISING, i, q] = half + through * (light[row.RISING, i + 1, q] + below * half)


@compiled_string
def scattered_light(film: FilmArrays, work: Work) -> None:
    """Light in a scattering film over a reflecting floor: `optics.light_two_flux`, all bins at once."""
    cell, absorber, beam, light = work.cell, work.absorber, work.beam, work.light
    n, bins = cell.shape[1], beam.shape[1]
    for q in range(bins):
        light[row.STRAIGHT, 0, q] = film.photons[q]
    for i in range(n):
        _absorption(film, absorber, light, i)
        _layer(light, cell[row.WIDTH, i], i)
    _join_layers(film, light)
    surface = film.boundary[at.SURFACE_REFLECTANCE]
    for q in range(bins):
        below, rising = light[row.BELOW, 0, q], light[row.RISING, 0, q]
        down = surface * rising / (1.0 - surface * below)
        up = below * down + rising
        beam[row.DOWN, q], beam[row.UP, q] = down, up
        beam[row.REFLECTED, q] = (1.0 - surface) * up
    for i in range(n):
        width = cell[row.WIDTH, i]
        for q in range(bins):
            mirror, below, rising = (
                light[row.MIRROR, i, q],
                light[row.BELOW, i + 1, q],
                light[row.RISING, i + 1, q],
            )
            down, up = beam[row.DOWN, q], beam[row.UP, q]
            next_down = light[row.TRANSMIT, i, q] * down + mirror * rising + 0.5 * light[row.SCATTERED, i, q]
            next_down /= 1.0 - mirror * below
            next_up = below * next_down + rising
            # Net inflow: what was taken from the straight light and not scattered, and the diffuse light that stayed.
            part = light[row.STRAIGHT, i, q] - light[row.STRAIGHT, i + 1, q] + down - next_down + next_up - up
            depth = light[row.COEFFICIENT, i, q] * width
            beam[row.PART, q] = part
            beam[row.MEAN, q] = part / depth if depth > 0.0 else 0.0
            beam[row.DOWN, q], beam[row.UP, q] = next_down, next_up
        _take_up(film, cell, absorber, beam, i)
    for q in range(bins):
        leaving = beam[row.DOWN, q] + light[row.STRAIGHT, n, q]
        beam[row.LEAVING, q] = (1.0 - film.floor_reflectance[q]) * leaving


@compiled_piece
def light_shift(cell: Array, absorber: Array, dose: float) -> float:
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
            cell[row.MISS, i] = shift * (1.0 + many) / there
        for i in range(n):
            moved = max(moved, cell[row.MISS, i])
    return moved


@compiled_string
def update_light(film: FilmArrays, work: Work, tolerance: float, dose: float) -> bool:
    """Work out the light again if an absorber has moved by more than a share (see `light_shift`); whether it had."""
    cell, absorber, heat, beam = work.cell, work.absorber, work.heat, work.beam
    n = cell.shape[1]
    never = absorber.shape[1] == 0 or absorber[row.A_LIT, 0, 0] < 0.0
    if not never and light_shift(cell, absorber, dose) <= tolerance:
        return False
    for kind in range(absorber.shape[1]):
        for i in range(n):
            present = absorber[row.A_MIDDLE, kind, i]
            lost = absorber[row.A_START, kind, i] - present
            absorber[row.A_LIT, kind, i] = present
            absorber[row.A_LOST, kind, i] = max(0.0, lost)
    if film.boundary[at.TWO_FLUX] == 0.0:
        straight_light(film, work)
    else:
        scattered_light(film, work)
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
def foresee_helpers(film: FilmArrays, cell: Array, absorber: Array, dose: float, ratio: float) -> None:
    """Mean amine and middle oxygen of a step of `dose` seconds at full output, on which the yield of type II initiators hangs.

    Oxygen goes on along its last course (`ratio`: half this step over the last one). Amine falls exponentially: the share of
    excited initiators that meet one is as the amine that is left. Taking either from the start of the step would make the whole
    scheme one of first order.
    """
    for i in range(cell.shape[1]):
        now = cell[row.OXYGEN, i]
        cell[row.MIDDLE_OXYGEN, i] = max(0.0, now + ratio * (now - cell[row.PAST_OXYGEN, i]))
        cell[row.MEAN_AMINE, i] = cell[row.AMINE, i]
    for _ in range(_AMINE_ROUNDS):
        for i in range(cell.shape[1]):
            cell[row.MISS, i] = 0.0
        for kind in range(absorber.shape[1]):
            if film.species[kind, at.NEEDS_AMINE] == 0.0:
                continue
            yielding = film.species[kind, at.QUANTUM_YIELD] * dose
            half, quenching = film.species[kind, at.AMINE_HALF], film.species[kind, at.O2_QUENCHING]
            for i in range(cell.shape[1]):
                excited = absorber[row.A_MIDDLE, kind, i] * absorber[row.A_UPTAKE, kind, i] * yielding
                takers = cell[row.MEAN_AMINE, i] + half + quenching * cell[row.MIDDLE_OXYGEN, i]
                cell[row.MISS, i] += excited / (takers + 1e-300)
        for i in range(cell.shape[1]):
            used = cell[row.MISS, i]
            left = quick_fall(used) / used if used > 1e-6 else 1.0
            cell[row.MEAN_AMINE, i] = cell[row.AMINE, i] * left


@compiled_piece
def _use_amine(cell: Array, absorber: Array, kind: int) -> None:
    """Amine used up by the radicals of one type II initiator, one each: the exponential whose mean is the mean amine."""
    for i in range(cell.shape[1]):
        gone = absorber[row.A_NOW, kind, i] - absorber[row.A_NEW, kind, i]
        amine = cell[row.MEAN_AMINE, i]
        cell[row.NEW_AMINE, i] *= quick_exp(-gone / amine) if amine > 0.0 else 1.0


@compiled_string
def photolyse(
    film: FilmArrays, cell: Array, absorber: Array, dose: float, seconds: float, last: float
) -> None:
    """Initiators lost and radicals made in a step of `dose` seconds at full output; amine used up by type II initiators."""
    n = cell.shape[1]
    for i in range(n):
        cell[row.MADE, i] = cell[at.FIXED_INITIATION, i] * dose
        cell[row.NEW_AMINE, i] = cell[row.AMINE, i]
    assisted_kinds = 0
    for kind in range(absorber.shape[1]):
        assisted_kinds += film.species[kind, at.NEEDS_AMINE] != 0.0
    if assisted_kinds > 0:
        foresee_helpers(film, cell, absorber, dose, 0.5 * seconds / last if last > 0.0 else 0.0)
    for kind in range(absorber.shape[1]):
        quantum_yield, assisted = (
            film.species[kind, at.QUANTUM_YIELD],
            film.species[kind, at.NEEDS_AMINE] != 0.0,
        )
        half, quenching = film.species[kind, at.AMINE_HALF], film.species[kind, at.O2_QUENCHING]
        if assisted:
            for i in range(n):  # photochemistry.amine_share
                amine = cell[row.MEAN_AMINE, i]
                share = amine / (amine + half + quenching * cell[row.MIDDLE_OXYGEN, i])
                absorber[row.A_YIELD, kind, i] = quantum_yield * share if amine > 0.0 else 0.0
        _photolyse_kind(cell, absorber, kind, film.species[kind, at.RADICALS_PER_LOSS], dose)
        if assisted:
            _use_amine(cell, absorber, kind)
    for i in range(n):
        cell[row.FORMATION, i] = cell[row.MADE, i] / seconds
    if dose > 0.0:
        for i in range(n):
            cell[row.LIT_FORMATION, i] = cell[row.FORMATION, i]


@compiled_string
def photolyse_corrected(
    film: FilmArrays, work: Work, level: float, seconds: float, last: float, tolerance: float
) -> None:
    """Photolysis with light through the guessed mean of the step, again where the true mean turns out elsewhere."""
    dose = level * seconds
    if level > 0.0:
        guess_initiators(work.absorber, dose)
        update_light(film, work, tolerance, dose)
    photolyse(film, work.cell, work.absorber, dose, seconds, last)
    if level <= 0.0 or film.species.shape[0] == 0:
        return
    for _ in range(3):
        if not update_light(film, work, tolerance, dose):
            return
        photolyse(film, work.cell, work.absorber, dose, seconds, last)


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
