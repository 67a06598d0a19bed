"""What is varied for a set of coats: as `varied` for one coat, the lamp, the hand and the nail shared by all of them.

Thickness and weighing of each coat go their own ways. Of the numbers of the model those that two gels share, such as the
propagation rate of their resins or the absorption of an initiator, rest on the same few papers: one number is drawn for both,
each gel taking it with the spread of its own mixture. A calibrated gel has its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from ..lamp_library.spectrum import Spectrum
from ..models.heat import Hand
from ..models.schedule import Event, Wipe
from ..models.stack import build_with_steps
from ..models.stack_results import StackResult
from .stack_parts import SEPARATOR, CoatSet, Corner, Part
from .stack_problem import StackProblem
from .varied import (
    AT,
    Group,
    Varied,
    conditions_at,
    film_thickness,
    hand_in_use,
    in_data,
    lamp_in_use,
    weighed,
)

Floats = NDArray[np.float64]

# knob -> field of the hand that it multiplies
_HAND_RATIOS = {
    "nail_thickness_ratio": "nail_thickness_m",
    "nail_conductivity_ratio": "nail_conductivity_w_m_k",
    "tissue_conductivity_ratio": "tissue_conductivity_w_m_k",
    "perfusion_ratio": "perfusion_1_s",
    "surface_loss_ratio": "surface_loss_w_m2_k",
}
THICKNESS = "film_thickness_m"


def varied_of_set(coats: CoatSet, groups: Sequence[Group]) -> tuple[Varied, ...]:
    """Everything that is varied for the blends of a set.

    Parameters
    ----------
    coats : CoatSet
        Narrowed to the substances of the blends.
    groups : sequence of {"use", "data"}
        Which kinds.
    """
    found: list[Varied] = []
    if "use" in groups:
        for part in coats.parts:
            found += film_thickness(part.brief, f"{AT}{part.name}", f" of {part.name}")
        found += [*lamp_in_use(coats.brief, (coats.lamp,)), *hand_in_use(coats.brief.hand_start_k)]
        for part in coats.parts:
            for key in part.space.keys:
                found += weighed(part.brief, f"{part.name}{SEPARATOR}{key}", key in part.space.initiators)
    if "data" in groups:
        shared: dict[str, Varied] = {}
        for part in coats.parts:
            for each in in_data(part.gel, part.space.initiators):
                own = {_aimed(knob, part): weight for knob, weight in each.targets.items()}
                key = f"{each.key}{AT}{part.name}" if each.key.startswith("calibration_") else each.key
                before = shared.get(key)
                shared[key] = (
                    replace(each, key=key, targets=own)
                    if before is None
                    else replace(before, targets={**before.targets, **own}, how=_either(before.how, each.how))
                )
        found += shared.values()
    return tuple(found)


def _aimed(knob: str, part: Part) -> str:
    return knob if knob in _HAND_RATIOS else f"{knob}{AT}{part.name}"


def _either(before: str, now: str) -> str:
    return before if now in before.split(" or ") else f"{before} or {now}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StackDraw:
    """One draw of a set's conditions.

    Parameters
    ----------
    loadings_wt_pct : ndarray, shape (n_substance,)
        As weighed in and as pure as drawn.
    thickness_m : dict of int to float
        Thickness of every gel's coat [m].
    hand : Hand
        The finger.
    lamp_output_ratio, placement_fraction : float
        Output over that measured [-]; share of the way to the next position, negative for the one before.
    changes : dict of str to dict of str to float
        Knobs of `models.perturbed_stack` by the gel's name.
    """

    loadings_wt_pct: Floats
    thickness_m: dict[int, float]
    hand: Hand
    lamp_output_ratio: float
    placement_fraction: float
    changes: dict[str, dict[str, float]]

    def lamp(self, lamp: Lamp, position: str) -> Lamp:
        """The lamp as drawn; the finger between two positions gets light of both."""
        share, place = self.placement_fraction, lamp.positions.index(position)
        beside = place + (1 if share > 0.0 else -1)
        own = lamp.spectrum(position)
        if share != 0.0 and 0 <= beside < len(lamp.positions):
            other = lamp.spectrum(lamp.positions[beside])
            own = _mixed(own, other, abs(share))
        spectra = {**lamp.spectra, position: own}
        return replace(lamp, spectra=spectra).with_output(self.lamp_output_ratio)


def _mixed(own: Spectrum, other: Spectrum, share: float) -> Spectrum:
    nm = np.union1d(own.wavelength_nm, other.wavelength_nm)
    both = [
        np.interp(nm, each.wavelength_nm, each.spectral_irradiance_w_m2_nm, left=0.0, right=0.0)
        for each in (own, other)
    ]
    return Spectrum(nm, (1.0 - share) * both[0] + share * both[1])


def stack_draws(
    problem: StackProblem, inputs: Sequence[Varied], loadings_wt_pct: Floats, unit: Floats
) -> list[StackDraw]:
    """Conditions at some points of the unit cube.

    Parameters
    ----------
    problem : StackProblem
        The set, narrowed to the substances of the blends.
    inputs : sequence of Varied
        What is varied.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The blends as intended.
    unit : ndarray, shape (n_draw, n_input)
        Quantiles, between 0 and 1.
    """
    drawn = conditions_at(inputs, problem, loadings_wt_pct, unit)
    return [
        _draw(problem.coats, loadings, change)
        for loadings, change in zip(drawn.loadings_wt_pct, drawn.changes, strict=True)
    ]


def _draw(coats: CoatSet, loadings_wt_pct: Floats, change: Mapping[str, float]) -> StackDraw:
    hand = coats.hand
    ratios = {
        field: getattr(hand, field) * change[knob] for knob, field in _HAND_RATIOS.items() if knob in change
    }
    warm = replace(hand, start_k=hand.start_k + change.get("hand_start_shift_k", 0.0), **ratios)
    gels: dict[str, dict[str, float]] = {part.name: {} for part in coats.parts}
    for target, value in change.items():
        knob, _, name = target.partition(AT)
        if name and knob != THICKNESS:
            gels[name][knob] = value
    thickness = {
        i: change.get(f"{THICKNESS}{AT}{part.name}", part.brief.thickness_high_m)
        for i, part in enumerate(coats.parts)
    }
    return StackDraw(
        loadings_wt_pct=loadings_wt_pct,
        thickness_m=thickness,
        hand=warm,
        lamp_output_ratio=change.get("lamp_output_ratio", 1.0),
        placement_fraction=change.get("placement_fraction", 0.0),
        changes={name: knobs for name, knobs in gels.items() if knobs},
    )


def built_under(problem: StackProblem, draw: StackDraw, corner: Corner) -> StackResult:
    """One stack in one position under drawn conditions; its thickness is the drawn one, whichever end the corner is."""
    schedule = replace(problem.schedule(corner.stack, draw.loadings_wt_pct, draw.thickness_m), hand=draw.hand)
    lamp = draw.lamp(problem.coats.lamp, corner.position)

    def built(events: Sequence[Event]) -> StackResult:
        asked = replace(schedule, events=tuple(events))
        return build_with_steps(asked, lamp, position=corner.position, changes=draw.changes)[0]

    try:
        return built(schedule.events)
    except (
        InputError
    ):  # so weak a draw that a wipe would take the only coat off: left on, it breaks its limits
        return built([event for event in schedule.events if not isinstance(event, Wipe)])
