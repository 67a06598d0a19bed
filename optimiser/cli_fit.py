"""The `gelwright fit` command: calibrate a gel with measured trials."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from . import completion


def fit(
    trials: Annotated[
        list[str], typer.Argument(metavar="TRIAL...", help="Trial folders, all of one resin base.")
    ],
    gel: Annotated[
        str | None,
        typer.Option(
            metavar="GEL",
            autocompletion=completion.gels,
            help="Gel to calibrate, file or id; that of the first trial if left out.",
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the calibrated gel: a new .toml file.")
    ] = None,
    free: Annotated[
        str | None,
        typer.Option(
            metavar="NAMES",
            help="Parameters to fit, such as k_p0,k_t0,f; f = every initiator's. A usual set if left out.",
        ),
    ] = None,
    plots: Annotated[
        Path | None,
        typer.Option("--plots", metavar="DIR", help="Folder for residual and parameter pictures."),
    ] = None,
    profile: Annotated[
        bool, typer.Option("--profile/--no-profile", help="Intervals by profile likelihood; slower.")
    ] = True,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Calibrate a gel's rate parameters with measured trials, and say what the trials do not determine.

    The calibrated gel carries its doubt along: cure, tune and the chance of passing use both.

    Example: gelwright fit my_trial another_trial --free k_p0,k_t0 --out fitted.toml
    """
    from .fit_command import FitRequest, run_fit
    from .progress import ProgressBar

    asked = FitRequest(
        trials=tuple(trials), gel=gel, free=free, out=out, plots=plots, with_profiles=profile, workers=workers
    )
    with ProgressBar() as bar:
        text, data, written = run_fit(asked, bar)
    for path in written:
        typer.echo(f"Written: {path}", err=True)
    typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) if as_json else text)
