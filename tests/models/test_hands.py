"""Ready-made hands, and what they change in a real cure."""

from functools import cache

import pytest

from gelwright.lamp_library.errors import UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.models.gel import Gel
from gelwright.models.hands import NAILS, WARMTHS, preset_hand
from gelwright.models.heat import Hand
from gelwright.models.results import CureResult

BUILDER = Gel(
    name="builder",
    coat="builder",
    resin_parts={"UDMA": 60.0, "HPMA": 25.0, "TEGDMA": 15.0},
    initiators_wt_pct={"TPO": 1.0},
    amines_wt_pct={},
    stabilisers_wt_pct={},
    thickness_m=300e-6,
)


@cache
def cured(warmth: str, nail: str) -> CureResult:
    return cure(BUILDER, load_lamp("demo_narrow_405"), exposure_s=60.0, hand=preset_hand(warmth, nail))


def test_usual_is_the_hand_used_everywhere() -> None:
    assert preset_hand() == Hand()
    assert preset_hand("cold", "thick") == Hand(start_k=301.15, nail_thickness_m=0.7e-3)
    assert preset_hand("warm", "thin") == Hand(start_k=308.15, nail_thickness_m=0.25e-3)


def test_every_preset_says_where_it_comes_from() -> None:
    for key, preset in (*WARMTHS.items(), *NAILS.items()):
        assert preset.key == key
        assert preset.source.startswith(("from memory", "estimated"))


def test_unknown_kinds_are_named() -> None:
    with pytest.raises(UnknownNameError, match="did you mean 'cold'"):
        preset_hand("colt")
    with pytest.raises(UnknownNameError, match="kind of nail 'thinn'; did you mean 'thin'"):
        preset_hand("usual", "thinn")


def test_a_thinner_nail_lets_more_heat_through() -> None:
    peaks = [cured("usual", nail).nail_bed_peak_k for nail in ("thin", "usual", "thick")]
    assert peaks[0] > peaks[1] + 0.5
    assert peaks[1] > peaks[2] + 0.5


def test_a_warmer_hand_has_a_hotter_nail_bed() -> None:
    cold, usual, warm = (cured(warmth, "usual") for warmth in ("cold", "usual", "warm"))
    assert cold.nail_bed_peak_k < usual.nail_bed_peak_k < warm.nail_bed_peak_k
    # more than 2 K warmer at the start cannot be lost on the way: the bath below is warmer too, and the gel cures faster
    assert warm.nail_bed_peak_k - usual.nail_bed_peak_k > 1.5
    assert warm.bottom_conversion_fraction > cold.bottom_conversion_fraction


def test_the_worst_client_is_the_warm_hand_with_the_thin_nail() -> None:
    worst = cured("warm", "thin")
    for warmth, nail in (("warm", "usual"), ("usual", "thin"), ("cold", "thick")):
        other = cured(warmth, nail)
        assert worst.nail_bed_peak_k > other.nail_bed_peak_k
        assert worst.cem43_min >= other.cem43_min
