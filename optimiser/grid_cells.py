"""One gel in one lamp: figures at every position and the verdict in a word."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from ..lamp_library.lamp import Lamp
from ..models.cure import CureCase
from ..models.gel import Gel
from ..models.quick_cure import QuickFigures, quick_cures
from ..models.results import CureResult
from ..models.solver import SolverSettings
from .brief import Limits
from .verdict import CureFigures, judge

Outcome = Literal["cures and cool", "under-cured", "too hot", "under-cured and too hot"]
OUTCOMES: tuple[Outcome, ...] = ("cures and cool", "under-cured", "too hot", "under-cured and too hot")

BATCH = 200  # films between two words of progress

Say = Callable[[int, int, str], None]


def unheard(done: int, total: int, words: str) -> None:
    """Progress nobody wants to hear."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One gel in one lamp.

    Parameters
    ----------
    gel_key, gel_name, lamp_id, lamp_name, programme : str
        Who with whom.
    thickness_m, exposure_s : float
        Film [m] and lit time [s].
    outcome : Outcome
        The verdict in a word.
    positions : tuple of QuickFigures
        Figures at every finger position.
    soft, hot : CureFigures
        The position cured least and the one that gets hottest.
    asked_fraction : float
        Least conversion asked for at the base [-].
    reason : str
        Why, in one sentence with numbers.
    rescue : str
        What a change of exposure would do; empty for a pair that passes.
    """

    gel_key: str
    gel_name: str
    lamp_id: str
    lamp_name: str
    programme: str
    thickness_m: float
    exposure_s: float
    outcome: Outcome
    positions: tuple[QuickFigures, ...]
    soft: CureFigures
    hot: CureFigures
    asked_fraction: float
    reason: str = ""
    rescue: str = ""

    @property
    def passes(self) -> bool:
        """Whether the gel cures through and stays cool at every position."""
        return self.outcome == "cures and cool"


def in_batches(
    cases: Sequence[CureCase], workers: int | None, settings: SolverSettings | None, say: Say
) -> list[QuickFigures]:
    """Figures of many films, with a word of progress for every batch."""
    found: list[QuickFigures] = []
    for start in range(0, len(cases), BATCH):
        batch = cases[start : start + BATCH]
        say(start, len(cases), f"{batch[0].gel.name} in {batch[0].lamp.lamp_id}")
        found += quick_cures(batch, workers=workers, settings=settings)
    return found


def cure_figures(found: QuickFigures) -> CureFigures:
    """The part of a film's figures a verdict rests on."""
    return CureFigures(
        position=found.position,
        thickness_m=found.thickness_m,
        bottom_conversion_fraction=found.bottom_conversion_fraction,
        conversion_ceiling_fraction=found.conversion_ceiling_fraction,
        film_peak_k=found.film_peak_k,
        nail_bed_peak_k=found.nail_bed_peak_k,
        cem43_min=found.cem43_min,
        uncured_layer_m=found.uncured_layer_m,
    )


def outcome_of(cures: bool, stays_cool: bool) -> Outcome:
    """The verdict in a word."""
    if cures:
        return "cures and cool" if stays_cool else "too hot"
    return "under-cured" if stays_cool else "under-cured and too hot"


def judged(figures: Sequence[QuickFigures], limits: Limits) -> tuple[CureFigures, CureFigures, Outcome]:
    """The least cured place, the hottest place, and the verdict in a word."""
    each = [cure_figures(found) for found in figures]
    soft = min(each, key=lambda one: one.bottom_conversion_fraction / one.conversion_ceiling_fraction)
    hot = max(each, key=lambda one: (one.nail_bed_peak_k, one.cem43_min))
    verdict = judge(soft, hot, limits)
    return soft, hot, outcome_of(verdict.cures, verdict.stays_cool)


def cell_of(key: str, gel: Gel, lamp: Lamp, figures: Sequence[QuickFigures], limits: Limits) -> Cell:
    """A pair from its figures at every position."""
    soft, hot, outcome = judged(figures, limits)
    share = (limits.bottom_conversion_min_share or 0.0) * soft.conversion_ceiling_fraction
    return Cell(
        gel_key=key,
        gel_name=gel.name,
        lamp_id=lamp.lamp_id,
        lamp_name=lamp.name,
        programme="steady",
        thickness_m=figures[0].thickness_m,
        exposure_s=figures[0].exposure_s,
        outcome=outcome,
        positions=tuple(figures),
        soft=soft,
        hot=hot,
        asked_fraction=limits.bottom_conversion_min_fraction or share,
    )


def quick_figures_of(result: CureResult) -> QuickFigures:
    """The deciding figures of a full run."""
    return QuickFigures(
        position=result.position,
        thickness_m=result.thickness_m,
        exposure_s=result.exposure_s,
        bottom_conversion_fraction=result.bottom_conversion_fraction,
        conversion_ceiling_fraction=float(result.conversion_ceiling_fraction[-1]),
        uncured_layer_m=result.uncured_layer_m,
        film_peak_k=result.film_peak_k,
        nail_bed_peak_k=result.nail_bed_peak_k,
        nail_bed_peak_time_s=result.nail_bed_peak_time_s,
        cem43_min=result.cem43_min,
        absorbed_photon_fraction=result.absorbed_photon_fraction,
    )
