"""The `gelwright front` command: what one wish costs in terms of another."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..lamp_library.errors import InputError
from . import completion
from .cli_options import STOPPED

if TYPE_CHECKING:
    from .front import LedgerMaker
    from .ledger import Ledger
    from .local import Local
    from .problem import Problem
    from .tune import Inputs, Say

NO_BLEND = 3


def front(
    brief: Annotated[
        str,
        typer.Argument(
            metavar="BRIEF",
            autocompletion=completion.briefs,
            help="A brief's TOML file, or a packaged id such as demo.",
        ),
    ],
    against: Annotated[
        str, typer.Option(help="Two or three of cost, heat, yellowness, initiator, margin, with commas.")
    ] = "cost,heat",
    levels: Annotated[
        int | None, typer.Option(min=3, max=40, help="Levels of each axis held; 8, or 5 for three axes.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Folder for a page, tables and a picture; a stopped run goes on."
        ),
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Blends that nothing beats on two or three wishes at once, within a brief. Exit code 3 when no blend meets it.

    Example: gelwright front demo --against cost,heat --out my_front
    """
    from .brief_reader import read_brief
    from .demo_data import brief_path
    from .front import front_of
    from .front_axes import axes_of
    from .front_page import front_page
    from .front_text import front_data, front_text, write_front_folder
    from .page_html import write_page
    from .passing import probability_of_passing
    from .problem import Problem
    from .progress import ProgressBar
    from .tune import resolve

    inputs = resolve(read_brief(brief_path(brief)))
    problem = Problem(
        brief=inputs.brief, lamp=inputs.lamp, gel=inputs.gel, space=inputs.space, more_lamps=inputs.more_lamps,
        workers=workers,
    )  # fmt: skip
    axes = axes_of([name.strip() for name in against.split(",")], problem)
    count = levels or (8 if len(axes) == 2 else 5)
    if out is not None and out.is_file():
        raise InputError(f"--out {out}: is a file. Name a folder.")
    try:
        with ProgressBar() as bar:
            key = f"{' '.join(axis.key for axis in axes)} {count}"
            found = front_of(
                problem, axes, levels=count, ledger=_ledgers(out, inputs, key, bar.say), progress=bar
            )
            passing = {}
            for index in sorted({0, found.knee, len(found.points) - 1}) if found.points else ():
                part = problem.narrowed(tuple(found.points[index].blend_wt_pct))
                passing[index] = probability_of_passing(part, part.vector(found.points[index].blend_wt_pct))
            if out is not None:
                out.mkdir(parents=True, exist_ok=True)
                write_front_folder(found, inputs, passing, out)
                if found.points:
                    write_page(front_page(found, inputs, passing), out / "report.html")
                bar.say(f"Written: {out}")
    except KeyboardInterrupt:
        kept = (
            f"Finished work is kept in {out}; the same command takes it up again."
            if out
            else "Nothing was kept."
        )
        typer.echo(f"Stopped. {kept}", err=True)
        raise typer.Exit(STOPPED) from None
    data = front_data(found, inputs, passing)
    typer.echo(
        json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
        if as_json
        else front_text(found, inputs, passing)
    )
    if not found.points:
        raise typer.Exit(NO_BLEND)


class _Memory:
    """A record that lasts as long as the run."""

    def __init__(self) -> None:
        self.units: dict[str, Local] = {}

    def get(self, unit: str) -> Local | None:
        return self.units.get(unit)

    def put(self, unit: str, found: Local, seconds: float) -> None:
        self.units[unit] = found


def _ledgers(out: Path | None, inputs: Inputs, key: str, say: Say) -> LedgerMaker:
    """Records in folders of their own below the run folder, or in memory without one."""

    def make(name: str, problem: Problem) -> Ledger:
        if out is None:
            return _Memory()
        from .record import Record
        from .tune import fingerprint

        folder = out / "work" / (name if name != "levels" else f"levels {key}".replace(" ", "_"))
        folder.mkdir(parents=True, exist_ok=True)
        return Record(folder, f"{fingerprint(inputs, False)} {name}", problem, say)

    return make
