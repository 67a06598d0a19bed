"""Final conversion of Bis-GMA and of UDMA/TEGDMA 80/20: Emami & Soderholm, Open Dent. J. 2009.

53.1 +- 0.9 % and 85.6 +- 1.0 % (abstract). Before calibration +-8 points, the scatter between methods and samples on one
monomer. The resin table was fitted to these figures, so the check holds table and solver together.
"""

from collections.abc import Callable, Mapping

import pytest


@pytest.mark.parametrize(
    ("parts", "measured"), [({"Bis-GMA": 100.0}, 0.531), ({"UDMA": 80.0, "TEGDMA": 20.0}, 0.856)]
)
def test_final_conversion(
    parts: dict[str, float], measured: float, final_conversion: Callable[[Mapping[str, float]], float]
) -> None:
    assert final_conversion(parts) == pytest.approx(measured, abs=0.08)
