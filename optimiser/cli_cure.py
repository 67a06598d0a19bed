"""The `gelwright cure` command: one gel, or a whole build by a schedule, in one lamp, with a plain verdict."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from . import completion

_SHORT_S = 5.0  # shorter cure times are more often minutes by mistake (assumed)


def cure(
    what: Annotated[
        str,
        typer.Argument(
            metavar="GEL|SCHEDULE",
            autocompletion=completion.gels_and_schedules,
            help="TOML file of a gel or a schedule, or a packaged id.",
        ),
    ],
    lamp: Annotated[
        str | None,
        typer.Option(
            metavar="L",
            autocompletion=completion.lamps,
            help="Packaged lamp's id or a lamp folder; a gel needs it.",
        ),
    ] = None,
    seconds: Annotated[
        float | None, typer.Option(min=0.1, max=3600, help="Lamp-on time of one cycle, s; a gel needs it.")
    ] = None,
    position: Annotated[str | None, typer.Option(help="One position only; all if left out.")] = None,
    thickness_um: Annotated[
        float | None, typer.Option(help="Gel: wet film, um; its own if left out.")
    ] = None,
    programme: Annotated[
        str | None, typer.Option(help="Gel: one of the lamp's programmes; steady if left out.")
    ] = None,
    cycles: Annotated[
        int | None, typer.Option(min=1, max=5, help="Gel: cure cycles, 60 s apart; one if left out.")
    ] = None,
    hand: Annotated[str | None, typer.Option(help="Hand: cold, usual or warm.")] = None,
    nail: Annotated[str | None, typer.Option(help="Nail plate: thin, usual or thick.")] = None,
    lamp_hours: Annotated[
        float | None, typer.Option(help="Hours of light since the lamp was measured.")
    ] = None,
    l70_hours: Annotated[
        float | None, typer.Option("--l70-hours", help="Hours of light to 70 % output; 10000 if left out.")
    ] = None,
    battery_v: Annotated[
        float | None, typer.Option(help="Volts per cell, 3.0 to 4.2, of an unregulated battery lamp.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for tables and pictures.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Also draw a picture: .png, .svg or .pdf.")
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Cure a gel, or build a nail by a schedule, in one lamp: does it cure through, does it stay cool?

    A schedule sets coats, times and cycles itself, and may name its lamp. Every position is run unless one is named.

    Example: gelwright cure clear_builder --lamp demo_narrow_405 --seconds 60 --thickness-um 300
    """
    from .cure_command import CureRequest, cure_gel, cure_schedule
    from .cure_run import check_picture
    from .demo_data import is_schedule
    from .progress import ProgressBar

    if plot is not None:
        check_picture(plot)
    asked = CureRequest(
        what=what, lamp=lamp, position=position, warmth=hand, nail=nail, used_hours=lamp_hours, l70_hours=l70_hours,
        cell_voltage_v=battery_v, out=out, plot=plot, workers=workers,
    )  # fmt: skip
    if is_schedule(what):
        gel_only = {
            "seconds": seconds,
            "thickness-um": thickness_um,
            "programme": programme,
            "cycles": cycles,
        }
        with ProgressBar() as bar:
            text, data = cure_schedule(asked, gel_only, bar)
    else:
        with ProgressBar() as bar:
            text, data = cure_gel(asked, seconds, thickness_um, programme, cycles, bar)
        if seconds is not None and seconds < _SHORT_S:
            typer.echo(
                f"Note: {seconds:g} s of light is short. --seconds counts seconds; a minute is 60.", err=True
            )
    if out is not None:
        typer.echo(f"Written: {out}. Open {out / 'report.html'} in a browser.", err=True)
    if plot is not None:
        typer.echo(f"Picture written: {plot}", err=True)
    typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) if as_json else text)
