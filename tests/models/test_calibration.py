"""Fitting on plain arrays: against closed forms, and against another library's fit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.models.calibration import Fit, FitTask, fit
from gelwright.models.information import combination_error, covariance_from, knowledge_of
from gelwright.models.likelihood_profile import profile_excess, profile_interval

TIME_S = np.linspace(0.0, 5.0, 41)
TRUE = np.array([math.log(2.0), math.log(0.7)])
SD = 0.05


def rise(values: np.ndarray) -> np.ndarray:
    height, rate = np.exp(values)
    return height * (1.0 - np.exp(-rate * TIME_S))


def task(readings: np.ndarray, **changes: object) -> FitTask:
    plain: dict[str, object] = {
        "names": ("height", "rate"),
        "residual": lambda values: (readings - rise(values)) / SD,
    }
    return FitTask(**{**plain, **changes})  # type: ignore[arg-type]


def noisy(seed: int = 3) -> np.ndarray:
    return rise(TRUE) + SD * np.random.default_rng(seed).standard_normal(TIME_S.size)


def straight_line(outlier_scale: float | None = None, **changes: object) -> tuple[FitTask, np.ndarray]:
    rng = np.random.default_rng(5)
    columns = np.stack([np.ones(30), np.linspace(-1.0, 1.0, 30)], axis=1)
    readings = columns @ [1.0, 2.0] + rng.standard_normal(30)
    made = FitTask(
        names=("level", "slope"),
        residual=lambda values: readings - columns @ values,
        jacobian=lambda _: -columns,
        outlier_scale=outlier_scale,
        **changes,  # type: ignore[arg-type]
    )
    return made, columns


def test_straight_line_has_the_closed_form_covariance() -> None:
    line, columns = straight_line()
    found = fit(line, [0.0, 0.0])
    expected = np.linalg.inv(columns.T @ columns) * found.noise_scale**2
    assert found.covariance == pytest.approx(expected, rel=1e-9)
    assert columns.T @ found.residuals == pytest.approx([0.0, 0.0], abs=1e-6)


def test_prior_of_a_straight_line_adds_as_one_more_reading() -> None:
    line, columns = straight_line(prior_mean=[0.0, 5.0], prior_sd=[np.inf, 0.1])
    found = fit(line, [0.0, 0.0])
    readings = line.residual(np.zeros(2))
    stacked = np.vstack([columns, [0.0, 10.0]])
    expected = np.linalg.lstsq(stacked, np.append(readings, 50.0), rcond=None)[0]
    assert found.values == pytest.approx(expected, abs=1e-6)


def test_profile_of_a_straight_line_is_the_normal_interval() -> None:
    line, _ = straight_line()
    found = fit(line, [0.0, 0.0])
    interval = profile_interval(line, found, 1, level=0.9)
    half = 1.6448536 * found.standard_error[1]
    assert (interval.low, interval.high) == pytest.approx(
        (found.values[1] - half, found.values[1] + half), rel=0.01
    )
    assert profile_excess(line, found, 1, found.values[1] + half) == pytest.approx(2.7055, rel=1e-3)


def test_an_end_is_looked_for_inwards_where_the_profile_falls_outwards(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # a search for the other parameters that got stuck leaves the profile too high, and falling outwards
    def stuck(task: FitTask, best: Fit, index: int, value: float) -> float:
        distance = abs(value - float(best.values[index]))
        assert distance < 5.0  # farther out no model can be run
        return (10.0 * distance if distance < 0.5 else 8.0 - distance) ** 2

    monkeypatch.setattr("gelwright.models.likelihood_profile.profile_excess", stuck)
    task_ = task(noisy())
    found = replace(fit(task_, TRUE), covariance=np.eye(2))
    interval = profile_interval(task_, found, 1, level=0.9)
    centre = float(found.values[1])
    # the true profile is a parabola: both ends lie where ten times the distance is the normal quantile
    assert interval.high - centre == pytest.approx(0.16449, rel=0.02)
    assert centre - interval.low == pytest.approx(0.16449, rel=0.02)


def test_known_parameters_come_back() -> None:
    found = fit(task(noisy()), [0.0, 0.0])
    assert np.all(np.abs(found.values - TRUE) < 3.0 * found.standard_error)
    exact = fit(task(rise(TRUE)), [0.0, 0.0])
    assert exact.values == pytest.approx(TRUE, abs=1e-7)


def test_outlier_hardly_moves_the_fit_and_leaves_the_covariance_plain() -> None:
    spoilt = noisy()
    spoilt[20] += 40 * SD
    clean, robust = fit(task(noisy()), [0.0, 0.0]), fit(task(spoilt), [0.0, 0.0])
    squares = fit(task(spoilt, outlier_scale=None), [0.0, 0.0])
    moved = np.abs(robust.values - clean.values) / clean.standard_error
    assert moved.max() < 1.0 < (np.abs(squares.values - clean.values) / clean.standard_error).max()
    plain = covariance_from(robust.jacobian.T @ robust.jacobian / robust.noise_scale**2)
    assert robust.covariance == pytest.approx(plain, rel=1e-9)


def test_scatter_above_the_stated_noise_widens_the_errors() -> None:
    stated = fit(task(rise(TRUE) + 3.0 * (noisy() - rise(TRUE)), outlier_scale=None), [0.0, 0.0])
    usual = fit(task(noisy(), outlier_scale=None), [0.0, 0.0])
    assert stated.noise_scale == pytest.approx(3.0, rel=0.3)
    assert stated.standard_error == pytest.approx(3.0 * usual.standard_error, rel=0.35)


def test_value_on_a_bound_is_named() -> None:
    found = fit(task(noisy(), upper=[math.log(1.5), 5.0]), [0.0, 0.0])
    assert found.at_bound == ("height",)
    assert profile_interval(task(noisy(), upper=[math.log(1.5), 5.0]), found, 0).is_open


def test_too_few_data_are_refused() -> None:
    lone = FitTask(names=("a", "b"), residual=lambda values: values[:1] + values[1:])
    with pytest.raises(InputError, match="1 data and 0 priors cannot fix 2 parameters"):
        fit(lone, [1.0, 1.0])


def test_only_a_product_is_seen() -> None:
    # the data see the sum of two logarithms; the difference is known from the priors alone
    rows = np.ones((50, 2)) / 0.1
    known = knowledge_of(("one", "other"), rows.T @ rows, [0.5, 0.5])
    assert known.verdicts == ("kept at prior", "kept at prior")
    assert known.share_from_data == pytest.approx([0.5, 0.5], abs=1e-3)
    assert known.data_error.min() > 1e3
    (weak,) = known.weak_directions
    assert weak[0] == pytest.approx(-weak[1])
    covariance = covariance_from(rows.T @ rows, [0.5, 0.5])
    assert combination_error(covariance, [1.0, 1.0]) == pytest.approx(0.1 / math.sqrt(50), rel=1e-3)


def test_residuals_and_errors_agree_with_another_library() -> None:
    lmfit = pytest.importorskip("lmfit", reason="lmfit is not installed: no second opinion on this fit")
    readings = noisy()
    ours = fit(task(readings, outlier_scale=None, noise_is_stated=False, tolerance=1e-12), [0.0, 0.0])
    parameters = lmfit.Parameters()
    for name in ("height", "rate"):
        parameters.add(name, value=0.0)

    def residual(guess: "lmfit.Parameters") -> np.ndarray:
        return (readings - rise(np.array([guess["height"].value, guess["rate"].value]))) / SD

    theirs = lmfit.minimize(residual, parameters)
    assert ours.values == pytest.approx([each.value for each in theirs.params.values()], rel=1e-5)
    # their Jacobian is by forward differences
    assert ours.standard_error == pytest.approx([each.stderr for each in theirs.params.values()], rel=1e-4)
    assert ours.residuals == pytest.approx(theirs.residual, abs=1e-4)
    assert ours.correlation[0, 1] == pytest.approx(theirs.params["height"].correl["rate"], rel=1e-3)
    intervals = lmfit.conf_interval(
        lmfit.Minimizer(residual, parameters), theirs, sigmas=[0.9], p_names=["rate"]
    )["rate"]
    mine = profile_interval(task(readings, outlier_scale=None), ours, 1, level=0.9)
    # they compare sums of squares by an F test with 39 degrees of freedom, we take the normal limit
    assert (mine.low, mine.high) == pytest.approx(
        (intervals[0][1], intervals[-1][1]), abs=0.05 * (mine.high - mine.low)
    )
