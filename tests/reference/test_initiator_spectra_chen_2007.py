"""Camphorquinone: Chen, Ferracane, Prahl, Dent. Mater. 2007, 23, 655-664 (abstract).

Molar absorption coefficient 46 +- 2 L/mol/cm at 469 nm; quantum yield of conversion 0.07 +- 0.01 per absorbed photon
at 0.7 wt% camphorquinone and 0.35 wt% amine. Tolerances are the uncertainties of the paper.
"""

import pytest

from gelwright.models.materials import amine, photoinitiator


def test_peak_absorption() -> None:
    assert photoinitiator("CQ").absorption.at([469.0])[0] * 10 == pytest.approx(46.0, abs=2.0)


def test_the_peak_lies_in_the_blue() -> None:
    spectrum = photoinitiator("CQ").absorption
    peak = spectrum.wavelength_nm[spectrum.molar_absorption_coefficient_m2_mol.argmax()]
    assert peak == pytest.approx(469.0, abs=3.0)


def test_quantum_yield_with_the_amine_of_the_paper() -> None:
    camphorquinone = photoinitiator("CQ")
    amine_mol_m3 = 0.35 / 100 * 1100 / amine("DMAEMA").molar_mass_kg_mol
    factor = amine_mol_m3 / (amine_mol_m3 + camphorquinone.amine_half_saturation_mol_m3)
    assert camphorquinone.quantum_yield * factor == pytest.approx(0.07, abs=0.01)
