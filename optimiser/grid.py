"""Every gel in every lamp: which pairs cure through and stay cool, why the others do not, and what exposure would help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..lamp_library.lamp import Lamp
from ..models.cure import CureCase
from ..models.gel import Gel
from ..models.heat import Hand
from ..models.solver import SolverSettings
from .brief import Limits
from .grid_cells import Cell, Say, cell_of, in_batches, unheard
from .grid_rescue import Bench

if TYPE_CHECKING:
    import pandas as pd

USUAL_SECONDS = 60.0  # common practice, no source: the time of most programmes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Gels against lamps.

    Parameters
    ----------
    gels, lamps : mapping of str to Gel, str to Lamp
        Rows and columns, in order.
    cells : tuple of Cell
        Row by row.
    limits : Limits
        What was asked of every pair.
    films : int
        Films simulated.
    """

    gels: Mapping[str, Gel]
    lamps: Mapping[str, Lamp]
    cells: tuple[Cell, ...]
    limits: Limits
    films: int

    def cell(self, gel_key: str, lamp_id: str) -> Cell:
        """The cell of a pair."""
        return next(each for each in self.cells if (each.gel_key, each.lamp_id) == (gel_key, lamp_id))

    @property
    def is_demonstration(self) -> bool:
        """Whether invented data stand behind it."""
        return any(gel.is_demonstration for gel in self.gels.values()) or any(
            lamp.is_demonstration for lamp in self.lamps.values()
        )

    def to_frame(self) -> pd.DataFrame:
        """The grid as a tidy table: one row per pair and position, SI units in the names of the columns."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "gel": cell.gel_key,
                    "lamp": cell.lamp_id,
                    "outcome": cell.outcome,
                    **{name: getattr(each, name) for name in each.__slots__},
                }
                for cell in self.cells
                for each in cell.positions
            ]
        )


def seconds_for(gel: Gel, seconds: float | None) -> float:
    """Cure time of a gel [s]: the one given, else the gel's own, else the usual one."""
    return seconds or gel.cure_s or USUAL_SECONDS


def run_grid(
    gels: Mapping[str, Gel],
    lamps: Mapping[str, Lamp],
    *,
    seconds: float | None = None,
    limits: Limits | None = None,
    hand: Hand | None = None,
    workers: int | None = None,
    settings: SolverSettings | None = None,
    say: Say = unheard,
) -> Grid:
    """Cure every gel in every lamp at every position, steady programme, and tell why pairs fail.

    Parameters
    ----------
    gels, lamps : mapping
        By key, lamps by their ids, in the order of rows and columns; at least one each.
    seconds : float, optional
        Cure time for all [s]; each gel's own when omitted.
    limits : Limits, optional
        What is asked for; the usual limits when omitted.
    hand : Hand, optional
        Finger; the usual one when omitted.
    workers : int, optional
        Threads; results do not depend on it.
    settings : SolverSettings, optional
        Accuracy.
    say : callable
        Told how many films are done, how many there are, and what comes next.
    """
    asked, finger = limits or Limits(), hand or Hand()
    pairs = [(key, lamp_id) for key in gels for lamp_id in lamps]

    def case(key: str, lamp: Lamp, position: str) -> CureCase:
        return CureCase(
            gel=gels[key],
            lamp=lamp,
            exposure_s=seconds_for(gels[key], seconds),
            position=position,
            hand=finger,
        )

    cases = [
        case(key, lamps[lamp_id], position) for key, lamp_id in pairs for position in lamps[lamp_id].positions
    ]
    figures = in_batches(cases, workers, settings, say)
    cells, start = [], 0
    for key, lamp_id in pairs:
        count = len(lamps[lamp_id].positions)
        cells.append(cell_of(key, gels[key], lamps[lamp_id], figures[start : start + count], asked))
        start += count
    bench = Bench(
        gels=gels, lamps=lamps, limits=asked, hand=finger, workers=workers, settings=settings, say=say
    )
    told = bench.explained(cells)
    return Grid(gels=gels, lamps=lamps, cells=tuple(told), limits=asked, films=len(cases) + bench.films)
