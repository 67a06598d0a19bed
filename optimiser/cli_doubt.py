"""The `gelwright doubt` command: how sure is a gel to pass, and what the doubt comes from."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from ..lamp_library.errors import InputError
from . import completion


def doubt(
    what: Annotated[
        str,
        typer.Argument(
            metavar="RUN|GEL",
            autocompletion=completion.gels,
            help="Folder of a tuning run, a gel's TOML file, or a packaged gel.",
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
    thickness_um: Annotated[
        float | None, typer.Option(help="Gel: wet film, um, varied by 10 %; its own if left out.")
    ] = None,
    programme: Annotated[str | None, typer.Option(help="Gel: one of the lamp's programmes.")] = None,
    hand: Annotated[str | None, typer.Option(help="Gel: usual hand, cold, usual or warm.")] = None,
    nail: Annotated[str | None, typer.Option(help="Gel: usual nail, thin, usual or thick.")] = None,
    draws: Annotated[int, typer.Option(help="Draws behind each chance, a power of two.")] = 256,
    base: Annotated[int, typer.Option(help="Base draws of the shares, a power of two.")] = 64,
    only_use: Annotated[
        bool, typer.Option("--only-use", help="Shares of the conditions of use alone: quicker.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for a page, text, tables and a picture."),
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """How sure is a gel to pass in use, and what does the doubt come from?

    Thickness, lamp, finger, hand, nail, weighing and purity are varied, then the numbers of the model as well. For the
    folder of a tuning run its first blend is studied under its brief.

    Example: gelwright doubt clear_builder --lamp demo_narrow_405 --seconds 60
    """
    from .doubt import doubt_of
    from .doubt_text import doubt_data, doubt_text, write_doubt_folder
    from .gel_case import case_from_options, case_from_run
    from .progress import ProgressBar

    for name, number, least in (("draws", draws, 32), ("base", base, 16)):
        if number < least or number & (number - 1):
            raise InputError(f"--{name} is {number}; give a power of two of {least} or more, such as 64.")
    if out is not None and out.is_file():
        raise InputError(f"--out {out}: is a file. Name a folder.")
    if Path(what).is_dir():
        given = {"--lamp": lamp, "--seconds": seconds, "--thickness-um": thickness_um, "--programme": programme,
                 "--hand": hand, "--nail": nail}  # fmt: skip
        wrong = [name for name, value in given.items() if value is not None]
        if wrong:
            raise InputError(f"{what}: a run sets {', '.join(wrong)} itself. Leave the options out.")
        case = case_from_run(Path(what), draws=draws, workers=workers)
    else:
        if lamp is None or seconds is None:
            raise InputError(f"{what}: a gel needs a lamp and the lamp-on time. Give --lamp and --seconds.")
        case = case_from_options(
            what, lamp, seconds, thickness_um=thickness_um, programme=programme, hand=hand, nail=nail, draws=draws,
            workers=workers,
        )  # fmt: skip
    with ProgressBar() as bar:
        found = doubt_of(case, base=base, groups=("use",) if only_use else ("use", "data"), progress=bar)
        if out is not None:
            write_doubt_folder(found, out)
            bar.say(f"Written: {out}")
    if as_json:
        typer.echo(json.dumps(doubt_data(found), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        typer.echo(doubt_text(found))
