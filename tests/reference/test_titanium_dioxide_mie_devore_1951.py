"""Scattering and absorption of rutile titanium dioxide in an acrylic resin, recomputed from Mie theory.

Rutile index: Devore, J. Opt. Soc. Am. 1951, 41, 416 (ordinary twice, extraordinary once, averaged; below 430 nm beyond his
range). Resin index 1.472 + 0.0060/l^2 (l in um, assumed). Particles: lognormal, geometric mean diameter 0.22 um, geometric
standard deviation 1.3 (usual pigment grade, from memory). Series of Bohren & Huffman 1983, appendix A. The packaged table
keeps three digits and was made with another integration over sizes: 2 % is allowed.
"""

import numpy as np
import pytest

from gelwright.models.materials import pigment

RESIN_KG_M3, RUTILE_KG_M3 = 1100.0, 4200.0
DIAMETER_UM, SPREAD = 0.22, 1.3


def efficiencies(index: complex, size: float) -> tuple[float, float, float]:
    """Extinction and scattering efficiency and mean cosine of one sphere."""
    terms = int(size + 4.0 * size ** (1.0 / 3.0) + 2.0)
    inner = index * size
    log_derivative = np.zeros(terms + 20, dtype=complex)
    for n in range(terms + 19, 0, -1):
        log_derivative[n - 1] = n / inner - 1.0 / (log_derivative[n] + n / inner)
    psi_before, psi = np.cos(size), np.sin(size)
    chi_before, chi = -np.sin(size), np.cos(size)
    extinction = scattering = asymmetry = 0.0
    a_before = b_before = 0j
    for n in range(1, terms + 1):
        psi_before, psi = psi, (2 * n - 1) * psi / size - psi_before
        chi_before, chi = chi, (2 * n - 1) * chi / size - chi_before
        xi_before, xi = complex(psi_before, -chi_before), complex(psi, -chi)
        electric = log_derivative[n] / index + n / size
        magnetic = log_derivative[n] * index + n / size
        a = (electric * psi - psi_before) / (electric * xi - xi_before)
        b = (magnetic * psi - psi_before) / (magnetic * xi - xi_before)
        extinction += (2 * n + 1) * (a + b).real
        scattering += (2 * n + 1) * (abs(a) ** 2 + abs(b) ** 2)
        asymmetry += (2 * n + 1) / (n * (n + 1)) * (a * b.conjugate()).real
        if n > 1:
            asymmetry += (n * n - 1) / n * (a_before * a.conjugate() + b_before * b.conjugate()).real
        a_before, b_before = a, b
    return 2.0 / size**2 * extinction, 2.0 / size**2 * scattering, 2.0 * asymmetry / scattering


def rutile(wavelength_nm: float, imaginary: float) -> complex:
    square = (wavelength_nm / 1000.0) ** 2
    ordinary = np.sqrt(5.913 + 0.2441 / (square - 0.0803))
    extraordinary = np.sqrt(7.197 + 0.3322 / (square - 0.0843))
    return complex((2.0 * ordinary + extraordinary) / 3.0, imaginary)


def per_wt_pct(wavelength_nm: float, imaginary: float = 0.0) -> tuple[float, float]:
    """mu_a and mu_s' of 1 wt% [1/cm]."""
    resin = 1.472 + 0.0060 / (wavelength_nm / 1000.0) ** 2
    log_d = np.log(DIAMETER_UM) + np.log(SPREAD) * np.linspace(-3.5, 3.5, 61)
    number = np.exp(-0.5 * ((log_d - np.log(DIAMETER_UM)) / np.log(SPREAD)) ** 2)
    diameter = np.exp(log_d)
    spheres = [
        efficiencies(rutile(wavelength_nm, imaginary) / resin, np.pi * d * resin / (wavelength_nm / 1000.0))
        for d in diameter
    ]
    extinction, scattering, cosine = np.array(spheres).T
    area = number * np.pi / 4.0 * diameter**2
    volume = np.sum(number * np.pi / 6.0 * diameter**3)
    fraction = 0.01 / RUTILE_KG_M3 / (0.01 / RUTILE_KG_M3 + 0.99 / RESIN_KG_M3)
    per_um = fraction / volume
    return (
        float(np.sum(area * (extinction - scattering)) * per_um * 1e4),
        float(np.sum(area * scattering * (1.0 - cosine)) * per_um * 1e4),
    )


def test_small_sphere_scatters_as_rayleigh() -> None:
    # 8/3 x^4 |(m^2 - 1)/(m^2 + 2)|^2, mean cosine 0
    index, size = 1.5 + 0j, 0.01
    expected = 8.0 / 3.0 * size**4 * abs((index**2 - 1.0) / (index**2 + 2.0)) ** 2
    extinction, scattering, cosine = efficiencies(index, size)
    assert scattering == pytest.approx(expected, rel=1e-3)
    assert extinction == pytest.approx(scattering, rel=1e-6)
    assert abs(cosine) < 1e-3


@pytest.mark.parametrize("wavelength_nm", [410.0, 420.0, 430.0, 440.0, 450.0, 460.0])
def test_scattering_beyond_the_edge(wavelength_nm: float) -> None:
    packaged = float(pigment("CI-77891").optics.scattering_at(wavelength_nm)) / 100.0
    assert packaged == pytest.approx(per_wt_pct(wavelength_nm)[1], rel=0.02)


# imaginary index that gives K/S of white paint there; 0.05 at 365 nm is extrapolated
@pytest.mark.parametrize(
    ("wavelength_nm", "imaginary"), [(365.0, 0.0500), (380.0, 0.0183), (390.0, 0.00835), (400.0, 0.00194)]
)
def test_absorption_and_scattering_within_the_edge(wavelength_nm: float, imaginary: float) -> None:
    optics = pigment("CI-77891").optics
    absorption, scattering = per_wt_pct(wavelength_nm, imaginary)
    assert float(optics.absorption_at(wavelength_nm)) / 100.0 == pytest.approx(absorption, rel=0.02)
    assert float(optics.scattering_at(wavelength_nm)) / 100.0 == pytest.approx(scattering, rel=0.02)
