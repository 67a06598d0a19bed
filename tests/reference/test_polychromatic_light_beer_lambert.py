"""Light of two bands through an absorber whose coefficient varies across them (Beer-Lambert per wavelength, exact).

500 W/m2, 30 % of the power Gaussian at 365 nm (FWHM 10), 70 % Gaussian at 405 nm (FWHM 14);
eps = 550 exp[-4 ln2 ((lambda - 380)/50)^2] L/mol/cm, 0.030 mol/L, 330-450 nm in steps of 1 nm. The table was integrated
independently; tolerance 1e-3. One mean coefficient for the whole lamp (318.4) would absorb 3.3 % too much in 0.5 mm.
"""

import numpy as np
import pytest

from gelwright.lamp_library.spectrum import Spectrum
from gelwright.models import layout as at
from gelwright.models.film import Absorber, FilmModel, Kinetics, Light
from gelwright.models.optics import LightBins, light_bins
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

WAVELENGTH_NM = np.arange(330.0, 450.5, 1.0)
CONCENTRATION = 30.0
EVERY_WAVELENGTH = 1000
# yield so small that nothing bleaches during the run
YIELD, SECONDS = 1e-9, 1.0


def band(power_w_m2: float, peak_nm: float, fwhm_nm: float) -> np.ndarray:
    sigma = fwhm_nm / np.sqrt(8 * np.log(2))
    gauss = np.exp(-0.5 * ((WAVELENGTH_NM - peak_nm) / sigma) ** 2)
    return power_w_m2 * gauss / (sigma * np.sqrt(2 * np.pi))


def lamp() -> Spectrum:
    return Spectrum(WAVELENGTH_NM, band(150.0, 365.0, 10.0) + band(350.0, 405.0, 14.0))


def bins(count: int) -> LightBins:
    decadic_m2_mol = 55.0 * np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - 380.0) / 50.0) ** 2)
    return light_bins(lamp(), [decadic_m2_mol * np.log(10.0)], [0.0], count)


def lit_film(thickness_m: float, count: int, cells: int = 200) -> Solution:
    light = bins(count)
    model = FilmModel(
        width_m=np.full(cells, thickness_m / cells),
        kinetics=Kinetics(termination_m3_mol_s=1.0),
        light=Light(
            photon_irradiance_mol_m2_s=light.photon_irradiance_mol_m2_s,
            photon_energy_j_mol=light.photon_energy_j_mol,
        ),
        absorbers=(
            Absorber(
                concentration_mol_m3=CONCENTRATION,
                napierian_m2_mol=light.napierian_m2_mol[0],
                quantum_yield=YIELD,
                radicals_per_molecule=0.0,
            ),
        ),
    )
    return solve(model, [Segment(duration_s=SECONDS)], settings=SolverSettings())


def absorbed_fraction(thickness_m: float, count: int) -> float:
    totals = lit_film(thickness_m, count).totals
    return float(totals[at.PHOTONS_ABSORBED] / totals[at.PHOTONS_IN])


def test_incident_photons() -> None:
    assert bins(EVERY_WAVELENGTH).photon_irradiance_mol_m2_s.sum() == pytest.approx(1.642612e-3, rel=1e-3)
    assert lamp().photon_irradiance_mol_m2_s() == pytest.approx(1.642612e-3, rel=1e-3)


@pytest.mark.parametrize(("thickness_mm", "expected"), [(0.1, 0.1954122), (0.5, 0.6455782), (1.0, 0.8585201)])
def test_absorbed_photons(thickness_mm: float, expected: float) -> None:
    assert absorbed_fraction(thickness_mm * 1e-3, EVERY_WAVELENGTH) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("thickness_mm", "expected"),
    [
        (0.1, 0.1954122),
        (0.5, 0.6455782),
        (1.0, 0.8585201),
    ],
)
def test_the_default_number_of_bins_is_enough(thickness_mm: float, expected: float) -> None:
    value = absorbed_fraction(thickness_mm * 1e-3, SolverSettings().light_bins)
    assert value == pytest.approx(expected, rel=1e-3)


def test_one_mean_coefficient_would_fail() -> None:
    assert absorbed_fraction(0.5e-3, 1) == pytest.approx(0.667036, rel=1e-3)
    assert absorbed_fraction(0.5e-3, 1) / 0.6455782 > 1.03


def test_absorption_rates() -> None:
    """Mean 2.120869e-3 mol/L/s over 0.5 mm; locally 3.612831, 1.996950, 1.136265 mol/m3/s at 0, 0.25 and 0.5 mm."""
    solution = lit_film(0.5e-3, EVERY_WAVELENGTH)
    lost = CONCENTRATION - solution.state.concentration[0]
    rate = lost / (YIELD * SECONDS)
    assert np.mean(rate) == pytest.approx(2.120869, rel=1e-3)
    at_faces = [1.5 * rate[0] - 0.5 * rate[1], 0.5 * (rate[99] + rate[100]), 1.5 * rate[-1] - 0.5 * rate[-2]]
    assert at_faces == pytest.approx([3.612831, 1.996950, 1.136265], rel=1e-3)


def test_transmitted_power() -> None:
    """0.3498814 of the power passes 0.5 mm; the photons that pass are redder than those that enter."""
    light = bins(EVERY_WAVELENGTH)
    left = np.exp(-light.napierian_m2_mol[0] * CONCENTRATION * 0.5e-3)
    power = light.photon_irradiance_mol_m2_s * light.photon_energy_j_mol
    assert np.sum(power * left) / np.sum(power) == pytest.approx(0.3498814, rel=1e-3)
    photons = light.photon_irradiance_mol_m2_s
    solved = lit_film(0.5e-3, EVERY_WAVELENGTH).totals
    assert solved[at.PHOTONS_OUT] / solved[at.PHOTONS_IN] == pytest.approx(
        np.sum(photons * left) / np.sum(photons), rel=1e-6
    )
