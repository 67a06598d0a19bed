"""A formulator's own rules: lists, exclusions, stock, prices in any currency, solubility."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from gelwright.lamp_library.errors import GelwrightError, InputError
from gelwright.optimiser.brief import Brief
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.demo_data import brief_path
from gelwright.optimiser.own_files import read_prices, read_stock, read_substance_list
from gelwright.optimiser.own_rules import ListRule, OwnRules, contents_wt_pct
from gelwright.optimiser.report import limited_by
from gelwright.optimiser.search_space import SearchSpace
from gelwright.optimiser.tune import resin_base, resolve


def space(brief: Brief) -> SearchSpace:
    return resolve(brief).space


def reasons(brief: Brief) -> dict[str, str]:
    return {out.key: out.reason for out in space(brief).excluded}


@pytest.fixture
def csv(tmp_path: Path) -> Callable[[str], Path]:
    def write(text: str) -> Path:
        file = tmp_path / "own.csv"
        file.write_text(text, encoding="utf-8")
        return file

    return write


def test_the_list_prohibits_caps_and_settles_an_unknown_status(make_brief: Callable[..., Brief]) -> None:
    listed = {
        "BAPO": ListRule(state="restricted", max_wt_pct=0.3, reason="yellowing"),
        "HCPK": ListRule(state="prohibited", max_wt_pct=None, reason="odour"),
        "ITX": ListRule(state="allowed", max_wt_pct=None, reason=""),
        "EDB": ListRule(state="allowed", max_wt_pct=None, reason=""),
    }
    own = OwnRules(list_name="list.csv", listed=listed)
    found = space(make_brief(allowed=(), own=own))
    assert found.substance("BAPO").high_wt_pct == 0.3
    assert "yellowing" in found.substance("BAPO").high_because
    assert reasons(make_brief(allowed=(), own=own))["HCPK"] == "prohibited by list.csv (odour)"
    assert "ITX" in found.keys  # unknown to the law's table
    assert "ITX" not in space(make_brief(allowed=())).keys


def test_the_law_comes_before_the_list(make_brief: Callable[..., Brief]) -> None:
    own = OwnRules(
        list_name="list.csv", listed={"TPO": ListRule(state="allowed", max_wt_pct=None, reason="")}
    )
    assert "prohibited in EU" in reasons(make_brief(allowed=(), own=own))["TPO"]


def test_only_listed_and_only_stocked_leave_the_rest_out(make_brief: Callable[..., Brief]) -> None:
    rule = ListRule(state="allowed", max_wt_pct=None, reason="")
    own = OwnRules(list_name="list.csv", listed={"BAPO": rule}, only_listed=True)
    assert space(make_brief(allowed=(), own=own)).keys == ("BAPO",)
    stock = {"BAPO": 100.0, "UDMA": 1e4, "HPMA": 1e4}
    own = OwnRules(batch_g=1000.0, on_hand_g=stock, only_stocked=True)
    assert space(make_brief(allowed=(), own=own)).keys == ("BAPO",)
    assert reasons(make_brief(own=own))["HCPK"] == "not in stock"


def test_stock_over_batch_is_the_highest_loading(make_brief: Callable[..., Brief]) -> None:
    own = OwnRules(batch_g=5000.0, on_hand_g={"BAPO": 7.5})
    substance = space(make_brief(own=own)).substance("BAPO")
    assert substance.high_wt_pct == pytest.approx(0.15)
    assert substance.high_because == "stock of 7.5 g for a batch of 5000 g"
    assert (
        "stock of 0.5 g" in reasons(make_brief(own=OwnRules(batch_g=5000.0, on_hand_g={"BAPO": 0.5})))["BAPO"]
    )


def test_a_resin_that_runs_short_names_the_batch_it_is_enough_for(make_brief: Callable[..., Brief]) -> None:
    # 70 parts of 100, no additives: 700 g in a kilogram
    with pytest.raises(InputError, match=r"needs 700 g UDMA .* 350 g are in stock, enough for 500 g"):
        resin_base(make_brief(own=OwnRules(batch_g=1000.0, on_hand_g={"UDMA": 350.0})))


def test_a_gel_with_what_must_not_be_in_it_is_refused_or_swapped(make_brief: Callable[..., Brief]) -> None:
    parts = {"UDMA": 70.0, "HEMA": 20.0, "HPMA": 10.0}
    with pytest.raises(InputError, match=r"gel.without names HEMA, .* 20 wt% .* gel.swap"):
        resin_base(make_brief(resin_parts=parts, own=OwnRules(without=("HEMA",))))
    gel = resin_base(make_brief(resin_parts=parts, own=OwnRules(without=("HEMA",), swap={"HEMA": "HPMA"})))
    assert gel.resin_parts == {"UDMA": 70.0, "HPMA": 30.0}
    assert contents_wt_pct(gel) == pytest.approx({"UDMA": 70.0, "HPMA": 30.0})
    with pytest.raises(InputError, match="known sensitisers"):
        resin_base(make_brief(resin_parts=parts, own=OwnRules(without=("known sensitisers",))))


def test_a_resin_over_the_lists_maximum_is_refused(make_brief: Callable[..., Brief]) -> None:
    rule = {"HPMA": ListRule(state="restricted", max_wt_pct=20.0, reason="house rule")}
    with pytest.raises(InputError, match=r"holds 30 wt% HPMA; list.csv allows at most 20 wt% \(house rule\)"):
        resin_base(make_brief(own=OwnRules(list_name="list.csv", listed=rule)))


def test_solubility_of_the_brief_replaces_that_of_the_tables(make_brief: Callable[..., Brief]) -> None:
    found = space(make_brief(own=OwnRules(solubility_wt_pct={"HCPK": 1.5}))).substance("HCPK")
    assert (found.high_wt_pct, found.high_because) == (1.5, "solubility given in the brief")
    assert not any("solubility" in flag for flag in found.flags)


def test_prices_are_turned_into_the_briefs_currency(csv: Callable[[str], Path]) -> None:
    file = csv("# list\nsubstance;price_per_kg;currency\nBAPO;132,5;USD\nHCPK;22;EUR\n")
    assert read_prices(file, "EUR", {"USD": 0.9}) == pytest.approx({"BAPO": 119.25, "HCPK": 22.0})
    with pytest.raises(InputError, match=r"row 3: the price of BAPO is in USD; the brief counts in EUR"):
        read_prices(file, "EUR", {})


def test_lots_of_the_stock_add_up(csv: Callable[[str], Path]) -> None:
    assert read_stock(csv("substance,on_hand_g\nBAPO,4\nBAPO,3.5\n")) == {"BAPO": 7.5}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("substance,state\nBAPO,maybe\n", "row 2: state is 'maybe'"),
        ("substance,state\nBAPO,restricted\n", "restricted without max_wt_pct"),
        ("substance,state,max_wt_pct\nBAPO,allowed,2\n", "allowed with max_wt_pct"),
        ("substance,state,max_wt_pct\nBAPO,restricted,-1\n", "max_wt_pct is '-1'"),
        ("substance,state\nBAPO,allowed\nBAPO,allowed\n", "row 3: BAPO is listed twice"),
        ("substance,status\nBAPO,allowed\n", "the column state is missing"),
        ("substance,state\n,allowed\n", "substance is empty"),
        ("substance,state\nBAPO,allowed,x,y\n", "4 cells under 2 columns"),
        ("# nothing\n", "holds no rows"),
    ],
)
def test_a_fault_in_a_list_names_file_row_and_value(csv: Callable[[str], Path], text: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        read_substance_list(csv(text))
    assert "own.csv" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("batch_g = 5000\n", "", "belong together"),
        ('without = ["HEMA"]', 'without = ["HEMMA"]', "HEMMA"),
        ('list_file = "house_list.csv"', "only_listed = true", "there is no list"),
        ('file = "house_prices.csv"', "", "rates are for a price list"),
        ('list_file = "house_list.csv"', 'list_file = "none.csv"', "none.csv"),
        ("batch_g = 5000", "batch_g = 50000", "needs"),
    ],
)
def test_a_fault_in_a_brief_with_own_rules_is_one_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    demo = brief_path("house_rules")
    for file in demo.parent.glob("house_*.csv"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    text = demo.read_text(encoding="utf-8")
    assert old in text
    copy = tmp_path / "brief.toml"
    copy.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(GelwrightError, match=said) as caught:
        resolve(read_brief(copy))
    assert "\n" not in str(caught.value)


def test_stock_that_runs_out_is_told_as_what_limits_a_blend() -> None:
    brief = read_brief(brief_path("house_rules"))
    inputs = SimpleNamespace(brief=brief, space=resolve(brief).space)
    outcome = SimpleNamespace(inputs=inputs)

    def told(blend: dict[str, float], binding: tuple[int, ...]) -> list[str]:
        shown = SimpleNamespace(blend_wt_pct=blend, binding=binding, limits_near=("base conversion",))
        return limited_by(outcome, shown)  # type: ignore[arg-type]

    all_of_it = "BAPO at its most, 0.15 % (stock of 7.5 g for a batch of 5000 g)"
    assert told({"HCPK": 0.18, "BAPO": 0.15}, (3,)) == ["base conversion", all_of_it]
    assert told({"HCPK": 0.18, "BAPO": 0.15}, ()) == [all_of_it]
    assert told({"HCPK": 0.18, "BAPO": 0.149}, ()) == ["base conversion"]
    sure = SimpleNamespace(brief=replace(brief, chance=0.9), space=inputs.space)
    outcome = SimpleNamespace(inputs=sure)
    assert told({"HCPK": 0.18, "BAPO": 0.149}, ()) == ["the chance of passing in use"]
    outcome = SimpleNamespace(inputs=inputs)
    assert told({"HCPK": 0.05, "BAPO": 0.05}, ()) == [
        "HCPK and BAPO at the smallest loading worth weighing, 0.05 %"
    ]
