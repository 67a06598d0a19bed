"""Dissolved oxygen in acrylates: Gou et al., J. Polym. Sci. A 2004, 42, 1285.

0.59e-3 to 2.07e-3 mol/L over seven acrylates in air (abstract). The resin table must stay inside, and the induction time
of a closed film must go in proportion to the oxygen dissolved.
"""

import numpy as np
import pytest

from gelwright.models.film import FilmModel, Kinetics, Oxygen
from gelwright.models.materials import list_resins, resin
from gelwright.models.solver import Segment, SolverSettings, solve


@pytest.mark.parametrize("key", list_resins())
def test_resin_table_is_inside(key: str) -> None:
    assert 0.59 <= resin(key).oxygen_solubility_mol_m3 <= 2.07


def induction_s(dissolved_mol_m3: float) -> float:
    """Time to 1 % conversion in a closed, evenly lit film."""
    model = FilmModel(
        width_m=np.full(4, 5e-6),
        acrylate_mol_m3=6000.0,
        kinetics=Kinetics(acrylate_propagation_m3_mol_s=13.0, termination_m3_mol_s=2.0e4),
        oxygen=Oxygen(atmosphere="closed", initial_mol_m3=dissolved_mol_m3),
        fixed_initiation_mol_m3_s=0.1,
    )
    end = solve(model, [Segment(duration_s=30.0)], settings=SolverSettings(largest_step_s=0.02))
    return float(np.interp(0.01, end.conversion_steps[:, 0], end.record[:, 0]))


def test_induction_time_in_proportion() -> None:
    times = [induction_s(value) for value in (0.59, 1.05, 2.07)]
    # the time from the return of the radicals to 1 % conversion is the same for all: proportion holds for differences
    slopes = np.diff(times) / np.diff([0.59, 1.05, 2.07])
    assert slopes == pytest.approx(np.full(2, 1 / 0.1), rel=5e-3)
