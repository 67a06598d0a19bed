"""Trials as data for a fit: derivatives, known parameters come back, what is not determined is said so, further runs."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, SolverError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models import trial_fit
from gelwright.models.fit_outcome import TrialFit
from gelwright.models.fit_trials import expanded_names, fit_trials, usual_names
from gelwright.models.further_runs import further_runs, is_shuttered, radical_shares, rate_group_weights
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.solver import SolverSettings
from gelwright.models.trial import Exposure, Trial, TrialSignal
from gelwright.models.trial_fit import TrialSet, prior_with_set_up
from gelwright.models.trial_model import predict

# fewer cells would save little: 16 leave the edge of the tacky layer to jump from cell to cell, and slopes with it
COARSE = SolverSettings(cells=30, light_bins=6)
GEL = Gel(
    name="test",
    coat="builder",
    resin_parts={"UDMA": 55.0, "UA-1500": 15.0, "HPMA": 20.0, "IBOMA": 10.0},
    initiators_wt_pct={"TPO-L": 1.0},
    thickness_m=50e-6,
)
LAMP = load_lamp("demo_narrow_405")
NAMES = ("k_p0", "k_t0", "C_RD", "X_v", "f.TPO-L")


def signal(kind: str = "conversion", until_s: float = 60.0, sd: float = 0.01) -> TrialSignal:
    time = np.arange(1.0, until_s + 0.5, 1.0)
    is_heat = kind == "reaction_temperature"
    return TrialSignal(
        name=kind,
        kind=kind,  # type: ignore[arg-type]
        place="interface" if is_heat else "mean",
        blank="cured_sample" if is_heat else "none",
        time_s=time,
        value=np.zeros_like(time),
        noise_sd=np.full_like(time, sd),
    )


def trial(name: str, **changes: Any) -> Trial:
    plain: dict[str, Any] = {
        "trial_id": name,
        "gel": GEL,
        "lamp": LAMP,
        "position": LAMP.weakest,
        "thickness_m": 50e-6,
        "exposures": (Exposure(start_s=0.0, duration_s=60.0),),
        "hand": Hand(start_k=298.15),
        "atmosphere": "nitrogen",
        "isothermal": True,
        "signals": (signal(),),
    }
    return Trial(**{**plain, **changes})


def measured(
    trials: list[Trial], truth: np.ndarray, names: tuple[str, ...] = NAMES, seed: int = 2
) -> list[Trial]:
    """The trials with what true parameters would have shown, and noise."""
    rng = np.random.default_rng(seed)
    runs = TrialSet(trials, names, settings=COARSE).predict(truth)
    return [
        replace(
            each,
            signals=tuple(
                replace(one, value=run.values[one.name] + one.noise_sd * rng.standard_normal(one.time_s.size))
                for one in each.signals
            ),
        )
        for each, run in zip(trials, runs, strict=True)
    ]


STEADY = trial("steady")
DIM = trial("dim", lamp=LAMP.with_output(0.2))
SHUT = trial("shut", exposures=(Exposure(start_s=0.0, duration_s=4.0),))
WARM = trial(
    "warm",
    isothermal=False,
    atmosphere="air",
    hand=Hand(),
    thickness_m=300e-6,
    signals=(signal("reaction_temperature", 90.0, 0.2),),
)
PRIOR = prior_with_set_up(GEL, NAMES)
TRUTH = PRIOR.mean + PRIOR.sd * np.array([0.6, -0.8, 0.5, -0.4, 0.3])


@pytest.fixture(scope="module")
def steady_alone() -> TrialFit:
    return fit_trials(measured([STEADY], TRUTH), NAMES, settings=COARSE, with_profiles=False)


@pytest.fixture(scope="module")
def all_together() -> TrialFit:
    return fit_trials(measured([STEADY, DIM, SHUT, WARM], TRUTH), NAMES, settings=COARSE)


def test_runs_at_packaged_values_are_those_of_the_trial_report() -> None:
    run = TrialSet([WARM], NAMES, settings=COARSE).predict(PRIOR.mean)[0]
    expected = predict(WARM, settings=COARSE).values["reaction_temperature"]
    assert run.values["reaction_temperature"] == pytest.approx(expected, abs=1e-9)


def test_fitted_run_is_that_of_the_calibrated_gel(all_together: TrialFit) -> None:
    calibrated = replace(GEL, calibration=all_together.calibration())
    for each, run in zip(all_together.trials, all_together.runs, strict=True):
        again = predict(each, gel=calibrated, settings=COARSE)
        for name, values in run.values.items():
            # the run of the fit repeats the time steps of the search's end
            assert values == pytest.approx(again.values[name], abs=2e-2 if each.trial_id == "warm" else 1e-3)


@pytest.mark.parametrize(
    ("central_step_log", "largest"), [(trial_fit._SEARCH_STEP_LOG, 2e-3), (trial_fit._CENTRAL_STEP_LOG, 1e-2)]
)
def test_derivatives_one_sided_and_central_agree(
    central_step_log: float, largest: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one step they are the same derivative. The end of each cell's induction puts a wave of half a percent on the
    curves, shorter than the wider step, which takes their mean slope: it moves the yield's derivative by 0.8 % at the accuracy
    of these runs, by 0.3 % or less at a tenth of it."""
    monkeypatch.setattr(trial_fit, "_CENTRAL_STEP_LOG", central_step_log)
    data = TrialSet([STEADY, WARM], NAMES, settings=COARSE)
    data.keep_steps(TRUTH)
    one_sided, central = data.jacobian(TRUTH), np.vstack(data.central_jacobian_by_trial(TRUTH))
    assert one_sided == pytest.approx(central, abs=largest * np.abs(central).max())


def test_derivatives_where_the_kept_time_steps_are_too_long() -> None:
    names = ("k_p0", "b", "X_v", "w")
    prior = prior_with_set_up(GEL, names)
    data = TrialSet([STEADY], names, settings=COARSE)
    data.keep_steps(prior.mean)
    far = prior.mean + prior.sd * np.array([3.0, 2.5, 2.5, -2.5])
    with pytest.raises(SolverError, match="finite"):
        data._replayed(far[np.newaxis, :], data._steps)  # type: ignore[arg-type]
    fresh = TrialSet([STEADY], names, settings=COARSE)
    assert np.array_equal(data.jacobian(far), fresh.jacobian(far))


def test_number_of_threads_changes_nothing() -> None:
    found = [
        TrialSet([STEADY, WARM], NAMES, settings=COARSE, workers=workers).jacobian(TRUTH)
        for workers in (1, 3)
    ]
    assert np.array_equal(*found)


def test_known_parameters_come_back(all_together: TrialFit) -> None:
    error = all_together.best.standard_error
    assert np.all(np.abs(all_together.best.values - TRUTH) < 3.0 * error)
    assert np.all(error < 0.6 * PRIOR.sd)
    assert all_together.noise_factor == 1.0
    for row, interval in enumerate(all_together.intervals):
        if interval is not None:
            half = 1.645 * error[row]
            value = all_together.best.values[row]
            assert (value - interval.low, interval.high - value) == pytest.approx((half, half), rel=0.35)


def test_one_steady_curve_leaves_the_rates_open_and_fixes_their_group(steady_alone: TrialFit) -> None:
    (row,) = steady_alone.rows
    kp, kt = (row.error[NAMES.index(name)] for name in ("k_p0", "k_t0"))
    assert row.group_error < 0.25
    assert 0.3 < kp < kt
    assert "k_p0" in steady_alone.undetermined
    assert "X_v" not in steady_alone.undetermined
    assert len(steady_alone.knowledge.weak_directions) > 0
    assert steady_alone.intervals == (None,) * len(NAMES)


def test_more_kinds_of_data_determine_more(steady_alone: TrialFit, all_together: TrialFit) -> None:
    assert all_together.rows[-1].words == "all trials together"
    assert np.all(all_together.rows[-1].error <= steady_alone.rows[0].error)
    assert all_together.rows[-1].group_error < steady_alone.rows[0].group_error
    assert [each.left_out_rms is None for each in steady_alone.misfits] == [True]
    assert all(each.left_out_rms_ratio == pytest.approx(1.1, abs=0.5) for each in all_together.misfits)
    assert all(each.rms_ratio == pytest.approx(1.0, abs=0.25) for each in all_together.misfits)


def test_a_further_run_is_advised_and_narrows(steady_alone: TrialFit) -> None:
    advised = steady_alone.advised
    assert advised is not None
    assert advised.gain > 0.1
    assert np.all(advised.posterior_error <= steady_alone.knowledge.posterior_error * (1.0 + 1e-6))


def test_further_runs_change_one_thing_each() -> None:
    run = TrialSet([STEADY], NAMES, settings=COARSE).predict(PRIOR.mean)[0]
    kinds = {each.kind: each.trial for each in further_runs(STEADY, run.sample)}
    assert list(kinds) == ["shutter", "second irradiance", "repeat exposure", "under air", "warmer"]
    assert is_shuttered(kinds["shutter"])
    assert not is_shuttered(STEADY)
    assert kinds["under air"].atmosphere == "air"
    assert len(kinds["repeat exposure"].exposures) == 2
    assert kinds["second irradiance"].lamp.spectrum(LAMP.weakest).irradiance_w_m2() == pytest.approx(
        0.3 * LAMP.spectrum(LAMP.weakest).irradiance_w_m2()
    )


def test_group_weighs_efficiencies_by_their_radicals() -> None:
    film = TrialSet([STEADY], NAMES, settings=COARSE).film(0)
    shares = radical_shares(film)
    assert shares == {"TPO-L": pytest.approx(1.0)}
    assert rate_group_weights(NAMES, shares) == pytest.approx([1.0, -0.5, 0.0, 0.0, 0.5])


def test_a_model_that_does_not_fit_widens_the_noise() -> None:
    (data,) = measured([STEADY], TRUTH)
    one = data.signals[0]
    wavy = replace(one, value=one.value + 0.04 * np.sin(one.time_s))
    found = fit_trials([replace(data, signals=(wavy,))], NAMES, settings=COARSE, with_profiles=False)
    assert found.noise_factor > 2.0


def test_trials_that_do_not_belong_together_are_refused() -> None:
    other = trial("other", gel=replace(GEL, resin_parts={"UDMA": 100.0}))
    with pytest.raises(InputError, match="resin base is not that of trial steady"):
        TrialSet([STEADY, other], NAMES)
    with pytest.raises(InputError, match="two trials are called 'steady'"):
        TrialSet([STEADY, STEADY], NAMES)
    with pytest.raises(InputError, match="no trial at all"):
        TrialSet([], NAMES)
    spoilt = trial("spoilt", signals=(replace(signal(), include=False, reason="probe not in the gel"),))
    with pytest.raises(InputError, match="no signal may be used"):
        TrialSet([spoilt], NAMES)


def test_usual_names_follow_the_signals() -> None:
    assert "dH" not in usual_names([STEADY])
    assert {"dH", "h_loss"} <= set(usual_names([STEADY, WARM]))
    assert expanded_names([STEADY], ["k_p0", "f", "k_p0"]) == ("k_p0", "f.TPO-L")


def test_set_up_is_not_saved_with_the_gel() -> None:
    names = ("k_p0", "h_loss", "lamp_output")
    data = measured([WARM], prior_with_set_up(GEL, names).mean, names)
    found = fit_trials(data, names, settings=COARSE, with_profiles=False)
    assert found.calibration().parameters == ("k_p0",)
    assert found.calibration().covered["thickness_um"] == (300.0, 300.0)
