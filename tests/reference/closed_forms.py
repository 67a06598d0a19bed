"""Exact answers that the checks compare the solver with, written independently of the product.

Every function uses plain SI numbers and nothing of the product's code. The conventions are R_t = k_t R^2
with the factor 2 inside k_t, and napierian absorption coefficients where the name says so.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import solve_ivp

Array = NDArray[np.float64]


def constant_initiation_conversion(
    time_s: ArrayLike, k_p: float, k_t: float, initiation_rate: float
) -> Array:
    """Conversion with constant coefficients and constant initiation, radical build-up included.

    R = R_s tanh(t/tau) with R_s = sqrt(R_i/k_t) and tau = 1/sqrt(k_t R_i) solves dR/dt = R_i - k_t R^2, and
    the integral of tanh is a logarithm of cosh, so 1 - X = cosh(t/tau)^(-k_p/k_t).
    """
    scaled = np.asarray(time_s, dtype=float) * np.sqrt(k_t * initiation_rate)
    log_cosh = scaled + np.log1p(np.exp(-2 * scaled)) - np.log(2)
    return np.asarray(-np.expm1(-k_p / k_t * log_cosh))


def dead_end_conversion(
    time_s: ArrayLike, k_p: float, k_t: float, initiation_rate: float, decay_rate_1_s: float
) -> Array:
    """Conversion when the initiator is used up by first order; radicals at their steady level."""
    used = -np.expm1(-decay_rate_1_s * np.asarray(time_s, dtype=float) / 2)
    return np.asarray(-np.expm1(-2 * k_p / decay_rate_1_s * np.sqrt(initiation_rate / k_t) * used))


def bleaching_front(gamma: ArrayLike, dose: float) -> tuple[Array, Array]:
    """Initiator left and light left, both relative, behind a napierian absorbance gamma after a dose T."""
    depth = np.asarray(gamma, dtype=float)
    initiator = 1 / (1 + np.exp(-depth) * np.expm1(dose))
    light = np.exp(dose) / (np.expm1(dose) + np.exp(depth))
    return initiator, light


def dark_radicals(time_s: ArrayLike, k_t: float, radicals_start: float) -> Array:
    """Radicals left in the dark with a constant termination coefficient."""
    return np.asarray(radicals_start / (1 + k_t * radicals_start * np.asarray(time_s, dtype=float)))


def dark_double_bonds(time_s: ArrayLike, k_p: float, k_t: float, radicals_start: float) -> Array:
    """Fraction of the double bonds left in the dark with constant coefficients."""
    grown = 1 + k_t * radicals_start * np.asarray(time_s, dtype=float)
    return np.asarray(grown ** (-k_p / k_t))


def inhibited_conversion(
    time_s: ArrayLike,
    k_p: float,
    k_s: float,
    radicals_per_molecule: float,
    start: float,
    initiation_rate: float,
) -> Array:
    """Conversion while an inhibitor takes every radical: before its end at n S0/R_i.

    R = R_i/(k_s S) with S = S0 (1 - t R_i/(n S0)) makes 1 - X = (S/S0)^(n k_p/k_s).
    """
    left = 1 - np.asarray(time_s, dtype=float) * initiation_rate / (radicals_per_molecule * start)
    return np.asarray(1 - left ** (radicals_per_molecule * k_p / k_s))


def inhibited_film(
    time_s: ArrayLike,
    *,
    k_p: float,
    k_t: float,
    k_s: float,
    radicals_per_molecule: float,
    start: float,
    initiation_rate: float,
    light_off_s: float,
) -> Array:
    """Constant coefficients and initiation with an inhibitor: conversion, radicals and inhibitor, shape (3, n_time).

    Integrated with Radau at relative 1e-11 as ln(1 - X), R, ln S.
    """
    times, out, at = np.asarray(time_s, dtype=float), np.empty((3, np.size(time_s))), 0.0
    state = np.array([0.0, 0.0, np.log(start)])
    for rate, until in ((initiation_rate, light_off_s), (0.0, float(times[-1]))):
        solution = solve_ivp(
            lambda t, y, rate=rate: [
                -k_p * y[1],
                rate - k_t * y[1] ** 2 - k_s * np.exp(y[2]) * y[1],
                -k_s / radicals_per_molecule * y[1],
            ],
            (at, until),
            state,
            method="Radau",
            rtol=1e-11,
            atol=1e-14,
            dense_output=True,
        )
        assert solution.success
        inside = (times >= at) & (times <= until)
        out[:, inside] = solution.sol(times[inside])
        state, at = solution.y[:, -1], until
    return np.array([-np.expm1(out[0]), out[1], np.exp(out[2])])


def cooling_slab_centre(fourier: float, terms: int = 60) -> float:
    """Centre of a slab of thickness l from 1 with both faces held at 0, Fo = alpha t/l^2."""
    n = np.arange(terms)
    odd = 2 * n + 1
    return float(np.sum(4 / np.pi * (-1.0) ** n / odd * np.exp(-((odd * np.pi) ** 2) * fourier)))


def heated_slab(depth_ratio: float, fourier: float, terms: int = 200) -> float:
    """T k/(q L^2) in a slab heated evenly: insulated at depth 0, held at 0 at depth L."""
    n = np.arange(terms)
    root = (2 * n + 1) * np.pi / 2
    series = 2 * (-1.0) ** n / root**3 * np.cos(root * depth_ratio) * np.exp(-(root**2) * fourier)
    return float((1 - depth_ratio**2) / 2 - np.sum(series))


def well_mixed_film(
    time_s: ArrayLike, *, light_off_s: float = np.inf, oxygen_start_mol_l: float = 1e-3
) -> Array:
    """Benchmark of a well-mixed film with dead-end initiator, gel effect, vitrification and closed oxygen.

    Integrated with Radau at relative 1e-10. Constants in L, mol, s: k_p0 1300, k_t0 2e6, b 12, C_RD 3.0, M0 5.8,
    X_v 0.70, w 0.03, k_I 0.02, P0 0.02, f 0.6, k_O 5e8.

    Returns
    -------
    ndarray, shape (4, n_time)
        Initiator [mol/L], conversion [-], oxygen [mol/L], radicals [mol/L].
    """
    k_p0, k_t0, b, reaction_diffusion, m0 = 1300.0, 2e6, 12.0, 3.0, 5.8
    x_v, width, k_i, p0, f, k_o = 0.70, 0.03, 0.02, 0.02, 0.6, 5e8

    def rates(light: float, y: Array) -> list[float]:
        p, x, oxygen, radicals = y
        k_p = k_p0 / (1 + np.exp((x - x_v) / width))
        k_t = k_t0 * np.exp(-b * x) + reaction_diffusion * k_p * (1 - x) * m0
        made = 2 * f * k_i * p * light
        taken = k_o * oxygen * radicals
        return [-k_i * p * light, k_p * (1 - x) * radicals, -taken, made - k_t * radicals**2 - taken]

    times = np.asarray(time_s, dtype=float)
    out = np.empty((4, times.size))
    start = np.array([p0, 0.0, oxygen_start_mol_l, 0.0])
    at = 0.0
    for light, until in ((1.0, min(light_off_s, times[-1])), (0.0, float(times[-1]))):
        if until <= at and light == 0.0:
            continue
        solution = solve_ivp(
            lambda t, y, light=light: rates(light, y),
            (at, until),
            start,
            method="Radau",
            rtol=1e-10,
            atol=1e-16,
            dense_output=True,
        )
        assert solution.success
        inside = (times >= at) & (times <= until)
        out[:, inside] = solution.sol(times[inside])
        start, at = solution.y[:, -1], until
    return out
