"""Row numbers of the work tables of one run: one row per quantity, one column per cell.

Everything the step loop touches lies in a few tables with contiguous rows, so that loops over cells become vector instructions.
The first rows of the film table are the properties of `layout`, from KP_ACRYLATE to FIXED_INITIATION.
"""

from __future__ import annotations

from . import layout as at

_P = at.N_CELL_ROWS
# Film cells. C=C and radicals [mol m-3]; _0 acrylate, _1 methacrylate.
WIDTH, FULL, PER_FULL = _P, _P + 1, _P + 2  # m; C=C before any cure; 1 over it, 0 where there is none
BONDS_0, BONDS_1, RADICAL, OXYGEN, AMINE = _P + 3, _P + 4, _P + 5, _P + 6, _P + 7  # now
PAST_0, PAST_1 = _P + 8, _P + 9  # one step ago
MIDDLE_0, MIDDLE_1 = _P + 10, _P + 11  # at the middle of the step
NEW_0, NEW_1, NEW_RADICAL, NEW_OXYGEN, NEW_AMINE = _P + 12, _P + 13, _P + 14, _P + 15, _P + 16
FIRST_0, FIRST_1 = _P + 17, _P + 18  # result of the first pass
MADE, FORMATION = _P + 19, _P + 20  # radicals formed in the step; per second
LOSS_0, LOSS_1, TERMINATION = _P + 21, _P + 22, _P + 23  # m3 mol-1 s-1
ALIVE = _P + 24  # part of the step in which radicals live [s]
OXYGEN_LOSS = _P + 25  # first-order loss of radicals to oxygen while they live [1/s]
CONSUMED = _P + 26  # oxygen taken by radicals in the step [mol m-3]
PAST_OXYGEN = _P + 27  # one step ago [mol m-3]
INTEGRAL, ALIVE_INTEGRAL = _P + 28, _P + 29  # of radicals over the step; of the living part of it [mol s m-3]
HALF, FACE = _P + 30, _P + 31  # half a cell's resistance to oxygen [s/m]; conductance of its upper face [m/s]
DIAGONAL, RIGHT = _P + 32, _P + 33  # tridiagonal system of oxygen
REACTION_HEAT, LIGHT_HEAT = _P + 34, _P + 35  # J m-2 in the step; W m-2 at full output
CONVERSION, MISS = _P + 36, _P + 37
SINK, SLOPE = _P + 38, _P + 39  # oxygen taken by radicals [mol m-3 s-1] and how it answers to oxygen [1/s]
OWN = _P + 40  # weight of the cell's own store of oxygen in the step [-]
FLOW, EXCESS = (
    _P + 41,
    _P + 42,
)  # oxygen through the upper face: at the end of a step [mol m-2 s-1]; counted too much [mol m-2]
BACK_FLOW = _P + 43  # what of that this step takes back [mol m-2 s-1]
STABILISER, NEW_STABILISER = _P + 44, _P + 45  # now; after the step [mol m-3]
CATCH = _P + 46  # rate coefficient of radicals and stabiliser [m3 mol-1 s-1]
BASE_LOSS = _P + 47  # first-order loss of radicals to all but oxygen [1/s]
EXPECTED = _P + 48  # integral of radicals over the step, as foreseen [mol s m-3]
PAST_RADICAL = _P + 49  # one step ago [mol m-3]
STOPPED = _P + 50  # radicals that the stabiliser took in the step [mol m-3]
MEAN_AMINE, MIDDLE_OXYGEN = _P + 51, _P + 52  # of the step, as foreseen, for type II initiators [mol m-3]
DOUBT = _P + 53  # conversion that hangs on how oxygen comes and goes within the step [-]
LIT_FORMATION = _P + 54  # radicals formed when there last was light [mol m-3 s-1]
N_CELL = _P + 55

# Absorbers, (row, kind, cell) [mol m-3].
A_START, A_NOW, A_MIDDLE, A_NEW = 0, 1, 2, 3  # as weighed in; now; mean over the step; after it
A_LIT, A_LOST = 4, 5  # what the light was last worked out with (-1 = never), and what had gone by then
A_UPTAKE, A_YIELD = 6, 7  # photons absorbed per molecule [1/s]; molecules lost per photon absorbed
N_ABSORBER = 8

# Thermal cells; the first rows are those of `layout`, from T_WIDTH to T_SOURCE.
_T = at.N_THERMAL_ROWS
NOW_K, PAST_K, MIDDLE_K, NEW_K, FIRST_K, STAGE_K = _T, _T + 1, _T + 2, _T + 3, _T + 4, _T + 5  # K
CAPACITY, CONDUCTANCE, EXCHANGE, EXCHANGE_K = _T + 6, _T + 7, _T + 8, _T + 9  # J m-2 K-1; W m-2 K-1; same; K
SOURCE, BELOW_HEAT = _T + 10, _T + 11  # W m-2: all heat; light that left the film, at full output
PIVOT, PUSH, FACTOR, MISS_K = _T + 12, _T + 13, _T + 14, _T + 15  # tridiagonal system; error of the step
START_K = _T + 16  # where the second stage of conduction starts [K]
N_HEAT = _T + 17

# Light bins, (row, bin) [mol m-2 s-1]: what leaves the film at both sides; scratch of the cell in hand: light going down and up
# (diffuse only, where the film scatters), mean light, light taken.
LEAVING, REFLECTED, DOWN, UP, MEAN, PART = 0, 1, 2, 3, 4, 5
N_BEAM = 6

# Light bins of each cell, (row, cell, bin); the last column stands for the floor.
BACKGROUND, SCATTERING, COEFFICIENT = 0, 1, 2  # of the film; with its absorbers [1/m]
STRAIGHT, SCATTERED = 3, 4  # straight light that enters; what the cell scatters of it [mol m-2 s-1]
MIRROR, TRANSMIT = 5, 6  # diffuse reflectance and transmittance of the cell [-]
BELOW, RISING = 7, 8  # reflectance of all from here downwards [-]; light rising by itself [mol m-2 s-1]
N_LIGHT = 9
