"""The `gelwright book` commands: a laboratory's trials, gels, lamps and runs in one folder that git can merge."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from .cli_group import SentenceGroup

book_app = typer.Typer(
    cls=SentenceGroup,
    help="Keep trials, gels, lamps and runs in one plain folder; two people can work on copies and merge with git.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

Book = Annotated[Path, typer.Option("--book", metavar="BOOK", help="Folder of the book.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")]


@book_app.command("add")
def add(
    what: Annotated[
        list[Path], typer.Argument(metavar="WHAT...", help="Trial, lamp or run folders, or gel files.")
    ],
    book: Book,
    name: Annotated[str | None, typer.Option(help="Name in the book; its own if left out.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace entries of the same name.")] = False,
) -> None:
    """Copy a trial, gel, lamp or run into the book, which is begun if there is none.

    Example: gelwright book add my_trial --book my_book
    """
    from ..lamp_library.errors import InputError
    from .book import add as add_entry
    from .book import kind_of, open_book, short_hash

    if name is not None and len(what) > 1:
        raise InputError(f"--name {name}: one name for {len(what)} entries; add them one by one.")
    for path in what:
        kind_of(path)
    folder = open_book(book, new=True)
    for path in what:
        line = add_entry(folder, path, name=name, replace=replace)
        typer.echo(f"{line.act}: {line.kind}/{line.name}  ({short_hash(line.sha256)})")


@book_app.command("list")
def list_all(
    book: Annotated[Path, typer.Argument(metavar="BOOK", help="Folder of the book.")], as_json: Json = False
) -> None:
    """List everything in the book; a damaged entry is named, with exit code 2, and the others still open.

    Example: gelwright book list my_book
    """
    from dataclasses import asdict

    from .book import entries, open_book
    from .book_text import book_text
    from .progress import ProgressBar

    folder = open_book(book)
    with ProgressBar() as bar:
        text, faults = book_text(folder, bar)
    if as_json:
        shown = [asdict(each) | {"folder": str(each.folder)} for each in entries(folder)]
        text = json.dumps(shown, indent=2)
    typer.echo(text)
    if faults:
        raise typer.Exit(2)


@book_app.command("show")
def show(
    book: Annotated[Path, typer.Argument(metavar="BOOK", help="Folder of the book.")],
    name: Annotated[str, typer.Argument(metavar="NAME", help="An entry, or kind/name.")],
) -> None:
    """Where an entry lies, what it is, and what was done to it.

    Example: gelwright book show my_book trial_a
    """
    from .book import entry_named, log_lines, open_book, short_hash

    folder = open_book(book)
    entry = entry_named(folder, name)
    typer.echo(f"{entry.kind}/{entry.name}: {entry.summary or 'does not open'}\nfolder: {entry.folder}")
    if entry.fault:
        typer.echo(f"DAMAGED: {entry.fault}")
    for line in log_lines(folder)[0]:
        if (line.kind, line.name) == (entry.kind, entry.name):
            typer.echo(f"{line.time}  {line.act} by {line.who}  ({short_hash(line.sha256)})")
    if entry.kind == "trials" and not entry.fault:
        typer.echo(f"Analyse it again: gelwright trial show {entry.folder}")
    if entry.fault:
        raise typer.Exit(2)
