"""Output after switch-on, air temperature, programmes."""

import math
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gelwright.lamp_library.course import (
    CONSTANT_OUTPUT,
    STEADY,
    AirTemperature,
    OutputCourse,
    Programme,
    Segment,
)
from gelwright.lamp_library.errors import InputError


def level(duration_s: float, start: float, end: float) -> Segment:
    return Segment(duration_s=duration_s, level_start_ratio=start, level_end_ratio=end)


def test_a_published_warm_up_log_is_reproduced() -> None:
    # UV-A hand lamp, uW/cm2 at 0, 5, 10, 15, 20 min: a note citing ASTM E3022; 0.25 % is the fit's own residual
    minutes, readings = (
        np.array([0.0, 5.0, 10.0, 15.0, 20.0]),
        np.array([4950.0, 4670.0, 4580.0, 4530.0, 4500.0]),
    )
    course = OutputCourse(overshoot_fraction=0.101, time_constant_s=330.0)
    assert 4496.0 * 1.101 * course.factor(60.0 * minutes) == pytest.approx(readings, rel=0.0025)


def test_the_factor_is_one_when_measured_and_the_level_scales_it() -> None:
    course = OutputCourse(
        overshoot_fraction=0.1, time_constant_s=330.0, level_ratio=0.7, measured_after_s=60.0
    )
    assert course.factor(60.0) == pytest.approx(0.7, rel=1e-14)
    assert course.factor(0.0) > 0.7 > course.factor(600.0)
    assert np.all(CONSTANT_OUTPUT.factor([0.0, 1.0, 1e4]) == 1.0)


def test_tubes_rise() -> None:
    tubes = OutputCourse(overshoot_fraction=-0.3, time_constant_s=90.0, measured_after_s=300.0)
    assert np.all(np.diff(tubes.factor(np.linspace(0.0, 300.0, 50))) > 0.0)
    # closed form at switch-on
    assert tubes.factor(0.0) == pytest.approx(0.7 / (1.0 - 0.3 * math.exp(-300.0 / 90.0)), rel=1e-14)


def test_air_temperature_starts_and_ends_where_it_should() -> None:
    air = AirTemperature(start_k=298.15, rise_k=6.0, time_constant_s=150.0)
    assert air.temperature_k([0.0, 150.0, 1e6]) == pytest.approx(
        [298.15, 304.15 - 6.0 / math.e, 304.15], rel=1e-14
    )


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        (OutputCourse, {"overshoot_fraction": -1.0, "time_constant_s": 1.0}),
        (OutputCourse, {"overshoot_fraction": 0.1, "time_constant_s": 0.0}),
        (OutputCourse, {"overshoot_fraction": 0.1, "time_constant_s": 1.0, "level_ratio": 0.0}),
        (OutputCourse, {"overshoot_fraction": 0.1, "time_constant_s": 1.0, "measured_after_s": math.nan}),
        (AirTemperature, {"start_k": 25.0, "rise_k": 0.0, "time_constant_s": 1.0}),
        (AirTemperature, {"start_k": 298.0, "rise_k": -1.0, "time_constant_s": 1.0}),
        (Segment, {"duration_s": 0.0, "level_start_ratio": 1.0, "level_end_ratio": 1.0}),
        (Segment, {"duration_s": 1.0, "level_start_ratio": -0.1, "level_end_ratio": 1.0}),
        (Segment, {"duration_s": 1.0, "level_start_ratio": 0.1, "level_end_ratio": 100.0}),
    ],
)
def test_values_out_of_range_are_refused_in_one_line(kind: type, fields: dict[str, float]) -> None:
    with pytest.raises(InputError, match="must be finite and") as caught:
        kind(**fields)
    assert "\n" not in str(caught.value)


def test_programmes_without_light_are_refused() -> None:
    with pytest.raises(InputError, match="no segments"):
        Programme(name="none", segments=(), repeat=False)
    with pytest.raises(InputError, match="dark throughout"):
        Programme(name="dark", segments=(level(1.0, 0.0, 0.0),), repeat=True)


def test_a_ramp_holds_its_last_level() -> None:
    ramp = Programme(name="low_heat", segments=(level(60.0, 0.2, 1.0),), repeat=False)
    assert ramp.expanded(90.0) == [level(60.0, 0.2, 1.0), level(30.0, 1.0, 1.0)]
    assert ramp.mean_level_ratio(90.0) == pytest.approx((36.0 + 30.0) / 90.0, rel=1e-14)


def test_a_ramp_is_cut_where_the_exposure_ends() -> None:
    ramp = Programme(name="low_heat", segments=(level(60.0, 0.2, 1.0),), repeat=False)
    (only,) = ramp.expanded(30.0)
    assert only.duration_s == 30.0
    assert only.level_end_ratio == pytest.approx(0.6, rel=1e-14)


def test_pulses_repeat() -> None:
    pulse = Programme(name="slow_pulse", segments=(level(2.0, 1.0, 1.0), level(1.0, 0.0, 0.0)), repeat=True)
    assert [each.duration_s for each in pulse.expanded(7.0)] == [2.0, 1.0, 2.0, 1.0, 1.0]
    assert pulse.mean_level_ratio(30.0) == pytest.approx(2.0 / 3.0, rel=1e-14)
    assert pulse.period_s == 3.0


@given(
    st.lists(
        st.tuples(st.floats(0.05, 40.0), st.floats(0.0, 1.0), st.floats(0.1, 1.0)), min_size=1, max_size=4
    ),
    st.booleans(),
    st.floats(0.1, 300.0),
)
def test_an_exposure_is_filled_exactly(
    parts: list[tuple[float, float, float]], repeat: bool, duration_s: float
) -> None:
    programme = Programme(name="any", segments=tuple(level(*part) for part in parts), repeat=repeat)
    filled = programme.expanded(duration_s)
    assert math.fsum(each.duration_s for each in filled) == pytest.approx(duration_s, rel=1e-8)
    assert 0.0 < programme.mean_level_ratio(duration_s) <= 1.0 + 1e-12


def test_thousands_of_short_pulses_leave_no_dust_segment() -> None:
    pulse = Programme(name="p", segments=(level(0.1, 1.0, 1.0), level(0.1, 0.0, 0.0)), repeat=True)
    filled = pulse.expanded(60.0)
    assert len(filled) == 600
    assert min(each.duration_s for each in filled) == pytest.approx(0.1, rel=1e-6)


def test_more_segments_than_a_solver_should_see_are_refused() -> None:
    slow = Programme.pulsed("slow", period_s=0.06, duty_fraction=0.5)
    with pytest.raises(InputError, match="more than 100000 segments"):
        slow.expanded(3600.0)
    with pytest.raises(InputError, match="exposure duration"):
        STEADY.expanded(0.0)


def test_a_dimmed_lamp_runs_at_its_mean_level_and_says_so() -> None:
    dimmed = Programme.pulsed("half", period_s=0.01, duty_fraction=0.5)
    assert dimmed.expanded(60.0) == [level(60.0, 0.5, 0.5)]
    assert dimmed.mean_level_ratio(3600.0) == 0.5
    (remark,) = dimmed.remarks
    assert "'half' pulses at 100 Hz" in remark
    assert "mean level, 0.5 of full output" in remark


@given(
    st.floats(1e-4, 0.05),
    st.floats(0.01, 0.99),
    st.floats(0.2, 1.0),
    st.floats(0.0, 0.2),
    st.floats(1e-3, 600.0),
)
def test_fast_pulses_keep_their_radiant_exposure_for_every_duration(
    period_s: float, duty: float, high: float, low: float, duration_s: float
) -> None:
    train = Programme.pulsed(
        "p", period_s=period_s, duty_fraction=duty, level_ratio=high, low_level_ratio=low
    )
    filled = train.expanded(duration_s)
    assert len(filled) <= 3
    assert math.fsum(each.duration_s for each in filled) == pytest.approx(duration_s, rel=2e-9)
    whole, rest_s = divmod(duration_s, period_s)
    lit_s = whole * duty * period_s + min(rest_s, duty * period_s)
    exposure_s = low * duration_s + (high - low) * lit_s
    assert train.mean_level_ratio(duration_s) * duration_s == pytest.approx(exposure_s, rel=1e-7)


def test_slow_pulses_keep_their_edges() -> None:
    blinking = Programme.pulsed("blink", period_s=2.0, duty_fraction=0.25, level_ratio=0.8)
    assert blinking.expanded(4.0) == [level(0.5, 0.8, 0.8), level(1.5, 0.0, 0.0)] * 2
    assert blinking.remarks == ()
    assert not Programme.pulsed("slow", period_s=0.0501, duty_fraction=0.5).is_fast
    assert Programme.pulsed("20 Hz", period_s=1.0 / 20.0, duty_fraction=0.3).is_fast


def test_what_never_changes_is_no_pulse_train() -> None:
    full = Programme.pulsed("full", period_s=0.01, duty_fraction=1.0)
    assert full.remarks == ()
    assert full.expanded(60.0) == [level(60.0, 1.0, 1.0)]
    flicker = Programme(name="saw", segments=(level(0.01, 0.0, 1.0),), repeat=True)
    assert flicker.expanded(1.0) == [level(1.0, 0.5, 0.5)]
    once = Programme(name="flash", segments=(level(0.01, 1.0, 1.0), level(0.01, 0.0, 0.0)), repeat=False)
    assert once.expanded(1.0)[:2] == list(once.segments)


def test_ramp_and_sequence() -> None:
    ramp = Programme.ramp("soft", ramp_s=10.0, level_start_ratio=0.2)
    dimmed = Programme.pulsed("half", period_s=0.001, duty_fraction=0.5)
    whole = Programme.sequence("soft start", [(ramp, 12.0), (dimmed, 20.0), (STEADY, 30.0)])
    assert whole.segments == (
        level(10.0, 0.2, 1.0), level(2.0, 1.0, 1.0), level(20.0, 0.5, 0.5), level(30.0, 1.0, 1.0)
    )  # fmt: skip
    assert whole.remarks == dimmed.remarks
    assert whole.mean_level_ratio(62.0) == pytest.approx((6.0 + 2.0 + 10.0 + 30.0) / 62.0, rel=1e-14)
    assert whole.expanded(70.0)[-1] == level(8.0, 1.0, 1.0)
    twice = Programme.sequence("twice", [(ramp, 10.0)], repeat=True)
    assert twice.expanded(20.0) == [level(10.0, 0.2, 1.0)] * 2


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"period_s": 0.0, "duty_fraction": 0.5}, "period_s is 0"),
        ({"period_s": 1.0, "duty_fraction": 0.0}, "duty_fraction is 0"),
        ({"period_s": 1.0, "duty_fraction": 1.1}, "duty_fraction is 1.1"),
        ({"period_s": 1.0, "duty_fraction": math.nan}, "duty_fraction is nan"),
        ({"period_s": 1.0, "duty_fraction": 0.5, "level_ratio": 3.0}, "level_start_ratio is 3"),
        ({"period_s": 1.0, "duty_fraction": 0.5, "level_ratio": 0.0}, "dark throughout"),
    ],
)
def test_pulse_trains_out_of_range_are_refused(fields: dict[str, float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        Programme.pulsed("p", **fields)


def test_pickle() -> None:
    pulse = Programme(name="p", segments=(level(2.0, 1.0, 1.0),), repeat=True)
    assert pickle.loads(pickle.dumps(pulse)) == pulse
