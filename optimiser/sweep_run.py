"""A sweep from its plan to its table: batches on an executor, every finished one written down."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import asdict, dataclass
from pathlib import Path

from ..lamp_library.errors import SolverError
from .brief import Limits
from .code_version import code_version
from .grid_cells import Say, unheard
from .sweep_axes import COLUMNS
from .sweep_films import FIGURES, Found, SweepFigures, SweepFilms, in_order
from .sweep_plan import Combination, SweepPlan

BATCH = 16  # combinations; some 0.3 s of work, of which a crash loses what is in flight
IN_FLIGHT = 2  # batches handed out for each worker
TABLE = "sweep.csv"
_FIXED = ("lamp", "position", *COLUMNS.values(), "hand_start_k", "nail_thickness_m")

Keep = Callable[[Sequence[tuple[int, Found]]], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swept:
    """A finished sweep.

    Parameters
    ----------
    plan : SweepPlan
        What was swept.
    found : tuple of SweepFigures or str
        Figures by the number of the combination, or why it could not be simulated.
    limits : Limits
        What the verdict asks for.
    """

    plan: SweepPlan
    found: tuple[Found, ...]
    limits: Limits

    def cured(self) -> Iterator[tuple[int, SweepFigures]]:
        """Number and figures of every combination that could be simulated."""
        for number, each in enumerate(self.found):
            if not isinstance(each, str):
                yield number, each


def forgotten(rows: Sequence[tuple[int, Found]]) -> None:
    """A record nobody keeps."""


def run_plan(
    plan: SweepPlan,
    executor: Executor,
    *,
    workers: int,
    known: Mapping[int, Found] | None = None,
    keep: Keep = forgotten,
    say: Say = unheard,
    limits: Limits | None = None,
) -> Swept:
    """Cure every combination that is not known yet.

    Parameters
    ----------
    plan : SweepPlan
        What is swept.
    executor : concurrent.futures.Executor
        What runs the batches.
    workers : int
        How many batches it works on at once.
    known : mapping of int to SweepFigures or str, optional
        Combinations cured earlier, by number.
    keep : callable
        Given the rows of every batch as soon as it is cured.
    say : callable
        Told how many combinations are done, how many there are, and what is under way.
    limits : Limits, optional
        What the verdict asks for; the usual limits when omitted.

    Raises
    ------
    InputError
        If a worker runs another version of the code, or lacks a file that the gel names.
    SolverError
        If a worker dies.
    """
    asked = limits or Limits()
    films = SweepFilms(
        gel=plan.gel, lamps=plan.lamps, programme=plan.programme, limits=asked, version=code_version()
    )
    found = dict(known or {})
    waiting = iter(batches_of(plan, found))
    running: set[Future[list[tuple[int, Found]]]] = set()
    try:
        while True:
            while len(running) < IN_FLIGHT * workers and (batch := next(waiting, None)):
                running.add(executor.submit(films, batch))
            say(len(found), plan.count, "combinations of " + ", ".join(axis.key for axis in plan.varied))
            if not running:
                break
            done, running = wait(running, timeout=1.0, return_when=FIRST_COMPLETED)
            for each in done:
                rows = each.result()
                keep(rows)
                found.update(rows)
    except BrokenExecutor as error:
        raise SolverError(
            f"sweep: a worker process ended early ({error}); often there was too little memory. Try fewer --workers; finished "
            "combinations are kept in --out."
        ) from error
    finally:
        for each in running:
            each.cancel()
    return Swept(plan=plan, found=tuple(found[number] for number in range(plan.count)), limits=asked)


def batches_of(plan: SweepPlan, known: Mapping[int, Found]) -> list[list[Combination]]:
    """Combinations not known yet in batches, those of one setting together."""
    left = in_order([plan.combination(number) for number in range(plan.count) if number not in known])
    return [left[start : start + BATCH] for start in range(0, len(left), BATCH)]


def table_of(swept: Swept) -> tuple[list[str], list[list[str]]]:
    """The table as text: heading, then a row per combination, SI units and wt% in the names of the columns.

    Figures have seven digits, which hides what two compilers round differently.
    """
    plan = swept.plan
    named = [axis for axis in plan.axes if axis.column not in _FIXED and axis.kind != "loading"]
    head = [f"{key}_wt_pct" for key in plan.substances]
    head += [*_FIXED, *(axis.column for axis in named), "passes", *FIGURES, "fault"]
    rows = []
    for number, each in enumerate(swept.found):
        combination, values = plan.combination(number), plan.values_of(number)
        row = [f"{loading:.9g}" for _, loading in combination.loadings_wt_pct]
        row += [combination.lamp_id, combination.position or "all"]
        row += [
            f"{value:.9g}"
            for value in (
                combination.thickness_m, combination.exposure_s, combination.hand.start_k, combination.hand.nail_thickness_m,
            )
        ]  # fmt: skip
        row += [str(values[axis.key]) for axis in named]
        if isinstance(each, str):
            row += ["", *("" for _ in FIGURES), each]
        else:
            row += [str(each.passes), *map(_cell, asdict(each).values()), ""]
        rows.append(row)
    return head, rows


def _cell(value: object) -> str:
    return f"{value:.7g}" if isinstance(value, float) else str(value)


def write_table(swept: Swept, path: Path) -> Path:
    """Write the table as CSV, whole or not at all."""
    head, rows = table_of(swept)
    part = path.with_name(f"{path.name}.part")
    with part.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([head, *rows])
    os.replace(part, path)
    return path
