"""Rate coefficients of the cure: propagation, termination, vitrification, and the exact radical balance.

Every function here is pure and is called both by the compiled stepper and by the reference integrator of the tests.

Sources
-------
Arrhenius benchmarks of k_p: Asua et al., Macromol. Chem. Phys. 2004; Barner-Kowollik et al., Polym. Chem. 2014.
Reaction diffusion: Anseth, Wang & Bowman, Macromolecules 1994, 27, 650. Vitrification: Ye et al., Macromolecules
2011, 44, 490 with the DiBenedetto equation. Terminal model: Mayo & Lewis, J. Am. Chem. Soc. 1944, 66, 1594.
"""

from __future__ import annotations

import math

from .compiled import compiled

GAS_CONSTANT_J_MOL_K = 8.314462618


@compiled
def arrhenius_factor(activation_energy_j_mol: float, temperature_k: float, reference_k: float) -> float:
    """Ratio of a rate coefficient at a temperature to that at its reference temperature [-]."""
    return math.exp(
        -activation_energy_j_mol / GAS_CONSTANT_J_MOL_K * (1.0 / temperature_k - 1.0 / reference_k)
    )


@compiled
def vitrification_conversion(
    temperature_k: float,
    tg_monomer_k: float,
    tg_polymer_k: float,
    dibenedetto_lambda: float,
    half_width_k: float,
) -> float:
    """Conversion at which the network turns to glass at a temperature [-].

    Solves Tg(X) = T + W for X, with Tg(X) of the DiBenedetto equation. The value may leave 0..1: above 1 the network
    never vitrifies at this temperature, below 0 the monomer itself is a glass.

    References
    ----------
    Ye et al., Macromolecules 2011, 44, 490 (Tg at the end of cure = cure temperature + half width).
    """
    ratio = (temperature_k + half_width_k - tg_monomer_k) / (tg_polymer_k - tg_monomer_k)
    return ratio / (dibenedetto_lambda + (1.0 - dibenedetto_lambda) * ratio)


@compiled
def mobility(conversion: float, vitrification: float, width: float) -> float:
    """Share of the propagation rate coefficient left as the network stiffens, 1 / (1 + exp((X - X_v)/w)) [-]."""
    exponent = (conversion - vitrification) / width
    if exponent > 700.0:  # exp would overflow; the rate is zero to the last digit
        return 0.0
    return 1.0 / (1.0 + math.exp(exponent))


@compiled
def loss_coefficients(
    kp_acrylate: float,
    kp_methacrylate: float,
    r_acrylate: float,
    r_methacrylate: float,
    acrylate: float,
    methacrylate: float,
) -> tuple[float, float]:
    """Rate coefficients of acrylate and methacrylate loss per radical (terminal model) [m3 mol-1 s-1].

    Parameters
    ----------
    kp_acrylate, kp_methacrylate : float
        Homopropagation rate coefficients [m3 mol-1 s-1].
    r_acrylate, r_methacrylate : float
        Reactivity ratios k_11/k_12 and k_22/k_21 [-].
    acrylate, methacrylate : float
        C=C concentrations [mol m-3]; any unit common to both.

    Notes
    -----
    With the radical population split by k_12 M_2 R_1 = k_21 M_1 R_2, dM_i/dt = -K_i M_i R. A pure resin gives back its own
    homopropagation coefficient.
    """
    if methacrylate <= 0.0:
        return kp_acrylate, 0.0
    if acrylate <= 0.0:
        return 0.0, kp_methacrylate
    cross_to_methacrylate = kp_acrylate / r_acrylate
    cross_to_acrylate = kp_methacrylate / r_methacrylate
    share = (
        cross_to_acrylate * acrylate / (cross_to_acrylate * acrylate + cross_to_methacrylate * methacrylate)
    )
    return (
        kp_acrylate * share + cross_to_acrylate * (1.0 - share),
        kp_methacrylate * (1.0 - share) + cross_to_methacrylate * share,
    )


@compiled
def radical_step(
    formation: float, first_order_loss: float, termination: float, radicals: float, seconds: float
) -> tuple[float, float]:
    """Exact radical concentration and its time integral after a step of constant coefficients.

    Solves dR/dt = a - b R - c R^2 (Riccati).

    Parameters
    ----------
    formation, first_order_loss, termination : float
        a [mol m-3 s-1], b [1/s], c [m3 mol-1 s-1], all 0 or more.
    radicals : float
        R at the start [mol m-3].
    seconds : float
        Length of the step [s].

    Returns
    -------
    tuple of float
        R at the end [mol m-3] and the integral of R over the step [mol s m-3]. Never negative, for any step length.

    Notes
    -----
    With s = sqrt(b^2 + 4 a c), R+ = 2 a / (s + b) and g = (1 - exp(-s t)) / s:
    R(t) = R+ + (R0 - R+) exp(-s t) / (1 + c (R0 - R+) g); integral = R+ t + ln(1 + c (R0 - R+) g) / c.
    The form has no difference of large numbers, whether oxygen (large b) or nothing (b = 0) removes radicals.
    """
    if first_order_loss <= 0.0 and termination <= 0.0:  # nothing removes radicals
        return radicals + formation * seconds, (radicals + 0.5 * formation * seconds) * seconds
    root = math.sqrt(first_order_loss * first_order_loss + 4.0 * formation * termination)
    steady = 2.0 * formation / (root + first_order_loss + 1e-300)
    exponent = root * seconds
    if exponent < 1e-9:
        decay, memory = 1.0 - exponent, seconds
    else:
        fall = -math.expm1(-exponent)
        decay, memory = 1.0 - fall, fall / root
    excess = radicals - steady
    bend = termination * excess * memory
    if abs(bend) < 1e-12 or termination < 1e-30:
        integral = steady * seconds + excess * memory
    else:
        integral = steady * seconds + math.log1p(bend) / termination
    # In steps of nanoseconds the two terms cancel to the last digit, which may leave a minus.
    return steady + excess * decay / (1.0 + bend), max(integral, 0.0)
