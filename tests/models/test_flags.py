"""What a result says about itself where its numbers carry more than they can."""

from dataclasses import replace

import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.models.flags import run_flags, thickness_flags
from gelwright.models.formulation import CEILING_REFERENCE_K, mix_resins
from gelwright.models.hands import preset_hand
from gelwright.models.materials import photoinitiator, stabiliser
from gelwright.models.results import CureResult
from gelwright.optimiser.demo_data import load_any_gel


def cured(**changes: object) -> CureResult:
    gel = replace(load_any_gel("clear_builder"), **changes)  # type: ignore[arg-type]
    return cure(gel, load_lamp("demo_narrow_405"), exposure_s=20.0, position="middle", thickness_m=100e-6)


@pytest.mark.parametrize(("um", "flagged"), [(9.0, True), (10.0, False), (1000.0, False), (1100.0, True)])
def test_thickness_outside_what_was_checked(um: float, flagged: bool) -> None:
    assert bool(thickness_flags(um * 1e-6)) is flagged


def test_loadings_above_what_is_usual_are_named() -> None:
    most = photoinitiator("HCPK").usual_max_wt_pct
    assert most is not None
    assert not any("usual maximum" in flag for flag in cured().flags)
    flags = cured(initiators_wt_pct={"TPO-L": 1.0, "HCPK": most + 1.0}).flags
    assert f"HCPK: {most + 1.0:g} wt% is above the usual maximum of {most:g} wt%." in flags


def test_a_stabiliser_that_decides_the_answer_is_named() -> None:
    none, little, much = (cured(stabilisers_wt_pct={"MEHQ": wt_pct}) for wt_pct in (0.0, 0.001, 0.05))
    assert none.stabiliser_share_fraction == 0.0
    assert 0.0 < little.stabiliser_share_fraction < 0.1 < much.stabiliser_share_fraction
    assert any("The stabiliser takes" in flag for flag in much.flags)
    assert not any("The stabiliser takes" in flag for flag in little.flags)


def test_the_doubt_about_stabilisers_is_in_the_data() -> None:
    assert stabiliser("MEHQ").radical_rate_error_factor == 10.0


def test_nearly_complete_conversion_is_not_left_unsaid() -> None:
    assert run_flags(0.0, 0.96) == ()
    assert "keep some C=C out of reach" in run_flags(0.0, 0.99)[0]


@pytest.mark.parametrize("warmth", ["cold", "usual", "warm"])
def test_what_is_possible_does_not_hang_on_the_hand(warmth: str) -> None:
    gel = load_any_gel("clear_builder")
    result = cure(gel, load_lamp("demo_narrow_405"), exposure_s=5.0, hand=preset_hand(warmth))
    possible = mix_resins(gel.resin_parts).conversion_ceiling_fraction(CEILING_REFERENCE_K)
    assert float(result.conversion_ceiling_fraction[0]) == possible
