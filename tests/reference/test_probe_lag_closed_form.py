"""A first-order probe, a cooling cell, a degree of cure: closed forms and published worked numbers.

Lag: T_read' = (T - T_read)/tau, so a step is read as 1 - exp(-t/tau): t50 = tau ln 2, t90 = tau ln 10, t90/t50 = 3.32. The
ratio is that of the response tables of sheathed thermocouples (a cable maker's technical data; e.g. 0.5 mm in water at
0.2 m/s: t50 0.03 s, t90 0.10 s, ratio 3.3).

Cooling: Newton's law, dT/dt = q - T/tau; with q = 0 the integral of dT/dt + T/tau over any stretch is nil, and a constant q
for a time D gives q D however much was lost meanwhile.

Peak lost through lag: pulse exp(-t/tau_d) - exp(-t/tau_r) with tau_r = tau_d/4, 10 s wide at half height, read with
tau = 0.5, 1 and 2 s: 1.1, 4.5 and 13 % (worked out here from the convolution of the three exponentials).
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from gelwright.models.cell_heat import heat_of_trace
from gelwright.models.exotherm import (
    Cleaned,
    bead_time_constant_s,
    lag_corrected,
    reaction_temperature,
    step_response,
)
from gelwright.models.smoothing import noise_sd, smoothed

RNG = np.random.default_rng(20)


def pulse(time: np.ndarray, decay: float, lag: float = 0.0) -> np.ndarray:
    """exp(-t/decay) - exp(-4 t/decay) from t = 0, read by a probe of a time constant, in closed form."""
    since = np.maximum(time, 0.0)
    if lag == 0.0:
        return np.exp(-since / decay) - np.exp(-4.0 * since / decay)

    def lagged(rate: float) -> np.ndarray:
        return (np.exp(-rate * since) - np.exp(-since / lag)) / (1.0 - rate * lag)

    return lagged(1.0 / decay) - lagged(4.0 / decay)


def half_width(decay: float) -> float:
    time = np.linspace(0.0, 20.0 * decay, 400_001)
    value = pulse(time, decay)
    above = time[value >= 0.5 * value.max()]
    return float(above[-1] - above[0])


def decay_for(width_s: float) -> float:
    return float(brentq(lambda decay: half_width(decay) - width_s, 0.1 * width_s, 2.0 * width_s, xtol=1e-4))


@pytest.mark.parametrize(("tau", "lost"), [(0.5, 0.011), (1.0, 0.045), (2.0, 0.13)])
def test_lag_lowers_a_peak_as_tabulated_and_the_correction_gives_it_back(tau: float, lost: float) -> None:
    decay = decay_for(10.0)
    step = 0.05
    time = np.arange(-5.0, 60.0, step)
    truth, read = pulse(time, decay), pulse(time, decay, tau)
    assert 1.0 - read.max() / truth.max() == pytest.approx(lost, abs=0.006)
    back, _ = lag_corrected(smoothed(read, step, 1e-4, 1.0), tau)
    assert back.max() == pytest.approx(truth.max(), rel=2e-3)


@pytest.mark.parametrize("tau", [0.1, 0.4, 1.6])
def test_a_step_read_with_lag_comes_back_as_a_step(tau: float) -> None:
    step = tau / 20.0
    time = np.arange(0.0, 8.0 * tau, step)
    read = 1.0 - np.exp(-time / tau)
    back, _ = lag_corrected(smoothed(read, step, 1e-6, 5.0 * step), tau)
    assert back[3:-3] == pytest.approx(np.ones(time.size - 6), abs=2e-3)


@pytest.mark.parametrize("tau", [0.15, 0.6, 2.0])
def test_a_plunge_gives_the_time_constant_and_the_ratio_of_t90_to_t50(tau: float) -> None:
    time = np.arange(0.0, 3.0 + 8.0 * tau, tau / 15.0)
    since = np.maximum(time - 2.0, 0.0)
    read = 296.0 + 25.0 * (1.0 - np.exp(-since / tau)) + 0.05 * RNG.standard_normal(time.size)
    found = step_response(time, read)
    assert found.time_constant_s == pytest.approx(tau, abs=4.0 * found.time_constant_se_s)
    assert found.time_constant_s == pytest.approx(tau, rel=0.02)
    t50, t90 = (found.time_constant_s * math.log(factor) for factor in (2.0, 10.0))
    assert t90 / t50 == pytest.approx(3.32, abs=0.005)


@pytest.mark.parametrize(
    ("bead_mm", "tau"), [(0.08, 0.010), (0.13, 0.027), (0.25, 0.10), (0.5, 0.40), (1.0, 1.6)]
)
def test_bead_estimate_in_gel(bead_mm: float, tau: float) -> None:
    # rho c d^2/(12 k) with rho c = 3.9e6 and k = 0.2
    # the table gives two digits
    assert bead_time_constant_s(bead_mm * 1e-3) == pytest.approx(tau, rel=0.05)


def test_scatter_after_smoothing_and_correction_is_what_is_said() -> None:
    # straight line plus noise: the scatter of the corrected curve over many draws is the one foretold
    step, tau, sd = 0.1, 0.5, 0.08
    time = np.arange(0.0, 6.0, step)
    middles, foretold = [], 0.0
    for _ in range(400):
        read = 0.3 * time + sd * RNG.standard_normal(time.size)
        smooth = smoothed(read, step, sd, 1.5)
        value, foretold = lag_corrected(smooth, tau)
        if smooth.points == 15:
            middles.append(value[30])
    assert len(middles) > 200
    assert np.std(middles) == pytest.approx(foretold, rel=0.15)
    assert np.mean(middles) == pytest.approx(
        0.3 * time[30] + tau * 0.3, abs=4.0 * foretold / len(middles) ** 0.5
    )


def test_noise_is_found_under_a_curve_and_with_uneven_spacing() -> None:
    time = np.sort(RNG.uniform(0.0, 60.0, 1200))
    value = 300.0 + 10.0 * pulse(time - 5.0, 12.0) + 0.07 * RNG.standard_normal(time.size)
    assert noise_sd(time, value) == pytest.approx(0.07, rel=0.1)


def test_a_logger_that_rounds_is_not_free_of_noise() -> None:
    time = np.arange(0.0, 50.0, 0.5)
    rounded = np.round(300.0 + 0.02 * time, 1)
    assert noise_sd(time, rounded) >= 0.1 / math.sqrt(12.0) * 0.99


@pytest.mark.parametrize("tau", [20.0, 90.0, 400.0])
def test_a_cooling_cell_gives_off_nothing(tau: float) -> None:
    time = np.linspace(0.0, 120.0, 2401)
    assert heat_of_trace(time, 12.0 * np.exp(-time / tau), tau) == pytest.approx(0.0, abs=2e-3)


@pytest.mark.parametrize("tau", [20.0, 90.0])
def test_constant_heating_gives_its_heat_however_much_was_lost(tau: float) -> None:
    # 0.5 K/s for 30 s, then cooling: rise q tau (1 - exp(-t/tau)), then its decay
    time = np.linspace(0.0, 150.0, 6001)
    lit = np.minimum(time, 30.0)
    rise = 0.5 * tau * (1.0 - np.exp(-lit / tau)) * np.exp(-np.maximum(time - 30.0, 0.0) / tau)
    assert heat_of_trace(time, rise, tau) == pytest.approx(15.0, rel=1e-3)


def test_area_under_the_rise_is_heat_over_loss() -> None:
    # of a cell left to itself: integral of the rise = tau x heat
    tau, time = 25.0, np.linspace(0.0, 500.0, 20_001)
    rise = 8.0 * pulse(time, 25.0)
    assert float(np.trapezoid(rise, time)) / tau == pytest.approx(heat_of_trace(time, rise, tau), rel=1e-3)


def test_probes_offset_and_lagging_differently_give_the_true_difference() -> None:
    step = 0.1
    time = np.arange(-10.0, 60.0, step)
    lamp = 3.0 * (1.0 - np.exp(-np.maximum(time, 0.0) / 15.0))
    sample_read, blank_read = lagged_rise(time, 0.4), 0.0
    sample = Cleaned(
        time_s=time,
        value_k=300.7 + lamp + sample_read + 0.03 * RNG.standard_normal(time.size),
        gaps_s=(),
        spikes=0,
    )
    blank = Cleaned(
        time_s=time,
        value_k=300.0 + lamp + blank_read + 0.03 * RNG.standard_normal(time.size),
        gaps_s=(),
        spikes=0,
    )
    rise = reaction_temperature(sample, blank, lit_at_s=0.0, sample_time_constant_s=0.4)
    truth = 10.0 * pulse(rise.time_s, 13.0)
    # the lamp's own warming is read without lag here, so the correction adds tau x its slope, at most 0.08 K
    assert rise.offset_k == pytest.approx(0.7, abs=5.0 * rise.offset_sd_k)
    # a window across the kink at switch-on cannot follow it
    away = np.abs(rise.time_s) > rise.smoothing.window_s
    assert np.abs(rise.rise_k - truth)[away].max() < 4.0 * rise.rise_sd_k + 0.1
    assert rise.smoothing.window_s < 5.0


def lagged_rise(time: np.ndarray, tau: float) -> np.ndarray:
    return 10.0 * pulse(time, 13.0, tau)
