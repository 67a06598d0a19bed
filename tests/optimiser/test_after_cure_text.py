"""What a cure leaves behind, in the text and the data of the cure command."""

import json
from dataclasses import replace

import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.after_cure import content_text
from gelwright.models.cure import cure
from gelwright.models.gel import Gel
from gelwright.models.results import CureResult
from gelwright.optimiser.after_cure_text import after_cure_data, after_cure_lines
from gelwright.optimiser.cure_run import cure_data, cure_text, law_remarks

LAMP = load_lamp("demo_narrow_405")
GEL = Gel(
    name="test",
    coat="builder",
    resin_parts={"UDMA": 60.0, "HEMA": 20.0, "IBOMA": 20.0},
    initiators_wt_pct={"TPO-L": 2.0, "ITX": 0.05},
    amines_wt_pct={"EDB": 0.5},
    stabilisers_wt_pct={"MEHQ": 0.02},
    thickness_m=200e-6,
)


@pytest.fixture(scope="module")
def results() -> list[CureResult]:
    return [cure(GEL, LAMP, exposure_s=20.0, position=name) for name in LAMP.positions[:2]]


def test_text_shows_every_substance_at_the_least_cured_position(results: list[CureResult]) -> None:
    least = min(results, key=lambda each: each.bottom_conversion_fraction)
    lines = after_cure_lines(results)
    assert f"at {least.position}" in lines[0]
    assert [line.split()[0] for line in lines[2:-1]] == [
        "UDMA", "HEMA", "IBOMA", "TPO-L", "ITX", "TPO-L", "ITX", "EDB", "MEHQ",
    ]  # fmt: skip
    amount = least.after_cure.free_monomers["HEMA"].amount
    hema = next(line for line in lines if line.startswith("HEMA"))
    assert hema.split()[1:4] == [
        f"{each:.2g}" for each in (amount.mean_wt_pct, amount.surface_wt_pct, amount.base_wt_pct)
    ]
    assert hema.endswith("  skin sensitiser")
    assert "possible skin sensitiser" in next(line for line in lines if line.startswith("IBOMA"))
    assert f"{100 * least.after_cure.shrinkage.mean_volume_fraction:.1f} % by volume" in lines[-1]
    assert "indicative" in lines[-1]


@pytest.mark.parametrize(
    ("wt_pct", "words"),
    [(0.0, "<0.0001"), (5.1e-22, "<0.0001"), (9.9e-5, "<0.0001"), (1.2e-4, "0.00012"), (33.4, "33")],
)
def test_less_than_a_laboratory_finds_is_only_said_to_be_less(wt_pct: float, words: str) -> None:
    assert content_text(wt_pct) == words


def test_cure_command_carries_it(results: list[CureResult]) -> None:
    assert "\n".join(after_cure_lines(results)) in cure_text(GEL, LAMP, results)
    data = json.loads(json.dumps(cure_data(GEL, LAMP, results), allow_nan=False))
    assert [each["after_cure"] for each in data["positions"]] == [
        after_cure_data(each.after_cure) for each in results
    ]
    after = data["positions"][0]["after_cure"]
    assert after["free_monomers"]["HEMA"]["sensitiser"] == "known"
    assert after["initiators"]["TPO-L"]["mean_wt_pct"] + after["photoproducts"]["TPO-L"][
        "mean_wt_pct"
    ] == pytest.approx(2.0)
    assert 0.0 < after["stabilisers"]["MEHQ"]["mean_wt_pct"] < 0.02
    assert after["tint"]["yellowness_index"] == results[0].after_cure.tint.yellowness_index
    assert after["setting"]["may_wrinkle"] is results[0].after_cure.setting.may_wrinkle


def test_law_remarks_name_stabilisers_and_pigments_and_what_is_above_the_law() -> None:
    # MEHQ: 0.02 wt% in the EU and GB (packaged table, from memory)
    told = [line for line in law_remarks(GEL) if line.startswith("MEHQ")]
    assert any("restricted to 0.02 wt% in EU" in line for line in told)
    assert not any("above" in line for line in told)
    more = law_remarks(replace(GEL, stabilisers_wt_pct={"MEHQ": 0.03}))
    assert any(line.startswith("MEHQ: restricted to 0.02 wt% (it is above that) in EU") for line in more)
