"""A replacement cures as the old gel does; the old blend, where allowed, is found again."""

from __future__ import annotations

from datetime import date

import pytest

from gelwright.lamp_library.errors import UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.gel import Gel
from gelwright.optimiser.gel_case import GelCase, gel_case
from gelwright.optimiser.matching import match
from gelwright.optimiser.matching_brief import matching_brief
from gelwright.optimiser.matching_text import match_data, match_text


def quiet(done: int, total: int, words: str) -> None:
    assert 0 <= done <= total
    assert words


def old_case(stand_in: type, **blend: float) -> GelCase:
    gel = Gel(
        name="old gel", coat="builder", resin_parts={"UDMA": 70.0, "HPMA": 30.0}, initiators_wt_pct=blend,
        thickness_m=300e-6, is_demonstration=True,
    )  # fmt: skip
    return gel_case(gel, load_lamp("demo_arch_365_405"), exposure_s=60.0, draws=32, make_evaluator=stand_in)


def asked(case: GelCase, without: tuple[str, ...], **changes: object) -> object:
    plain = {
        "markets": ("EU",),
        "on_date": date(2026, 1, 15),
        "professional_use": True,
        "allow": (),
        "most": 2,
    }
    return matching_brief(case, without=without, **{**plain, **changes})  # type: ignore[arg-type]


def test_the_old_blend_is_found_again_where_it_is_allowed(stand_in: type) -> None:
    case = old_case(stand_in, BAPO=0.4)
    found = match(case, asked(case, ("TPO-L", "HCPK", "HMPP", "MBF")), quiet, stand_in)  # type: ignore[arg-type]
    assert found.matches[0].blend_wt_pct == {"BAPO": pytest.approx(0.4, abs=0.003)}
    assert found.matches[0].distance < 0.05
    assert found.films > 0
    assert "- TPO-L, HCPK, HMPP, MBF: to be done without" in match_text(found)


def test_a_prohibited_substance_is_replaced_and_named(stand_in: type) -> None:
    case = old_case(stand_in, TPO=0.8)
    found = match(case, asked(case, ()), quiet, stand_in)  # type: ignore[arg-type]
    best = found.matches[0]
    assert "TPO" not in best.blend_wt_pct
    assert best.is_close
    text = match_text(found)
    assert "TPO, EU: prohibited" in text
    assert "Invented demonstration data." in text
    assert "Cautions:" in text
    # in the words of the command, which has no brief
    assert "name it with --allow" in text
    assert "under [substances]" not in text
    assert [each.distance for each in found.matches] == sorted(each.distance for each in found.matches)
    data = match_data(found)
    assert data["law_date"] == "2026-01-15"
    assert any(out["key"] == "TPO" for out in data["excluded"])


def test_unknown_status_needs_a_name_and_names_are_checked(stand_in: type) -> None:
    case = old_case(stand_in, BAPO=0.4)
    brief = asked(case, ("BAPO",), allow=("ITX",))
    assert "ITX" in brief.allowed  # type: ignore[attr-defined]
    assert "BAPO" not in brief.allowed  # type: ignore[attr-defined]
    with pytest.raises(UnknownNameError):
        asked(case, ("TPOL",))
    with pytest.raises(UnknownNameError):
        asked(case, (), markets=("Mars",))
