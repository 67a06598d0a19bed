"""Cycles: shares and completeness of series that are known, verdicts at their lines, exposures found in a trace."""

from functools import cache

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.models.cell_heat import Cooling, cooling_of
from gelwright.models.exotherm import Cleaned, ReactionTemperature, cleaned, peak_of, reaction_temperature
from gelwright.models.exotherm_cycles import completeness, cycles_of
from gelwright.models.exposure_edges import find_exposures, start_doubt_s, starts_for

PERIOD, LIT, TAU = 150.0, 30.0, 60.0


@cache
def courses(heats: tuple[float, ...]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """True rises of a first-order cell: lamp 0.15 K/s while lit, reaction decaying with 3 s in each cycle."""
    fine = np.arange(-20.0, PERIOD * len(heats), 0.02)
    lamp, reaction = np.zeros(fine.size), np.zeros(fine.size)
    for number, heat in enumerate(heats):
        since = fine - PERIOD * number
        lamp[(since >= 0.0) & (since < LIT)] = 0.15
        lit = since >= 0.0
        reaction[lit] += heat / 3.0 * np.exp(-since[lit] / 3.0)
    rise = {}
    for name, source in (("lamp", lamp), ("both", lamp + reaction)):
        value = np.zeros(fine.size)
        decay = np.exp(-0.02 / TAU)
        for i in range(1, fine.size):
            value[i] = value[i - 1] * decay + 0.5 * (source[i - 1] + source[i]) * TAU * (1.0 - decay)
        rise[name] = value
    return fine, rise


def channels(
    heats: tuple[float, ...], noise: float = 0.02, step: float = 0.2, seed: int = 3
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, sample and blank as a logger reads them."""
    fine, rise = courses(heats)
    time = np.arange(-20.0, fine[-1], step)
    rng = np.random.default_rng(seed)
    sample = 298.4 + np.interp(time, fine, rise["both"]) + noise * rng.standard_normal(time.size)
    blank = 298.0 + np.interp(time, fine, rise["lamp"]) + noise * rng.standard_normal(time.size)
    return time, sample, blank


def measured(heats: tuple[float, ...], **more: float) -> ReactionTemperature:
    time, sample, blank = channels(heats, **more)  # type: ignore[arg-type]
    return reaction_temperature(cleaned(time, sample), cleaned(time, blank), lit_at_s=0.0)


STARTS = [0.0, PERIOD, 2.0 * PERIOD]


def test_heat_of_each_cycle_is_what_was_put_in() -> None:
    rise = measured((12.0, 1.8, 0.4))
    cooling = cooling_of(rise, LIT + 10.0, PERIOD)
    assert cooling.time_constant_s == pytest.approx(TAU, abs=3.0 * cooling.time_constant_sd_s)
    found = cycles_of(rise, cooling, STARTS, 3.0 * PERIOD - 0.5)
    assert np.abs(found.heat_k - [12.0, 1.8, 0.4]) == pytest.approx(np.zeros(3), abs=0.25)
    assert np.all(np.abs(found.heat_k - [12.0, 1.8, 0.4]) < 3.5 * found.heat_sd_k)
    assert found.share[1] == pytest.approx(0.15, abs=0.02)
    assert found.verdict == "not cured"
    assert "did not cure" in found.sentence


def test_a_cured_film_is_told_from_one_that_is_not() -> None:
    rise = measured((12.0, 0.1, 0.0))
    found = cycles_of(rise, cooling_of(rise, LIT + 10.0, PERIOD), STARTS, 3.0 * PERIOD - 0.5)
    assert found.verdict == "cured"
    assert found.floor_share < 0.05
    assert found.completeness_low > 0.9


def test_a_cell_without_one_constant_calls_no_film_uncured() -> None:
    rise = measured((12.0, 1.8, 0.4))
    for sd, verdict in ((1.0, "not cured"), (6.0, "undecided")):
        cooling = Cooling(time_constant_s=TAU, time_constant_sd_s=sd, origin="given")
        assert cycles_of(rise, cooling, STARTS, 3.0 * PERIOD - 0.5).verdict == verdict
    assert "does not cool by one constant" in cycles_of(rise, cooling, STARTS, 3.0 * PERIOD - 0.5).sentence


def test_a_weak_lamp_is_found_by_both_its_edges() -> None:
    time, _, blank = channels((12.0, 1.0, 0.2))
    noisy = blank + 0.25 * np.random.default_rng(2).standard_normal(time.size)
    assert starts_for(time, noisy, 0.25, LIT, 3) == pytest.approx(STARTS, abs=2.5)


def test_too_much_noise_is_no_verdict() -> None:
    rise = measured((3.0, 0.15, 0.0), noise=0.25)
    cooling = Cooling(time_constant_s=TAU, time_constant_sd_s=3.0, origin="given")
    found = cycles_of(rise, cooling, STARTS, 3.0 * PERIOD - 0.5)
    assert found.verdict == "undecided"
    assert found.floor_share > 0.05


def test_no_heat_is_named() -> None:
    rise = measured((0.0, 0.0, 0.0))
    cooling = Cooling(time_constant_s=TAU, time_constant_sd_s=3.0, origin="given")
    assert cycles_of(rise, cooling, STARTS, 3.0 * PERIOD - 0.5).verdict == "no reaction"
    with pytest.raises(InputError, match="cooling constant cannot be read"):
        cooling_of(rise, LIT + 10.0, PERIOD)


def test_stated_deviations_cover_the_scatter_of_repeats() -> None:
    errors, said = [], []
    for seed in range(30):
        rise = measured((6.0, 0.6), seed=seed, noise=0.05)
        cooling = Cooling(time_constant_s=TAU, time_constant_sd_s=0.1, origin="given")
        found = cycles_of(rise, cooling, STARTS[:2], 2.0 * PERIOD - 0.5)
        errors.append(found.heat_k[1] - 0.6)
        said.append(found.heat_sd_k[1])
    assert np.std(errors) == pytest.approx(np.mean(said), rel=0.5)


@pytest.mark.parametrize("ratio", [0.1, 0.3, 0.5])
def test_a_geometric_series_is_completed_exactly(ratio: float) -> None:
    heats = 10.0 * ratio ** np.arange(3)
    low, best, high = completeness(heats, np.full(3, 1e-6))
    assert best == pytest.approx(1.0 - ratio**3, abs=1e-9)
    assert low <= best <= high


def test_one_exposure_says_nothing_about_completeness() -> None:
    assert completeness(np.array([5.0]), np.array([0.1])) == (0.0, 0.0, 1.0)


def test_exposures_are_found_in_the_blank() -> None:
    time, _, blank = channels((12.0, 1.0, 0.2))
    found = find_exposures(time, blank, 0.02)
    assert [start for start, _ in found] == pytest.approx([0.0, PERIOD, 2 * PERIOD], abs=1.0)
    assert [end - start for start, end in found] == pytest.approx([LIT] * 3, abs=1.5)
    assert starts_for(time, blank, 0.02, LIT, 3) == pytest.approx([0.0, PERIOD, 2 * PERIOD], abs=0.4)
    with pytest.raises(InputError, match="3 exposures show"):
        starts_for(time, blank, 0.02, LIT, 2)
    with pytest.raises(InputError, match="60 s were said"):
        starts_for(time, blank, 0.02, 60.0, None)


def test_doubt_of_a_switch_on_covers_its_error() -> None:
    errors = []
    for seed in range(25):
        time, _, blank = channels((12.0,), noise=0.1, seed=seed)
        start = starts_for(time, blank, 0.1, LIT, 1)[0]
        errors.append(start / start_doubt_s(time, blank, 0.1, start, LIT))
    assert 0.5 < np.std(errors) < 1.8


def test_a_dark_lamp_shows_no_exposure() -> None:
    time = np.arange(0.0, 300.0, 0.2)
    rng = np.random.default_rng(1)
    for slow in (0.0, 0.3):
        trace = 298.0 + slow * np.sin(time / 200.0) + 0.03 * rng.standard_normal(time.size)
        assert find_exposures(time, trace, 0.03) == []


def test_spikes_go_and_the_peak_stays() -> None:
    time, sample, blank = channels((12.0,))
    spoilt = sample.copy()
    spoilt[[150, 300, 301, 555]] += [40.0, -15.0, -14.0, 6.0]
    spoilt[400:406] = np.nan
    plain, mended = cleaned(time, sample), cleaned(time, spoilt)
    assert mended.spikes == 4
    assert len(mended.gaps_s) == 1
    other = cleaned(time, blank)
    peaks = [
        peak_of(reaction_temperature(each, other, lit_at_s=0.0), 0.0, PERIOD - 1.0)
        for each in (plain, mended)
    ]
    assert peaks[0].height_k == pytest.approx(peaks[1].height_k, abs=0.02)
    assert plain.spikes <= 1


def test_peak_of_a_known_pulse() -> None:
    # heat 12 K released with 3 s into a cell of 60 s: highest at ln(20) x 3 x 60/57 s
    rise = measured((12.0,))
    peak = peak_of(rise, 0.0, PERIOD - 1.0)
    when = np.log(TAU / 3.0) * 3.0 * TAU / (TAU - 3.0)
    height = 12.0 * TAU / (TAU - 3.0) * (np.exp(-when / TAU) - np.exp(-when / 3.0))
    assert peak.height_k == pytest.approx(height, abs=3.0 * peak.height_sd_k)
    assert peak.time_s == pytest.approx(when, abs=3.0 * peak.time_sd_s)
    assert peak.rate_k_s == pytest.approx(4.0, rel=0.3)


def test_a_log_without_baseline_is_refused() -> None:
    time, sample, blank = channels((12.0,))
    late = time >= 0.0
    with pytest.raises(InputError, match="before the lamp is lit"):
        reaction_temperature(
            Cleaned(time_s=time[late], value_k=sample[late], gaps_s=(), spikes=0),
            Cleaned(time_s=time[late], value_k=blank[late], gaps_s=(), spikes=0),
            lit_at_s=0.0,
        )
