"""The `gelwright build` command: a whole nail by a schedule, coat upon coat, with a plain verdict."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def build(
    schedule: Annotated[
        str, typer.Argument(metavar="SCHEDULE", help="A schedule's TOML file, or a packaged one's id.")
    ],
    lamp: Annotated[
        str | None, typer.Option("--lamp", metavar="L", help="Lamp id or folder; the schedule's if left out.")
    ] = None,
    position: Annotated[
        str | None, typer.Option(help="One position; the schedule's if left out, else all.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for tables and the picture.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Also draw a picture: .png, .svg or .pdf.")
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Build a nail coat by coat: does every coat cure through, does the nail bed stay cool?"""
    from ..lamp_library.errors import InputError
    from ..lamp_library.lamp import load_lamp
    from ..models.stack import build_many
    from .build_picture import build_picture
    from .build_run import build_data, build_text, write_build_folder
    from .cure_run import check_picture
    from .demo_data import load_any_schedule

    if plot is not None:
        check_picture(plot)
    loaded = load_any_schedule(schedule)
    if not (lamp or loaded.lamp):
        raise InputError(f"{schedule}: the schedule names no lamp; give one with --lamp.")
    loaded_lamp = load_lamp(lamp or loaded.lamp)
    named = position or loaded.position
    places = (named,) if named else loaded_lamp.positions
    for place in places:
        loaded_lamp.spectrum(place)
    results = build_many(loaded, loaded_lamp, places, workers=workers)
    if out is not None:
        write_build_folder(loaded, loaded_lamp, results, out)
    if plot is not None:
        build_picture(results, plot)
        typer.echo(f"Picture written: {plot}", err=True)
    if as_json:
        data = build_data(loaded, loaded_lamp, results)
        typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        typer.echo(build_text(loaded, loaded_lamp, results))
