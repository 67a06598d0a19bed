"""The `gelwright trial` commands: from a sheet and its logs to a trial, and what trials show."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from . import completion
from .cli_group import SentenceGroup

trial_app = typer.Typer(
    cls=SentenceGroup,
    help="Read a laboratory trial, set it against the prediction, list and compare trials.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

Calibrated = Annotated[
    str | None,
    typer.Option(
        metavar="GEL",
        autocompletion=completion.gels,
        help="Predict with the calibration of this gel file, as gelwright fit writes it.",
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")]


@trial_app.command("sheet")
def sheet(
    out: Annotated[Path, typer.Option(metavar="FILE", help="Sheet to write, a TOML file.")],
    log: Annotated[
        Path | None, typer.Argument(metavar="[LOG]", help="Logger's file, to fill in its channels.")
    ] = None,
) -> None:
    """Write a trial sheet to be filled in: what was cured, how it was logged, the trial record.

    Example: gelwright trial sheet log.csv --out trial.toml
    """
    from ..lamp_library.errors import InputError
    from .trial_command import sheet_text

    if out.exists():
        raise InputError(f"{out}: exists already; choose another name.")
    if not out.parent.is_dir():
        raise InputError(f"{out}: the folder {out.parent} does not exist. Make it first.")
    out.write_text(sheet_text(log), encoding="utf-8")
    typer.echo(f"Written: {out}. Fill it in, then: gelwright trial read {out} --out DIR")


@trial_app.command("read")
def read(
    sheet: Annotated[str, typer.Argument(metavar="SHEET", help="Trial sheet, or a packaged one's id.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder to write the trial into.")],
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a trial already there.")] = False,
    as_json: Json = False,
) -> None:
    """Read the logs of a sheet, analyse them, set them against the prediction, keep everything in a folder.

    Nothing is written if anything is wrong with the sheet or a log. A trial with a fault (probe not in the gel, lamp not on) is
    kept, named, and left out of fits.

    Example: gelwright trial read tip_three_cycles --out my_trial
    """
    from .progress import ProgressBar
    from .trial_command import PICTURE, read_into
    from .trial_run import trial_data, trial_text

    with ProgressBar() as bar:
        run = read_into(sheet, out, overwrite, bar)
    if as_json:
        typer.echo(json.dumps(trial_data(run), indent=2))
        return
    typer.echo(trial_text(run))
    typer.echo(
        f"\nWritten: {out} with report.txt, results.json and {PICTURE}; the raw logs lie in {out / 'logs'}. "
        f"Open {out / 'report.html'} in a browser."
    )


@trial_app.command("show")
def show(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Trial folder.")],
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Also draw the picture: .png, .svg or .pdf.")
    ] = None,
    calibrated: Calibrated = None,
    as_json: Json = False,
) -> None:
    """Analyse a trial folder again from its raw logs and show it against today's prediction.

    Example: gelwright trial show my_trial --calibrated fitted.toml
    """
    from .cure_run import check_picture
    from .progress import ProgressBar
    from .trial_command import run_folder
    from .trial_run import trial_data, trial_text

    if plot is not None:
        check_picture(plot)
    with ProgressBar() as bar:
        bar(0, 2, "logs and prediction")
        run = run_folder(folder, calibrated)
        if plot is not None:
            from .trial_picture import trial_picture

            bar(1, 2, "picture")
            bar.say(f"Picture written: {trial_picture(run, plot)}")
    typer.echo(json.dumps(trial_data(run), indent=2) if as_json else trial_text(run))


@trial_app.command("list")
def list_all(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Folder with trials; the packaged sheets if left out."),
    ] = None,
    as_json: Json = False,
) -> None:
    """List the trials under a folder; a damaged one is named and the others still open.

    Example: gelwright trial list trials
    """
    from .demo_data import list_demo_sheets
    from .progress import ProgressBar
    from .trial_command import list_trials

    if folder is None:
        names = list_demo_sheets()
        if as_json:
            typer.echo(json.dumps(list(names)))
            return
        typer.echo("Packaged trial sheets (invented demonstration data; three are spoilt on purpose):")
        typer.echo("\n".join(f"  {name}" for name in names))
        typer.echo("\nTry: gelwright trial read tip_three_cycles --out my_trial")
        return
    with ProgressBar() as bar:
        rows = list_trials(folder, bar)
    if as_json:
        shown = [
            {"id": r.trial_id, "folder": str(r.folder), "summary": r.summary, "fault": r.fault} for r in rows
        ]
        typer.echo(json.dumps(shown, indent=2))
        return
    width = max((len(row.trial_id) for row in rows), default=0) + 2
    for row in rows:
        typer.echo(f"{row.trial_id:<{width}}{'DAMAGED: ' + row.fault if row.fault else row.summary}")
    typer.echo(
        f"{len(rows)} {'trial' if len(rows) == 1 else 'trials'}." if rows else f"{folder}: no trials here."
    )


@trial_app.command("compare")
def compare(
    folders: Annotated[list[Path], typer.Argument(metavar="DIR...", help="Trial folders.")],
    calibrated: Calibrated = None,
    as_json: Json = False,
) -> None:
    """Trials side by side: peak, second exposure, and how far the model was off.

    Example: gelwright trial compare trial_a trial_b
    """
    from .progress import ProgressBar
    from .trial_command import compare_text, run_folder
    from .trial_run import trial_data

    runs = []
    with ProgressBar() as bar:
        for number, folder in enumerate(folders):
            bar(number, len(folders), str(folder))
            runs.append(run_folder(folder, calibrated))
    typer.echo(json.dumps([trial_data(run) for run in runs], indent=2) if as_json else compare_text(runs))
