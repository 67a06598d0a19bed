"""The fewest blends that cover a range of shades: which initiator packages cure which shade, and an exact set cover.

Candidate packages are those of the shades themselves, those named, and a grid of one and two of the initiators met. Every
candidate is cured in every shade at every position. The smallest cover is found by integer programming
(scipy.optimize.milp, HiGHS), which proves that there is no smaller one; among covers of equal size the one with the least
initiator wins.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import SolverError
from ..lamp_library.lamp import Lamp
from ..models.gel import Gel
from ..models.heat import Hand
from ..models.materials import list_amines, photoinitiator
from .brief import Limits, Margins
from .constraints import build_constraints
from .evaluators import EvaluatorMaker, blend_evaluator
from .gel_case import gel_case, own_blend
from .problem import SCENARIO_FIGURES, Problem

Floats = NDArray[np.float64]
Blend = Mapping[str, float]
Progress = Callable[[int, int, str], None]

GRID_WT_PCT = (0.2, 0.5, 1.0, 2.0, 3.0)
USUAL_MOST_WT_PCT = 5.0  # assumed where no usual maximum is known


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cover:
    """What was found.

    Parameters
    ----------
    shades : tuple of Gel
        The shades.
    candidates : tuple of mapping
        Initiator packages tried [wt%].
    worst : ndarray, shape (n_shade, n_candidate)
        Largest scaled value of any limit; 0 or less where the package passes in the shade.
    stopped_by : tuple of tuple of str
        The limit it belongs to.
    chosen : tuple of int
        Candidates of the smallest cover.
    serves : dict of int to tuple of int
        Chosen candidate to the shades it is used for: each shade takes the chosen one with most room.
    uncovered : tuple of int
        Shades that no candidate cures.
    """

    shades: tuple[Gel, ...]
    candidates: tuple[Blend, ...]
    worst: Floats
    stopped_by: tuple[tuple[str, ...], ...]
    chosen: tuple[int, ...]
    serves: dict[int, tuple[int, ...]]
    uncovered: tuple[int, ...]


def smallest_cover(passes: NDArray[np.bool_], cost: Floats) -> tuple[int, ...]:
    """The fewest columns that cover every row that can be covered; of equals those of least total cost.

    Parameters
    ----------
    passes : ndarray of bool, shape (n_row, n_column)
        Whether a column covers a row.
    cost : ndarray, shape (n_column,)
        Decides between covers of equal size only.

    Returns
    -------
    tuple of int
        Columns, in order; proven smallest.

    Examples
    --------
    >>> import numpy as np
    >>> smallest_cover(np.array([[True, False, True], [False, True, True]]), np.ones(3))
    (2,)
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    rows = passes[passes.any(axis=1)]
    if not len(rows):
        return ()
    count = passes.shape[1]
    share = cost / max(float(cost.sum()), 1e-300)
    # all costs together weigh less than one column
    weights = 1.0 + 0.5 * share
    answer = milp(
        weights,
        constraints=LinearConstraint(rows.astype(float), lb=1.0, ub=np.inf),
        integrality=np.ones(count, dtype=np.intp),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 0.0},
    )
    if answer.x is None:
        raise SolverError(f"set cover: no answer ({answer.message}); try fewer blends.")
    return tuple(int(column) for column in np.flatnonzero(answer.x > 0.5))


def packages(shades: Sequence[Gel], named: Sequence[Blend], with_grid: bool = True) -> tuple[Blend, ...]:
    """Candidate packages: the shades' own, those named, and a grid of one and two of the initiators met.

    Loadings of the grid stay within the usual maximum of the substance and within what dissolves, where these are known.
    """
    found: list[Blend] = [*named, *(own_blend(gel) for gel in shades if own_blend(gel))]
    if with_grid:
        keys = sorted({key for blend in found for key in blend if not is_amine(key)})
        plain = [key for key in keys if photoinitiator(key).mechanism == "type_I"]
        for key in plain:
            found += [{key: load} for load in GRID_WT_PCT if load <= _most(key)]
        for one, other in combinations(plain, 2):
            found += [
                {one: a, other: b}
                for a in GRID_WT_PCT
                if a <= _most(one)
                for b in GRID_WT_PCT
                if b <= _most(other)
            ]
    unique: dict[tuple[tuple[str, float], ...], Blend] = {}
    for blend in found:
        unique.setdefault(tuple(sorted(blend.items())), dict(blend))
    return tuple(unique.values())


def is_amine(key: str) -> bool:
    """Whether a substance is an amine rather than a photoinitiator."""
    return key in list_amines()


def _most(key: str) -> float:
    record = photoinitiator(key)
    usual = USUAL_MOST_WT_PCT if record.usual_max_wt_pct is None else record.usual_max_wt_pct
    return usual if record.solubility_wt_pct is None else min(usual, record.solubility_wt_pct)


def cover_shades(
    shades: Sequence[Gel],
    lamp: Lamp,
    candidates: Sequence[Blend],
    *,
    exposure_s: float,
    programme: str = "steady",
    hand: Hand | None = None,
    limits: Limits | None = None,
    workers: int | None = None,
    progress: Progress,
    make_evaluator: EvaluatorMaker = blend_evaluator,
) -> Cover:
    """Find the fewest packages for some shades.

    Parameters
    ----------
    shades : sequence of Gel
        Each at its own thickness; its own initiators are only one candidate.
    lamp : Lamp
        The lamp.
    candidates : sequence of mapping
        Packages (see `packages`).
    exposure_s, programme, hand, limits, workers
        As for `gel_case`.
    progress : callable
        Told about each shade.
    make_evaluator : callable
        Builds the simulator.
    """
    keys = sorted({key for blend in candidates for key in blend})
    initiators = [key for key in keys if not is_amine(key)]
    order = (*initiators, *(key for key in keys if is_amine(key)))
    loadings = np.array([[blend.get(key, 0.0) for key in order] for blend in candidates])
    worst, stopped = [], []
    for number, shade in enumerate(shades):
        progress(number, len(shades), shade.name)
        full = shade.with_initiators(
            dict.fromkeys(initiators, 0.01), {key: 0.01 for key in order if key not in initiators}
        )
        case = gel_case(
            full, lamp, exposure_s=exposure_s, programme=programme, hand=hand, limits=limits, workers=workers,
            window_share=0.0, make_evaluator=make_evaluator,
        )  # fmt: skip
        value, names = _judged(case.problem, loadings)
        worst.append(value)
        stopped.append(names)
    table = np.stack(worst)
    passes = table <= 0.0
    chosen = smallest_cover(passes, loadings.sum(axis=1))
    serves: dict[int, list[int]] = {column: [] for column in chosen}
    for row in range(len(shades)):
        if passes[row].any():
            serves[min(chosen, key=lambda column: table[row, column])].append(row)
    return Cover(
        shades=tuple(shades), candidates=tuple(candidates), worst=table, stopped_by=tuple(stopped), chosen=chosen,
        serves={column: tuple(rows) for column, rows in serves.items()},
        uncovered=tuple(int(row) for row in np.flatnonzero(~passes.any(axis=1))),
    )  # fmt: skip


def _judged(problem: Problem, loadings_wt_pct: Floats) -> tuple[Floats, tuple[str, ...]]:
    """Largest scaled value of any limit for each package, at every position, and the limit it belongs to."""
    thickness = problem.brief.thickness_high_m
    scenarios = [problem.scenario(place, thickness) for place in problem.lamp.positions]
    n = len(scenarios)
    if problem.judges_second_cycle:
        scenarios.append(problem.scenario(problem.lamp.weakest, thickness, 2))
    figures = problem.new_evaluator(scenarios)(loadings_wt_pct)
    rows = build_constraints(
        replace(problem.brief, margins=Margins()), scenarios, cure=range(n), heat=range(n),
        second=range(n, len(scenarios)), ceilings=np.full(len(scenarios), problem.ceilings[0]),
    )  # fmt: skip
    used = [row for row in rows if row.figure in SCENARIO_FIGURES]
    scaled = np.stack([row.scaled(getattr(figures, row.figure)[:, row.scenario]) for row in used], axis=1)
    return scaled.max(axis=1), tuple(used[i].limit_name for i in scaled.argmax(axis=1))
