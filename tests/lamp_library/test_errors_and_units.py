"""Conversions against hand values and exact identities; the error for unknown names."""

import numpy as np
import pytest

from gelwright.lamp_library import units
from gelwright.lamp_library.errors import GelwrightError, InputError, UnknownNameError, unknown_name


@pytest.mark.parametrize(
    ("function", "given", "expected"),
    [
        ("m_from_um", 100.0, 1e-4),
        ("um_from_m", 1e-4, 100.0),
        ("k_from_c", 45.0, 318.15),
        ("c_from_k", 318.15, 45.0),
        ("w_m2_from_mw_cm2", 35.0, 350.0),
        ("mw_cm2_from_w_m2", 350.0, 35.0),
        ("uw_cm2_from_w_m2", 0.017, 1.7),
        ("m2_from_cm2", 180.0, 0.018),
        ("m3_mol_s_from_l_mol_s", 15000.0, 15.0),
        ("mol_m3_from_mol_l", 6.0, 6000.0),
        ("m2_mol_from_l_mol_cm", 500.0, 50.0),
        ("napierian_from_decadic", 1.0, 2.302585092994046),
    ],
)
def test_conversion_by_hand(function: str, given: float, expected: float) -> None:
    convert = getattr(units, function)
    assert convert(given) == pytest.approx(expected, rel=1e-14)
    assert convert(np.array([given, 0.0]))[0] == pytest.approx(expected, rel=1e-14)


def test_the_three_ways_to_write_one_watt_per_square_metre_and_nanometre() -> None:
    for value, unit in ((1.0, "W/m2/nm"), (1000.0, "mW/m2/nm"), (0.1, "mW/cm2/nm"), (100.0, "uW/cm2/nm")):
        assert units.spectral_irradiance_w_m2_nm(value, unit) == pytest.approx(1.0, rel=1e-14)


def test_photon_energy_gives_the_textbook_photon_irradiance() -> None:
    # 8.359e-3 umol m-2 s-1 per W m-2 and nm (four printed digits); 100 W/m2 at 365 nm are 305.1
    for wavelength_nm in (365.0, 405.0):
        per_watt = 1e6 / units.photon_energy_j_mol(wavelength_nm)
        assert per_watt / wavelength_nm == pytest.approx(8.359e-3, abs=5e-7)
    assert 1e8 / units.photon_energy_j_mol(365.0) == pytest.approx(305.1, abs=0.05)


def test_gas_constant_is_boltzmann_times_avogadro() -> None:
    assert pytest.approx(1.380649e-23 * units.AVOGADRO_1_MOL, rel=1e-9) == units.GAS_CONSTANT_J_MOL_K


def test_unknown_unit_lists_the_known_ones() -> None:
    with pytest.raises(UnknownNameError, match=r"W/m2/nm, mW/m2/nm, mW/cm2/nm, uW/cm2/nm"):
        units.spectral_irradiance_w_m2_nm(1.0, "counts")


def test_unknown_name_offers_the_nearest_and_is_one_line() -> None:
    error = unknown_name("initiator", "tpo", ["BAPO", "TPO", "CQ"])
    assert "did you mean 'TPO'?" in str(error)
    assert "Known: BAPO, TPO, CQ." in str(error)
    assert "\n" not in str(error)


def test_unknown_name_far_from_everything_offers_nothing() -> None:
    assert "did you mean" not in str(unknown_name("lamp", "xyz", ["BAPO"]))
    assert "None exist yet." in str(unknown_name("lamp", "xyz", []))


def test_the_family_of_errors() -> None:
    assert issubclass(InputError, ValueError)
    assert issubclass(UnknownNameError, LookupError)
    # a KeyError would print its message in quotes
    assert not issubclass(UnknownNameError, KeyError)
    assert issubclass(InputError, GelwrightError)
