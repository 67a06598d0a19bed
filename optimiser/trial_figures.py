"""What a trial of a batch should show in its lamp, by simulation: base conversion, reaction heat, second cycle."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product

from ..lamp_library.lamp import Lamp
from ..models.cure import CureCase, cure_many
from ..models.cycles import repeated_cycles
from ..models.gel import Gel
from ..models.heat import Hand

# The band of a trial: initiators within 5 % of the recipe (a supplier's usual release limit, common practice) and a film
# within 10 % of its thickness (assumed), all four corners.
INITIATOR_BAND = 0.05
THICKNESS_BAND = 0.10
TRIAL_CYCLES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialSet:
    """Where and how a trial is run.

    Parameters
    ----------
    lamp : Lamp
        The client's lamp.
    exposure_s, rest_s : float
        Lit and dark time of a cycle [s].
    thickness_m : float
        Wet film [m].
    programme : str
        Programme of the lamp.
    hand : Hand
        The finger the prediction is made for.
    """

    lamp: Lamp
    exposure_s: float
    rest_s: float
    thickness_m: float
    programme: str
    hand: Hand

    @property
    def positions(self) -> tuple[str, ...]:
        """The weakest and the strongest position, once if they are one."""
        return tuple(dict.fromkeys((self.lamp.weakest, self.lamp.strongest)))


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialFigures:
    """Figures of one gel at one position.

    Parameters
    ----------
    position : str
        Place in the lamp.
    bottom_conversion_fraction : float
        Conversion at the base of the coat after one cycle [-].
    nail_bed_peak_k : float
        Highest temperature of the nail bed [K].
    film_peak_rise_k, interface_peak_rise_k : float
        Highest rise by reaction, sample less blank, in the first cycle: hottest place of the film, and the face of film
        and nail where a thermocouple lies [K].
    second_cycle_heat_ratio : float
        Reaction heat of the second cycle over the first [-].
    """

    position: str
    bottom_conversion_fraction: float
    nail_bed_peak_k: float
    film_peak_rise_k: float
    interface_peak_rise_k: float
    second_cycle_heat_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """A trial's figures at one position with their band.

    Parameters
    ----------
    target, low, high : TrialFigures
        For the recipe; least and most of every figure over the corners of the band, recipe included.
    """

    target: TrialFigures
    low: TrialFigures
    high: TrialFigures


FIGURES = tuple(name for name in TrialFigures.__slots__ if name != "position")


def trial_figures(gel: Gel, trial: TrialSet, thickness_m: float | None = None) -> tuple[TrialFigures, ...]:
    """Simulate a trial at every position it is judged at.

    Parameters
    ----------
    gel : Gel
        What is cured.
    trial : TrialSet
        How.
    thickness_m : float, optional
        Another film than the trial's [m].

    Returns
    -------
    tuple of TrialFigures
        One per position.
    """
    cases = [
        CureCase(
            gel=gel, lamp=trial.lamp, exposure_s=trial.exposure_s, position=position, programme=trial.programme,
            thickness_m=thickness_m or trial.thickness_m, rest_s=trial.rest_s, hand=trial.hand,
        )
        for position in trial.positions
    ]  # fmt: skip
    found = []
    for case, once in zip(cases, cure_many(cases), strict=True):
        again = repeated_cycles(replace(case, cycles=TRIAL_CYCLES))
        first = again.time_s <= case.exposure_s + case.rest_s
        found.append(
            TrialFigures(
                position=case.lamp_position,
                bottom_conversion_fraction=once.bottom_conversion_fraction,
                nail_bed_peak_k=once.nail_bed_peak_k,
                film_peak_rise_k=float(again.peak_rise_by_cycle_k[0]),
                interface_peak_rise_k=float(again.interface_rise_k[first].max()),
                second_cycle_heat_ratio=again.second_cycle_heat_ratio,
            )
        )
    return tuple(found)


def expected(gel: Gel, trial: TrialSet) -> tuple[Expected, ...]:
    """A trial's figures with the band that weighing and film thickness leave, one per position."""
    target = trial_figures(gel, trial)
    corners = [
        trial_figures(_stronger(gel, 1.0 + load), trial, trial.thickness_m * (1.0 + film))
        for load, film in product((-INITIATOR_BAND, INITIATOR_BAND), (-THICKNESS_BAND, THICKNESS_BAND))
    ]
    return tuple(
        Expected(target=here, low=_edge(min, all_), high=_edge(max, all_))
        for here, all_ in zip(target, zip(target, *corners, strict=True), strict=True)
    )


def _stronger(gel: Gel, factor: float) -> Gel:
    return gel.with_initiators(
        {key: load * factor for key, load in gel.initiators_wt_pct.items()},
        {key: load * factor for key, load in gel.amines_wt_pct.items()},
    )


def _edge(edge: Callable[[Iterable[float]], float], each: Sequence[TrialFigures]) -> TrialFigures:
    values = {name: edge(getattr(one, name) for one in each) for name in FIGURES}
    return TrialFigures(position=each[0].position, **values)
