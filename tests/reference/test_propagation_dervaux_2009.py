"""Propagation of isobornyl acrylate: Dervaux et al., J. Polym. Sci. A 2009, 47(23).

k_p = 10^7.05 L/mol/s exp(-17.0 kJ/mol / RT), to 80 C at 500 Hz. Tolerance 0.5 %: the exponent has two decimals, the
expected value is the line itself worked out to three digits.
"""

import pytest

from gelwright.models.kinetics import arrhenius_factor


def test_25_c() -> None:
    value = 10**7.05 * arrhenius_factor(17.0e3, 298.15, 1e12)
    assert value == pytest.approx(11_800.0, rel=5e-3)
