"""Repeated exposures: heat by cycle, and the rise by reaction as sample minus blank."""

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import CureCase, cure
from gelwright.models.cycles import CyclesResult, repeated_cycles
from gelwright.models.gel import Gel

LAMP = load_lamp("demo_arch_365_405")
GEL = Gel(
    name="builder",
    coat="builder",
    resin_parts={"UDMA": 70.0, "HPMA": 30.0},
    initiators_wt_pct={"TPO-L": 1.5, "HCPK": 1.0},
    thickness_m=300e-6,
)


def case(cycles: int = 3, gel: Gel = GEL) -> CureCase:
    return CureCase(gel=gel, lamp=LAMP, exposure_s=60.0, cycles=cycles, rest_s=300.0)


@pytest.fixture(scope="module")
def result() -> CyclesResult:
    return repeated_cycles(case())


def test_sample_is_what_cure_gives(result: CyclesResult) -> None:
    alone = cure(GEL, LAMP, exposure_s=60.0, cycles=3, rest_s=300.0)
    assert result.heat_by_cycle_j_m2 == pytest.approx(alone.heat_by_cycle_j_m2, rel=1e-9)
    assert result.second_cycle_heat_ratio == pytest.approx(alone.second_cycle_heat_ratio, rel=1e-9)
    assert result.conversion_by_cycle_fraction[-1] == pytest.approx(alone.mean_conversion_fraction, rel=1e-9)
    assert np.interp(alone.time_s, result.time_s, result.film_sample_k) == pytest.approx(
        alone.film_max_k, abs=1e-9
    )


def test_blank_gives_no_heat_of_reaction(result: CyclesResult) -> None:
    assert np.all(result.blank_heat_by_cycle_j_m2 == 0.0)
    assert np.all(result.heat_by_cycle_j_m2 > 0.0)


def test_blank_is_warmed_by_the_lamp_alone_and_alike_in_every_cycle(result: CyclesResult) -> None:
    peaks = []
    for cycle in range(3):
        lit = (result.time_s >= 360.0 * cycle) & (result.time_s <= 360.0 * cycle + 60.0)
        peaks.append(float(result.film_blank_k[lit].max()))
    assert peaks[0] > result.film_blank_k[0] + 0.3
    # the hand is a fraction of a kelvin off its start after the first cycle, in air cooler than itself
    assert peaks[1] == pytest.approx(peaks[0], abs=1.0)
    assert peaks[2] == pytest.approx(peaks[1], abs=0.1)


def test_rise_by_reaction_is_large_first_and_nothing_later(result: CyclesResult) -> None:
    first, second, third = result.peak_rise_by_cycle_k
    assert first > 10.0
    # a heat of a thousandth of the first warms by a thousandth of its peak, if it came as fast
    assert second <= 2.0 * result.second_cycle_heat_ratio * first
    assert third <= 2.0 * result.second_cycle_heat_ratio * first
    assert result.start_rise_by_cycle_k[0] == pytest.approx(0.0, abs=1e-9)
    assert result.start_rise_by_cycle_k[1] < 0.06 * first
    assert result.start_rise_by_cycle_k[2] < result.start_rise_by_cycle_k[1]


def test_rise_is_positive_at_the_nail_bed_and_smaller_than_in_the_film(result: CyclesResult) -> None:
    # Before the reaction sets in, the fresh film takes a little more light than the bleached blank and lets less through:
    # the nail below is then hundredths of a kelvin cooler.
    assert result.nail_bed_rise_k.min() > -0.05
    assert 1.0 < result.nail_bed_rise_k.max() < result.interface_rise_k.max() < result.film_rise_k.max()


def test_traces_share_one_grid(result: CyclesResult) -> None:
    assert np.all(np.diff(result.time_s) > 0.0)
    assert result.time_s[-1] == pytest.approx(1080.0)
    assert result.film_rise_k == pytest.approx(result.film_sample_k - result.film_blank_k, abs=1e-12)
    traces, cycles = result.trace_frame(), result.cycles_frame()
    assert len(traces) == result.time_s.size
    assert not traces.isna().to_numpy().any()
    assert list(cycles["cycle"]) == [1, 2, 3]
    assert cycles["share_of_first"].iloc[0] == 1.0
    assert cycles["share_of_first"].iloc[1] == pytest.approx(result.second_cycle_heat_ratio)


def test_an_under_cured_coat_shows_in_the_second_cycle() -> None:
    weak = GEL.with_initiators({"TPO-L": 0.02})
    short = CureCase(gel=weak, lamp=LAMP.with_output(0.2), exposure_s=10.0, cycles=2, rest_s=120.0)
    under = repeated_cycles(short)
    assert under.second_cycle_heat_ratio > 0.1
    assert under.peak_rise_by_cycle_k[1] > 0.05 * under.peak_rise_by_cycle_k[0] > 0.0


def test_a_single_cycle_is_refused() -> None:
    with pytest.raises(InputError, match="1 asked for; a share of the second cycle needs 2 or more"):
        repeated_cycles(case(cycles=1))


def test_the_second_cycle_share_breaks_out_where_the_first_cycle_is_cut_short() -> None:
    """Far inside its limit at full light is no promise: what uses up the oxygen and gets the cure going takes time as 1/light,
    and once the lamp goes out while the film still reacts, the share climbs from under a hundredth to most of the heat."""
    shares, still_reacting = [], []
    for level in (1.0, 0.5, 0.2, 0.1):
        found = cure(GEL, LAMP.with_level(level, "test"), exposure_s=60.0, cycles=2, rest_s=60.0)
        first = found.time_s <= 60.0
        shares.append(found.second_cycle_heat_ratio)
        still_reacting.append(found.reaction_heat_w_m2[first][-1] / found.reaction_heat_w_m2[first].max())
    assert all(share is not None for share in shares)
    assert shares == sorted(shares)  # type: ignore[type-var]
    assert shares[0] < 0.01
    assert shares[-1] > 0.3
    for share, reacting in zip(shares, still_reacting, strict=True):
        assert (share > 0.05) == (reacting > 0.1)
