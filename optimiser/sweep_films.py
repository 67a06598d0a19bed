"""Combinations of a sweep cured in batches on one core: what goes to a worker, and what comes back.

The figures are those of `gelwright cure` in the same settings: a substance without a loading is left out of the film, and
every film is a calculation of its own, so neither the batch nor the executor changes a number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import groupby

import numpy as np

from ..lamp_library.errors import InputError, SolverError
from ..lamp_library.lamp import Lamp
from ..models.batch import Scenario
from ..models.blend_figures import BlendFigures
from ..models.gel import Gel
from .brief import Limits
from .code_version import code_version
from .colour_figures import yellowness_index
from .constraints import CONVERSION_SCALE, TEMPERATURE_SCALE_K, Constraint
from .evaluators import blend_evaluator
from .sweep_plan import Combination
from .verdict import CureFigures, judge

_LEAST = ("surface_conversion_fraction", "mean_conversion_fraction")
_MOST = ("uncured_layer_m", "film_peak_k", "damage_henriques", "damage_weaver_stoll")


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepFigures:
    """What a combination comes to over its positions.

    Attributes
    ----------
    cures, stays_cool : bool
        The verdict of `gelwright cure`, by the usual limits.
    room_to_limit_ratio : float
        Room to the nearest of these limits in steps of 5 K or 0.05 of conversion; negative where one is broken.
    least_cured_position, hottest_position : str
        Where base conversion and nail-bed peak below are found.
    bottom_conversion_fraction, bottom_conversion_asked_fraction, conversion_ceiling_fraction : float
        Lowest conversion at the base, the one asked for, and the possible one [-].
    surface_conversion_fraction, mean_conversion_fraction : float
        Lowest of all positions [-].
    uncured_layer_m, film_peak_k : float
        Thickest tacky layer [m], hottest film [K].
    nail_bed_peak_k, cem43_min : float
        Hottest nail bed [K] and its dose [min].
    damage_henriques, damage_weaver_stoll : float
        Damage band at the nail bed [-], highest of all positions.
    second_cycle_heat_ratio : float
        Heat of a second cycle after 60 s of rest over that of the first [-], at the weakest position.
    yellowness_ratio, residual_initiator_wt_pct : float
        Highest yellowness index of the binder (ASTM E313) [-], and most initiator left [wt%].
    """

    cures: bool
    stays_cool: bool
    room_to_limit_ratio: float
    least_cured_position: str
    hottest_position: str
    bottom_conversion_fraction: float
    bottom_conversion_asked_fraction: float
    conversion_ceiling_fraction: float
    surface_conversion_fraction: float
    mean_conversion_fraction: float
    uncured_layer_m: float
    film_peak_k: float
    nail_bed_peak_k: float
    cem43_min: float
    damage_henriques: float
    damage_weaver_stoll: float
    second_cycle_heat_ratio: float
    yellowness_ratio: float
    residual_initiator_wt_pct: float

    @property
    def passes(self) -> bool:
        """Whether the limits are kept."""
        return self.cures and self.stays_cool


FIGURES = tuple(item.name for item in fields(SweepFigures))
Found = SweepFigures | str  # figures, or why a combination could not be simulated


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepFilms:
    """Cures combinations; goes to a worker as it is.

    Parameters
    ----------
    gel : Gel
        The gel.
    lamps : mapping of str to Lamp
        By their ids.
    programme : str
        One that every lamp has.
    limits : Limits
        What the verdict asks for.
    version : str
        Version of the code that every worker must have.
    """

    gel: Gel
    lamps: Mapping[str, Lamp]
    programme: str
    limits: Limits
    version: str

    def __call__(self, batch: Sequence[Combination]) -> list[tuple[int, Found]]:
        """Number and figures of every combination; neighbours of one setting share its packing.

        Raises
        ------
        InputError
            If this worker runs another version of the code.
        """
        if code_version() != self.version:
            raise InputError(
                f"sweep: a worker runs another version of the model or its data ({code_version()}; here it is {self.version}). "
                "Install the same gelwright on every worker."
            )
        found: list[tuple[int, Found]] = []
        for _, same in groupby(batch, _setting):
            group = list(same)
            try:
                found += self._cured(group)
            except SolverError:
                found += [pair for each in group for pair in self._one(each)]
        return found

    def _one(self, each: Combination) -> list[tuple[int, Found]]:
        try:
            return self._cured([each])
        except SolverError as error:
            return [(each.number, str(error))]

    def _cured(self, group: Sequence[Combination]) -> list[tuple[int, Found]]:
        first = group[0]
        gel, lamp = first.gel(self.gel), self.lamps[first.lamp_id]
        places = lamp.positions if first.position is None else (first.position,)
        weakest = lamp.weakest if first.position is None else first.position
        cycles = [(place, 1) for place in places] + [(weakest, 2)]
        scenarios = [
            Scenario(
                lamp=lamp,
                position=place,
                thickness_m=first.thickness_m,
                exposure_s=first.exposure_s,
                programme=self.programme,
                cycles=number,
                hand=first.hand,
            )
            for place, number in cycles
        ]
        initiators, amines = tuple(gel.initiators_wt_pct), tuple(gel.amines_wt_pct)
        loadings = np.array(
            [[dict(each.loadings_wt_pct)[key] for key in (*initiators, *amines)] for each in group]
        )
        figures = blend_evaluator(gel, initiators, amines, scenarios, workers=1)(loadings)
        yellowness = np.stack(
            [
                yellowness_index(
                    gel,
                    initiators,
                    amines,
                    loadings,
                    figures.residual_initiator_wt_pct[:, at, :],
                    first.thickness_m,
                )
                for at in range(len(places))
            ],
            axis=1,
        ).max(axis=1)
        return [
            (each.number, self._reduced(figures, at, places, first.thickness_m, float(yellowness[at])))
            for at, each in enumerate(group)
        ]

    def _reduced(
        self, figures: BlendFigures, blend: int, places: Sequence[str], thickness_m: float, yellowness: float
    ) -> SweepFigures:
        """Figures of one blend over its positions, judged where it is cured least and where it gets hottest."""
        films = [
            CureFigures(
                position=place,
                thickness_m=thickness_m,
                conversion_ceiling_fraction=float(figures.conversion_ceiling_fraction[at]),
                **{
                    name: float(getattr(figures, name)[blend, at])
                    for name in ("bottom_conversion_fraction", "film_peak_k", "nail_bed_peak_k", "cem43_min", "uncured_layer_m")
                },
            )
            for at, place in enumerate(places)
        ]  # fmt: skip
        soft = min(films, key=lambda film: film.bottom_conversion_fraction / film.conversion_ceiling_fraction)
        hot = max(films, key=lambda film: (film.nail_bed_peak_k, film.cem43_min))
        verdict = judge(soft, hot, self.limits)
        least = {name: float(getattr(figures, name)[blend, : len(places)].min()) for name in _LEAST}
        most = {name: float(getattr(figures, name)[blend, : len(places)].max()) for name in _MOST}
        residual = figures.residual_initiator_wt_pct[blend, : len(places)].sum(axis=1)
        return SweepFigures(
            cures=bool(verdict.cures),
            stays_cool=bool(verdict.stays_cool),
            room_to_limit_ratio=rooms_to_limits(
                soft.bottom_conversion_fraction,
                soft.conversion_ceiling_fraction,
                hot.nail_bed_peak_k,
                hot.cem43_min,
                self.limits,
            )[0],
            least_cured_position=soft.position,
            hottest_position=hot.position,
            bottom_conversion_fraction=soft.bottom_conversion_fraction,
            bottom_conversion_asked_fraction=asked_fraction(soft.conversion_ceiling_fraction, self.limits),
            conversion_ceiling_fraction=soft.conversion_ceiling_fraction,
            nail_bed_peak_k=hot.nail_bed_peak_k,
            cem43_min=hot.cem43_min,
            second_cycle_heat_ratio=float(figures.second_cycle_heat_ratio[blend, -1]),
            yellowness_ratio=yellowness,
            residual_initiator_wt_pct=float(residual.max()),
            **least,
            **most,
        )


def _setting(each: Combination) -> tuple[object, ...]:
    """What combinations must share to be packed once: all but the loadings, and which substances are there at all."""
    held = tuple(key for key, loading in each.loadings_wt_pct if loading > 0.0)
    return (each.lamp_id, each.position or "", each.thickness_m, each.exposure_s, repr(each.hand), held)


def in_order(combinations: Sequence[Combination]) -> list[Combination]:
    """Combinations with those of one setting beside each other."""
    return sorted(combinations, key=lambda each: (*_setting(each), each.number))


def asked_fraction(ceiling_fraction: float, limits: Limits) -> float:
    """Conversion asked for at the base [-]."""
    return (
        limits.bottom_conversion_min_fraction
        or (limits.bottom_conversion_min_share or 0.0) * ceiling_fraction
    )


def rooms_to_limits(
    bottom_conversion_fraction: float,
    ceiling_fraction: float,
    nail_bed_peak_k: float,
    cem43_min: float,
    limits: Limits,
) -> tuple[float, ...]:
    """Room to each limit of a verdict, the nearest first, in the steps a search counts in; negative where it is broken.

    A step is 5 K or 0.05 of conversion; room to the dose follows its logarithm and is 1 without any.

    Parameters
    ----------
    bottom_conversion_fraction, ceiling_fraction : float
        Lowest conversion at the base, and the possible one [-].
    nail_bed_peak_k, cem43_min : float
        Hottest nail bed [K], its dose [min].
    limits : Limits
        What is asked for.
    """
    asked = asked_fraction(ceiling_fraction, limits)
    rows = (
        (_limit(asked, -1, CONVERSION_SCALE, "fraction"), bottom_conversion_fraction),
        (_limit(limits.nail_bed_max_k, 1, TEMPERATURE_SCALE_K, "k"), nail_bed_peak_k),
        (_limit(limits.cem43_max_min, 1, 1.0, "min", logarithmic=True), cem43_min),
    )
    return tuple(sorted(-float(limit.scaled(np.asarray(figure))) for limit, figure in rows))


def _limit(value: float, sense: int, scale: float, unit: str, logarithmic: bool = False) -> Constraint:
    return Constraint(
        name="", limit_name="", figure="", scenario=0, limit=value, sense=sense, scale=scale, unit=unit, logarithmic=logarithmic
    )  # fmt: skip
