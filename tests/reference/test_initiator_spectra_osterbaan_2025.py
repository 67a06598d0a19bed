"""TPO and BAPO: data of Osterbaan, Falconer, Bowman (teaching demonstration of light attenuation, 2025).

TPO: 1 nm spectrum, its Napierian coefficients divided by ln 10, scale +-15 %; one worked example gives A 0.5 for
2.26 mmol/L in 1 cm of 2-propanol at 405 nm, i.e. 221 L/mol/cm, taken as good to 5 %. BAPO: default values at three
wavelengths (2498, 1432 and 91.8 Napierian), scale +-20 %.
"""

import numpy as np
import pytest

from gelwright.models.materials import photoinitiator

TPO_L_MOL_CM = {
    320: 1323.0,
    340: 287.7,
    350: 269.7,
    365: 447.3,
    375: 493.3,
    385: 531.4,
    395: 440.1,
    405: 244.4,
    410: 104.2,
}


@pytest.mark.parametrize(("wavelength_nm", "measured"), TPO_L_MOL_CM.items())
def test_tpo_within_its_scale_error(wavelength_nm: int, measured: float) -> None:
    model = photoinitiator("TPO").absorption.at([float(wavelength_nm)])[0] * 10
    assert model == pytest.approx(measured, rel=0.15)


def test_tpo_shape_after_one_free_scale() -> None:
    wavelength = np.array(list(TPO_L_MOL_CM), dtype=float)
    measured = np.array(list(TPO_L_MOL_CM.values()))
    model = photoinitiator("TPO").absorption.at(wavelength) * 10
    scale = model @ measured / (model @ model)
    assert scale == pytest.approx(1.0, abs=0.15)
    assert np.sqrt(np.mean((measured - scale * model) ** 2)) < 0.02 * measured.max()


def test_tpo_in_2_propanol() -> None:
    assert photoinitiator("TPO").absorption.at([405.0])[0] * 10 == pytest.approx(0.5 / 2.26e-3, rel=0.05)


@pytest.mark.parametrize(("wavelength_nm", "napierian"), [(365.0, 2498.0), (405.0, 1432.0)])
def test_bapo_at_lamp_wavelengths(wavelength_nm: float, napierian: float) -> None:
    model = photoinitiator("BAPO").absorption.at([wavelength_nm])[0] * 10
    assert model == pytest.approx(napierian / np.log(10.0), rel=0.20)
