"""What a change of exposure, or more light, would do for a pair that fails; found by bisection, many pairs at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from ..lamp_library.lamp import Lamp
from ..lamp_library.units import um_from_m
from ..models.cure import CureCase
from ..models.gel import Gel
from ..models.heat import Hand
from ..models.quick_cure import QuickFigures
from ..models.solver import SolverSettings
from .brief import Limits
from .grid_cells import Cell, Say, in_batches, judged
from .grid_reasons import reason_of

TRIED_SECONDS = (10.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0)
TRIED_OUTPUTS = (1.5, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0)  # times this lamp's light

Passes = Callable[[Sequence[tuple[int, float]]], Sequence[bool]]


def first_passing(candidates: Mapping[int, Sequence[float]], passes: Passes) -> dict[int, float]:
    """For each key the first candidate that passes, where all behind a passing one pass too.

    Parameters
    ----------
    candidates : mapping of int to sequence of float
        By key, in order.
    passes : callable
        Judges a batch of (key, candidate).

    Returns
    -------
    dict of int to float
        Without the keys whose last candidate fails.

    Examples
    --------
    >>> first_passing({0: (1.0, 2.0, 3.0), 1: (1.0, 2.0)}, lambda asked: [value > 1.5 + key for key, value in asked])
    {0: 2.0}
    """
    asked = [(key, each[-1]) for key, each in candidates.items() if each]
    last = dict(zip((key for key, _ in asked), passes(asked), strict=True))
    low = {key: 0 for key in last if last[key]}
    high = {key: len(candidates[key]) - 1 for key in low}
    while open_keys := [key for key in low if low[key] < high[key]]:
        middle = {key: (low[key] + high[key]) // 2 for key in open_keys}
        judged_now = passes([(key, candidates[key][middle[key]]) for key in open_keys])
        for key, good in zip(open_keys, judged_now, strict=True):
            if good:
                high[key] = middle[key]
            else:
                low[key] = middle[key] + 1
    return {key: candidates[key][high[key]] for key in low}


@dataclass(slots=True, kw_only=True, eq=False)
class Bench:
    """Where failing pairs are tried again under other exposures.

    Parameters
    ----------
    gels, lamps : mapping
        By key.
    limits, hand, workers, settings, say
        As in `grid.run_grid`.
    films : int
        Films simulated here.
    """

    gels: Mapping[str, Gel]
    lamps: Mapping[str, Lamp]
    limits: Limits
    hand: Hand
    workers: int | None
    settings: SolverSettings | None
    say: Say
    films: int = field(default=0)

    def explained(self, cells: Sequence[Cell]) -> list[Cell]:
        """The cells with their reasons, and with what would rescue those that fail.

        Notes
        -----
        Longer times and more light are searched by bisection, taking it that more light never cures the base less; what is
        told as a rescue was itself simulated at the least cured and the hottest position.
        """
        weak = {i: cell for i, cell in enumerate(cells) if "under-cured" in cell.outcome}
        needed = first_passing(
            dict.fromkeys(weak, TRIED_OUTPUTS),
            lambda asked: self._cures([self._dimmer(cells[i], x) for i, x in asked]),
        )
        longer = first_passing(
            {i: [s for s in TRIED_SECONDS if s > cell.exposure_s] for i, cell in weak.items()},
            lambda asked: self._cures(
                [self._case(cells[i], cells[i].soft.position, seconds=x) for i, x in asked]
            ),
        )
        tries = [
            (i, words, case)
            for i, cell in enumerate(cells)
            for words, case in self._tries(cell, longer.get(i))
        ]
        good = self._both([case for _, _, case in tries])
        words: dict[int, list[str]] = {}
        for (i, each, _), passed in zip(tries, good, strict=True):
            words.setdefault(i, []).extend([each] if passed else [])
        return [
            replace(
                cell,
                reason=reason_of(
                    cell,
                    self.gels[cell.gel_key],
                    self.lamps[cell.lamp_id],
                    self.limits,
                    times_the_light=needed.get(i),
                    was_tried=True,
                ),
                rescue=rescue_words(cell, words.get(i, []), len(self.lamps[cell.lamp_id].programmes) > 1),
            )
            for i, cell in enumerate(cells)
        ]

    def _tries(self, cell: Cell, longer_s: float | None) -> list[tuple[str, CureCase]]:
        """Exposures worth a full look: the longer time that cures, shorter ones that could be cooler, other programmes."""
        if cell.passes:
            return []
        place, own = cell.soft.position, cell.exposure_s
        times = [] if longer_s is None else [longer_s]
        if cell.outcome == "too hot":
            hottest = max(cell.positions, key=lambda each: each.nail_bed_peak_k)
            # a lamp switched off after the peak leaves the peak as it is
            times += [s for s in TRIED_SECONDS if s < min(own, hottest.nail_bed_peak_time_s)]
        found = [
            (f"{s:g} s", self._case(cell, place, seconds=s))
            for s in sorted(times, key=lambda s: abs(s - own))
        ]
        names = [name for name in self.lamps[cell.lamp_id].programmes if name != "steady"]
        return found + [(f"programme {n}, {own:g} s", self._case(cell, place, programme=n)) for n in names]

    def _case(
        self,
        cell: Cell,
        position: str,
        *,
        seconds: float | None = None,
        programme: str = "steady",
        lamp: Lamp | None = None,
    ) -> CureCase:
        return CureCase(
            gel=self.gels[cell.gel_key],
            lamp=lamp or self.lamps[cell.lamp_id],
            exposure_s=seconds or cell.exposure_s,
            position=position,
            programme=programme,
            hand=self.hand,
        )

    def _dimmer(self, cell: Cell, factor: float) -> CureCase:
        return self._case(cell, cell.soft.position, lamp=self.lamps[cell.lamp_id].with_output(factor))

    def _run(self, cases: Sequence[CureCase]) -> list[QuickFigures]:
        self.films += len(cases)
        return in_batches(cases, self.workers, self.settings, self.say)

    def _cures(self, cases: Sequence[CureCase]) -> list[bool]:
        return ["under-cured" not in judged([found], self.limits)[2] for found in self._run(cases)]

    def _both(self, cases: Sequence[CureCase]) -> list[bool]:
        """Whether each exposure passes where the base is cured least and where it is brightest."""
        pairs = [each for case in cases for each in (case, replace(case, position=case.lamp.strongest))]
        figures = self._run(pairs)
        return [
            judged(figures[2 * k : 2 * k + 2], self.limits)[2] == "cures and cool" for k in range(len(cases))
        ]


def rescue_words(cell: Cell, words: Sequence[str], has_programmes: bool) -> str:
    """What would make a failing pair pass, at most two ways; or that no exposure does.

    Parameters
    ----------
    cell : Cell
        The pair.
    words : sequence of str
        Exposures that pass, nearest first.
    has_programmes : bool
        Whether the lamp has more than the steady programme.
    """
    if cell.passes:
        return ""
    if words:
        return f"It would pass with {' or with '.join(words[:2])}."
    others = " or in another of its programmes" if has_programmes else ""
    return (
        f"No exposure tried, up to {TRIED_SECONDS[-1]:g} s{others}, makes this pair pass at {um_from_m(cell.thickness_m):g} µm: "
        "change the film, the blend or the lamp."
    )
