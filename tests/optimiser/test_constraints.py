"""Limits as scaled values: sign, scale, margin, and one per scenario."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from gelwright.optimiser.brief import Limits, Margins
from gelwright.optimiser.constraints import Constraint, scaled_values, shown, shown_difference
from gelwright.optimiser.problem import Problem

ALL = Limits(
    film_max_k=344.15, surface_conversion_min_fraction=0.3, tacky_layer_max_m=20e-6, residual_initiator_max_wt_pct=1.0,
    total_initiator_max_wt_pct=5.0, second_cycle_heat_max_ratio=0.05,
)  # fmt: skip


def test_one_row_per_limit_and_scenario_both_ends_for_cure_strongest_for_heat(
    make_problem: Callable[..., Problem],
) -> None:
    problem = make_problem(limits=ALL)
    weak, strong = problem.lamp.weakest, problem.lamp.strongest
    assert weak != strong
    names = [row.name for row in problem.constraints]
    assert len(set(names)) == len(names) == 3 * 2 + 4 * 4 + 1 + 1
    for row in problem.constraints:
        if row.limit_name in ("nail bed peak", "nail bed CEM43", "film peak"):
            assert strong in row.name
        elif row.limit_name == "second-cycle heat share":
            assert weak in row.name
    assert {
        row.name.split(", ")[1] for row in problem.constraints if row.limit_name == "base conversion"
    } == {weak, strong}
    assert {"300 µm", "400 µm"} <= {name.split(", ")[-1] for name in names}


def test_margins_move_the_limits_inwards(make_problem: Callable[..., Problem]) -> None:
    plain = {row.name: row.limit for row in make_problem().constraints}
    kept_off = make_problem(margins=Margins(temperature_k=2.0, conversion_fraction=0.05)).constraints
    for row in kept_off:
        change = {"nail bed peak": -2.0, "base conversion": 0.05}.get(row.limit_name, 0.0)
        assert row.limit - plain[row.name] == pytest.approx(change, abs=1e-9)


@pytest.mark.parametrize(
    ("unit", "sense", "logarithmic", "limit", "kept", "broken"),
    [
        ("k", 1, False, 318.15, 317.0, 319.0),
        ("fraction", -1, False, 0.6, 0.61, 0.59),
        ("min", 1, True, 1.0, 0.9, 1.1),
    ],
)
def test_scaled_value_is_negative_when_kept_and_zero_at_the_limit(
    unit: str, sense: int, logarithmic: bool, limit: float, kept: float, broken: float
) -> None:
    row = Constraint(
        name="x", limit_name="x", figure="f", scenario=0, limit=limit, sense=sense, scale=0.05, unit=unit,
        logarithmic=logarithmic,
    )  # fmt: skip
    values = row.scaled(np.array([kept, limit, broken]))
    assert values[0] < 0.0 < values[2]
    assert values[1] == pytest.approx(0.0, abs=1e-12)
    assert row.margin(kept) > 0.0 > row.margin(broken)


@pytest.mark.parametrize("logarithmic", [False, True])
def test_slope_against_the_limit_is_that_of_the_scaled_value(logarithmic: bool) -> None:
    def value(limit: float) -> float:
        row = Constraint(
            name="x", limit_name="x", figure="f", scenario=0, limit=limit, sense=1, scale=0.4, unit="min",
            logarithmic=logarithmic,
        )  # fmt: skip
        return float(row.scaled(np.array(2.0)))

    row = Constraint(
        name="x", limit_name="x", figure="f", scenario=0, limit=2.0, sense=1, scale=0.4, unit="min",
        logarithmic=logarithmic,
    )  # fmt: skip
    slope = (value(2.0 + 1e-6) - value(2.0 - 1e-6)) / 2e-6
    assert row.scaled_per_unit == pytest.approx(-slope, rel=1e-6)


def test_values_pick_the_scenario_of_each_row() -> None:
    rows = [
        Constraint(
            name=str(i), limit_name="a", figure="f", scenario=i, limit=0.0, sense=1, scale=2.0, unit="ratio"
        )
        for i in (1, 0)
    ]
    found = scaled_values(rows, {"f": np.array([[2.0, 4.0], [6.0, 8.0]])})
    assert found.tolist() == [[2.0, 1.0], [4.0, 3.0]]


def test_figures_are_shown_in_the_chemists_units() -> None:
    assert shown(318.15, "k") == "45.0 °C"
    assert shown(20e-6, "m") == "20.0 µm"
    assert shown_difference(-1.5, "k") == "-1.50 K"
    assert shown_difference(3e-6, "m") == "+3.0 µm"
