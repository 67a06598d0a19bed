"""Drawn conditions: centred, spread as asked, and the same film as one packed afresh."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models import formulation
from gelwright.models.batch import BlendEvaluator, Scenario
from gelwright.models.doubts import gel_priors, knob_of_parameter, without_calibrated
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.materials import stabiliser
from gelwright.models.rate_calibration import RateCalibration
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.gel_case import gel_case
from gelwright.optimiser.passing import chance_of, probability_of_passing
from gelwright.optimiser.problem import Problem
from gelwright.optimiser.varied import calibrated_inputs, conditions_at, unit_draws, varied_inputs

MakeProblem = Callable[..., Problem]


def part_of(make_problem: MakeProblem, **changes: object) -> Problem:
    return make_problem(allowed=("BAPO",), **changes).narrowed(("BAPO",))


def test_draws_are_centred_and_spread_as_asked(make_problem: MakeProblem) -> None:
    part = part_of(make_problem)
    inputs = varied_inputs(part)
    drawn = conditions_at(inputs, part, np.array([1.0]), unit_draws(inputs, 1024, 1, 1))
    thickness = np.array([change["film_thickness_m"] for change in drawn.changes])
    output = np.log([change["lamp_output_ratio"] for change in drawn.changes])
    hand = np.array([change["hand_start_shift_k"] for change in drawn.changes])
    assert thickness.min() >= 300e-6
    assert thickness.max() <= 400e-6
    assert thickness.mean() == pytest.approx(350e-6, rel=1e-3)
    # 7 % between lamps and even wear down to 0.7 ** 0.1
    assert output.std() == pytest.approx(np.hypot(np.sqrt(np.log1p(0.07**2)), 0.0356 / np.sqrt(12)), rel=0.02)
    assert hand.mean() == pytest.approx((-5.0 + 2.0) / 3.0, abs=0.02)  # mean of a triangle
    assert hand.min() >= -5.0
    assert hand.max() <= 2.0
    # purity even between 97 and 100 %, and 1 % of weighing
    assert drawn.loadings_wt_pct.mean() == pytest.approx(0.985, abs=1e-3)
    assert drawn.loadings_wt_pct.std() == pytest.approx(np.hypot(0.03 / np.sqrt(12), 0.00985), rel=0.03)
    yields = np.log([change["quantum_yield_ratio:BAPO"] for change in drawn.changes])
    assert yields.std() == pytest.approx(np.sqrt(np.log1p(0.25**2)), rel=0.02)


def test_streams_give_fresh_draws_and_equal_seeds_the_same(make_problem: MakeProblem) -> None:
    inputs = varied_inputs(part_of(make_problem), ("use",))
    first, again, fresh = (unit_draws(inputs, 32, 1, stream) for stream in (1, 1, 2))
    assert np.array_equal(first, again)
    assert not np.any(first == fresh)


def test_a_blend_on_its_limit_fails_now_and_then_one_with_room_never(make_problem: MakeProblem) -> None:
    easy = Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.1)
    roomy = probability_of_passing(part_of(make_problem, limits=easy), np.array([0.6]), 64)
    assert roomy.probability_fraction == 1.0
    assert roomy.low_fraction > 0.9
    assert roomy.broken_by_limit == {}
    assert roomy.kept_by_limit["base conversion"].fraction == 1.0
    edge = part_of(make_problem)
    figures = edge.evaluator(np.linspace(0.05, 1.5, 60)[:, np.newaxis]).bottom_conversion_fraction[:, 0]
    on_edge = replace(
        edge.brief,
        limits=Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_fraction=float(figures.max())),
    )
    best = np.array([np.linspace(0.05, 1.5, 60)[figures.argmax()]])
    harder = probability_of_passing(make_problem_of(edge, on_edge), best, 64)
    assert harder.probability_fraction < 0.95
    assert "base conversion" in harder.broken_by_limit
    assert harder.low_fraction < harder.probability_fraction < harder.high_fraction
    kept = harder.kept_by_limit["base conversion"].fraction
    assert kept == pytest.approx(1.0 - harder.broken_by_limit["base conversion"])


def make_problem_of(problem: Problem, brief: object) -> Problem:
    return Problem(
        brief=brief, lamp=problem.lamp, gel=problem.gel, space=problem.space,  # type: ignore[arg-type]
        make_evaluator=problem.make_evaluator,
    )  # fmt: skip


def test_interval_is_clopper_and_pearsons() -> None:
    # Clopper & Pearson, Biometrika 1934, 26, 404: all of n pass -> low end (alpha / 2) ** (1 / n)
    assert chance_of(64, 64).low_fraction == pytest.approx(0.025 ** (1 / 64), rel=1e-9)
    assert chance_of(0, 64).high_fraction == pytest.approx(1.0 - 0.025 ** (1 / 64), rel=1e-9)
    from scipy.stats import beta

    middle = chance_of(10, 32)
    assert middle.low_fraction == pytest.approx(beta.ppf(0.025, 10, 23), rel=1e-6)
    assert middle.high_fraction == pytest.approx(beta.ppf(0.975, 11, 22), rel=1e-6)


def scenario(thickness_m: float, output: float = 1.0, hand: Hand | None = None, place: str = "") -> Scenario:
    lamp = load_lamp("demo_arch_365_405").with_output(output)
    return Scenario(
        lamp=lamp, position=place or lamp.weakest, thickness_m=thickness_m, exposure_s=20.0, cycles=1,
        hand=hand or Hand(),
    )  # fmt: skip


LOADING = np.array([[0.2, 0.1]])


def figures_of(gel: Gel, where: Scenario, change: dict[str, float] | None = None) -> np.ndarray:
    evaluator = BlendEvaluator(gel, ["BAPO", "HCPK"], [], [where])
    found = evaluator(LOADING) if change is None else evaluator.under(LOADING, [change])
    ceiling = float(np.ravel(found.conversion_ceiling_fraction)[0])
    return np.array(
        [
            found.bottom_conversion_fraction[0, 0],
            found.nail_bed_peak_k[0, 0],
            1e6 * found.uncured_layer_m[0, 0],
            ceiling,
        ]
    )


def test_a_changed_film_is_the_film_packed_afresh() -> None:
    gel = load_any_gel("clear_builder")
    fresh = figures_of(gel, scenario(250e-6, 0.8, Hand(start_k=303.15, nail_thickness_m=0.3e-3)))
    change = {
        "film_thickness_m": 250e-6, "lamp_output_ratio": 0.8, "hand_start_shift_k": -3.0,
        "nail_thickness_ratio": 0.3 / 0.45,
    }  # fmt: skip
    turned = figures_of(gel, scenario(400e-6), change)
    # the tissue's cells are graded from the nail's, so the temperature agrees to its grid error only
    assert turned == pytest.approx(fresh, abs=0.03)
    assert turned[[0, 3]] == pytest.approx(fresh[[0, 3]], abs=2e-4)


@pytest.mark.parametrize(
    ("knob", "field"),
    [
        ("stabiliser_ratio", "radical_rate_coefficient_m3_mol_s"),
        ("stabiliser_radicals_ratio", "radicals_per_molecule"),
    ],
)
def test_a_changed_stabiliser_is_the_stabiliser_packed_afresh(
    knob: str, field: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    gel, where = replace(load_any_gel("clear_builder"), stabilisers_wt_pct={"MEHQ": 0.1}), scenario(300e-6)
    plain, turned = (figures_of(gel, where, change) for change in ({}, {knob: 0.5}))
    record = stabiliser("MEHQ")
    other = replace(record, **{field: 0.5 * getattr(record, field)})
    monkeypatch.setattr(formulation, "stabiliser", {"MEHQ": other}.__getitem__)
    afresh = figures_of(gel, where)
    # the same numbers in the same places, so the same film to the last digits
    assert turned == pytest.approx(afresh, rel=1e-9)
    assert abs(turned[0] - plain[0]) > 1e-4  # and it tells
    assert abs(turned[2] - plain[2]) > 1e-3


def test_a_finger_all_the_way_at_the_next_position_meets_its_light() -> None:
    gel, lamp = load_any_gel("clear_builder"), load_lamp("demo_arch_365_405")
    here, there = lamp.positions[:2]
    moved = figures_of(gel, scenario(300e-6, place=here), {"placement_fraction": 1.0})
    # the light's bins were cut for the other position, which moves the edge of the tacky layer by a nanometre
    assert moved == pytest.approx(figures_of(gel, scenario(300e-6, place=there)), rel=2e-4, abs=1e-3)
    outside = figures_of(gel, scenario(300e-6, place=here), {"placement_fraction": -1.0})
    assert np.array_equal(outside, figures_of(gel, scenario(300e-6, place=here), {}))


def test_knobs_act_in_the_known_direction() -> None:
    gel, where = load_any_gel("clear_builder"), scenario(300e-6)
    plain = figures_of(gel, where, {})
    assert figures_of(gel, where, {"propagation_ratio": 1.3})[0] > plain[0]
    assert figures_of(gel, where, {"quantum_yield_ratio:BAPO": 0.5})[0] < plain[0]
    assert figures_of(gel, where, {"heat_of_polymerisation_ratio": 1.2})[1] > plain[1]
    assert figures_of(gel, where, {"oxygen_solubility_ratio": 2.0})[2] > plain[2]
    assert figures_of(gel, where, {"vitrification_conversion_ratio": 0.9})[3] < plain[3]
    same = figures_of(gel, where, {"vitrification_conversion_ratio": 1.0, "tg_polymer_shift_k": 0.0})
    assert same == pytest.approx(plain, abs=1e-4)
    with pytest.raises(UnknownNameError):
        figures_of(gel, where, {"absorption_ratio:TPO": 1.1})


def test_priors_follow_the_tables_and_yield_to_a_calibration() -> None:
    gel = Gel(
        name="one",
        coat="builder",
        resin_parts={"UDMA": 1.0},
        initiators_wt_pct={"BAPO": 0.2},
        thickness_m=3e-4,
    )
    priors = {prior.knob: prior for prior in gel_priors(gel, ["BAPO"])}
    # resins.csv: UDMA 400 +- 160 L/mol/s; k_t known to 100 %; Tg of the polymer to 15 K
    assert priors["propagation_ratio"].spread == pytest.approx(np.sqrt(np.log1p(0.4**2)))
    assert priors["termination_ratio"].spread == pytest.approx(np.sqrt(np.log(2.0)))
    assert priors["tg_polymer_shift_k"].spread == 15.0
    assert "pigment_absorption_ratio" not in priors
    assert {"stabiliser_ratio", "stabiliser_radicals_ratio"}.isdisjoint(priors)
    kept = {
        prior.knob: prior for prior in gel_priors(replace(gel, stabilisers_wt_pct={"MEHQ": 0.02}), ["BAPO"])
    }
    # stabilisers.csv: within a factor of ten, read as two standard deviations
    assert kept["stabiliser_ratio"].spread == pytest.approx(np.log(10.0) / 2.0)
    # 2 radicals a molecule, known to 0.5
    assert kept["stabiliser_radicals_ratio"].spread == pytest.approx(np.sqrt(np.log1p(0.25**2)))
    left = without_calibrated(list(priors.values()), [knob_of_parameter("k_p0"), knob_of_parameter("X_v")])
    names = {prior.knob for prior in left}
    assert {"propagation_ratio", "tg_polymer_shift_k", "tg_half_width_ratio"}.isdisjoint(names)
    assert "termination_ratio" in names
    with pytest.raises(InputError, match="known here"):
        knob_of_parameter("k_x")


def test_a_calibrations_directions_rebuild_its_covariance(make_problem: MakeProblem) -> None:
    covariance = np.array([[0.04, 0.03, 0.0], [0.03, 0.09, 0.0], [0.0, 0.0, 0.01]])
    inputs = calibrated_inputs(("k_p0", "k_t0", "f.TPO"), covariance, ["BAPO"])
    assert len(inputs) == 2  # the efficiency of an initiator that is not in the blend does not matter
    part = part_of(make_problem)
    drawn = conditions_at(inputs, part, np.array([0.2]), unit_draws(inputs, 4096, 1, 1))
    logs = np.log([[each["propagation_ratio"], each["termination_ratio"]] for each in drawn.changes])
    assert np.cov(logs.T) == pytest.approx(covariance[:2, :2], rel=0.03)


def test_a_calibrated_gel_brings_its_covariance_in_place_of_the_priors() -> None:
    plain = load_any_gel("clear_builder")
    calibration = RateCalibration(
        parameters=("k_p0", "k_t0", "X_v"), values=np.log([1.0, 500.0, 0.9]), covariance=np.diag([0.01, 0.04, 1e-4]),
        resin_parts=dict(plain.resin_parts), trials=("trial 1",),
    )  # fmt: skip
    gel = replace(plain, calibration=calibration)
    lamp = load_lamp("demo_arch_365_405")
    before, after = (
        varied_inputs(gel_case(each, lamp, exposure_s=60.0).problem, ("data",)) for each in (plain, gel)
    )
    assert {"propagation_ratio", "termination_ratio", "tg_polymer_shift_k"} <= {each.key for each in before}
    names = {each.key for each in after}
    assert {"propagation_ratio", "termination_ratio", "tg_polymer_shift_k"}.isdisjoint(names)
    assert {"calibration_1", "calibration_2", "calibration_3", "reaction_diffusion_ratio"} <= names
    case = gel_case(gel, lamp, exposure_s=20.0, draws=32)
    chance = probability_of_passing(case.problem, case.loadings_wt_pct, groups=("data",))
    assert "covariance of the calibration" in next(each.basis for each in after)
    assert 0.0 <= chance.probability_fraction <= 1.0
