"""The `gelwright handout` command: one printed page for lessons."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ..lamp_library.errors import InputError
from . import completion
from .cli_options import LampOption


def handout(
    gel: Annotated[
        str, typer.Argument(metavar="GEL", autocompletion=completion.gels, help="Gel file or packaged id.")
    ],
    lamp: LampOption,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Page to write: .pdf, .png or .svg.")],
    other_lamp: Annotated[
        str | None,
        typer.Option(
            metavar="L", autocompletion=completion.lamps, help="Beside it: the same gel in this lamp."
        ),
    ] = None,
    other_gel: Annotated[
        str | None,
        typer.Option(
            metavar="GEL", autocompletion=completion.gels, help="Beside it: this gel, in the same lamp."
        ),
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option(min=0.1, max=3600, help="Cure time, s; each gel's own, or 60, if left out."),
    ] = None,
) -> None:
    """Print one page on why gel and lamp belong together, with a second pair beside the first.

    Example: gelwright handout white_colour --lamp demo_narrow_405 --other-lamp demo_fluorescent_365 --out lesson.pdf
    """
    from ..lamp_library.lamp import load_lamp
    from .cure_run import check_picture
    from .demo_data import load_any_gel
    from .handout import pairs_of, write_handout
    from .progress import ProgressBar

    if not (other_lamp or other_gel):
        raise InputError("give --other-lamp or --other-gel (or both): the page compares two pairs.")
    check_picture(out, "--out")
    asked = [(gel, lamp), (other_gel or gel, other_lamp or lamp)]
    with ProgressBar() as bar:
        bar(0, 2, "cure of both pairs")
        pairs = pairs_of([(load_any_gel(first), load_lamp(second)) for first, second in asked], seconds)
        bar(1, 2, "page")
        written = write_handout(pairs, out)
    typer.echo(f"Written: {written}")
    for pair in pairs:
        typer.echo(f"{pair.gel.name} in {pair.lamp.lamp_id}: {pair.cell.outcome}.")
    typer.echo("Predictions of a model for a lesson, with cautions on the page; no release.")
