"""The `gelwright start` command: a project folder to begin with."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def start(folder: Annotated[Path, typer.Argument(metavar="DIR", help="New folder.")]) -> None:
    """Make a project folder with a commented brief, a gel and a lamp, and say what to do next.

    Example: gelwright start my_project
    """
    from .starting import start_project

    for path in start_project(folder):
        typer.echo(f"Written: {path}")
    typer.echo(f"\nNext: cd {folder}, read FIRST_STEPS.txt, then: gelwright tune brief.toml --out run")
