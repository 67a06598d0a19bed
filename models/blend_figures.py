"""What a blend is cured in, and the figures that come out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from . import layout as at
from .cure import SURFACE_SHARE, TACKY_BELOW_FRACTION
from .cycle_runs import goes_on
from .heat import Hand
from .plain import bottom_value, depth_reaching, surface_mean

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scenario:
    """One setting a blend must stand: lamp position, thickness, programme, hand.

    Attributes
    ----------
    lamp, position, programme : Lamp, str, str
        Light.
    thickness_m, exposure_s, rest_s : float
        Film [m]; lit and dark time of one cycle [s].
    cycles : int
        Exposures; 2 gives the second-cycle heat.
    hand : Hand
        Nail, tissue, start temperature.
    """

    lamp: Lamp
    position: str
    thickness_m: float
    exposure_s: float
    programme: str = "steady"
    cycles: int = 2
    rest_s: float = 60.0
    hand: Hand = field(default_factory=Hand)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlendFigures:
    """Figures of blends in scenarios; arrays of shape (n_blend, n_scenario) unless said otherwise.

    Attributes
    ----------
    bottom_conversion_fraction, surface_conversion_fraction, mean_conversion_fraction : ndarray
        Conversion after the last rest [-].
    uncured_layer_m : ndarray
        Tacky layer [m].
    film_peak_k, nail_bed_peak_k : ndarray
        Hottest film and nail bed [K].
    cem43_min, damage_henriques, damage_weaver_stoll : ndarray
        Dose [min] and damage band [-] at the nail bed.
    second_cycle_heat_ratio : ndarray
        Second-cycle heat over the first [-]; 0 in scenarios of one cycle.
    conversion_ceiling_fraction : ndarray, shape (n_scenario,)
        Conversion possible in a film at 33 C [-]; shape (n_blend, n_scenario) where each blend met conditions of its own.
    residual_initiator_wt_pct : ndarray, shape (n_blend, n_scenario, n_initiator)
        Initiator left, film mean [wt%].
    """

    bottom_conversion_fraction: Array
    surface_conversion_fraction: Array
    mean_conversion_fraction: Array
    uncured_layer_m: Array
    film_peak_k: Array
    nail_bed_peak_k: Array
    cem43_min: Array
    damage_henriques: Array
    damage_weaver_stoll: Array
    second_cycle_heat_ratio: Array
    conversion_ceiling_fraction: Array
    residual_initiator_wt_pct: Array

    def blends(self, start: int, stop: int) -> BlendFigures:
        """The figures of some of the blends."""
        return BlendFigures(
            **{
                item.name: getattr(self, item.name)
                if item.name == "conversion_ceiling_fraction"
                else getattr(self, item.name)[start:stop]
                for item in fields(self)
            }
        )


SCALARS = tuple(
    item.name
    for item in fields(BlendFigures)
    if item.name not in ("conversion_ceiling_fraction", "residual_initiator_wt_pct")
)


def scalars_of(width: Array, conversion: Array, totals: Array, second_cycle_heat_ratio: float) -> Array:
    """Figures of one film in the order of `SCALARS`, from its profile (n_cell,) and the totals of its run."""
    return np.array(
        [
            bottom_value(width, conversion),
            surface_mean(width, conversion, SURFACE_SHARE),
            width @ conversion / width.sum(),
            depth_reaching(width, conversion, TACKY_BELOW_FRACTION),
            totals[at.PEAK_FILM],
            totals[at.PEAK_BED],
            totals[at.CEM43],
            totals[at.OMEGA_HENRIQUES],
            totals[at.OMEGA_WEAVER_STOLL],
            second_cycle_heat_ratio,
        ]
    )


def runs_of(scenarios: Sequence[Scenario], segments: Sequence[Array]) -> list[tuple[int, ...]]:
    """Scenarios by the run that serves them: one of several cycles goes on from the end of the same film after one.

    Parameters
    ----------
    scenarios : sequence of Scenario
        What blends are cured in.
    segments : sequence of ndarray
        The programme of each as rows (see `solver.segment_rows`).
    """
    longer: dict[int, int] = {}
    for number, each in enumerate(scenarios):
        for before, other in enumerate(scenarios):
            is_free = before not in longer.values() and before not in longer
            if is_free and _is_same_film(other, each) and goes_on(segments[before], segments[number]):
                longer[number] = before
                break
    then = {before: number for number, before in longer.items()}
    return [
        (number, then[number]) if number in then else (number,)
        for number in range(len(scenarios))
        if number not in longer
    ]


def _is_same_film(one: Scenario, other: Scenario) -> bool:
    names = [item.name for item in fields(Scenario) if item.name not in ("lamp", "cycles")]
    return one.lamp is other.lamp and all(getattr(one, name) == getattr(other, name) for name in names)
