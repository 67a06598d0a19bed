"""Row numbers of the packed arrays that the compiled core reads.

The core takes a few two-dimensional arrays in place of a long list of arguments; these names say what each row is.
All values in SI units, concentrations per C=C group, k_t in the convention R_t = k_t R^2.
"""

from __future__ import annotations

# One row per property, one column per film cell.
KP_ACRYLATE, EP_ACRYLATE = 0, 1  # m3 mol-1 s-1 at T_REF; J mol-1
KP_METHACRYLATE, EP_METHACRYLATE = 2, 3
R_ACRYLATE, R_METHACRYLATE = 4, 5  # reactivity ratios of the terminal model [-]
KT, ET, KT_DECAY, REACTION_DIFFUSION = 6, 7, 8, 9  # m3 mol-1 s-1; J mol-1; -; m3 mol-1
T_REF = 10  # K
VITRIFICATION_MODE = 11  # 0 none, 1 DiBenedetto, 2 linear in temperature
TG_MONOMER, TG_POLYMER, DIBENEDETTO, TG_HALF_WIDTH = 12, 13, 14, 15  # K, K, -, K
X_REF, X_SLOPE = 16, 17  # -, 1/K (mode 2)
SIGMOID_WIDTH = 18  # -
HEAT_ACRYLATE, HEAT_METHACRYLATE = 19, 20  # J mol-1
O2_DIFFUSIVITY, O2_DECAY, O2_RATE, O2_RADICALS = (
    21,
    22,
    23,
    24,
)  # m2 s-1; -; m3 mol-1 s-1; radicals lost per O2
RADICAL_LOSS = 25  # first-order loss that is never used up [1/s]
STABILISER_RATE, STABILISER_RADICALS = 26, 27  # m3 mol-1 s-1 in the liquid; radicals lost per molecule
FIXED_INITIATION = 28  # prescribed radical formation at full lamp output [mol m-3 s-1]
N_CELL_ROWS = 29

# One row per absorbing species.
QUANTUM_YIELD, RADICALS_PER_LOSS, NEEDS_AMINE, AMINE_HALF, O2_QUENCHING = 0, 1, 2, 3, 4
N_SPECIES_ROWS = 5

# One row per layer cell of the thermal grid (film cells first).
T_WIDTH, T_CONDUCTIVITY, T_CAPACITY_0, T_CAPACITY_1, T_PERFUSION, T_SOURCE = 0, 1, 2, 3, 4, 5
N_THERMAL_ROWS = 6  # m; W m-1 K-1; J m-3 K-1 at X = 0 and X = 1; W m-3 K-1; W m-3

# Boundary conditions and switches of one run.
TOP_TRANSFER, TOP_FIXED, TOP_TEMPERATURE, TOP_FLUX = 0, 1, 2, 3  # W m-2 K-1; 0/1; K; W m-2 into the film
BOTTOM_FIXED, BOTTOM_TEMPERATURE, BLOOD_TEMPERATURE = 4, 5, 6  # 0/1; K; K
SOURCE_DECAY = 7  # time constant of the prescribed heat source [s]; 0 = constant
OXYGEN_MODE, O2_SURFACE = 8, 9  # 0 none, 1 closed, 2 open to the air; mol m-3 at the surface
ISOTHERMAL = 10
WARM_UP, WARM_UP_TIME, WARM_UP_NORM = 11, 12, 13  # overshoot [-], s, factor [-]
BED_INDEX = 14  # first tissue cell of the thermal grid
TWO_FLUX, SURFACE_REFLECTANCE = (
    15,
    16,
)  # 0/1 scattering light; share of diffuse light turned back by the surface
N_BOUNDARY = 17

# One row per segment of the programme.
S_DURATION, S_LEVEL_START, S_LEVEL_END, S_ON_TIME, S_AIR, S_AIR_RISE, S_AIR_TIME, S_CYCLE = (
    0,
    1,
    2,
    3,
    4,
    5,
    6,
    7,
)
N_SEGMENT_COLUMNS = 8

# Step control.
TOL_CONVERSION, TOL_TEMPERATURE, FIRST_STEP, LARGEST_STEP, LIGHT_TOLERANCE = 0, 1, 2, 3, 4
N_CONTROL = 5

# Columns of the record kept at every accepted step.
(TIME, LEVEL, SURFACE, BOTTOM, MEAN, FILM_MAX, INTERFACE, BED, AIR, STEP, SURFACE_T, REACTION_HEAT) = range(
    12
)
N_RECORD = 12

# Totals of one run.
(
    PHOTONS_IN,
    PHOTONS_INITIATOR,
    PHOTONS_ABSORBED,
    PHOTONS_OUT,
    INITIATOR_LOST,
    RADICALS_MADE,
    RADICALS_TERMINATED,
    RADICALS_TO_OXYGEN,
    RADICALS_TO_STABILISER,
    RADICALS_LOST,
    RADICALS_START,
    RADICALS_LEFT,
    DOUBLE_BONDS_LOST,
    DOUBLE_BONDS_INTEGRAL,
    OXYGEN_START,
    OXYGEN_IN,
    OXYGEN_CONSUMED,
    OXYGEN_LEFT,
    STABILISER_START,
    STABILISER_CONSUMED,
    STABILISER_LEFT,
    HEAT_REACTION,
    HEAT_LIGHT,
    HEAT_STORED,
    HEAT_OUT,
    HEAT_SOURCE,
    STEPS,
    REJECTED,
    STATUS,
    CEM43,
    OMEGA_HENRIQUES,
    OMEGA_WEAVER_STOLL,
    PEAK_FILM,
    PEAK_FILM_TIME,
    PEAK_INTERFACE,
    PEAK_BED,
    PEAK_BED_TIME,
    SECONDS_ABOVE_42,
    SECONDS_ABOVE_43,
    SECONDS_ABOVE_45,
) = range(40)
N_TOTALS = 40
