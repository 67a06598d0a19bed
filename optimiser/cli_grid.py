"""The `gelwright grid` command: gels against lamps."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def grid(
    gels: Annotated[
        str,
        typer.Option(
            metavar="A,B,...", help="Gel files or packaged ids, comma between; 'demo' for all packaged."
        ),
    ],
    lamps: Annotated[
        str,
        typer.Option(
            metavar="A,B,...", help="Lamp folders or packaged ids, comma between; 'demo' for all packaged."
        ),
    ],
    seconds: Annotated[
        float | None,
        typer.Option(min=0.1, max=3600, help="Cure time for all, s; each gel's own, or 60, if left out."),
    ] = None,
    hand: Annotated[str | None, typer.Option(help="Hand: cold, usual or warm.")] = None,
    nail: Annotated[str | None, typer.Option(help="Nail plate: thin, usual or thick.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for page, picture, table and data.")
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Cure every gel in every lamp: which pairs cure through and stay cool, why the others do not, what would help.

    Example: gelwright grid --gels clear_builder,top_coat --lamps demo --out my_grid
    """
    from ..models.heat import Hand
    from .conditions import hand_in_use
    from .grid import run_grid
    from .grid_inputs import load_gels, load_lamps
    from .grid_page import grid_data, grid_text, write_grid_folder
    from .progress import ProgressBar

    known_gels, known_lamps = load_gels(gels), load_lamps(lamps)
    finger = hand_in_use(Hand(), hand, nail)
    with ProgressBar() as bar:
        found = run_grid(known_gels, known_lamps, seconds=seconds, hand=finger, workers=workers, say=bar)
        if out is not None:
            bar.say(f"Written: {write_grid_folder(found, out)}")
    typer.echo(
        json.dumps(grid_data(found), indent=2, ensure_ascii=False, allow_nan=False)
        if as_json
        else grid_text(found)
    )
