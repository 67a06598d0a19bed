"""Signs every formulator knows: inner filter, bleaching, and what does not dissolve."""

from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models import assembly
from gelwright.models.cure import cure
from gelwright.models.formulation import gel_initiator
from gelwright.models.gel import Gel
from gelwright.models.results import CureResult
from gelwright.models.substances import Photoinitiator


def cured(
    initiators: dict[str, float],
    *,
    thickness_um: float,
    seconds: float = 60.0,
    amines: dict[str, float] | None = None,
) -> CureResult:
    gel = Gel(
        name="test",
        coat="builder",
        resin_parts={"UDMA": 55.0, "UA-1500": 15.0, "HPMA": 20.0, "IBOMA": 10.0},
        initiators_wt_pct=initiators,
        amines_wt_pct=amines or {},
        thickness_m=thickness_um * 1e-6,
    )
    return cure(gel, load_lamp("demo_narrow_405"), exposure_s=seconds)


def test_more_thioxanthone_beyond_an_optimum_starves_the_base() -> None:
    loadings = (0.005, 0.02, 0.1, 0.3)
    base = [
        cured({"ITX": wt_pct}, amines={"EDB": 0.5}, thickness_um=500.0).bottom_conversion_fraction
        for wt_pct in loadings
    ]
    best = int(np.argmax(base))
    assert 0 < best < len(loadings) - 1
    assert np.all(np.diff(base[best:]) < -0.02)


def test_thioxanthone_shades_a_cleaving_initiator() -> None:
    alone = cured({"TPO": 1.0}, thickness_um=500.0, seconds=20.0)
    shaded = cured({"TPO": 1.0, "ITX": 0.2}, thickness_um=500.0, seconds=20.0)
    assert shaded.bottom_conversion_fraction < alone.bottom_conversion_fraction - 0.02
    assert shaded.residual_initiator_fraction["TPO"] > alone.residual_initiator_fraction["TPO"]


def test_bleaching_cures_deeper(monkeypatch: pytest.MonkeyPatch) -> None:
    bleaching = cured({"BAPO": 1.5}, thickness_um=800.0, seconds=30.0)

    def dark_product(gel: Gel, key: str) -> Photoinitiator:
        return replace(gel_initiator(gel, key), product_absorption_ratio=1.0)

    def clear_product(gel: Gel, key: str) -> Photoinitiator:
        return replace(gel_initiator(gel, key), product_absorption_ratio=0.0)

    monkeypatch.setattr(assembly, "gel_initiator", dark_product)
    dark = cured({"BAPO": 1.5}, thickness_um=800.0, seconds=30.0)
    monkeypatch.setattr(assembly, "gel_initiator", clear_product)
    clear = cured({"BAPO": 1.5}, thickness_um=800.0, seconds=30.0)
    # its own product absorbs 0.3 of what it does: in between
    assert (
        dark.bottom_conversion_fraction + 0.02
        < bleaching.bottom_conversion_fraction
        < clear.bottom_conversion_fraction
    )
    assert dark.absorbed_photon_fraction > bleaching.absorbed_photon_fraction > clear.absorbed_photon_fraction


def test_initiator_above_its_solubility_is_flagged() -> None:
    def flagged(wt_pct: float) -> bool:
        result = cured({"BAPO": wt_pct}, thickness_um=50.0, seconds=1.0)
        return any("BAPO" in flag and "crystallise" in flag for flag in result.flags)

    assert flagged(3.5)
    assert not flagged(2.5)
