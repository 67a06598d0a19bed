"""Legality with dates: who allows what, until when, and what stays unknown."""

import datetime
import itertools

import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.models import market
from gelwright.models.materials import (
    list_amines,
    list_photoinitiators,
    list_pigments,
    list_resins,
    list_stabilisers,
)

TODAY = datetime.date(2026, 11, 25)
UNLISTED = (*list_photoinitiators(), *list_resins(), *list_amines(), *list_stabilisers())
EVERYTHING = (*UNLISTED, *list_pigments())


def day(text: str) -> datetime.date:
    return datetime.date.fromisoformat(text)


def test_tpo_in_the_union_on_the_last_day_and_the_day_after() -> None:
    # Regulation (EU) 2025/877: from 1 September 2025, no sell-off
    before = market.market_status("TPO", "EU", day("2025-08-31"))
    assert (before.state, before.max_wt_pct) == ("restricted", 5.0)
    assert "professional" in before.condition
    assert before.permits(5.0)
    assert not before.permits(5.01)
    after = market.market_status("TPO", "EU", day("2025-09-01"))
    assert after.state == "prohibited"
    assert not after.permits(0.0)
    assert (after.from_date, after.until_date, after.confidence) == (day("2025-09-01"), None, "high")


def test_tpo_in_great_britain_follows_the_draft_and_says_so() -> None:
    assert market.market_status("TPO", "GB", day("2026-08-14")).permits(5.0)
    after = market.market_status("TPO", "GB", day("2026-08-15"))
    assert after.state == "prohibited"
    assert after.confidence == "medium"
    assert "draft" in after.act
    assert "14 February 2027" in after.condition


@pytest.mark.parametrize(
    ("substance", "last_day_before", "first_day"),
    [
        ("BP", "2023-11-30", "2023-12-01"),
        ("DMPT", "2025-08-31", "2025-09-01"),
        ("THFMA", "2027-01-31", "2027-02-01"),
    ],
)
def test_bans_start_on_their_day(substance: str, last_day_before: str, first_day: str) -> None:
    assert market.market_status(substance, "EU", day(last_day_before)).state != "prohibited"
    assert market.market_status(substance, "EU", day(first_day)).state == "prohibited"


def test_thfma_ban_is_marked_as_a_working_assumption() -> None:
    status = market.market_status("THFMA", "EU", day("2027-06-01"))
    assert "working assumption" in status.condition
    assert status.confidence == "low"


@pytest.mark.parametrize("substance", ["HEMA", "UDMA"])
def test_hema_and_udma_are_for_professionals(substance: str) -> None:
    status = market.market_status(substance, "EU", TODAY)
    assert status.state == "restricted"
    assert "professional use only" in status.condition
    assert "can cause an allergic reaction" in status.condition
    assert status.permits(35.0)
    assert market.market_status(substance, "EU", day("2021-06-02")).state == "allowed"


def test_unknown_stays_unknown_and_permits_nothing() -> None:
    status = market.market_status("ITX", "EU", TODAY)
    assert status.state == "unknown"
    assert not status.permits(0.01)
    assert "unknown" in status.sentence()
    assert "could not be confirmed" in status.sentence()


@pytest.mark.parametrize("substance", UNLISTED)
def test_united_states_rests_on_no_list_with_low_confidence(substance: str) -> None:
    status = market.market_status(substance, "US", TODAY)
    assert "no federal list found" in status.condition
    assert status.confidence == "low"


@pytest.mark.parametrize("substance", list_pigments())
def test_colourants_need_a_listing_and_an_unlisted_one_is_never_permitted(substance: str) -> None:
    status = market.market_status(substance, "US", TODAY)
    assert status.confidence == "low"
    assert status.permits(1.0) == status.act.startswith("21 CFR 7")


def test_a_day_without_a_row_is_unknown() -> None:
    status = market.market_status("HEMA", "GB", day("2019-01-01"))
    assert status.state == "unknown"
    assert "2019-01-01" in status.condition


def test_table_of_a_market_lists_every_substance() -> None:
    table = market.status_table("EU", TODAY)
    assert set(table) == set(EVERYTHING)
    assert {key for key, status in table.items() if status.state == "prohibited"} == {"TPO", "BP", "DMPT"}


def test_spans_of_one_substance_never_overlap() -> None:
    rows = sorted(
        market.market_rows(), key=lambda row: (row.substance, row.market, row.from_date or datetime.date.min)
    )
    for first, second in itertools.pairwise(rows):
        if (first.substance, first.market) == (second.substance, second.market):
            assert first.until_date is not None
            assert second.from_date is not None
            assert first.until_date < second.from_date


def test_every_substance_has_a_row_in_every_market() -> None:
    have = {(row.substance, row.market) for row in market.market_rows()}
    assert have == {(substance, name) for substance in EVERYTHING for name in market.MARKETS}


def test_limits_and_acts_are_sensible() -> None:
    for row in market.market_rows():
        assert row.condition
        assert row.max_wt_pct is None or 0 < row.max_wt_pct <= 100
        if row.state == "prohibited":
            assert row.from_date is not None
            assert row.act != "-"
        if row.state == "unknown":
            assert row.confidence != "high"


def test_unknown_names_are_refused() -> None:
    with pytest.raises(UnknownNameError, match="unknown market 'UK'"):
        market.market_status("TPO", "UK", TODAY)
    with pytest.raises(UnknownNameError, match="did you mean 'TPO"):
        market.market_status("TP0", "EU", TODAY)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"state": "fine"}, "row 9: state is 'fine'; it must be one of allowed, restricted"),
        ({"from_date": "1 Sep 2025"}, "write a date as 2025-09-01"),
        ({"max_wt_pct": "five"}, "max_wt_pct is 'five'; it must be a finite number"),
        ({"source": "nobody"}, "source is 'nobody'"),
    ],
)
def test_a_damaged_row_is_refused(change: dict[str, str], message: str) -> None:
    row = {
        "substance": "TPO",
        "market": "EU",
        "state": "restricted",
        "max_wt_pct": "5",
        "condition": "x",
        "from_date": "",
        "until_date": "",
        "act": "x",
        "source": "eu_2025_877",
        "confidence": "high",
        "note": "",
        "where": "market.csv, row 9",
    }
    assert market._status(row).max_wt_pct == 5.0
    with pytest.raises(InputError, match=message):
        market._status({**row, **change})
