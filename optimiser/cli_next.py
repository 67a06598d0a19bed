"""The `gelwright next` command: which trials to do next, and why."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from . import completion


def next_trials(
    gel: Annotated[
        str,
        typer.Argument(
            metavar="GEL",
            autocompletion=completion.gels,
            help="Gel file or id; a calibrated one says what is known already.",
        ),
    ],
    brief: Annotated[
        str,
        typer.Option(
            "--brief",
            metavar="BRIEF",
            autocompletion=completion.briefs,
            help="Brief with lamp, cure time, thickness and limits.",
        ),
    ],
    measure: Annotated[
        str, typer.Option(help="What you can measure: temperature, conversion or both.")
    ] = "temperature",
    noise_k: Annotated[
        float, typer.Option(min=0.001, max=10, help="Noise of sample minus blank, K, one reading a second.")
    ] = 0.2,
    noise_conversion: Annotated[
        float, typer.Option(min=0.0001, max=0.5, help="Noise of a conversion reading, one a second.")
    ] = 0.01,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Plan three trials, in order, that take most away of the doubt whether a gel meets a brief.

    Tried are lamp positions, thicknesses, loadings and exposures. A calibrated gel (see fit) brings what earlier trials taught.

    Example: gelwright next clear_builder --brief demo
    """
    from .next_command import NextRequest, run_next
    from .progress import ProgressBar

    asked = NextRequest(
        gel=gel, brief=brief, measure=measure, noise_k=noise_k, noise_conversion=noise_conversion, workers=workers
    )  # fmt: skip
    with ProgressBar() as bar:
        text, data = run_next(asked, bar)
    typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) if as_json else text)
