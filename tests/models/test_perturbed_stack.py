"""Knobs of the gels in a stack: on one coat they are those of a single film, and each turns its own coat alone."""

from __future__ import annotations

import numpy as np
import pytest

from gelwright.lamp_library.errors import UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.gel import Gel
from gelwright.models.perturbed import INITIATOR_KNOBS, changed, surroundings
from gelwright.models.perturbed_stack import GEL_KNOBS, Changes
from gelwright.models.schedule import Apply, Expose, Rest, Schedule
from gelwright.models.solver import SolverSettings
from gelwright.models.stack import build_with_steps
from gelwright.models.stack_state import Nail, apply_coat, first_coat

LAMP = load_lamp("demo_arch_365_405")
SETTINGS = SolverSettings()
KNOBS = [*GEL_KNOBS, *(f"{knob}:BAPO" for knob in INITIATOR_KNOBS)]


def gel(name: str, **changes: object) -> Gel:
    made = {
        "name": name, "coat": "colour", "resin_parts": {"UDMA": 70.0, "HPMA": 30.0}, "initiators_wt_pct": {"BAPO": 0.4},
        "amines_wt_pct": {}, "stabilisers_wt_pct": {"BHT": 0.05}, "thickness_m": 100e-6, "pigments_wt_pct": {"CI-77891": 1.0},
        **changes,
    }  # fmt: skip
    return Gel(**made)  # type: ignore[arg-type]


def nail_of(changes: Changes, *gels: Gel) -> Nail:
    events = [each for one in gels for each in (Apply(gel=one), Expose(seconds=30.0), Rest(seconds=5.0))]
    schedule = Schedule(title="t", events=tuple(events))
    return first_coat(schedule, LAMP, LAMP.weakest, SETTINGS, changes)


def value_of(knob: str) -> float:
    return 4.0 if "_shift_k" in knob else 0.8


@pytest.mark.parametrize("knob", KNOBS)
def test_on_one_coat_a_knob_is_that_of_a_single_film(knob: str) -> None:
    only, change = gel("only"), {knob: value_of(knob)}
    plain, turned = nail_of({}, only), nail_of({"only": change}, only)
    keys = tuple(name[0] for name in plain.light.initiator_ids)
    around = surroundings(only, LAMP, LAMP.weakest, keys, SETTINGS, 0.7)
    film, state, _ = changed(plain.film, plain.state, around, change)
    for name, expected in film._asdict().items():
        assert getattr(turned.film, name) == pytest.approx(expected, rel=1e-12), name
    for name, expected in state._asdict().items():
        assert getattr(turned.state, name) == pytest.approx(expected, rel=1e-12), name
    assert any(
        not np.array_equal(getattr(turned.film, name), getattr(plain.film, name))
        for name in plain.film._fields
    )


def test_a_knob_turns_the_coat_of_its_own_gel_alone() -> None:
    lower, upper = gel("lower"), gel("upper")
    nails = [nail_of(changes, lower, upper) for changes in ({}, {"lower": {"propagation_ratio": 0.5}})]
    for nail in nails:
        apply_coat(nail, Apply(gel=upper))
    cells = nails[0].coats[0].width_m.size
    ratio = nails[1].film.cell[:, 0:4] / np.where(
        nails[0].film.cell[:, 0:4] == 0.0, 1.0, nails[0].film.cell[:, 0:4]
    )
    assert np.array_equal(nails[1].film.cell[:cells], nails[0].film.cell[:cells])
    assert ratio[cells:, 2] == pytest.approx(0.5)


def test_a_slower_lower_coat_cures_less_in_the_finished_build() -> None:
    lower, upper = gel("lower"), gel("upper")
    schedule = Schedule(
        title="t",
        events=(
            Apply(gel=lower),
            Expose(seconds=10.0),
            Apply(gel=upper),
            Expose(seconds=10.0),
            Rest(seconds=5.0),
        ),
    )
    plain = build_with_steps(schedule, LAMP)[0]
    slow = build_with_steps(schedule, LAMP, changes={"lower": {"propagation_ratio": 0.5}})[0]
    assert slow.coats[0].mean_conversion_fraction < plain.coats[0].mean_conversion_fraction - 0.02
    assert slow.coats[1].mean_conversion_fraction == pytest.approx(
        plain.coats[1].mean_conversion_fraction, abs=0.02
    )


def test_a_knob_of_the_hand_is_refused() -> None:
    with pytest.raises(UnknownNameError, match="knob of a gel"):
        nail_of({"only": {"perfusion_ratio": 2.0}}, gel("only"))
