"""The work behind `gelwright sweep`: plan, executor, record, files."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError, unknown_name
from ..models.cure import CureCase, cure_many
from ..models.gel import save_gel
from ..models.results import CureResult
from .demo_data import load_any_gel
from .grid_inputs import load_lamps, names_in
from .page_html import write_page
from .progress import ProgressBar
from .sweep import DASK_SLOTS, EXECUTORS, executor_of
from .sweep_effects import ranked
from .sweep_log import SweepLog
from .sweep_page import sweep_page
from .sweep_picture import sweep_picture
from .sweep_plan import SweepPlan, sweep_plan
from .sweep_run import TABLE, Swept, forgotten, run_plan, write_table
from .sweep_text import sweep_data, sweep_text

BEST_GEL = "best.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepRequest:
    """What was asked on the command line.

    Parameters
    ----------
    gel, lamps : str
        Id or file of the gel; ids or folders of the lamps, commas between.
    vary : sequence of str
        See `sweep_axes.read_axis`.
    seconds, thickness_um : float or None
        Lamp-on time [s] and wet film [um] where they are not varied.
    programme, hand, nail : str or None
        What stays.
    most : int
        Most combinations.
    executor, scheduler : str, str or None
        See `sweep.executor_of`; a scheduler alone means Dask.
    workers : int or None
        How many; all cores when None.
    out : Path or None
        Folder to write.
    """

    gel: str
    lamps: str
    vary: Sequence[str]
    seconds: float | None
    thickness_um: float | None
    programme: str | None
    hand: str | None
    nail: str | None
    most: int
    executor: str | None
    scheduler: str | None
    workers: int | None
    out: Path | None


def run_request(asked: SweepRequest, bar: ProgressBar) -> tuple[str, dict[str, Any]]:
    """Sweep, write the files asked for, and tell.

    Parameters
    ----------
    asked : SweepRequest
        What was asked.
    bar : ProgressBar
        Told what is done.

    Returns
    -------
    tuple of str and dict
        The sweep as text and as plain data.

    Raises
    ------
    InputError
        If the request contradicts itself, or the folder holds another sweep.
    SolverError
        If a worker dies.
    """
    if asked.executor is not None and asked.executor not in EXECUTORS:
        raise unknown_name("executor", asked.executor, EXECUTORS)
    if asked.scheduler is not None and asked.executor not in (None, "dask"):
        raise InputError(
            f"--scheduler {asked.scheduler} needs Dask, not --executor {asked.executor}. Leave one out."
        )
    plan = sweep_plan(
        load_any_gel(asked.gel),
        load_lamps(asked.lamps, "--lamp"),
        asked.vary,
        seconds=asked.seconds,
        thickness_um=asked.thickness_um,
        programme=asked.programme or "steady",
        hand=asked.hand,
        nail=asked.nail,
        most=asked.most,
    )
    log = None if asked.out is None else SweepLog(asked.out, plan.fingerprint, bar.say)
    known = {} if log is None else log.found
    if known:
        bar.say(f"{len(known)} of {plan.count} combinations were cured before.")
    swept = _swept(plan, asked, log, bar)
    best, order = [], ranked(swept)
    if order:
        best = _in_full(plan, order[0][0])
    next_step = ""
    if asked.out is not None:
        write_table(swept, asked.out / TABLE)
        if order:
            next_step = _write_best(plan, order[0][0], asked, asked.out)
            sweep_picture(swept, asked.out)
            write_page(sweep_page(swept, best), asked.out / "report.html")
    text, data = sweep_text(swept, best, next_step), sweep_data(swept, best)
    if asked.out is not None:
        (asked.out / "sweep.txt").write_text(text + "\n", encoding="utf-8")
        written = json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
        (asked.out / "results.json").write_text(written + "\n", encoding="utf-8")
        bar.say(
            f"Written: {asked.out}. Open {asked.out / 'report.html'} in a browser."
            if order
            else f"Written: {asked.out}"
        )
    return text, data


def _swept(plan: SweepPlan, asked: SweepRequest, log: SweepLog | None, bar: ProgressBar) -> Swept:
    kind = asked.executor or ("dask" if asked.scheduler else "threads")
    workers = asked.workers or os.cpu_count() or 1
    known, keep = ({}, forgotten) if log is None else (log.found, log.keep)
    if len(known) == plan.count:
        kind, workers = "threads", 1  # nothing is left to cure
    with executor_of(kind, workers, asked.scheduler) as executor:
        slots = DASK_SLOTS if asked.scheduler and kind == "dask" else workers
        return run_plan(plan, executor, workers=slots, known=known, keep=keep, say=bar)


def _in_full(plan: SweepPlan, number: int) -> list[CureResult]:
    """A combination cured in full at its positions, as `gelwright cure` does."""
    each = plan.combination(number)
    lamp = plan.lamps[each.lamp_id]
    places = lamp.positions if each.position is None else (each.position,)
    return cure_many(
        [
            CureCase(
                gel=each.gel(plan.gel), lamp=lamp, exposure_s=each.exposure_s, position=place, thickness_m=each.thickness_m,
                programme=plan.programme, hand=each.hand,
            )
            for place in places
        ]
    )  # fmt: skip


def _write_best(plan: SweepPlan, number: int, asked: SweepRequest, folder: Path) -> str:
    """Write the gel of a combination, and say how to look closer at it."""
    each, values = plan.combination(number), plan.values_of(number)
    save_gel(each.gel(plan.gel), folder / BEST_GEL)
    given = names_in(asked.lamps, "--lamp")
    names = dict(zip(plan.lamps, given, strict=True)) if len(given) == len(plan.lamps) else {}
    words = f"gelwright cure {folder / BEST_GEL} --lamp {names.get(each.lamp_id, each.lamp_id)} --seconds {each.exposure_s:.12g}"
    words += f" --position {each.position}" if each.position else ""
    words += f" --programme {plan.programme}" if plan.programme != "steady" else ""
    for option, kept in (("hand", asked.hand), ("nail", asked.nail)):
        chosen = values.get(option, kept)
        words += f" --{option} {chosen}" if chosen else ""
    return f"Look closer: {words}"
