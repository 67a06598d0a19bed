"""Options that several commands spell the same way."""

from __future__ import annotations

from typing import Annotated

import typer

from . import completion

STOPPED = 130  # exit code of a command that its user stopped, as of a shell

LampOption = Annotated[
    str,
    typer.Option(
        "--lamp", metavar="L", autocompletion=completion.lamps, help="Packaged lamp's id or a lamp folder."
    ),
]
SecondsOption = Annotated[
    float, typer.Option("--seconds", min=0.1, max=3600, help="Lamp-on time of one cycle, s.")
]
