"""Order of the final conversions: Sideridou et al., Biomaterials 2002, 23, 1819.

Bis-GMA < Bis-EMA < UDMA < TEGDMA at room temperature, mixtures linear in mole fraction (abstract; the values themselves are
from memory and not used). The glass transitions of the resin table were fitted to conversions of these resins, so the
check holds table and solver together rather than the model alone.
"""

from collections.abc import Callable, Mapping
from itertools import pairwise

import pytest

Conversion = Callable[[Mapping[str, float]], float]
MOLAR_MASS = {"Bis-GMA": 512.6, "TEGDMA": 286.32}


def test_order(final_conversion: Conversion) -> None:
    values = [final_conversion({key: 100.0}) for key in ("Bis-GMA", "Bis-EMA", "UDMA", "TEGDMA")]
    assert values == sorted(values)
    assert min(b - a for a, b in pairwise(values)) > 0.02


@pytest.mark.parametrize("mole_fraction", [0.25, 0.5, 0.75])
def test_mixtures_lie_between_near_the_straight_line(
    mole_fraction: float, final_conversion: Conversion
) -> None:
    """Linear in mole fraction; +-8 points, the scatter between methods and samples on one monomer."""
    parts = {
        "Bis-GMA": mole_fraction * MOLAR_MASS["Bis-GMA"],
        "TEGDMA": (1 - mole_fraction) * MOLAR_MASS["TEGDMA"],
    }
    ends = [final_conversion({key: 100.0}) for key in ("Bis-GMA", "TEGDMA")]
    line = mole_fraction * ends[0] + (1 - mole_fraction) * ends[1]
    value = final_conversion(parts)
    assert min(ends) < value < max(ends)
    assert value == pytest.approx(line, abs=0.08)
