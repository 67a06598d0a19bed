"""Propagation of n-butyl acrylate: Asua et al., Macromol. Chem. Phys. 2004, doi 10.1002/macp.200400355 (part 5).

k_p = 2.21e7 L/mol/s exp(-17.9 kJ/mol / RT), measured from -65 to 20 C; 25 C is a short step beyond. Tolerance 0.5 %, the
rounding of the three digits given.
"""

import pytest

from gelwright.models.kinetics import arrhenius_factor


def test_25_c() -> None:
    value = 2.21e7 * arrhenius_factor(17.9e3, 298.15, 1e12)
    assert value == pytest.approx(16_160.0, rel=5e-3)
