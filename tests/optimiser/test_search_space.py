"""Which substances are in, which are out, and why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.market import MarketStatus, market_status
from gelwright.optimiser import search_space
from gelwright.optimiser.brief import Brief
from gelwright.optimiser.brief_keys import KEYS
from gelwright.optimiser.search_space import SearchSpace, absorbed_fraction_at_most, build_search_space
from gelwright.optimiser.tune import resin_base


@pytest.fixture
def space_of(make_brief: Callable[..., Brief]) -> Callable[..., SearchSpace]:
    def build(**changes: object) -> SearchSpace:
        brief = make_brief(**changes)
        return build_search_space(brief, load_lamp(brief.lamps[0]), resin_base(brief))

    return build


def reason(space: SearchSpace, key: str) -> str:
    return next(out.reason for out in space.excluded if out.key == key)


def test_tpo_is_out_in_the_eu_from_1_september_2025_with_the_act(
    space_of: Callable[..., SearchSpace],
) -> None:
    after = space_of(allowed=(), on_date=date(2025, 9, 1))
    assert "TPO" not in after.keys
    assert "2025/877" in reason(after, "TPO")
    before = space_of(allowed=(), on_date=date(2025, 8, 31))
    assert before.substance("TPO").high_wt_pct == 5.0
    assert any("restricted in EU" in flag for flag in before.substance("TPO").flags)


def test_a_professional_only_substance_is_out_for_consumers(space_of: Callable[..., SearchSpace]) -> None:
    space = space_of(
        allowed=(),
        on_date=date(2025, 8, 31),
        professional_use=False,
        resin_parts={"Bis-EMA": 70.0, "IBOMA": 30.0},
    )
    assert "professional use" in reason(space, "TPO")


def test_all_markets_count(space_of: Callable[..., SearchSpace]) -> None:
    assert "TPO" in space_of(allowed=("TPO", "BAPO"), markets=("US",)).keys
    assert "TPO" not in space_of(allowed=("TPO", "BAPO"), markets=("US", "EU")).keys


def test_no_list_of_the_united_states_is_no_permission(space_of: Callable[..., SearchSpace]) -> None:
    with pytest.raises(InputError, match="no initiator is left") as found:
        space_of(allowed=(), markets=("US",))
    assert str(found.value).count("status unknown in US") == 1
    space = space_of(allowed=(), markets=("US",), allow_unknown_status=True)
    assert all(substance.unknown_in == ("US",) for substance in space.substances)


def test_a_substance_of_unknown_status_is_left_out_with_the_reason(
    space_of: Callable[..., SearchSpace],
) -> None:
    space = space_of(allowed=())
    assert {"DMPA", "ITX", "DMAEMA"}.isdisjoint(space.keys)
    assert reason(space, "DMPA").startswith("status unknown in EU on 15 January 2026: under [substances] set")
    # the message names keys of the brief, and they work
    for key in ("allow_unknown_status", "allowed"):
        assert key in reason(space, "DMPA")
        assert f"substances.{key}" in {each.label for each in KEYS}
    assert all(not substance.unknown_in for substance in space.substances)


@pytest.mark.parametrize(
    "asked", [{"allowed": ("BAPO", "DMPA")}, {"allowed": (), "allow_unknown_status": True}]
)
def test_unknown_status_named_or_allowed_is_in_and_flagged(
    space_of: Callable[..., SearchSpace], asked: dict[str, object]
) -> None:
    substance = space_of(**asked).substance("DMPA")
    assert substance.unknown_in == ("EU",)
    assert any("unknown" in flag and "EU" in flag for flag in substance.flags)


def test_allowing_unknown_status_does_not_lift_a_ban_or_a_veto(space_of: Callable[..., SearchSpace]) -> None:
    space = space_of(allowed=(), allow_unknown_status=True, forbidden=("DMPA",))
    assert "prohibited in EU" in reason(space, "TPO")
    assert reason(space, "DMPA") == "forbidden by the brief"


def test_forbidden_and_unlisted_substances_are_out(space_of: Callable[..., SearchSpace]) -> None:
    space = space_of(allowed=("BAPO", "HCPK"))
    assert space.keys == ("BAPO", "HCPK")
    assert reason(space, "TPO-L") == "not in the brief's list of allowed substances"
    assert reason(space_of(allowed=(), forbidden=("BAPO",)), "BAPO") == "forbidden by the brief"


def test_an_initiator_without_light_to_absorb_is_out(space_of: Callable[..., SearchSpace]) -> None:
    space = space_of(allowed=("BAPO", "HMPP"), lamps=("demo_narrow_405",), caps_wt_pct={"HMPP": 0.3})
    assert space.keys == ("BAPO",)
    assert "absorbs no usable light" in reason(space, "HMPP")


def test_amines_come_only_beside_type_two_and_the_other_way_round(
    space_of: Callable[..., SearchSpace],
) -> None:
    assert space_of(allowed=("CQ", "EDB")).keys == ("CQ", "EDB")
    assert "without a type II" in reason(space_of(allowed=("BAPO", "EDB")), "EDB")
    assert "needs an amine" in reason(space_of(allowed=("BAPO", "CQ")), "CQ")


def test_caps_bind_and_are_named(space_of: Callable[..., SearchSpace]) -> None:
    capped = space_of(caps_wt_pct={"BAPO": 0.7}).substance("BAPO")
    assert (capped.high_wt_pct, capped.high_because) == (0.7, "cap in the brief")
    assert space_of().substance("BAPO").high_because == "usual maximum"
    assert "smallest worth weighing" in reason(space_of(caps_wt_pct={"BAPO": 0.01}), "BAPO")


def test_nothing_left_is_an_error_with_the_reasons(space_of: Callable[..., SearchSpace]) -> None:
    with pytest.raises(InputError, match=r"no initiator is left.*2025/877"):
        space_of(allowed=("TPO",))


def test_a_mistyped_substance_is_named(space_of: Callable[..., SearchSpace]) -> None:
    with pytest.raises(UnknownNameError, match="BAPO"):
        space_of(allowed=("BAPPO",))


def test_least_cost_without_a_price_names_the_substances(space_of: Callable[..., SearchSpace]) -> None:
    with pytest.raises(InputError, match="lacks TPO-L, HCPK"):
        space_of(objective="least_cost", prices_per_kg={"BAPO": 100.0})


def test_a_forbidden_resin_base_is_refused(space_of: Callable[..., SearchSpace]) -> None:
    with pytest.raises(InputError, match=r"the resin base holds HEMA.*professional"):
        space_of(resin_parts={"Bis-EMA": 70.0, "HEMA": 30.0}, professional_use=False)
    assert any("HEMA" in note for note in space_of(resin_parts={"Bis-EMA": 70.0, "HEMA": 30.0}).law_notes)


def test_more_of_a_part_than_the_law_allows_is_told_and_refused_where_the_rule_was_seen(
    space_of: Callable[..., SearchSpace], monkeypatch: pytest.MonkeyPatch
) -> None:
    # MEHQ: 0.02 wt% in the EU, an entry recalled only
    space = space_of(stabilisers_wt_pct={"MEHQ": 0.05})
    assert [
        each for each in space.law_breaches if "0.05 wt% of MEHQ is above the 0.02 wt% that EU allows" in each
    ]
    assert any(note.startswith("MEHQ: restricted in EU up to 0.02 wt%") for note in space.law_notes)
    assert space_of(stabilisers_wt_pct={"MEHQ": 0.02}).law_breaches == ()

    def seen(key: str, market: str, day: date) -> MarketStatus:
        return replace(market_status(key, market, day), confidence="high")

    monkeypatch.setattr(search_space, "market_status", seen)
    with pytest.raises(InputError, match=r"0\.05 wt% of MEHQ is above the 0\.02"):
        space_of(stabilisers_wt_pct={"MEHQ": 0.05})


def test_absorbed_share_follows_beer_lambert_in_the_limits(make_brief: Callable[..., Brief]) -> None:
    lamp, gel = load_lamp("demo_arch_365_405"), resin_base(make_brief())
    thin = absorbed_fraction_at_most("BAPO", lamp, gel, 0.01, 1e-6)
    assert absorbed_fraction_at_most("BAPO", lamp, gel, 0.02, 1e-6) == pytest.approx(2.0 * thin, rel=1e-3)
    thick = [absorbed_fraction_at_most("BAPO", lamp, gel, 2.0, h) for h in (1e-4, 1e-3, 1e-2)]
    assert np.all(np.diff(thick) > 0.0)
    assert thick[-1] <= 1.0
