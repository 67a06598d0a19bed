"""Face between two thick bodies in sudden contact: Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959.

Gel at 71 C (effusivity 629) on tissue at 33 C (1229 W s^0.5 m-2 K-1) meets at 45.9 C: the trade's "71 C" is a gel
temperature, never a tissue temperature. One decimal given: 0.05 K.
"""

import pytest

from gelwright.models.heat import contact_temperature_k


def test_gel_on_tissue() -> None:
    value_k = contact_temperature_k(629.0, 344.15, 1229.0, 306.15)
    assert value_k - 273.15 == pytest.approx(45.9, abs=0.05)
