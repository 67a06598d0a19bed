"""The verdict in words: what is told of the tacky layer, and where."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from gelwright.optimiser.answer import Candidate
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.verdict import CureFigures, judge

FIGURES = CureFigures(
    position="thumb", thickness_m=40e-6, bottom_conversion_fraction=0.95, conversion_ceiling_fraction=0.97,
    film_peak_k=310.0, nail_bed_peak_k=309.0, cem43_min=0.0, uncured_layer_m=15e-6,
)  # fmt: skip


@pytest.mark.parametrize(
    ("layer_um", "told"),
    [
        (0.2, "The surface sets."),
        (15.0, "The top 15 µm stay uncured and tacky under air: wipe them off"),
        (38.0, "The top 38 of 40 µm stay uncured and tacky under air (thumb): little of the coat is left"),
        (40.0, "Nothing of the coat sets"),
    ],
)
def test_a_tacky_layer_is_told_by_how_much_of_the_coat_it_takes(layer_um: float, told: str) -> None:
    verdict = judge(replace(FIGURES, uncured_layer_m=1e-6 * layer_um), FIGURES, Limits())
    assert told in verdict.text


def test_the_tacky_layer_told_is_that_of_the_place_named() -> None:
    wettest = replace(FIGURES, position="little", uncured_layer_m=30e-6)
    assert (
        "30 of 40 µm stay uncured and tacky under air (little)"
        in judge(FIGURES, FIGURES, Limits(), wettest=wettest).text
    )


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ((-0.9, -0.01, -0.3), ("base conversion",)),
        ((0.2, -0.01, -0.3), ("nail bed peak", "base conversion")),
        ((-0.9, -0.2, -0.3), ("nothing closely, nearest is base conversion",)),
    ],
)
def test_what_limits_a_blend_names_the_nearest_limit_where_none_is_near(
    values: tuple[float, ...], told: tuple[str, ...]
) -> None:
    names = ("nail bed peak", "base conversion", "second-cycle heat share")
    shown = object.__new__(Candidate)
    object.__setattr__(shown, "values", values)
    object.__setattr__(shown, "constraints", tuple(SimpleNamespace(limit_name=name) for name in names))
    assert shown.limits_near == told
