"""Propagation of methyl methacrylate: Beuermann et al., Macromol. Chem. Phys. 1997 (benchmark, part 1).

The Arrhenius pair (2.673e6 L/mol/s, 22.36 kJ/mol) is from memory, not read in the publication. The check therefore holds
the arithmetic, and says nothing about the source. Tolerance 0.5 %.
"""

import pytest

from gelwright.models.kinetics import arrhenius_factor


@pytest.mark.parametrize(("celsius", "expected_l_mol_s"), [(25.0, 323.4), (60.0, 834.1)])
def test_line_from_memory(celsius: float, expected_l_mol_s: float) -> None:
    value = 2.673e6 * arrhenius_factor(22.36e3, celsius + 273.15, 1e12)
    assert value == pytest.approx(expected_l_mol_s, rel=5e-3)
