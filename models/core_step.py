"""One time step of one film, piece by piece (compiled). `stepper` strings the pieces together.

The physics itself stands in kinetics, optics, photochemistry, oxygen and heat; this module only carries arrays to it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from . import core_rows as row
from . import layout as at
from .compiled import compiled, compiled_piece, compiled_string
from .core_arrays import FilmArrays, Work
from .core_light import light_shift
from .core_rates import (
    bonds_over_step,
    coefficients,
    loss_to_stabiliser,
    mean_left,
    oxygen_effect,
    radicals_beside_oxygen,
    radicals_over_step,
)
from .kinetics import arrhenius_factor, loss_coefficients, mobility, vitrification_conversion
from .oxygen import correct_flow, deepest_oxygen, oxygen_faces, oxygen_step

Array = NDArray[np.float64]

# Largest shift of vitrification and of the rate coefficients per kelvin (0.85 %/K: validation range of dental resins;
# 25 kJ/mol at 300 K), for the error bound of the first pass only.
_SHIFT_1_K, _ACTIVATION_1_K = 0.0085, 0.034
_NEWTON_REST = 2e-6  # of the surface oxygen: what the iteration may leave
_STABILISER_WEIGHT = 10.0  # of the error from misjudged stabiliser
_EXPOSURE_S = 60.0  # a usual exposure, to weigh oxygen that will not be used up anyway


@compiled
def cell_vitrification(cell: Array, temperature: float) -> float:
    """Conversion at which a cell turns to glass at a temperature [-]; 1e9 where the model has no vitrification."""
    if cell[at.VITRIFICATION_MODE] == 1.0:
        return vitrification_conversion(
            temperature,
            cell[at.TG_MONOMER],
            cell[at.TG_POLYMER],
            cell[at.DIBENEDETTO],
            cell[at.TG_HALF_WIDTH],
        )
    if cell[at.VITRIFICATION_MODE] == 2.0:
        return float(cell[at.X_REF] + cell[at.X_SLOPE] * (temperature - cell[at.T_REF]))
    return 1e9


@compiled
def cell_coefficients(
    cell: Array, acrylate: float, methacrylate: float, initial: float, temperature: float
) -> tuple[float, float, float]:
    """Loss coefficients of acrylate and methacrylate and k_t of one cell [m3 mol-1 s-1]; the run uses `core_rates.coefficients`.

    `cell` holds the properties of the cell in the order of `layout`; concentrations in mol m-3, temperature in K.
    """
    if initial <= 0.0:
        return 0.0, 0.0, cell[at.KT]
    conversion = 1.0 - (acrylate + methacrylate) / initial
    freedom = mobility(conversion, cell_vitrification(cell, temperature), cell[at.SIGMOID_WIDTH])
    reference = cell[at.T_REF]
    kp_acrylate, kp_methacrylate = 0.0, 0.0
    if acrylate > 0.0:
        kp_acrylate = (
            cell[at.KP_ACRYLATE] * freedom * arrhenius_factor(cell[at.EP_ACRYLATE], temperature, reference)
        )
    if methacrylate > 0.0:
        kp_methacrylate = (
            cell[at.KP_METHACRYLATE]
            * freedom
            * arrhenius_factor(cell[at.EP_METHACRYLATE], temperature, reference)
        )
    loss_acrylate, loss_methacrylate = loss_coefficients(
        kp_acrylate, kp_methacrylate, cell[at.R_ACRYLATE], cell[at.R_METHACRYLATE], acrylate, methacrylate
    )
    translation = (
        cell[at.KT]
        * arrhenius_factor(cell[at.ET], temperature, reference)
        * math.exp(-cell[at.KT_DECAY] * conversion)
    )
    reaction = cell[at.REACTION_DIFFUSION] * (loss_acrylate * acrylate + loss_methacrylate * methacrylate)
    return loss_acrylate, loss_methacrylate, translation + reaction


@compiled
def stabiliser_coefficient(cell: Array, conversion: float, temperature: float) -> float:
    """Rate coefficient of radicals and stabiliser in one cell [m3 mol-1 s-1]; the run uses `core_rates.coefficients`.

    It falls with the mobility of propagation: both are the meeting of a chain end with a small molecule, and of like size, so
    both stop where chain ends stop moving. That radicals live on for weeks in glassy dental resins, which hold stabiliser,
    shows that they do (Truffier-Boutry et al., J. Polym. Sci. A 2003, 41, 1691). With temperature it does not change: no
    activation energy was found.
    """
    freedom = mobility(conversion, cell_vitrification(cell, temperature), cell[at.SIGMOID_WIDTH])
    return float(cell[at.STABILISER_RATE] * freedom)


@compiled_piece
def programme_level(segment: Array, boundary: Array, since: float) -> tuple[float, float]:
    """Relative lamp output and air temperature [K] at a time since the start of a segment [s]."""
    share = since / segment[at.S_DURATION]
    level = segment[at.S_LEVEL_START] + (segment[at.S_LEVEL_END] - segment[at.S_LEVEL_START]) * share
    on_time = segment[at.S_ON_TIME] + since
    if boundary[at.WARM_UP] != 0.0:
        overshoot = 1.0 + boundary[at.WARM_UP] * math.exp(-on_time / boundary[at.WARM_UP_TIME])
        level *= overshoot * boundary[at.WARM_UP_NORM]
    air = segment[at.S_AIR]
    if segment[at.S_AIR_RISE] != 0.0:
        air -= segment[at.S_AIR_RISE] * math.expm1(-on_time / segment[at.S_AIR_TIME])
    return level, air


@compiled_piece
def extrapolate(cell: Array, heat: Array, ratio: float, seconds: float) -> None:
    """Guess C=C, radicals and temperature at the middle of the step from the last step; none falls below half of itself."""
    for i in range(cell.shape[1]):
        now_0, now_1 = cell[row.BONDS_0, i], cell[row.BONDS_1, i]
        guess_0 = now_0 + ratio * (now_0 - cell[row.PAST_0, i])
        guess_1 = now_1 + ratio * (now_1 - cell[row.PAST_1, i])
        cell[row.MIDDLE_0, i] = max(0.5 * now_0, guess_0)
        cell[row.MIDDLE_1, i] = max(0.5 * now_1, guess_1)
        radicals = cell[row.RADICAL, i]
        guess = radicals + ratio * (radicals - cell[row.PAST_RADICAL, i])
        cell[row.EXPECTED, i] = seconds * min(max(0.5 * radicals, guess), 2.0 * radicals)
    for i in range(heat.shape[1]):
        now = heat[row.NOW_K, i]
        heat[row.MIDDLE_K, i] = now + ratio * (now - heat[row.PAST_K, i])


@compiled_string
def react(film: FilmArrays, work: Work, seconds: float, last: float) -> tuple[float, float]:
    """Oxygen, radicals and C=C over the step with the coefficients of its middle; oxygen entered and consumed."""
    cell = work.cell
    coefficients(cell, work.heat)
    loss_to_stabiliser(cell)
    mode = film.boundary[at.OXYGEN_MODE]
    surface = film.boundary[at.O2_SURFACE]
    entered, consumed, deepest = 0.0, 0.0, 0
    if mode != 0.0:
        deepest = deepest_oxygen(cell, surface)
        oxygen_faces(cell, mode == 2.0)
        correct_flow(cell, seconds, last)
        entered, consumed = oxygen_step(cell, surface, seconds, deepest)
        oxygen_effect(cell, seconds, deepest)
    else:
        for i in range(cell.shape[1]):
            cell[row.ALIVE, i], cell[row.OXYGEN_LOSS, i] = seconds, 0.0
    radicals_over_step(cell)
    radicals_beside_oxygen(cell, seconds, deepest)
    bonds_over_step(cell)
    return entered, consumed


@compiled_piece
def remember_first_pass(cell: Array, heat: Array, isothermal: bool) -> None:
    """Keep the first pass for the error estimate and put the middle of the step where it says."""
    for i in range(cell.shape[1]):
        cell[row.FIRST_0, i], cell[row.FIRST_1, i] = cell[row.NEW_0, i], cell[row.NEW_1, i]
        cell[row.EXPECTED, i] = cell[row.ALIVE_INTEGRAL, i]
        cell[row.MIDDLE_0, i] = 0.5 * (cell[row.BONDS_0, i] + cell[row.NEW_0, i])
        cell[row.MIDDLE_1, i] = 0.5 * (cell[row.BONDS_1, i] + cell[row.NEW_1, i])
    if not isothermal:
        for i in range(heat.shape[1]):
            heat[row.FIRST_K, i] = heat[row.NEW_K, i]
            heat[row.MIDDLE_K, i] = 0.5 * (heat[row.NOW_K, i] + heat[row.NEW_K, i])


@compiled_piece
def _largest(table: Array, item: int) -> float:
    """Largest value of a row, at least 0; infinite where one is not a number."""
    largest, total = 0.0, 0.0
    for i in range(table.shape[1]):
        value = table[item, i]
        total += value
        largest = max(largest, value)
    return math.inf if math.isnan(total) else largest


@compiled_string
def first_pass_error(film: FilmArrays, cell: Array, heat: Array, control: Array) -> float:
    """Bound on what a second pass would change, in units of the tolerances.

    The extrapolated middle missed the middle that the first pass gives by some conversion and temperature; the rate answers
    to a miss by at most 1/w + b per conversion (vitrification, gel effect) and by the shift of vitrification per kelvin.
    """
    with_heat = film.boundary[at.ISOTHERMAL] == 0.0
    for i in range(heat.shape[1]):
        heat[row.MISS_K, i] = abs(0.5 * (heat[row.NOW_K, i] + heat[row.NEW_K, i]) - heat[row.MIDDLE_K, i])
    for i in range(cell.shape[1]):
        start, end = cell[row.BONDS_0, i] + cell[row.BONDS_1, i], cell[row.NEW_0, i] + cell[row.NEW_1, i]
        per_full = cell[row.PER_FULL, i]
        miss = abs(0.5 * (start + end) - cell[row.MIDDLE_0, i] - cell[row.MIDDLE_1, i]) * per_full
        gain = 1.0 / cell[at.SIGMOID_WIDTH, i]
        response = miss * (gain + cell[at.KT_DECAY, i]) + heat[row.MISS_K, i] * (
            _SHIFT_1_K * gain + _ACTIVATION_1_K
        )
        cell[row.MISS, i] = (start - end) * per_full * response
    error = _largest(cell, row.MISS) / control[at.TOL_CONVERSION]
    if with_heat:
        error = max(error, 0.25 * _largest(heat, row.MISS_K) / control[at.TOL_TEMPERATURE])
    return float(error)


@compiled_string
def second_pass_error(film: FilmArrays, cell: Array, heat: Array, control: Array) -> float:
    """Largest difference between the two passes in units of the tolerances."""
    for i in range(cell.shape[1]):
        shift = cell[row.NEW_0, i] + cell[row.NEW_1, i] - cell[row.FIRST_0, i] - cell[row.FIRST_1, i]
        cell[row.MISS, i] = abs(shift) * cell[row.PER_FULL, i]
    error = _largest(cell, row.MISS) / control[at.TOL_CONVERSION]
    if film.boundary[at.ISOTHERMAL] == 0.0:
        for i in range(heat.shape[1]):
            heat[row.MISS_K, i] = abs(heat[row.NEW_K, i] - heat[row.FIRST_K, i])
        error = max(error, _largest(heat, row.MISS_K) / control[at.TOL_TEMPERATURE])
    return float(error)


@compiled_piece
def stabiliser_error(cell: Array, control: Array, seconds: float) -> float:
    """Conversion that radicals given or denied to the stabiliser may have cost, in units of the tolerance.

    The mean stabiliser of the step was foreseen; the radicals that the step then gave say what it was. Every radical misplaced
    would have added k_p (1 - X) / sqrt(k_t R_i) of the C=C, or in the dark what it can until it ends. Misplaced on the same side
    step after step while an inhibitor lasts, hence the factor.
    """
    for i in range(cell.shape[1]):
        integral, formation = cell[row.ALIVE_INTEGRAL, i], cell[row.FORMATION, i]
        catch, taken = cell[row.CATCH, i], cell[row.BASE_LOSS, i] - cell[at.RADICAL_LOSS, i]
        left = mean_left(catch * integral / cell[at.STABILISER_RADICALS, i])
        misplaced = abs(catch * cell[row.STABILISER, i] * left - taken) * integral
        rate = cell[row.LOSS_0, i] * cell[row.BONDS_0, i] + cell[row.LOSS_1, i] * cell[row.BONDS_1, i]
        end = cell[row.TERMINATION, i]
        pace = math.sqrt(formation * end) + end * integral / seconds + 1e-30
        pace += 0.0 if formation > 0.0 else cell[row.BASE_LOSS, i]
        cell[row.MISS, i] = misplaced * rate * cell[row.PER_FULL, i] / pace
    return float(_STABILISER_WEIGHT * _largest(cell, row.MISS) / control[at.TOL_CONVERSION])


@compiled_piece
def oxygen_error(cell: Array, surface: float, seconds: float, last: float, light_to_come: bool) -> float:
    """Conversion that the implicit oxygen step may have cost or given [-].

    Half the change of slope of oxygen over the step is what the rule of first order misses (less what the Newton iteration
    leaves); every radical it stands for would have added k_p (1 - X) / sqrt(k_t R_i) of the C=C, once the oxygen of the cell
    is used up, which counts in so far as it happens within an exposure. A cell that empties within the step has its own exact
    treatment. In the dark nothing is at stake but the next induction, if more light comes: as much light as there was.
    """
    for i in range(cell.shape[1]):
        per_oxygen, formation = cell[at.O2_RADICALS, i], cell[row.FORMATION, i]
        formation = cell[row.LIT_FORMATION, i] if light_to_come & (formation <= 0.0) else formation
        now, new = cell[row.OXYGEN, i], cell[row.NEW_OXYGEN, i]
        bend = 0.5 * abs(new - now - (now - cell[row.PAST_OXYGEN, i]) * seconds / last)
        bend = max(0.0, min(bend, new) - _NEWTON_REST * surface)
        made = formation * _EXPOSURE_S
        soon = made / (made + per_oxygen * new + 1e-30)
        rate = cell[row.LOSS_0, i] * cell[row.BONDS_0, i] + cell[row.LOSS_1, i] * cell[row.BONDS_1, i]
        chain = rate * cell[row.PER_FULL, i] / math.sqrt(formation * cell[row.TERMINATION, i] + 1e-30)
        cell[row.MISS, i] = per_oxygen * bend * chain * soon
    return _largest(cell, row.MISS)


@compiled_string
def step_error(
    film: FilmArrays,
    work: Work,
    control: Array,
    level: float,
    passes: float,
    seconds: float,
    last: float,
    light_to_come: bool,
) -> float:
    """Error of the step in units of the tolerances, `passes` being that of the passes; above 1 the step is repeated."""
    error = passes
    if film.boundary[at.OXYGEN_MODE] != 0.0:
        missed = _largest(work.cell, row.DOUBT)
        if last > 0.0:
            surface = film.boundary[at.O2_SURFACE]
            missed = max(missed, oxygen_error(work.cell, surface, seconds, last, light_to_come))
        error = max(error, missed / control[at.TOL_CONVERSION])
    if level > 0.0:
        # An initiator's error reaches conversion weakened: rate goes as its square root, one step at a time.
        error = max(
            error, 0.1 * light_shift(work.cell, work.absorber, level * seconds) / control[at.TOL_CONVERSION]
        )
    if not error < 1e300:
        return 1e6
    return error
