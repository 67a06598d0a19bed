"""Random films against an independent integrator, and absurd ones that must not break anything: small runs of two studies."""

from collections.abc import Callable
from dataclasses import replace
from types import ModuleType

import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import CureCase, cure_many
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.materials import resin


def test_promises_hold_in_random_films(load_script: Callable[[str], ModuleType]) -> None:
    """0.002 of conversion and 0.2 K at default settings."""
    study = load_script("studies/numerics/random_cases.py")
    table = study.run(6, workers=1)
    for name, promised in study.PROMISED.items():
        assert table[name].max() <= promised, name


@pytest.mark.xfail(reason="its lowest cell is half cured when the light ends: the bottom is off by 0.0022")
def test_promise_holds_in_the_worst_of_two_hundred_films(load_script: Callable[[str], ModuleType]) -> None:
    table = load_script("studies/numerics/random_cases.py").run(1, workers=1, first_seed=79)
    assert table["bottom"].max() <= 0.002


def test_absurd_films_run_to_their_end_and_balance(load_script: Callable[[str], ModuleType]) -> None:
    table = load_script("studies/numerics/robustness.py").run(100, workers=1)
    assert table.loc[table["fault"] != "", ["seed", "fault"]].to_dict("records") == []


def test_a_film_hotter_than_its_heat_or_colder_than_all_about_it_is_a_fault(
    load_script: Callable[[str], ModuleType],
) -> None:
    study, bound = (
        load_script("studies/numerics/robustness.py"),
        load_script("studies/numerics/heat_bound.py"),
    )
    case = study.random_case(88, study.CORNERS)
    result = cure_many([case], workers=1)[0]
    hottest, coldest = bound.hottest_k(case), bound.coldest_k(case)
    assert study.fault_of(case, result) == ""
    # the bound is one: two thirds of what the heat can do is really reached, so a film half as hot again is found out
    assert result.film_peak_k - case.hand.start_k > 0.6 * (hottest - case.hand.start_k)
    for trace, wrong in (("film_max_k", hottest + 1.0), ("nail_bed_k", coldest - 0.3 * (hottest - coldest))):
        course = getattr(result, trace).copy()
        course[-1] = wrong
        assert "runs from" in study.fault_of(case, replace(result, **{trace: course}))


def test_the_bound_on_heat_is_what_one_works_out_by_hand(load_script: Callable[[str], ModuleType]) -> None:
    bound = load_script("studies/numerics/heat_bound.py")
    gel = Gel(
        name="one",
        coat="builder",
        resin_parts={"TMPTA": 1.0},
        initiators_wt_pct={"TPO": 1.0},
        thickness_m=1e-4,
    )
    lamp, hand = load_lamp("demo_narrow_405"), Hand(surface_loss_w_m2_k=0.0)
    case = CureCase(gel=gel, lamp=lamp, position="thumb", exposure_s=10.0, cycles=2, hand=hand)
    monomer = resin("TMPTA")
    bonds = 0.99 * monomer.density_kg_m3 * 3.0 / monomer.molar_mass_kg_mol
    capacity = monomer.density_kg_m3 * monomer.heat_capacity_polymer_j_kg_k
    assert bound.reaction_rise_k(case) == pytest.approx(
        bonds * monomer.heat_of_polymerisation_j_mol / capacity, rel=0.02
    )
    # 20 s of light into a body without end, the gel being the poorest conductor and store of the three
    flux = lamp.spectrum("thumb").irradiance_w_m2() * float(lamp.course.factor([0.0, 20.0]).max())
    effusivity = (monomer.thermal_conductivity_w_m_k * capacity) ** 0.5
    assert bound.light_rise_k(case) == pytest.approx(
        2.0 * flux * (20.0 / 3.141592653589793) ** 0.5 / effusivity, rel=0.02
    )
    # in a fan that takes 200 W/m2/K, less; and nothing is hotter than finger, blood and air to begin with
    windy = replace(case, hand=replace(hand, surface_loss_w_m2_k=200.0), exposure_s=3600.0)
    assert bound.light_rise_k(windy) < bound.light_rise_k(replace(case, exposure_s=3600.0))
    air = lamp.air.start_k + lamp.air.rise_k
    rise = bound.light_rise_k(case) + bound.reaction_rise_k(case)
    assert bound.hottest_k(case) - rise == pytest.approx(max(hand.start_k, air))


def test_a_flash_shorter_than_a_first_step_balances(load_script: Callable[[str], ModuleType]) -> None:
    """34 ms of 218 kW/m2: one step with no past to judge it by, whatever the tolerances, and radicals off by 0.0018."""
    assert load_script("studies/numerics/robustness.py").attempt(17613)["fault"] == ""


@pytest.mark.parametrize("seed", [1262, 1515, 1538])
def test_a_film_where_next_to_nothing_happens_balances(
    seed: int, load_script: Callable[[str], ModuleType]
) -> None:
    """Nanomoles of C=C, or a millijoule of heat: rounding was more than a thousandth of these, whatever the steps."""
    assert load_script("studies/numerics/robustness.py").attempt(seed)["fault"] == ""
