"""One time step of one film, piece by piece (compiled). `stepper` strings the pieces together.

The physics itself stands in kinetics, optics, photochemistry, oxygen and heat; this module only carries arrays to it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from . import layout as at
from .compiled import compiled
from .core_arrays import Conduction, FilmArrays, Scratch, State
from .heat import conduction_step
from .kinetics import arrhenius_factor, loss_coefficients, mobility, radical_step, vitrification_conversion
from .optics import light_in_film, light_two_flux
from .oxygen import oxygen_step
from .photochemistry import amine_share

Array = NDArray[np.float64]

# Largest shift of vitrification and of the rate coefficients per kelvin (0.85 %/K: validation range of dental resins;
# 25 kJ/mol at 300 K), for the error bound of the first pass only.
_SHIFT_1_K, _ACTIVATION_1_K = 0.0085, 0.034


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
        return cell[at.X_REF] + cell[at.X_SLOPE] * (temperature - cell[at.T_REF])
    return 1e9


@compiled
def cell_coefficients(
    cell: Array, acrylate: float, methacrylate: float, initial: float, temperature: float
) -> tuple[float, float, float]:
    """Loss coefficients of acrylate and methacrylate and k_t of one cell [m3 mol-1 s-1].

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


@compiled
def extrapolate(state: State, past: State, ratio: float, middle: State) -> None:
    """Guess C=C and temperature at the middle of the step from the last step; C=C never falls below half of itself."""
    for k in range(2):
        for i in range(state.amine.size):
            now = state.bonds[k, i]
            middle.bonds[k, i] = max(now + ratio * (now - past.bonds[k, i]), 0.5 * now)
    for i in range(state.temperature.size):
        middle.temperature[i] = state.temperature[i] + ratio * (state.temperature[i] - past.temperature[i])


@compiled
def guess_initiators(state: State, middle: State, scratch: Scratch, dose: float) -> None:
    """Mean of the initiators over a step of `dose` seconds at full output, from the last known photolysis rates.

    (1 - exp(-x))/x by its Pade form; the mean, not the middle, is what the light of the step meets.
    """
    for kind in range(state.concentration.shape[0]):
        for i in range(state.amine.size):
            x = scratch.yield_[kind, i] * scratch.uptake[kind, i] * dose
            middle.concentration[kind, i] = state.concentration[kind, i] / (1.0 + x * (0.5 + x / 12.0))


@compiled
def update_light(film: FilmArrays, middle: State, scratch: Scratch, tolerance: float) -> bool:
    """Work out the light again if an absorber has moved by more than a share of what was weighed in; whether it had."""
    kinds = film.species.shape[0]
    moved = 1e9 if kinds == 0 or scratch.lit[0, 0] < 0.0 else 0.0
    for kind in range(kinds):
        for i in range(film.width.size):
            shift = abs(middle.concentration[kind, i] - scratch.lit[kind, i])
            moved = max(moved, shift / (film.start_concentration[kind, i] + 1e-300))
    if moved <= tolerance:
        return False
    for kind in range(kinds):
        for i in range(film.width.size):
            scratch.lit[kind, i] = middle.concentration[kind, i]
            scratch.lost[kind, i] = max(
                film.start_concentration[kind, i] - middle.concentration[kind, i], 0.0
            )
    if film.boundary[at.TWO_FLUX] == 0.0:
        light_in_film(
            film.width,
            scratch.lit,
            scratch.lost,
            film.napierian,
            film.product,
            film.background,
            film.photons,
            film.energy,
            scratch.uptake,
            scratch.light_heat,
            scratch.leaving,
        )
    else:
        light_two_flux(
            film.width,
            scratch.lit,
            scratch.lost,
            film.napierian,
            film.product,
            film.background,
            film.scattering,
            film.floor_reflectance,
            film.boundary[at.SURFACE_REFLECTANCE],
            film.photons,
            film.energy,
            scratch.uptake,
            scratch.light_heat,
            scratch.leaving,
            scratch.reflected,
            scratch.flux,
        )
    return True


@compiled
def photolyse(
    film: FilmArrays, state: State, new: State, scratch: Scratch, level: float, seconds: float
) -> None:
    """Initiators lost (exact exponential) and radicals made in the step; amine used up by type II initiators."""
    for i in range(film.width.size):
        scratch.made[i] = film.cell[i, at.FIXED_INITIATION] * level * seconds
        new.amine[i] = state.amine[i]
    for kind in range(film.species.shape[0]):
        row = film.species[kind]
        for i in range(film.width.size):
            present = state.concentration[kind, i]
            share = row[at.QUANTUM_YIELD]
            if row[at.NEEDS_AMINE] != 0.0:
                share *= amine_share(
                    state.amine[i], state.oxygen[i], row[at.AMINE_HALF], row[at.O2_QUENCHING]
                )
            scratch.yield_[kind, i] = share
            gone = -present * math.expm1(-share * scratch.uptake[kind, i] * level * seconds)
            new.concentration[kind, i] = present - gone
            scratch.made[i] += row[at.RADICALS_PER_LOSS] * gone
            if row[at.NEEDS_AMINE] != 0.0 and state.amine[i] > 0.0:
                new.amine[i] *= math.exp(-gone / state.amine[i])
    for i in range(film.width.size):
        scratch.formation[i] = scratch.made[i] / seconds


@compiled
def mean_initiators(state: State, middle: State, new: State, scratch: Scratch, dose: float) -> None:
    """Mean of the initiators over the step as it turned out."""
    for kind in range(state.concentration.shape[0]):
        for i in range(state.amine.size):
            x = scratch.yield_[kind, i] * scratch.uptake[kind, i] * dose
            gone = state.concentration[kind, i] - new.concentration[kind, i]
            middle.concentration[kind, i] = gone / x if x > 1e-6 else state.concentration[kind, i]


@compiled
def photolyse_corrected(
    film: FilmArrays,
    state: State,
    middle: State,
    new: State,
    scratch: Scratch,
    level: float,
    seconds: float,
    tolerance: float,
) -> None:
    """Photolysis with light through the guessed mean of the step, again where the true mean turns out elsewhere."""
    photolyse(film, state, new, scratch, level, seconds)
    if level <= 0.0 or film.species.shape[0] == 0:
        return
    for _ in range(3):
        mean_initiators(state, middle, new, scratch, level * seconds)
        if not update_light(film, middle, scratch, tolerance):
            return
        photolyse(film, state, new, scratch, level, seconds)


@compiled
def oxygen_faces(film: FilmArrays, middle: State, scratch: Scratch) -> None:
    """Oxygen conductance at the cell faces; diffusion slows as the film cures, D = D0 exp(-beta X)."""
    half_above = 0.0
    for i in range(film.width.size):
        conversion = 0.0
        if scratch.full[i] > 0.0:
            conversion = 1.0 - (middle.bonds[0, i] + middle.bonds[1, i]) / scratch.full[i]
        row = film.cell[i]
        half = 0.5 * film.width[i] / (row[at.O2_DIFFUSIVITY] * math.exp(-row[at.O2_DECAY] * conversion))
        scratch.faces[i] = 1.0 / (half_above + half)
        half_above = half
    if film.boundary[at.OXYGEN_MODE] != 2.0:
        scratch.faces[0] = 0.0
    scratch.faces[film.width.size] = 0.0


@compiled
def oxygen_effect(
    film: FilmArrays, state: State, new: State, scratch: Scratch, seconds: float, i: int
) -> None:
    """How oxygen holds the radicals of a cell down: for what part of the step, and at what rate afterwards.

    Oxygen stored in the cell and used up in this step silences the radicals for its share of the step; from then on only
    oxygen that diffuses in counts. Without this split an implicit step would smear the end of the induction time over its
    own length.
    """
    rate = scratch.per_oxygen[i] * scratch.oxygen_rate[i] * new.oxygen[i]
    spent = state.oxygen[i] - new.oxygen[i]
    if scratch.formation[i] <= 0.0 or spent <= 0.0:
        scratch.oxygen_loss[i] = rate
        return
    last = film.width.size - 1
    supply = scratch.faces[i] * (
        (film.boundary[at.O2_SURFACE] if i == 0 else new.oxygen[i - 1]) - new.oxygen[i]
    )
    if i < last:
        supply += scratch.faces[i + 1] * (new.oxygen[i + 1] - new.oxygen[i])
    supplied = supply * seconds / film.width[i]
    spent = max(spent + min(supplied, 0.0), 0.0)  # what leaves by diffusion meets no radical here
    scratch.alive[i] = max(seconds - scratch.per_oxygen[i] * spent / scratch.formation[i], 0.0)
    if supplied <= 0.0:
        scratch.oxygen_loss[i] = 0.0
        return
    loss = rate * supplied / (supplied + spent)
    for _ in range(2):  # so that the oxygen supplied is exactly what these radicals catch
        _, integral = radical_step(
            scratch.formation[i],
            scratch.base_loss[i] + loss,
            scratch.termination[i],
            state.radical[i],
            scratch.alive[i],
        )
        if integral <= 0.0:
            break
        loss = 0.5 * (loss + scratch.per_oxygen[i] * supplied / integral)
    scratch.oxygen_loss[i] = loss


@compiled
def react(
    film: FilmArrays, state: State, middle: State, new: State, scratch: Scratch, seconds: float
) -> tuple[float, float]:
    """Oxygen, radicals and C=C over the step with the coefficients of its middle; oxygen entered and consumed."""
    n = film.width.size
    for i in range(n):
        loss_0, loss_1, termination = cell_coefficients(
            film.cell[i], middle.bonds[0, i], middle.bonds[1, i], scratch.full[i], middle.temperature[i]
        )
        scratch.loss[0, i], scratch.loss[1, i], scratch.termination[i] = loss_0, loss_1, termination
    entered, consumed = 0.0, 0.0
    with_oxygen = film.boundary[at.OXYGEN_MODE] != 0.0
    if with_oxygen:
        oxygen_faces(film, middle, scratch)
        entered, consumed = oxygen_step(
            film.width,
            scratch.faces,
            film.boundary[at.O2_SURFACE],
            state.oxygen,
            scratch.formation,
            scratch.base_loss,
            scratch.oxygen_rate,
            scratch.per_oxygen,
            scratch.termination,
            state.radical,
            seconds,
            new.oxygen,
            scratch.oxygen_work,
        )
    for i in range(n):
        scratch.alive[i], scratch.oxygen_loss[i] = seconds, 0.0
        if with_oxygen:
            oxygen_effect(film, state, new, scratch, seconds, i)
        new.radical[i], scratch.integral[i] = radical_step(
            scratch.formation[i],
            scratch.base_loss[i] + scratch.oxygen_loss[i],
            scratch.termination[i],
            state.radical[i],
            scratch.alive[i],
        )
        scratch.alive_integral[i] = scratch.integral[i]
        if scratch.alive[i] < seconds and new.oxygen[i] > 0.0:
            # While stored oxygen lasts, dO/dt = -k_O O R gives the few radicals that pass it by; it stops to matter where
            # termination takes as many radicals, or where radicals can no longer follow its fall.
            rival = math.sqrt(scratch.formation[i]) * (
                math.sqrt(scratch.termination[i]) / scratch.oxygen_rate[i]
                + 1.0 / math.sqrt(scratch.oxygen_rate[i])
            )
            rival /= scratch.per_oxygen[i] + 1e-300
            ratio = (state.oxygen[i] + rival) / (new.oxygen[i] + rival)
            scratch.integral[i] += math.log(ratio) / scratch.oxygen_rate[i]
        for k in range(2):
            new.bonds[k, i] = state.bonds[k, i] * math.exp(-scratch.loss[k, i] * scratch.integral[i])
    return entered, consumed


@compiled
def cell_reaction_heat(film: FilmArrays, state: State, new: State, i: int) -> float:
    """Heat of polymerisation set free in a cell over the step [J m-2]."""
    acrylate = film.cell[i, at.HEAT_ACRYLATE] * (state.bonds[0, i] - new.bonds[0, i])
    methacrylate = film.cell[i, at.HEAT_METHACRYLATE] * (state.bonds[1, i] - new.bonds[1, i])
    return (acrylate + methacrylate) * film.width[i]


@compiled
def source_decay(boundary: Array, time: float, seconds: float) -> float:
    """Mean over the step of the prescribed heat source's course, exp(-t/tau) [-]."""
    tau = boundary[at.SOURCE_DECAY]
    if tau <= 0.0:
        return 1.0
    return -math.exp(-time / tau) * math.expm1(-seconds / tau) * tau / seconds


@compiled
def fill_sources(
    film: FilmArrays,
    state: State,
    new: State,
    scratch: Scratch,
    conduction: Conduction,
    level: float,
    time: float,
    seconds: float,
) -> None:
    """Mean heat of every thermal cell over the step [W m-2]: reaction, light, prescribed."""
    n = film.width.size
    decay = source_decay(film.boundary, time, seconds)
    for i in range(film.thermal.shape[1]):
        heat = film.thermal[at.T_SOURCE, i] * film.thermal[at.T_WIDTH, i] * decay
        if i < n:
            heat += cell_reaction_heat(film, state, new, i) / seconds + scratch.light_heat[i] * level
        else:
            for q in range(film.photons.size):
                heat += film.floor[q, i - n] * scratch.leaving[q] * film.energy[q] * level
        conduction.source[i] = heat
    conduction.source[0] += film.boundary[at.TOP_FLUX]


@compiled
def new_conduction(film: FilmArrays) -> Conduction:
    """Conduction matrix with everything that does not change during the run."""
    m = film.thermal.shape[1]
    width, conductivity = film.thermal[at.T_WIDTH], film.thermal[at.T_CONDUCTIVITY]
    conduction = Conduction(
        film.thermal[at.T_CAPACITY_0] * width,
        np.zeros(m),
        film.thermal[at.T_PERFUSION] * width,
        np.full(m, film.boundary[at.BLOOD_TEMPERATURE]),
        np.zeros(m),
        np.zeros(m),
        np.zeros((2, m)),
    )
    for i in range(m - 1):
        conduction.conductance[i] = 1.0 / (
            0.5 * width[i] / conductivity[i] + 0.5 * width[i + 1] / conductivity[i + 1]
        )
    if film.boundary[at.BOTTOM_FIXED] != 0.0:
        blood, floor = conduction.exchange[m - 1], 2.0 * conductivity[m - 1] / width[m - 1]
        total = blood * film.boundary[at.BLOOD_TEMPERATURE] + floor * film.boundary[at.BOTTOM_TEMPERATURE]
        conduction.exchange[m - 1] = blood + floor
        conduction.exchange_k[m - 1] = total / (blood + floor)
    return conduction


@compiled
def conduct(
    film: FilmArrays,
    state: State,
    middle: State,
    new: State,
    scratch: Scratch,
    conduction: Conduction,
    air: float,
    seconds: float,
) -> float:
    """Temperature over the step; heat lost to air, fixed faces and blood [J m-2]."""
    for i in range(film.width.size):
        conversion = 0.0
        if scratch.full[i] > 0.0:
            conversion = 1.0 - (middle.bonds[0, i] + middle.bonds[1, i]) / scratch.full[i]
        capacity = (
            film.thermal[at.T_CAPACITY_0, i] * (1.0 - conversion)
            + film.thermal[at.T_CAPACITY_1, i] * conversion
        )
        conduction.capacity[i] = film.width[i] * capacity
    half = 0.5 * film.thermal[at.T_WIDTH, 0] / film.thermal[at.T_CONDUCTIVITY, 0]
    top, top_k = 0.0, air
    if film.boundary[at.TOP_FIXED] != 0.0:
        top, top_k = 1.0 / half, film.boundary[at.TOP_TEMPERATURE]
    elif film.boundary[at.TOP_TRANSFER] > 0.0:
        top = 1.0 / (half + 1.0 / film.boundary[at.TOP_TRANSFER])
    blood = film.thermal[at.T_PERFUSION, 0] * film.thermal[at.T_WIDTH, 0]
    conduction.exchange[0] = blood + top
    if blood + top > 0.0:
        conduction.exchange_k[0] = (blood * film.boundary[at.BLOOD_TEMPERATURE] + top * top_k) / (blood + top)
    return conduction_step(
        conduction.capacity,
        conduction.conductance,
        conduction.exchange,
        conduction.exchange_k,
        conduction.source,
        seconds,
        state.temperature,
        conduction.stage,
        new.temperature,
        conduction.work,
    )


@compiled
def remember_first_pass(state: State, new: State, middle: State, scratch: Scratch, isothermal: bool) -> None:
    """Keep the first pass for the error estimate and put the middle of the step where it says."""
    scratch.first_bonds[:, :] = new.bonds
    middle.bonds[:, :] = 0.5 * (state.bonds + new.bonds)
    if not isothermal:
        scratch.first_temperature[:] = new.temperature
        middle.temperature[:] = 0.5 * (state.temperature + new.temperature)


@compiled
def first_pass_error(
    film: FilmArrays, state: State, middle: State, new: State, scratch: Scratch, control: Array
) -> float:
    """Bound on what a second pass would change, in units of the tolerances.

    The extrapolated middle missed the middle that the first pass gives by some conversion and temperature; the rate answers
    to a miss by at most 1/w + b per conversion (vitrification, gel effect) and by the shift of vitrification per kelvin.
    """
    error = 0.0
    for i in range(film.width.size):
        if scratch.full[i] <= 0.0:
            continue
        start, end = state.bonds[0, i] + state.bonds[1, i], new.bonds[0, i] + new.bonds[1, i]
        miss = abs(0.5 * (start + end) - middle.bonds[0, i] - middle.bonds[1, i]) / scratch.full[i]
        miss_k = abs(0.5 * (state.temperature[i] + new.temperature[i]) - middle.temperature[i])
        gain = 1.0 / film.cell[i, at.SIGMOID_WIDTH]
        response = miss * (gain + film.cell[i, at.KT_DECAY]) + miss_k * (_SHIFT_1_K * gain + _ACTIVATION_1_K)
        error = max(error, (start - end) / scratch.full[i] * response / control[at.TOL_CONVERSION])
    if film.boundary[at.ISOTHERMAL] == 0.0:
        for i in range(new.temperature.size):
            miss_k = abs(0.5 * (state.temperature[i] + new.temperature[i]) - middle.temperature[i])
            error = max(error, 0.25 * miss_k / control[at.TOL_TEMPERATURE])
    return error


@compiled
def second_pass_error(film: FilmArrays, new: State, scratch: Scratch, control: Array) -> float:
    """Largest difference between the two passes in units of the tolerances."""
    error = 0.0
    for i in range(film.width.size):
        if scratch.full[i] > 0.0:
            shift = new.bonds[0, i] + new.bonds[1, i] - scratch.first_bonds[0, i] - scratch.first_bonds[1, i]
            error = max(error, abs(shift) / (scratch.full[i] * control[at.TOL_CONVERSION]))
    if film.boundary[at.ISOTHERMAL] == 0.0:
        for i in range(new.temperature.size):
            shift = new.temperature[i] - scratch.first_temperature[i]
            error = max(error, abs(shift) / control[at.TOL_TEMPERATURE])
    return error


@compiled
def step_error(
    film: FilmArrays, middle: State, new: State, scratch: Scratch, control: Array, level: float, passes: float
) -> float:
    """Error of the step in units of the tolerances, `passes` being that of the passes; above 1 the step is repeated."""
    error = passes
    if level > 0.0:
        for kind in range(film.species.shape[0]):
            for i in range(film.width.size):
                shift = abs(middle.concentration[kind, i] - scratch.lit[kind, i])
                weighed = film.start_concentration[kind, i] + 1e-300
                # An initiator's error reaches conversion weakened: rate goes as its square root, one step at a time.
                error = max(error, 0.1 * shift / (weighed * control[at.TOL_CONVERSION]))
    if not error < 1e300:
        return 1e6
    return error
