"""Conversion at which a network turns to glass: Ye et al., Macromolecules 2011, 44, 490, doi 10.1021/ma101296j.

Their finding, Tg at the end of cure = cure temperature + half-width W, combined with the DiBenedetto equation gives
X_lim = r/[lam + (1 - lam) r], r = (T + W - Tg0)/(Tginf - Tg0). The numbers are exact, to six decimals.
"""

import pytest

from gelwright.models.kinetics import mobility, vitrification_conversion

TG_MONOMER_K = 273.15 - 60.0
TG_POLYMER_K = 273.15 + 150.0
LAMBDA = 0.5
HALF_WIDTH_K = 45.0
CASES = [(25.0, 0.764706), (35.0, 0.800000), (45.0, 0.833333), (60.0, 0.880000)]


def limit(celsius: float) -> float:
    return vitrification_conversion(celsius + 273.15, TG_MONOMER_K, TG_POLYMER_K, LAMBDA, HALF_WIDTH_K)


@pytest.mark.parametrize(("celsius", "expected"), CASES)
def test_limit(celsius: float, expected: float) -> None:
    assert limit(celsius) == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize("celsius", [25.0, 50.0, 75.0])
def test_glass_transition_at_the_limit_follows_the_cure_temperature(celsius: float) -> None:
    """Tg at X_lim, worked out with the DiBenedetto equation written the other way round, is T + W."""
    x = limit(celsius)
    tg = TG_MONOMER_K + (TG_POLYMER_K - TG_MONOMER_K) * LAMBDA * x / (1 - (1 - LAMBDA) * x)
    assert tg - (celsius + 273.15) == pytest.approx(HALF_WIDTH_K, abs=1e-9)


def test_the_monomer_vitrifies_only_below_its_own_transition() -> None:
    assert limit(-60.0 - HALF_WIDTH_K) == pytest.approx(0.0, abs=1e-12)
    assert limit(150.0 - HALF_WIDTH_K) == pytest.approx(1.0, abs=1e-12)


def test_propagation_is_halved_at_the_limit() -> None:
    assert mobility(0.764706, limit(25.0), 0.03) == pytest.approx(0.5, abs=1e-5)
