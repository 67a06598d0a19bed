"""Rotating sector: the rate of polymerisation under pulsed light, exact (closed form).

No measurement. With constant coefficients and initiation R_i in the light, R = R_s tanh in the light and 1/R grows by
k_t t in the dark, R_s = sqrt(R_i/k_t), lifetime 1/sqrt(R_i k_t). Textbook limits, from memory: pulses much shorter than the
lifetime act as a steady mean (rate sqrt(D) of full, D the share of time lit), much longer ones as on and off (rate D of full).
"""

import math

import numpy as np
import pytest

from gelwright.lamp_library.course import Programme
from gelwright.models.film import FilmModel, Kinetics
from gelwright.models.solver import Segment, SolverSettings, solve

K_P, K_T, R_I = 0.04, 2.0e3, 0.1  # m3/mol/s, m3/mol/s, mol/m3/s
STEADY_MOL_M3 = math.sqrt(R_I / K_T)
LIFETIME_S = 1.0 / math.sqrt(R_I * K_T)  # 71 ms


def radical_exposure(duty: float, period_s: float, periods: int) -> float:
    """Integral of R over whole periods that begin with light, from R = 0 [mol m-3 s], exact."""
    radicals, total = 0.0, 0.0
    for _ in range(periods):
        start = math.atanh(radicals / STEADY_MOL_M3)
        end = start + duty * period_s / LIFETIME_S
        # ln cosh x = x + ln(1 + exp(-2x)) - ln 2, safe for long pulses
        total += (end - start + math.log1p(math.exp(-2.0 * end)) - math.log1p(math.exp(-2.0 * start))) / K_T
        lit = STEADY_MOL_M3 * math.tanh(end)
        dark_s = (1.0 - duty) * period_s
        total += math.log1p(K_T * lit * dark_s) / K_T
        radicals = lit / (1.0 + K_T * lit * dark_s)
    return total


def solved(programme: Programme, seconds: float) -> float:
    """The same integral from the solver's conversion, -ln(1 - X)/k_p."""
    model = FilmModel(
        width_m=np.full(3, 10e-6),
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(methacrylate_propagation_m3_mol_s=K_P, termination_m3_mol_s=K_T),
        fixed_initiation_mol_m3_s=R_I,
    )
    segments = [
        Segment(
            duration_s=part.duration_s,
            level_start_ratio=part.level_start_ratio,
            level_end_ratio=part.level_end_ratio,
        )
        for part in programme.expanded(seconds)
    ]
    end = solve(model, segments, settings=SolverSettings(largest_step_s=10.0 * LIFETIME_S))
    return float(-np.log1p(-end.conversion_fraction[0])) / K_P


def with_edges(duty: float, period_s: float, periods: int) -> Programme:
    """A pulse train that is not replaced by its mean, however fast."""
    train = Programme.pulsed("train", period_s=period_s, duty_fraction=duty)
    return Programme(name="edges", segments=train.segments * periods, repeat=False)


@pytest.mark.parametrize("duty", [0.25, 0.5])
@pytest.mark.parametrize(
    ("period_ratio", "periods"), [(0.01, 800), (0.1, 400), (1.0, 200), (10.0, 40), (100.0, 4)]
)
def test_every_pulse_length_agrees_with_the_exact_answer(
    duty: float, period_ratio: float, periods: int
) -> None:
    """From a hundredth of a lifetime to a hundred lifetimes; 1e-3 is the stepping at 0.1 % tolerance of conversion."""
    period_s = period_ratio * LIFETIME_S
    found = solved(with_edges(duty, period_s, periods), periods * period_s)
    assert found == pytest.approx(radical_exposure(duty, period_s, periods), rel=1e-3)


@pytest.mark.parametrize("duty", [0.25, 0.5])
def test_fast_pulses_give_the_square_root_of_the_duty(duty: float) -> None:
    """A thousand Hz runs as its mean level: rate sqrt(D) of full once the radicals have built up."""
    fast = Programme.pulsed("fast", period_s=1e-3, duty_fraction=duty)
    seconds = 2000.0 * LIFETIME_S
    assert len(fast.expanded(seconds)) <= 3
    assert solved(fast, seconds) == pytest.approx(math.sqrt(duty) * STEADY_MOL_M3 * seconds, rel=1e-3)
    # the train itself, edges and all, from the exact answer: no more than 1 % of the lifetime per period
    assert radical_exposure(duty, 1e-3, 100_000) == pytest.approx(
        math.sqrt(duty) * STEADY_MOL_M3 * 100.0, rel=1e-3
    )


@pytest.mark.parametrize("duty", [0.25, 0.5])
def test_slow_pulses_give_the_duty_itself(duty: float) -> None:
    """Two periods of ten thousand lifetimes; the radicals that live on in the dark, ln(1 + t/lifetime), leave 0.4 %."""
    period_s = 1e4 * LIFETIME_S
    slow = Programme.pulsed("slow", period_s=period_s, duty_fraction=duty)
    found = solved(slow, 2.0 * period_s) / (STEADY_MOL_M3 * 2.0 * period_s)
    assert found == pytest.approx(duty, rel=5e-3)
    assert found > duty  # the dark reaction only ever adds


@pytest.mark.parametrize(("duty", "ratio"), [(0.25, 2.0), (0.5, 1.414)])
def test_fast_over_slow_is_one_over_the_root_of_the_duty(duty: float, ratio: float) -> None:
    seconds = 2e4 * LIFETIME_S
    fast = solved(Programme.pulsed("fast", period_s=0.01, duty_fraction=duty), seconds)
    slow = solved(Programme.pulsed("slow", period_s=0.5 * seconds, duty_fraction=duty), seconds)
    assert fast / slow == pytest.approx(ratio, rel=5e-3)
