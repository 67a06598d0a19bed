"""The `gelwright sheet` command: grams to weigh for a batch, on one printed page."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..lamp_library.errors import InputError
from . import completion

if TYPE_CHECKING:
    from .batch_sheet import Recipe, Sheet

PAPERS = ("a4", "letter")


def sheet(
    what: Annotated[
        str,
        typer.Argument(
            metavar="RUN|GEL",
            autocompletion=completion.gels,
            help="Folder of a finished tune run, or a gel file or packaged id.",
        ),
    ],
    batch_g: Annotated[float, typer.Option(help="Batch size, g.")],
    balance_g: Annotated[float, typer.Option(help="Resolution of the balance, g.")] = 0.01,
    largest_error_pct: Annotated[
        float, typer.Option(min=0.01, max=50, help="Loading error that is marked, % of the loading.")
    ] = 2.0,
    blend: Annotated[int, typer.Option(min=1, help="Run: which of its blends, by rank.")] = 1,
    lamp: Annotated[
        str | None,
        typer.Option(
            metavar="L",
            autocompletion=completion.lamps,
            help="Lamp of the trial. Gel: packaged id or lamp folder, needed. Run: one of its lamps, the first if left out.",
        ),
    ] = None,
    seconds: Annotated[float | None, typer.Option(min=0.1, max=3600, help="Gel: lamp-on time, s.")] = None,
    thickness_um: Annotated[
        float | None, typer.Option(help="Gel: wet film of the trial, um; its own if left out.")
    ] = None,
    programme: Annotated[str | None, typer.Option(help="Gel: one of the lamp's programmes.")] = None,
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for the page and the table; the run's own."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Grams for a batch: what to weigh, in which order, how exactly, and what the trial should show.

    Writes batch_sheet.pdf (one page to print and fill in) and batch_sheet.csv (for the balance).

    Example: gelwright sheet my_run --batch-g 50 --balance-g 0.01
    """
    from .batch_sheet import batch_sheet, is_run_folder
    from .batch_sheet_text import sheet_data, sheet_text
    from .progress import ProgressBar

    if paper not in PAPERS:
        raise InputError(f"--paper {paper}: no known paper. Use {' or '.join(PAPERS)}.")
    with ProgressBar() as bar:
        bar(0, 2, "figures expected of the trial")
        recipe = _recipe(what, blend, lamp, seconds, thickness_um, programme)
        made = batch_sheet(recipe, batch_g, balance_g, largest_error_pct)
        folder = out or (Path(what) if is_run_folder(what) else None)
        bar(1, 2, "page and table")
        written = [] if folder is None else _written(made, folder, paper)
    if folder is None:
        typer.echo("Give --out DIR for the page to print and the table for the balance.", err=True)
    for path in written:
        typer.echo(f"Written: {path}", err=True)
    data = json.dumps(sheet_data(made), indent=2, ensure_ascii=False, allow_nan=False)
    typer.echo(data if as_json else sheet_text(made))


def _recipe(
    what: str,
    blend: int,
    lamp: str | None,
    seconds: float | None,
    thickness_um: float | None,
    programme: str | None,
) -> Recipe:
    """What is weighed: a blend of a run, or a gel with the lamp and time of its trial."""
    from .batch_sheet import is_run_folder, recipe_of_gel, recipe_of_run
    from .demo_data import list_demo_gels

    if is_run_folder(what):
        given = {
            "--seconds": seconds,
            "--thickness-um": thickness_um,
            "--programme": programme,
        }
        named = [name for name, value in given.items() if value is not None]
        if named:
            raise InputError(f"{what}: {', '.join(named)} given, but a run names its own. Leave it out.")
        return recipe_of_run(Path(what), blend, lamp)
    if not what.endswith(".toml") and what not in list_demo_gels():
        raise InputError(
            f"{what}: no folder of a run here, and no packaged gel. Give the --out folder of gelwright tune, or a gel's "
            "TOML file."
        )
    return recipe_of_gel(what, lamp, seconds, thickness_um, programme)


def _written(made: Sheet, folder: Path, paper: str) -> list[Path]:
    """Write the page and the table."""
    import csv

    from .batch_sheet_page import write_page
    from .batch_sheet_text import csv_rows

    folder.mkdir(parents=True, exist_ok=True)
    rows, table = csv_rows(made), folder / "batch_sheet.csv"
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return [write_page(made, folder / "batch_sheet.pdf", paper), table]
