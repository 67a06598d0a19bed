"""What a film may reach and no more: a bound on its temperature from the heat that its own case can give it.

The temperature is at most that of the hottest thing it starts with or touches (hand, blood, air), plus what the light can do,
plus what the reaction can do.

Light: all of it, at its highest output and for all the lit time in one go, is taken to turn into heat at the surface. The rise
is then below each of three: all of it passes to the air, from as deep as the uppermost of the finger below the nail; all of it passes down to
the cold end of the finger; and the rise of a body without end, of the least effusive of film, nail and finger
(Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 2.9: 2 q sqrt(t/pi)/e). Deeper absorption, blood
flow and pauses only lower it.

Reaction: every C=C reacts and not one joule leaves its cell. A zone that reacts after it was preheated by its neighbours can pass
this; it never did in the cases tried, where the light's share of the bound is generous.
"""

from __future__ import annotations

import bare_checkout
import numpy as np

from gelwright.models import layout as at
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.packing import pack
from gelwright.models.solver import SolverSettings

__all__ = ["bare_checkout", "coldest_k", "hottest_k"]


def _air_k(case: CureCase) -> tuple[float, float]:
    """Coldest and hottest air [K]."""
    air = case.lamp.air
    return air.start_k, air.start_k + air.rise_k


def coldest_k(case: CureCase) -> float:
    """Temperature below which nothing in a case can fall [K]: nothing takes heat but the air and the blood."""
    hand = case.hand
    return min(hand.start_k, hand.start_k if hand.blood_k is None else hand.blood_k, _air_k(case)[0])


def reaction_rise_k(case: CureCase) -> float:
    """Rise of a cell all of whose C=C reacts while no heat leaves it [K]."""
    film, _ = pack(film_model(case, SolverSettings()))
    heat = (
        film.initial[0] * film.cell[:, at.HEAT_ACRYLATE]
        + film.initial[1] * film.cell[:, at.HEAT_METHACRYLATE]
    )
    capacity = film.thermal[at.T_CAPACITY_0 : at.T_CAPACITY_1 + 1, : film.width.size].min(axis=0)
    return float(np.max(heat / capacity))


def light_rise_k(case: CureCase) -> float:
    """Rise that the light alone can give at most [K]."""
    lit_s = case.cycles * case.exposure_s
    levels = [max(part.level_start_ratio, part.level_end_ratio) for part in schedule(case)]
    output = float(np.max(case.lamp.course.factor([0.0, lit_s])))
    flux = case.lamp.spectrum(case.lamp_position).irradiance_w_m2() * max(levels) * output
    film, _ = pack(film_model(case, SolverSettings()))
    thermal = film.thermal
    resistance = thermal[at.T_WIDTH] / thermal[at.T_CONDUCTIVITY]
    capacity = thermal[at.T_CAPACITY_0 : at.T_CAPACITY_1 + 1].min(axis=0)
    effusivity = float(np.sqrt(thermal[at.T_CONDUCTIVITY] * capacity).min())
    above = float(resistance[: int(film.boundary[at.BED_INDEX]) + 1].sum())
    loss = case.hand.surface_loss_w_m2_k
    to_air = above + 1.0 / loss if loss > 0.0 else np.inf
    endless = 2.0 * float(np.sqrt(lit_s / np.pi)) / effusivity
    return float(flux * min(to_air, resistance.sum(), endless))


def hottest_k(case: CureCase) -> float:
    """Temperature above which nothing in a case can rise [K]."""
    hand = case.hand
    start = max(hand.start_k, hand.start_k if hand.blood_k is None else hand.blood_k, _air_k(case)[1])
    return start + light_rise_k(case) + reaction_rise_k(case)
