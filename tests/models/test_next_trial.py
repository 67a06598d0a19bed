"""Planning trials: on a straight line the theory's answer, on a gel a plan whose doubt falls."""

import math
from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.next_trial import (
    Candidate,
    Doubt,
    Figure,
    candidate_information,
    doubt_of,
    plan_trials,
    verdict_figures,
)
from gelwright.models.rate_calibration import RateCalibration
from gelwright.models.solver import SolverSettings
from gelwright.models.trial import Exposure, Trial, TrialSignal

COARSE = SolverSettings(cells=16, light_bins=6)
PARTS = {"UDMA": 70.0, "HEMA": 30.0}
LAMP = load_lamp("demo_narrow_405")


def gel(calibration: RateCalibration | None = None) -> Gel:
    return Gel(
        name="test", coat="builder", resin_parts=PARTS, initiators_wt_pct={"TPO-L": 1.0}, thickness_m=100e-6,
        calibration=calibration,
    )  # fmt: skip


def trial(name: str = "plain", thickness_m: float = 100e-6) -> Trial:
    time = np.arange(2.0, 61.0, 2.0)
    signal = TrialSignal(
        name="conversion", kind="conversion", place="mean", time_s=time, value=0.0 * time, noise_sd=0.01 + 0.0 * time
    )  # fmt: skip
    return Trial(
        trial_id=name, gel=gel(), lamp=LAMP, position=LAMP.weakest, thickness_m=thickness_m,
        exposures=(Exposure(start_s=0.0, duration_s=30.0),), hand=Hand(start_k=298.15), isothermal=True, signals=(signal,),
    )  # fmt: skip


def line_of(*places: float) -> tuple[list[Candidate], list[np.ndarray]]:
    """Readings of level + slope x at some places, noise 1."""
    rows = [np.array([[1.0, place]]) for place in places]
    made = [Candidate(words=f"x = {place:g}", cost=0, trial=trial()) for place in places]
    return made, [row.T @ row for row in rows]


def figure(x: float) -> Figure:
    return Figure(name="y", value=0.0, slopes=np.array([1.0, x]), scale=1.0)


def test_straight_line_is_measured_at_its_ends() -> None:
    # the D-optimal design of a straight line over [-1, 1] has half of its readings at each end
    doubt = Doubt(names=("level", "slope"), values=np.zeros(2), covariance=100.0 * np.eye(2))
    candidates, information = line_of(-1.0, -0.5, 0.0, 0.5, 1.0)
    plan = plan_trials(doubt, [figure(-1.0), figure(1.0)], candidates, information, count=2)
    assert {step.candidate.words for step in plan.steps} == {"x = -1", "x = 1"}
    assert plan.most_informative.words in ("x = -1", "x = 1")
    assert plan.most_information == pytest.approx(0.5 * math.log1p(200.0))


def test_verdict_is_measured_where_it_falls() -> None:
    doubt = Doubt(names=("level", "slope"), values=np.zeros(2), covariance=np.eye(2))
    candidates, information = line_of(-1.0, 0.0, 0.5)
    plan = plan_trials(doubt, [figure(0.5)], candidates, information, count=3)
    assert plan.steps[0].candidate.words == "x = 0.5"
    # Bayes with unit priors: variance 1.25 before; 1.25 - 1.25^2 / (1 + 1.25) after
    assert plan.steps[0].sd_before[0] == pytest.approx(math.sqrt(1.25))
    assert plan.steps[0].sd_after[0] == pytest.approx(math.sqrt(1.25 - 1.25**2 / 2.25))
    assert len({step.candidate.words for step in plan.steps}) == 3


def test_cheaper_trial_is_planned_where_two_teach_alike() -> None:
    doubt = Doubt(names=("level", "slope"), values=np.zeros(2), covariance=np.eye(2))
    candidates, information = line_of(1.0, 0.98)
    dear = replace(candidates[0], cost=2)
    plan = plan_trials(doubt, [figure(1.0)], [dear, candidates[1]], information, count=1)
    assert plan.steps[0].candidate is candidates[1]


def test_calibration_is_what_is_known_and_priors_fill_the_rest() -> None:
    calibrated = gel(
        RateCalibration(
            parameters=("k_p0",), values=[-0.3], covariance=[[0.01]], trials=("one",), resin_parts=PARTS
        )
    )
    doubt = doubt_of(calibrated, ["k_t0", "k_p0", "h_loss"])
    assert doubt.names == ("k_p0", "k_t0", "h_loss")
    assert doubt.values[0] == -0.3
    assert np.sqrt(np.diag(doubt.covariance)) == pytest.approx([0.1, 0.83, 0.5], abs=0.01)


def test_doubt_in_a_verdict_falls_with_every_trial() -> None:
    doubt = doubt_of(gel(), ["k_p0", "k_t0", "X_v", "f.TPO-L"])
    cure = replace(trial("cure", 200e-6), signals=(), isothermal=False, hand=Hand())
    figures = verdict_figures(
        doubt, [("base conversion", cure), ("nail bed peak", cure)], (0.05, 1.0), settings=COARSE
    )
    assert 0.3 < figures[0].value < 1.0
    assert 306.0 < figures[1].value < 340.0
    # glass later: converts further; more radicals: hotter
    assert figures[0].slopes[2] > 0.0
    assert figures[1].slopes[3] > 0.0
    candidates = [
        Candidate(words=name, cost=0, trial=trial(name, 1e-6 * float(name[1:]))) for name in ("t50", "t200")
    ]
    information = candidate_information(doubt, candidates, settings=COARSE)
    plan = plan_trials(doubt, figures, candidates, information)
    assert len(plan.steps) == 2
    for step in plan.steps:
        assert step.information_gain > 0.0
        assert all(after <= before for before, after in zip(step.sd_before, step.sd_after, strict=True))
    assert plan.steps[0].sd_after[0] < 0.5 * plan.steps[0].sd_before[0]
