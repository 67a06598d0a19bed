"""What a cure leaves behind: residues, unreacted monomer, shrinkage, tint and the setting of both faces."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.lamp_library.spectrum import Spectrum
from gelwright.models.after_cure import free_share, shrinkage_volume_fraction
from gelwright.models.colour import cielab, colour_grid_nm, film_absorbance, yellowness
from gelwright.models.cure import cure
from gelwright.models.formulation import concentration_mol_m3, mix_resins
from gelwright.models.gel import Gel
from gelwright.models.materials import list_resins, photoinitiator, resin, stabiliser
from gelwright.models.results import CureResult
from gelwright.models.setting import first_time_s, setting_of

RESINS = {"UDMA": 70.0, "HEMA": 30.0}


def made(initiators: dict[str, float], *, thickness_um: float = 200.0, **changes: object) -> Gel:
    plain: dict[str, object] = {"resin_parts": RESINS, "amines_wt_pct": {}, **changes}
    return Gel(
        name="test", coat="builder", initiators_wt_pct=initiators, thickness_m=thickness_um * 1e-6, **plain
    )


@cache
def cured(initiator: str, wt_pct: float, seconds: float, thickness_um: float = 200.0) -> CureResult:
    gel = made({initiator: wt_pct}, thickness_um=thickness_um)
    return cure(gel, load_lamp("demo_narrow_405"), exposure_s=seconds)


@pytest.mark.parametrize(
    ("conversion", "functionality", "share"),
    [(0.9, 1, 0.1), (0.7, 2, 0.09), (0.5, 3, 0.125), (0.0, 4, 1.0), (1.0, 1, 0.0)],
)
def test_share_of_untouched_molecules_by_hand(conversion: float, functionality: int, share: float) -> None:
    assert float(free_share(np.array(conversion), functionality)) == pytest.approx(share, rel=1e-12)


def test_free_monomer_at_the_base_follows_from_its_conversion() -> None:
    # one kind of C=C only, so the conversion of the base is that of both resins; 99 wt% is resin
    result = cured("TPO", 1.0, 20.0)
    missing = 1.0 - result.bottom_conversion_fraction
    found = result.after_cure.free_monomers
    assert 0.0 < missing < 1.0
    assert found["UDMA"].amount.base_wt_pct == pytest.approx(99.0 * 0.7 * missing**2, rel=1e-9)
    assert found["HEMA"].amount.base_wt_pct == pytest.approx(99.0 * 0.3 * missing, rel=1e-9)


def test_monomer_left_falls_with_time_and_lies_at_the_surface() -> None:
    short, long = (cured("TPO", 1.0, seconds).after_cure.free_monomers for seconds in (10.0, 60.0))
    for key in RESINS:
        assert long[key].amount.mean_wt_pct < short[key].amount.mean_wt_pct
        assert long[key].amount.surface_wt_pct > long[key].amount.base_wt_pct


def test_acrylate_and_methacrylate_are_counted_apart() -> None:
    # the methacrylate of a mixture is used up first (terminal model), so less of it is left than of the acrylate
    gel = made({"TPO": 1.0}, resin_parts={"HEMA": 50.0, "IBOA": 50.0})
    found = cure(gel, load_lamp("demo_narrow_405"), exposure_s=20.0).after_cure.free_monomers
    assert found["HEMA"].amount.base_wt_pct < found["IBOA"].amount.base_wt_pct


def test_initiator_and_its_products_add_up_to_what_was_weighed() -> None:
    result = cured("TPO", 1.0, 20.0)
    left, gone = result.after_cure.initiators["TPO"], result.after_cure.photoproducts["TPO"]
    assert left.mean_wt_pct + gone.mean_wt_pct == pytest.approx(1.0, abs=1e-12)
    assert left.surface_wt_pct + gone.surface_wt_pct == pytest.approx(1.0, abs=1e-12)
    assert left.base_wt_pct + gone.base_wt_pct == pytest.approx(1.0, abs=1e-9)
    assert left.mean_wt_pct == pytest.approx(result.residual_initiator_fraction["TPO"], rel=1e-12)
    assert left.surface_wt_pct < left.mean_wt_pct < left.base_wt_pct


def test_stabiliser_left_is_what_the_radicals_it_stopped_did_not_use() -> None:
    gel = made({"TPO": 1.0}, stabilisers_wt_pct={"MEHQ": 0.02})
    result = cure(gel, load_lamp("demo_narrow_405"), exposure_s=20.0)
    left = result.after_cure.stabilisers["MEHQ"]
    # radicals made: two for each TPO that went, by its chains started per radical; 2 of them for each MEHQ (124.14 g/mol) gone
    density = mix_resins(gel.resin_parts).density_kg_m3
    record = photoinitiator("TPO")
    gone = result.after_cure.photoproducts["TPO"].mean_wt_pct
    made_mol_m3 = (
        2.0 * record.initiation_efficiency * concentration_mol_m3(gone, density, record.molar_mass_kg_mol)
    )
    stopped_mol_m3 = result.stabiliser_share_fraction * made_mol_m3
    used = concentration_mol_m3(0.02 - left.mean_wt_pct, density, stabiliser("MEHQ").molar_mass_kg_mol)
    assert 2.0 * used == pytest.approx(stopped_mol_m3, rel=2e-3)
    assert 0.0 < left.mean_wt_pct < 0.02
    # next to the air oxygen takes the radicals before the stabiliser meets them
    assert left.surface_wt_pct > left.base_wt_pct


def test_a_gel_without_stabiliser_leaves_none() -> None:
    assert cured("TPO", 1.0, 20.0).after_cure.stabilisers == {}


def test_amine_goes_one_for_one_with_the_sensitiser() -> None:
    gel = made({"ITX": 0.2}, amines_wt_pct={"EDB": 0.3})
    after = cure(gel, load_lamp("demo_narrow_405"), exposure_s=30.0).after_cure
    moles = after.photoproducts["ITX"].mean_wt_pct / 254.35
    assert (0.3 - after.amines["EDB"].mean_wt_pct) / 193.25 == pytest.approx(moles, rel=0.02)
    assert after.amines["EDB"].surface_wt_pct < after.amines["EDB"].base_wt_pct < 0.3


def test_shrinkage_by_hand() -> None:
    # 22 cm3 per mole C=C: HEMA 8.29 mol/L wholly, UDMA 4.72 mol/L to 80 %
    assert shrinkage_volume_fraction(8290.0) == pytest.approx(0.18238, abs=1e-9)
    assert shrinkage_volume_fraction(4720.0 * 0.8) == pytest.approx(0.083072, abs=1e-9)


def test_shrinkage_of_a_film_is_that_of_its_conversion() -> None:
    result = cured("TPO", 1.0, 20.0)
    density = 1.0 / (0.7 / 1110.0 + 0.3 / 1079.0)
    bonds = 0.99 * density * (0.7 * 2.0 / 0.47056 + 0.3 / 0.13014)
    shrinkage = result.after_cure.shrinkage
    assert shrinkage.mean_volume_fraction == pytest.approx(
        22e-6 * bonds * result.mean_conversion_fraction, rel=1e-9
    )
    assert shrinkage.base_volume_fraction == pytest.approx(
        22e-6 * bonds * result.bottom_conversion_fraction, rel=1e-9
    )
    assert shrinkage.surface_volume_fraction == pytest.approx(
        22e-6 * bonds * result.surface_conversion_fraction, rel=1e-9
    )
    assert shrinkage.mean_linear_fraction == pytest.approx(shrinkage.mean_volume_fraction / 3.0, rel=1e-12)


def test_every_allergen_of_the_nail_series_is_known_as_one() -> None:
    # UDMA is di-HEMA trimethylhexyl dicarbamate
    for key in ("HEMA", "HPMA", "UDMA", "IBOA", "EGDMA", "TMPTA"):
        assert resin(key).sensitiser == "known", key
    assert any(resin(key).sensitiser == "possible" for key in list_resins())


def test_allergens_are_named_with_their_predicted_amounts_and_never_called_safe() -> None:
    result = cured("TPO", 1.0, 20.0)
    sentence = next(flag for flag in result.flags if "skin sensitisers" in flag)
    free = result.after_cure.free_monomers
    assert "predicted" in sentence
    assert (
        f"HEMA {free['HEMA'].amount.surface_wt_pct:.2g} and {free['HEMA'].amount.base_wt_pct:.2g} wt%"
        in sentence
    )
    assert not any("safe" in flag.lower() or "hypoallergenic" in flag.lower() for flag in result.flags)
    quiet = cure(
        made({"TPO": 1.0}, resin_parts={"UA-1500": 60.0, "IBOMA": 40.0}),
        load_lamp("demo_narrow_405"),
        exposure_s=20.0,
    )
    assert not any("skin sensitisers" in flag for flag in quiet.flags)


def test_tint_is_that_of_what_is_left() -> None:
    # the colour itself is checked against an independent library in test_colour
    result = cured("BAPO", 1.0, 5.0)
    left = result.residual_initiator_fraction["BAPO"]
    start = concentration_mol_m3(
        1.0, mix_resins(RESINS).density_kg_m3, photoinitiator("BAPO").molar_mass_kg_mol
    )
    grid = colour_grid_nm()
    absorbance = film_absorbance(
        grid,
        initiators=[photoinitiator("BAPO")],
        residual_mol_m3=[start * left],
        product_mol_m3=[start * (1 - left)],
        thickness_m=200e-6,
    )
    tint = result.after_cure.tint
    assert 0.0 < left < 1.0
    assert tint.yellowness_index == pytest.approx(yellowness(absorbance, grid)[0], rel=1e-9)
    assert (tint.cielab_l, tint.cielab_a, tint.cielab_b) == pytest.approx(
        cielab(absorbance, grid)[0], rel=1e-9
    )


def test_a_bleaching_film_loses_its_yellow_and_a_thioxanthone_keeps_it() -> None:
    bapo = [cured("BAPO", 1.0, seconds).after_cure.tint.yellowness_index for seconds in (1.0, 10.0, 60.0)]
    assert bapo[0] > bapo[1] > bapo[2] > 0.0
    lamp = load_lamp("demo_narrow_405")
    itx = [
        cure(
            made({"ITX": 0.2}, amines_wt_pct={"EDB": 0.5}), lamp, exposure_s=seconds
        ).after_cure.tint.cielab_b
        for seconds in (1.0, 60.0)
    ]
    assert itx[0] == pytest.approx(itx[1], rel=1e-9)


def test_own_spectrum_that_begins_at_390_nm_still_gives_a_tint(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    rows = "\n".join(f"{nm},{400.0 * np.exp(-(((nm - 395) / 20) ** 2))}" for nm in range(390, 461))
    path.write_text(f"wavelength_nm,molar_absorption_coefficient_l_mol_cm\n{rows}\n", encoding="utf-8")
    gel = made({"TPO-L": 2.0}, absorption_files={"TPO-L": str(path)})
    lamp = load_lamp("demo_narrow_405")
    nm, power = lamp.mean_spectrum().wavelength_nm, lamp.mean_spectrum().spectral_irradiance_w_m2_nm
    cut = replace(lamp, spectra={"middle": Spectrum(nm, np.where(nm < 392.0, 0.0, power))})
    assert cure(gel, cut, exposure_s=5.0).after_cure.tint.cielab_b > 0.0


def test_setting_times_by_hand() -> None:
    # skin 0, 0.2 at 4 s, 0.8 at 10 s; base 0 until 4 s, 0.2 at 10 s: 0.1 is passed at 2 s and at 7 s
    time = np.array([0.0, 4.0, 10.0])
    profiles = np.array([[0.0, 0.0], [0.2, 0.0], [0.8, 0.2]])
    setting = setting_of(np.array([1e-5, 1e-5]), time, profiles, profiles[:, 1])
    assert setting.skin_gel_time_s == pytest.approx(2.0)
    assert setting.base_gel_time_s == pytest.approx(7.0)
    assert setting.lag_s == pytest.approx(5.0)
    assert setting.conversion_gap_fraction == pytest.approx(0.4)  # 0.5 of skin, 0.1 of base at 7 s
    assert setting.final_gap_fraction == pytest.approx(0.6)
    assert setting.may_wrinkle
    assert "indicative" in setting.warning


def test_a_face_that_never_sets_has_no_time() -> None:
    time = np.array([0.0, 10.0])
    assert first_time_s(time, np.array([0.0, 0.05]), 0.1) is None
    profiles = np.array([[0.0, 0.0], [0.6, 0.05]])
    half = setting_of(np.array([1e-5, 1e-5]), time, profiles, profiles[:, 1])
    assert half.base_gel_time_s is None
    assert half.lag_s is None
    assert half.may_wrinkle
    assert "never sets" in half.warning
    neither = setting_of(np.array([1e-5, 1e-5]), time, 0.1 * profiles, 0.1 * profiles[:, 1])
    assert not neither.may_wrinkle
    assert neither.warning == ""


def test_thick_strongly_absorbing_coats_are_the_ones_that_pucker() -> None:
    thin, thick = cured("TPO", 2.0, 60.0, 50.0), cured("TPO", 2.0, 60.0, 800.0)
    gaps = [result.after_cure.setting.conversion_gap_fraction for result in (thin, thick)]
    assert gaps[0] < 0.1 < gaps[1]
    assert not any("Wrinkling" in flag for flag in thin.flags)
    assert any("Wrinkling" in flag and "indicative" in flag for flag in thick.flags)
