"""Reaction over one step for all cells at once: rate coefficients, radicals, oxygen's share in them, C=C (compiled).

`kinetics` holds the same formulas one cell at a time, as text to read and as reference; the tests hold the two together. Here
every choice is a selection in place of a branch, and the exponentials are those of `vector_math`: the loops then become vector
instructions. `cell` is the table of `core_rows`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled_inside, compiled_piece, compiled_sums
from .kinetics import GAS_CONSTANT_J_MOL_K
from .vector_math import quick_exp, quick_fall, quick_log1p

Array = NDArray[np.float64]
_HARDLY = 0.02  # of a cell's oxygen: a step that takes less follows its course anyway
_PER_R = 1.0 / GAS_CONSTANT_J_MOL_K


@compiled_inside
def mean_left(used: float) -> float:
    """Mean of exp(-x) over 0 to `used`, (1 - exp(-used)) / used, for the share of a stabiliser left over a step [-].

    As a fraction of polynomials: an exponential for every cell and pass would be dear. Off by 4e-5 at 0.3, 2e-3 at 1; falls to
    0 as it must.
    """
    part = 1.0 + used * (0.5 + used * (1.0 / 6.0 + used * (1.0 / 24.0)))
    return part / (1.0 + used * part)


@compiled_piece
def coefficients(cell: Array, heat: Array) -> None:
    """Loss coefficients of C=C and k_t of every cell at the middle of the step [m3 mol-1 s-1]; see `cell_coefficients`."""
    for i in range(cell.shape[1]):
        acrylate, methacrylate, kelvin = cell[row.MIDDLE_0, i], cell[row.MIDDLE_1, i], heat[row.MIDDLE_K, i]
        bonded = cell[row.PER_FULL, i] > 0.0
        conversion = 1.0 - (acrylate + methacrylate) * cell[row.PER_FULL, i]
        mode, reference = cell[at.VITRIFICATION_MODE, i], cell[at.T_REF, i]
        ratio = (kelvin + cell[at.TG_HALF_WIDTH, i] - cell[at.TG_MONOMER, i]) / (
            cell[at.TG_POLYMER, i] - cell[at.TG_MONOMER, i]
        )
        glass = ratio / (cell[at.DIBENEDETTO, i] + (1.0 - cell[at.DIBENEDETTO, i]) * ratio)
        linear = cell[at.X_REF, i] + cell[at.X_SLOPE, i] * (kelvin - reference)
        glass = glass if mode == 1.0 else (linear if mode == 2.0 else 1e9)
        freedom = 1.0 / (1.0 + quick_exp((conversion - glass) / cell[at.SIGMOID_WIDTH, i]))
        colder = (1.0 / reference - 1.0 / kelvin) * _PER_R
        kp_0 = cell[at.KP_ACRYLATE, i] * freedom * quick_exp(cell[at.EP_ACRYLATE, i] * colder)
        kp_1 = cell[at.KP_METHACRYLATE, i] * freedom * quick_exp(cell[at.EP_METHACRYLATE, i] * colder)
        cross_1 = kp_0 / cell[at.R_ACRYLATE, i]
        cross_0 = kp_1 / cell[at.R_METHACRYLATE, i]
        share = cross_0 * acrylate / (cross_0 * acrylate + cross_1 * methacrylate)
        share = 1.0 if methacrylate <= 0.0 else (0.0 if acrylate <= 0.0 else share)
        # Where propagation has stopped to the last digit the share is 0/0; nothing reacts whatever it is.
        share = 0.5 if math.isnan(share) else share
        loss_0 = kp_0 * share + (cross_0 * (1.0 - share) if methacrylate > 0.0 else 0.0)
        loss_1 = kp_1 * (1.0 - share) + (cross_1 * share if acrylate > 0.0 else 0.0)
        loss_0 = loss_0 if (acrylate > 0.0) | (methacrylate <= 0.0) else 0.0
        loss_1 = loss_1 if bonded & (methacrylate > 0.0) else 0.0
        translation = cell[at.KT, i] * quick_exp(cell[at.ET, i] * colder - cell[at.KT_DECAY, i] * conversion)
        reaction = cell[at.REACTION_DIFFUSION, i] * (loss_0 * acrylate + loss_1 * methacrylate)
        cell[row.LOSS_0, i] = loss_0 if bonded else 0.0
        cell[row.LOSS_1, i] = loss_1
        cell[row.TERMINATION, i] = translation + reaction if bonded else cell[at.KT, i]
        cell[row.CATCH, i] = cell[at.STABILISER_RATE, i] * (freedom if bonded else 1.0)


@compiled_piece
def loss_to_stabiliser(cell: Array) -> None:
    """First-order loss of radicals to the mean stabiliser of the step, with what is never used up [1/s].

    A loop of its own: within that of `coefficients` it would keep both from becoming vector instructions.
    """
    for i in range(cell.shape[1]):
        catch = cell[row.CATCH, i]
        used = catch * cell[row.EXPECTED, i] / cell[at.STABILISER_RADICALS, i]
        taken = catch * cell[row.STABILISER, i] * mean_left(used)
        cell[row.BASE_LOSS, i] = cell[at.RADICAL_LOSS, i] + taken


@compiled_inside
def radical_course(
    formation: float, first_order_loss: float, termination: float, radicals: float, seconds: float
) -> tuple[float, float]:
    """Radicals after a step and their integral over it: `kinetics.radical_step` without branches."""
    root = math.sqrt(first_order_loss * first_order_loss + 4.0 * formation * termination)
    steady = 2.0 * formation / (root + first_order_loss + 1e-300)
    exponent = root * seconds
    fall = quick_fall(exponent)
    memory = fall / root if exponent > 1e-9 else seconds
    excess = radicals - steady
    bend = termination * excess * memory
    straight = excess * memory
    curved = quick_log1p(bend) / (termination + 1e-300)
    # `&`, not `and`: a branch would keep the loop from becoming vector instructions
    integral = steady * seconds + (curved if (abs(bend) > 1e-12) & (termination > 1e-30) else straight)
    return steady + excess * (1.0 - fall) / (1.0 + bend), integral


@compiled_piece
def oxygen_effect(cell: Array, seconds: float, deepest: int) -> None:
    """How oxygen holds the radicals of each cell down: for what part of the step, and at what rate afterwards.

    Oxygen stored in the cell and used up in this step silences the radicals for its share of the step; from then on only
    oxygen that diffuses in counts. Without this split an implicit step would smear the end of the induction time over its
    own length. It is weighted with how far the cell lives on its store and how far it empties it: where diffusion keeps up, or
    oxygen hardly changes, radicals see the oxygen that is there.
    Below `deepest` there is none to speak of.
    """
    for i in range(cell.shape[1]):
        cell[row.ALIVE, i], cell[row.OXYGEN_LOSS, i] = seconds, 0.0
    for i in range(deepest):
        formation, per_oxygen = cell[row.FORMATION, i], cell[at.O2_RADICALS, i]
        loss = per_oxygen * cell[at.O2_RATE, i] * cell[row.NEW_OXYGEN, i]
        taken = cell[row.OXYGEN, i] - cell[row.NEW_OXYGEN, i]
        consumed = max(0.0, cell[row.CONSUMED, i])
        supplied = max(0.0, consumed - taken)
        split = (formation > 0.0) & (taken > 0.0) & (consumed > 0.0)
        made = formation * seconds
        own = taken / (taken + supplied + 1e-300) * taken / (taken + _HARDLY * cell[row.OXYGEN, i] + 1e-300)
        own *= made / (
            made + cell[row.RADICAL, i] + 1e-300
        )  # only new radicals are silenced; old ones are caught
        cell[row.OWN, i] = own * own if split else 0.0
        # what leaves by diffusion meets no radical here
        silenced = own * own * min(min(consumed, max(0.0, taken)), made / (per_oxygen + 1e-300))
        caught = consumed - silenced
        alive = max(0.0, seconds - per_oxygen * silenced / formation)
        base, termination, radicals = cell[row.BASE_LOSS, i], cell[row.TERMINATION, i], cell[row.RADICAL, i]
        # The first-order loss with which these radicals catch just what is left to them: from the steady balance
        # a = b R + c R^2 with b R known, then twice closer (written out: loops within loops are not vectorised).
        wanted = per_oxygen * caught
        pace = min(wanted / (alive + 1e-30), formation)
        steady = pace * math.sqrt(termination / (max(formation - pace, 1e-6 * formation) + 1e-300))
        reduced = max(
            steady, min(1e12, loss * caught * seconds / (consumed * (alive + 1e-9 * seconds) + 1e-300))
        )  # the second where oxygen leaves radicals no chance
        _, integral = radical_course(formation, base + reduced, termination, radicals, alive)
        closer = min(wanted / (integral + 1e-300), 1e12)
        reduced = closer if integral > 0.0 else reduced
        _, integral = radical_course(formation, base + reduced, termination, radicals, alive)
        closer = min(wanted / (integral + 1e-300), 1e12)
        reduced = closer if integral > 0.0 else reduced
        cell[row.OXYGEN_LOSS, i] = reduced if split else loss
        cell[row.ALIVE, i] = alive if split else seconds


@compiled_piece
def radicals_over_step(cell: Array) -> None:
    """Radicals after the step and their integral over its living part."""
    for i in range(cell.shape[1]):
        radical, integral = radical_course(
            cell[row.FORMATION, i],
            cell[row.BASE_LOSS, i] + cell[row.OXYGEN_LOSS, i],
            cell[row.TERMINATION, i],
            cell[row.RADICAL, i],
            cell[row.ALIVE, i],
        )
        cell[row.NEW_RADICAL, i] = radical
        cell[row.ALIVE_INTEGRAL, i] = integral
        cell[row.INTEGRAL, i] = integral


@compiled_piece
def radicals_beside_oxygen(cell: Array, seconds: float, deepest: int) -> None:
    """Add the radicals that live while stored oxygen lasts, and those that live until oxygen arrives; note what hangs on both.

    While oxygen lasts, dO/dt = -k_O O R gives their few; this stops to matter where termination takes as many radicals, or where
    radicals can no longer follow the fall of oxygen. Where oxygen comes into a cell full of radicals, as in the dark, it
    comes at an even pace and takes them one by one, until they are gone and oxygen begins to pile up; the implicit step, which
    knows the oxygen of its end only, would have them die at once.

    Both are idealised, the more so the less a cell lives on its own store or the more radicals die of arriving oxygen: this
    conversion joins the error of the step.
    """
    for i in range(cell.shape[1]):
        cell[row.DOUBT, i] = 0.0
    for i in range(deepest):
        rate = cell[at.O2_RATE, i]
        rival = math.sqrt(cell[row.FORMATION, i]) * (
            math.sqrt(cell[row.TERMINATION, i]) / rate + 1.0 / math.sqrt(rate)
        )
        rival /= cell[at.O2_RADICALS, i] + 1e-300
        taken = cell[row.OXYGEN, i] - cell[row.NEW_OXYGEN, i]
        passed = quick_log1p(taken / (cell[row.NEW_OXYGEN, i] + rival)) / rate
        passed *= cell[row.OWN, i]  # as in oxygen_effect
        held = (cell[row.ALIVE, i] < seconds) & (cell[row.NEW_OXYGEN, i] > 0.0)
        kept = 4.0 * cell[row.OWN, i] * (1.0 - cell[row.OWN, i])
        integral = cell[row.INTEGRAL, i] + (passed if held else 0.0)
        doubtful = kept * integral if held else 0.0

        per_oxygen, stored, radicals = cell[at.O2_RADICALS, i], cell[row.OXYGEN, i], cell[row.RADICAL, i]
        arrived = max(0.0, cell[row.CONSUMED, i] - stored)
        until = seconds * arrived / (arrived + cell[row.NEW_OXYGEN, i] + 1e-300)
        outlived = max(0.0, radicals - per_oxygen * stored)  # what is stored takes its radicals at once
        course = 0.5 * (outlived + cell[row.NEW_RADICAL, i]) * until
        there = radicals + cell[row.FORMATION, i] * seconds + 1e-300
        more = min(1.0, per_oxygen * cell[row.CONSUMED, i] / there) * max(0.0, course - integral)
        doubtful += more
        more *= more / (more + 0.5 * integral + 1e-300)  # without a kink, since fits need derivatives
        cell[row.INTEGRAL, i] = integral + more
        per_integral = cell[row.LOSS_0, i] * cell[row.BONDS_0, i] + cell[row.LOSS_1, i] * cell[row.BONDS_1, i]
        cell[row.DOUBT, i] = per_integral * cell[row.PER_FULL, i] * doubtful


@compiled_piece
def bonds_over_step(cell: Array) -> None:
    """C=C after the step by the exact exponential of the radical integral, and the heat it sets free [J m-2]."""
    for i in range(cell.shape[1]):
        lost_0 = cell[row.BONDS_0, i] * quick_fall(cell[row.LOSS_0, i] * cell[row.INTEGRAL, i])
        lost_1 = cell[row.BONDS_1, i] * quick_fall(cell[row.LOSS_1, i] * cell[row.INTEGRAL, i])
        cell[row.NEW_0, i] = cell[row.BONDS_0, i] - lost_0
        cell[row.NEW_1, i] = cell[row.BONDS_1, i] - lost_1
        cell[row.REACTION_HEAT, i] = (
            cell[at.HEAT_ACRYLATE, i] * lost_0 + cell[at.HEAT_METHACRYLATE, i] * lost_1
        ) * cell[row.WIDTH, i]


@compiled_piece
def stabiliser_over_step(cell: Array) -> None:
    """Stabiliser after the step, and the radicals it stopped; neither gets lost.

    With the mean of `mean_left` this is the exact exponential of the radical integral, S exp(-k/n int R dt), where the integral
    was foreseen rightly (`stabiliser_error` says how rightly). What radicals were given up to beyond the last molecule they
    keep: they are alive at the end of the step.
    """
    for i in range(cell.shape[1]):
        present, per_molecule = cell[row.STABILISER, i], cell[at.STABILISER_RADICALS, i]
        met = (cell[row.BASE_LOSS, i] - cell[at.RADICAL_LOSS, i]) * cell[row.ALIVE_INTEGRAL, i]
        stopped = min(met, per_molecule * present)
        cell[row.STOPPED, i] = stopped
        cell[row.NEW_RADICAL, i] += met - stopped
        cell[row.NEW_STABILISER, i] = max(0.0, present - stopped / per_molecule)


@compiled_sums
def account_reaction(cell: Array, totals: Array, with_oxygen: bool, entered: float, consumed: float) -> float:
    """Radicals, C=C, oxygen, stabiliser and heat of reaction over a step; returns the heat of reaction [J m-2]."""
    reaction, made, terminated, to_oxygen, bonds_lost, course = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    to_stabiliser, stabiliser_used, to_loss = 0.0, 0.0, 0.0
    for i in range(cell.shape[1]):
        width, integral = cell[row.WIDTH, i], cell[row.ALIVE_INTEGRAL, i]
        caught = cell[row.OXYGEN_LOSS, i] * integral
        lived = cell[row.FORMATION, i] * cell[row.ALIVE, i]
        made += width * cell[row.MADE, i]
        terminated += width * (
            lived
            - caught
            - cell[row.STOPPED, i]
            - cell[at.RADICAL_LOSS, i] * integral
            - (cell[row.NEW_RADICAL, i] - cell[row.RADICAL, i])
        )
        to_loss += width * cell[at.RADICAL_LOSS, i] * integral
        # Radicals by what the stabiliser lost, stabiliser by the radicals it stopped: the two balances hold each to the other.
        per_molecule = cell[at.STABILISER_RADICALS, i]
        to_stabiliser += width * per_molecule * (cell[row.STABILISER, i] - cell[row.NEW_STABILISER, i])
        stabiliser_used += width * cell[row.STOPPED, i] / per_molecule
        # As the oxygen equation counted it: independent of the radical balance above, so the two can disagree.
        to_oxygen += cell[at.O2_RADICALS, i] * width * cell[row.CONSUMED, i]
        start_0, end_0 = cell[row.BONDS_0, i], cell[row.NEW_0, i]
        start_1, end_1 = cell[row.BONDS_1, i], cell[row.NEW_1, i]
        bonds_lost += width * ((start_0 - end_0) + (start_1 - end_1))
        # Simpson over an exponential course
        middle_0 = (start_0 + 4.0 * math.sqrt(start_0 * end_0) + end_0) * (1.0 / 6.0)
        middle_1 = (start_1 + 4.0 * math.sqrt(start_1 * end_1) + end_1) * (1.0 / 6.0)
        rates = cell[row.LOSS_0, i] * middle_0 + cell[row.LOSS_1, i] * middle_1
        course += width * rates * cell[row.INTEGRAL, i]
        reaction += cell[row.REACTION_HEAT, i]
    if with_oxygen:
        totals[at.RADICALS_TO_OXYGEN] += to_oxygen
    totals[at.RADICALS_MADE] += made
    totals[at.RADICALS_TO_STABILISER] += to_stabiliser
    totals[at.RADICALS_LOST] += to_loss
    totals[at.STABILISER_CONSUMED] += stabiliser_used
    totals[at.RADICALS_TERMINATED] += terminated
    totals[at.DOUBLE_BONDS_LOST] += bonds_lost
    totals[at.DOUBLE_BONDS_INTEGRAL] += course
    totals[at.OXYGEN_IN] += entered
    totals[at.OXYGEN_CONSUMED] += consumed
    totals[at.HEAT_REACTION] += reaction
    return reaction
