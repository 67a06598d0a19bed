"""Wear, temperature of wear and battery charge, against the published figures they come from."""

import itertools
import math
from pathlib import Path

import pytest

from gelwright.lamp_library.ageing import (
    CELL_VOLTAGES_V,
    aged,
    ageing_factor,
    ageing_rate_1_hours,
    battery_ratio,
    l70_at_hours,
    longest_claim_hours,
    on_battery,
)
from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp, save_lamp
from gelwright.lamp_library.units import j_mol_from_ev, k_from_c

# L70 h, alpha 1/h, left after 1000 h and 3000 h: worked out from the form, rounded as printed
TABLE = [
    (1_000.0, 3.567e-4, 0.700, 0.343),
    (10_000.0, 3.567e-5, 0.965, 0.899),
    (20_000.0, 1.783e-5, 0.982, 0.948),
    (30_000.0, 1.189e-5, 0.988, 0.965),
]


@pytest.mark.parametrize(("l70_hours", "rate", "after_1000", "after_3000"), TABLE)
def test_table_of_decay(l70_hours: float, rate: float, after_1000: float, after_3000: float) -> None:
    assert ageing_rate_1_hours(l70_hours) == pytest.approx(rate, rel=3e-4)
    assert ageing_factor(1000.0, l70_hours) == pytest.approx(after_1000, abs=5.1e-4)
    assert ageing_factor(3000.0, l70_hours) == pytest.approx(after_3000, abs=5.1e-4)
    assert ageing_factor(l70_hours, l70_hours) == pytest.approx(0.7, rel=1e-14)


def test_a_first_rise_in_the_fit_counts() -> None:
    # L70 = ln(B/0.7)/alpha
    assert ageing_rate_1_hours(10_000.0, initial_ratio=1.05) == pytest.approx(math.log(1.5) / 1e4, rel=1e-14)
    assert ageing_factor(10_000.0, 10_000.0, initial_ratio=1.05) == pytest.approx(0.7, rel=1e-14)
    assert ageing_factor(0.0, 10_000.0, initial_ratio=1.05) == 1.05


def test_claims_are_limited_to_six_times_the_test() -> None:
    # LM-80 tests of 6000 to 10 000 h carry claims of 36 000 to 60 000 h
    assert longest_claim_hours(6000.0) == 36_000.0
    assert longest_claim_hours(10_000.0) == 60_000.0


@pytest.mark.parametrize(
    ("energy_ev", "from_c", "factor"), [(0.13, 75.0, 1.13), (0.20, 40.0, 1.26), (0.68, 60.0, 2.0)]
)
def test_life_against_temperature(energy_ev: float, from_c: float, factor: float) -> None:
    """0.13 and 0.20 eV (Arques-Orobon 2020) shorten the life 1.13 to 1.26 times in 10 K; halving it needs 0.68 eV."""
    shorter = l70_at_hours(
        4480.0,
        tested_at_k=k_from_c(from_c),
        used_at_k=k_from_c(from_c + 10.0),
        activation_energy_j_mol=j_mol_from_ev(energy_ev),
    )
    assert 4480.0 / shorter == pytest.approx(factor, rel=0.01)
    assert j_mol_from_ev(1.0) == pytest.approx(96485.33, abs=0.01)


def test_an_aged_lamp_keeps_its_spectra_and_gives_less(tmp_path: Path) -> None:
    lamp = load_lamp("demo_narrow_405")
    old = aged(aged(lamp, 1000.0, 10_000.0), 2000.0, 10_000.0)
    assert old.course.level_ratio == pytest.approx(lamp.course.level_ratio * 0.7**0.3, rel=1e-14)
    assert old.course.factor(30.0) == pytest.approx(0.7**0.3 * lamp.course.factor(30.0), rel=1e-14)
    assert old.spectrum(old.weakest).irradiance_w_m2() == lamp.spectrum(lamp.weakest).irradiance_w_m2()
    assert "0.965 of the measured one: 1000 h of light since, L70 of 10000 h" in old.notes[-2]
    save_lamp(old, tmp_path / "old")
    again = load_lamp(tmp_path / "old")
    assert (again.course, again.notes) == (old.course, old.notes)


@pytest.mark.parametrize(
    ("voltage_v", "light"),
    [(4.2, 1.00), (4.0, 0.78), (3.8, 0.58), (3.6, 0.41), (3.4, 0.26), (3.2, 0.16), (3.0, 0.06)],
)
def test_unregulated_battery_table(voltage_v: float, light: float) -> None:
    """Hobby bench tests of single-cell lamps, relative to a full cell."""
    assert battery_ratio("unregulated", voltage_v) == light


def test_battery_light_falls_with_every_millivolt() -> None:
    voltages = [3.0 + 0.001 * step for step in range(1201)]
    straight = [battery_ratio("unregulated", min(voltage, 4.2)) for voltage in voltages]
    assert all(a < b for a, b in itertools.pairwise(straight[:-1]))
    held = [battery_ratio("regulated", min(voltage, 4.2)) for voltage in voltages]
    assert all(a <= b for a, b in itertools.pairwise(held))
    assert all(h >= s for h, s in zip(held, straight, strict=True))


def test_a_regulated_lamp_is_flat_down_to_its_dropout() -> None:
    assert {battery_ratio("regulated", voltage) for voltage in (4.2, 3.9, 3.6)} == {1.0}
    assert battery_ratio("regulated", 3.599) == pytest.approx(1.0, abs=2e-3)
    assert battery_ratio("regulated", 3.2) == pytest.approx(0.16 / 0.41, rel=1e-14)
    assert battery_ratio("regulated", 3.3, dropout_v=3.25) == 1.0


def test_an_unknown_battery_is_taken_at_its_worst() -> None:
    assert battery_ratio("unknown") == battery_ratio("unknown", 4.2) == 0.6
    lamp = load_lamp("demo_narrow_405")
    low = on_battery(lamp)
    assert low.course.level_ratio == pytest.approx(0.6 * lamp.course.level_ratio, rel=1e-14)
    assert "assumed worst case" in low.notes[-1]
    assert (
        "0.41 of the measured one: unregulated battery at 3.6 V"
        in on_battery(lamp, "unregulated", 3.6).notes[-1]
    )


def test_values_out_of_range_are_refused() -> None:
    with pytest.raises(InputError, match="l70_hours is 0"):
        ageing_factor(10.0, 0.0)
    with pytest.raises(InputError, match="used_hours is -1"):
        ageing_factor(-1.0, 10_000.0)
    with pytest.raises(InputError, match=r"initial_ratio is 0\.7"):
        ageing_rate_1_hours(10_000.0, initial_ratio=0.7)
    with pytest.raises(InputError, match="activation_energy_j_mol is nan"):
        l70_at_hours(1e4, tested_at_k=300.0, used_at_k=310.0, activation_energy_j_mol=math.nan)
    for voltage in (CELL_VOLTAGES_V[0] - 0.01, CELL_VOLTAGES_V[-1] + 0.01, 12.0, math.nan):
        with pytest.raises(InputError, match="one lithium-ion cell"):
            battery_ratio("unregulated", voltage)
    with pytest.raises(InputError, match="needs cell_voltage_v"):
        battery_ratio("regulated")
    with pytest.raises(UnknownNameError, match="did you mean 'regulated'"):
        battery_ratio("regulate", 4.0)  # type: ignore[arg-type]
