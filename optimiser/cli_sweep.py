"""The `gelwright sweep` command: every combination of loadings, films, cure times and lamps."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from . import completion
from .cli_options import STOPPED

USUAL_MOST = 5000


def sweep(
    gel: Annotated[
        str,
        typer.Argument(
            metavar="GEL", autocompletion=completion.gels, help="TOML file of a gel, or a packaged id."
        ),
    ],
    lamp: Annotated[
        str,
        typer.Option(
            metavar="L,...",
            autocompletion=completion.lamps,
            help="Lamp folders or packaged ids, comma between; 'demo' for all packaged. Several are varied too.",
        ),
    ],
    vary: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=VALUES",
            help="What varies: an initiator's or amine's loading, thickness, seconds, position, hand or nail. Values: "
            "START:STOP:COUNT, START:STOP:COUNT:log, or a list with commas; may be given several times.",
        ),
    ] = None,
    seconds: Annotated[
        float | None, typer.Option(min=0.1, max=3600, help="Lamp-on time where it is not varied, s.")
    ] = None,
    thickness_um: Annotated[
        float | None, typer.Option(help="Wet film where it is not varied, um; the gel's own if left out.")
    ] = None,
    programme: Annotated[
        str | None, typer.Option(help="A programme that every lamp has; steady if left out.")
    ] = None,
    hand: Annotated[str | None, typer.Option(help="Hand: cold, usual or warm.")] = None,
    nail: Annotated[str | None, typer.Option(help="Nail plate: thin, usual or thick.")] = None,
    most: Annotated[int, typer.Option(min=1, help="Most combinations that are cured.")] = USUAL_MOST,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Folder for page, picture, table and data; a stopped sweep goes on."
        ),
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="How many; all cores if left out.")] = None,
    executor: Annotated[
        str | None, typer.Option(help="Workers: threads, processes or dask; threads if left out.")
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Running Dask scheduler, for instance tcp://host:8786."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Cure every combination of loadings, film, cure time and lamps: what moves what, which keep the limits, the best.

    Example: gelwright sweep clear_builder --lamp demo_narrow_405 --vary TPO-L=0.5:3:6 --vary thickness=100,200,300um
    --seconds 60 --out my_sweep
    """
    from .progress import ProgressBar
    from .sweep_command import SweepRequest, run_request

    asked = SweepRequest(
        gel=gel, lamps=lamp, vary=vary or (), seconds=seconds, thickness_um=thickness_um, programme=programme, hand=hand,
        nail=nail, most=most, executor=executor, scheduler=scheduler, workers=workers, out=out,
    )  # fmt: skip
    try:
        with ProgressBar() as bar:
            text, data = run_request(asked, bar)
    except KeyboardInterrupt:
        kept = (
            f"Finished combinations are kept in {out}; the same command goes on from there."
            if out
            else "Nothing was kept."
        )
        typer.echo(f"Stopped. {kept}", err=True)
        raise typer.Exit(STOPPED) from None
    typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) if as_json else text)
