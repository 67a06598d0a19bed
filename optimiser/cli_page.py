"""The `gelwright page` command: the live page on this machine."""

from __future__ import annotations

from typing import Annotated

import typer


def page(
    gels: Annotated[
        str,
        typer.Option(
            metavar="A,B,...", help="Gel files or packaged ids to choose from; 'demo' for all packaged."
        ),
    ] = "demo",
    lamps: Annotated[
        str,
        typer.Option(
            metavar="A,B,...", help="Lamp folders or packaged ids to choose from; 'demo' for all packaged."
        ),
    ] = "demo",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; a free one if 0.")] = 0,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
) -> None:
    """Move sliders and see how a gel cures in a lamp; two lamps or two gels side by side; a mode for lessons.

    Runs on this machine only and needs no network. Stop it with Ctrl-C. Example: gelwright page --gels my_gel.toml
    """
    from .grid_inputs import load_gels, load_lamps
    from .page_answers import Shelf
    from .page_run import run_page

    run_page(Shelf(gels=load_gels(gels), lamps=load_lamps(lamps)), port, browser, typer.echo)
