"""The smallest cover against trying every subset, and the command's refusals."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.gel import Gel
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.cli import main
from gelwright.optimiser.shades import cover_shades, packages, smallest_cover


def by_trying(passes: np.ndarray, cost: np.ndarray) -> tuple[int, float]:
    """Size and least cost of the smallest cover, every subset tried."""
    rows = passes[passes.any(axis=1)]
    for size in range(passes.shape[1] + 1):
        fits = [
            float(cost[list(chosen)].sum())
            for chosen in combinations(range(passes.shape[1]), size)
            if rows[:, list(chosen)].any(axis=1).all()
        ]
        if fits:
            return size, min(fits)
    raise AssertionError


@pytest.mark.parametrize("seed", range(12))
def test_cover_is_what_trying_every_subset_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    passes, cost = rng.random((8, 9)) < 0.3, rng.random(9)
    chosen = smallest_cover(passes, cost)
    size, least = by_trying(passes, cost)
    assert len(chosen) == size
    assert cost[list(chosen)].sum() == pytest.approx(least)


def test_nothing_to_cover_is_an_empty_cover() -> None:
    assert smallest_cover(np.zeros((3, 4), dtype=bool), np.ones(4)) == ()


def test_a_shade_that_nothing_cures_is_named_and_the_others_are_covered(stand_in: type) -> None:
    def shade(name: str, thickness_m: float) -> Gel:
        return Gel(
            name=name, coat="colour", resin_parts={"UDMA": 70.0, "HPMA": 30.0}, initiators_wt_pct={"BAPO": 0.4},
            thickness_m=thickness_m,
        )  # fmt: skip

    gels = [shade("thin", 60e-6), shade("thick", 300e-6), shade("hopeless", 2000e-6)]
    tried = packages(gels, [{"TPO-L": 0.5}])
    assert {"BAPO": 0.4} in tried
    found = cover_shades(
        gels, load_lamp("demo_arch_365_405"), tried, exposure_s=60.0,
        limits=Limits(second_cycle_heat_max_ratio=None, bottom_conversion_min_share=0.5),
        progress=lambda done, total, words: None, make_evaluator=stand_in,
    )  # fmt: skip
    assert found.uncovered == (2,)
    assert sorted(row for rows in found.serves.values() for row in rows) == [0, 1]
    for column, rows in found.serves.items():
        assert all(found.worst[row, column] <= 0.0 for row in rows)


def test_blends_are_read_and_refused(capsys: pytest.CaptureFixture[str]) -> None:
    base = ["shades", "white_colour", "--lamp", "demo_narrow_405", "--seconds", "30"]
    for text, words in (("BAPO=a lot", "is no number"), ("SUGAR=1", "SUGAR"), ("BAPO=90", "outside 0 to 20")):
        with pytest.raises(SystemExit) as leaving:
            main([*base, "--blend", text])
        assert leaving.value.code == 2
        assert words in capsys.readouterr().err
