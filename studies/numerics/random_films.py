"""Random gels in random lamps on random hands, each fixed by its seed; ordinary ones, and ones from the corners of the ranges."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import bare_checkout
import numpy as np

from gelwright.lamp_library.lamp import Lamp, list_lamps, load_lamp
from gelwright.models.cure import CureCase
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.materials import list_amines, list_photoinitiators, list_resins

__all__ = ["Ranges", "bare_checkout", "describe", "random_case"]
THIOXANTHONES = ("ITX", "DETX")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """From where to where each input is drawn; pairs are lower and upper end, logarithmic where both are above 0."""

    thickness_m: tuple[float, float] = (10e-6, 1e-3)
    loading_wt_pct: tuple[float, float] = (0.02, 5.0)
    output_ratio: tuple[float, float] = (0.1, 5.0)
    exposure_s: tuple[float, float] = (5.0, 120.0)
    rest_s: tuple[float, float] = (10.0, 60.0)
    start_k: tuple[float, float] = (295.0, 310.0)
    nail_m: tuple[float, float] = (0.25e-3, 0.7e-3)
    nail_conductivity_w_m_k: tuple[float, float] = (0.15, 0.3)
    tissue_m: tuple[float, float] = (8e-3, 16e-3)
    surface_loss_w_m2_k: tuple[float, float] = (4.0, 15.0)
    perfusion_1_s: tuple[float, float] = (1e-4, 5e-3)
    corner_chance: float = 0.0
    most_cycles: int = 2


CORNERS = Ranges(
    thickness_m=(1.0e-6, 3.0e-3),
    loading_wt_pct=(1e-4, 20.0),
    output_ratio=(1e-3, 1e3),
    exposure_s=(0.01, 3600.0),
    rest_s=(1.0, 3600.0),
    start_k=(283.15, 313.15),
    nail_m=(0.05e-3, 2.0e-3),
    nail_conductivity_w_m_k=(0.01, 10.0),
    tissue_m=(1e-3, 0.1),
    surface_loss_w_m2_k=(0.0, 200.0),
    perfusion_1_s=(0.0, 0.1),
    corner_chance=0.3,
    most_cycles=3,
)


@cache
def _lamp(name: str) -> Lamp:
    return load_lamp(name)


def _draw(rng: np.random.Generator, ends: tuple[float, float], corner: float) -> float:
    low, high = ends
    if rng.random() < corner:
        return float(ends[rng.integers(2)])
    if low > 0.0:
        # the power of a logarithm may leave the range by a rounding
        return float(min(max(np.exp(rng.uniform(np.log(low), np.log(high))), low), high))
    return float(rng.uniform(low, high))


def _initiators(rng: np.random.Generator, ranges: Ranges) -> dict[str, float]:
    keys = rng.choice(list_photoinitiators(), size=rng.integers(1, 4), replace=False)
    loads = {str(key): _draw(rng, ranges.loading_wt_pct, ranges.corner_chance) for key in keys}
    if ranges.corner_chance > 0.0 and rng.random() < 0.05:  # nothing to start chains with
        return dict.fromkeys(loads, 0.0)
    if ranges.corner_chance > 0.0 and rng.random() < 0.05:
        known = [key for key in THIOXANTHONES if key in list_photoinitiators()]
        return {str(rng.choice(known or list_photoinitiators())): 20.0}
    return loads


def _gel(rng: np.random.Generator, ranges: Ranges) -> Gel:
    resins = rng.choice(list_resins(), size=rng.integers(1, 5), replace=False)
    amine, stabiliser = rng.random() < 0.5, rng.random() < 0.5
    return Gel(
        name="random gel",
        coat="builder",
        resin_parts={str(key): float(rng.uniform(1.0, 100.0)) for key in resins},
        initiators_wt_pct=_initiators(rng, ranges),
        amines_wt_pct={str(rng.choice(list_amines())): float(rng.uniform(0.1, 3.0))} if amine else {},
        stabilisers_wt_pct={"MEHQ": float(rng.uniform(0.005, 0.1))} if stabiliser else {},
        thickness_m=100e-6,
    )


def random_case(seed: int, ranges: Ranges | None = None) -> CureCase:
    """The random case of a seed.

    Parameters
    ----------
    seed : int
        The same seed gives the same case.
    ranges : Ranges, optional
        Default: ordinary gels of 10 um to 1 mm.
    """
    span = ranges or Ranges()
    rng = np.random.default_rng([20_240, seed])
    gel = _gel(rng, span)

    def draw(name: str) -> float:
        return _draw(rng, getattr(span, name), span.corner_chance)

    lamp = _lamp(str(rng.choice(list_lamps())))
    return CureCase(
        gel=gel,
        lamp=lamp.with_output(draw("output_ratio")),
        position=str(rng.choice(lamp.positions)),
        programme=str(rng.choice(sorted(lamp.programmes))),
        thickness_m=draw("thickness_m"),
        exposure_s=draw("exposure_s"),
        rest_s=draw("rest_s"),
        cycles=int(rng.integers(1, span.most_cycles + 1)),
        hand=Hand(
            start_k=draw("start_k"),
            nail_thickness_m=draw("nail_m"),
            nail_conductivity_w_m_k=draw("nail_conductivity_w_m_k"),
            tissue_depth_m=draw("tissue_m"),
            surface_loss_w_m2_k=draw("surface_loss_w_m2_k"),
            perfusion_1_s=draw("perfusion_1_s"),
        ),
    )


def describe(case: CureCase) -> dict[str, Any]:
    """Inputs of a case in one flat row, enough to set it up by hand."""
    gel, hand = case.gel, case.hand
    return {
        "resins": " ".join(f"{key}:{part:.4g}" for key, part in gel.resin_parts.items()),
        "initiators_wt_pct": " ".join(f"{key}:{part:.4g}" for key, part in gel.initiators_wt_pct.items()),
        "amines_wt_pct": " ".join(f"{key}:{part:.4g}" for key, part in gel.amines_wt_pct.items()),
        "stabilisers_wt_pct": " ".join(f"{k}:{part:.4g}" for k, part in gel.stabilisers_wt_pct.items()),
        "thickness_um": 1e6 * case.film_thickness_m,
        "lamp": case.lamp.lamp_id,
        "position": case.lamp_position,
        "programme": case.programme,
        "irradiance_w_m2": case.lamp.spectrum(case.lamp_position).irradiance_w_m2(),
        "exposure_s": case.exposure_s,
        "rest_s": case.rest_s,
        "cycles": case.cycles,
        "start_k": hand.start_k,
        "nail_um": 1e6 * hand.nail_thickness_m,
        "nail_conductivity_w_m_k": hand.nail_conductivity_w_m_k,
        "tissue_mm": 1e3 * hand.tissue_depth_m,
        "surface_loss_w_m2_k": hand.surface_loss_w_m2_k,
        "perfusion_1_s": hand.perfusion_1_s,
    }
