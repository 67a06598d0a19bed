"""Glass transition at the end of cure: Ye et al., Macromolecules 2011, 44, 490, doi 10.1021/ma101296j.

Well below its ceiling a network ends with Tg = cure temperature + half width; near the ceiling Tg no longer follows. Asserted
through the solver: cure at constant temperature until hardly anything moves, then Tg of the conversion reached; slope 1.0 +- 0.1
from 25 to 75 C, and no more than 0.2 once the cure is hotter than the Tg of the full network.
"""

import numpy as np
import pytest

from gelwright.models.film import DiBenedetto, FilmModel
from gelwright.models.formulation import mix_resins
from gelwright.models.solver import Segment, SolverSettings, solve

RESINS = {"Bis-GMA": 60.0, "TEGDMA": 40.0}


def glass() -> DiBenedetto:
    vitrification = mix_resins(RESINS).kinetics.vitrification
    assert isinstance(vitrification, DiBenedetto)
    return vitrification


def final_tg_k(cure_k: float) -> float:
    base = mix_resins(RESINS)
    model = FilmModel(
        width_m=np.full(3, 1e-5),
        methacrylate_mol_m3=base.methacrylate_mol_m3,
        kinetics=base.kinetics,
        fixed_initiation_mol_m3_s=0.2,
        temperature_k=cure_k,
    )
    end = solve(model, [Segment(duration_s=120.0)], settings=SolverSettings(tolerance_conversion=1e-4))
    x, g = float(end.conversion_fraction[0]), glass()
    share = g.lambda_ratio * x / (1.0 - (1.0 - g.lambda_ratio) * x)
    return g.tg_monomer_k + (g.tg_polymer_k - g.tg_monomer_k) * share


def test_the_range_is_below_the_ceiling() -> None:
    assert glass().tg_polymer_k - glass().half_width_k > 75.0 + 273.15


def test_tg_follows_the_cure_temperature() -> None:
    cure = np.array([25.0, 37.5, 50.0, 62.5, 75.0]) + 273.15
    slope = np.polyfit(cure, [final_tg_k(t) for t in cure], 1)[0]
    assert slope == pytest.approx(1.0, abs=0.1)


def test_tg_saturates() -> None:
    cure = glass().tg_polymer_k + np.array([10.0, 30.0, 50.0])
    slope = np.polyfit(cure, [final_tg_k(t) for t in cure], 1)[0]
    assert abs(slope) < 0.2
