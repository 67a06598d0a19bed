"""The `gelwright why` command: why a substance or a blend is not the answer to a brief."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from . import completion


def why(
    brief: Annotated[
        str,
        typer.Argument(
            metavar="BRIEF",
            autocompletion=completion.briefs,
            help="TOML file of a brief, or a packaged id such as demo.",
        ),
    ],
    asked: Annotated[
        list[str],
        typer.Argument(
            metavar="BLEND...", help="Substances or blends: TPO-L, BAPO+HCPK, or BAPO=0.2+HCPK=0.5 (wt%)."
        ),
    ],
    run: Annotated[
        Path | None,
        typer.Option(
            "--run", metavar="DIR", help="Run folder of this brief, so that nothing is searched twice."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
) -> None:
    """Say why a substance or a blend is not the answer: law, brief, light, a limit broken, or the rank.

    Example: gelwright why demo TPO-L BAPO=0.3
    """
    from .brief_reader import read_brief
    from .cautions import short_cautions
    from .demo_data import brief_path
    from .progress import ProgressBar
    from .tune import resolve, searched_problem
    from .why import as_shown, read_asked, why_not

    for each in asked:
        read_asked(each)  # a mistyped name shows before anything is searched
    inputs = resolve(read_brief(brief_path(brief)))
    with ProgressBar() as bar:
        problem, found = searched_problem(inputs, run, workers=workers, progress=bar, say=bar.say)
        shown = as_shown(problem, found)
        answers = [why_not(problem, shown, each) for each in asked]
    if as_json:
        typer.echo(
            json.dumps([asdict(each) for each in answers], indent=2, ensure_ascii=False, allow_nan=False)
        )
        return
    for answer in answers:
        typer.echo(f"{answer.asked}:")
        for sentence in answer.sentences:
            typer.echo(f"  {sentence}")
    typer.echo("\nCautions:")
    for caution in short_cautions(inputs.brief.on_date):
        typer.echo(f"- {caution}")
