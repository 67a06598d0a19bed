"""The `gelwright tune` command: from a brief to ranked blends and a run folder."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Protocol, TypeVar

import typer

from ..lamp_library.errors import InputError
from . import completion
from .cli_options import STOPPED

if TYPE_CHECKING:
    from .brief import Brief
    from .set_brief import SetBrief


class Answer(Protocol):
    """What every search comes back with."""

    @property
    def is_feasible(self) -> bool:
        """Whether something keeps the limits."""


T = TypeVar("T")
A = TypeVar("A", bound=Answer)
NO_BLEND = 3


def tune(
    brief: Annotated[
        str,
        typer.Argument(
            metavar="BRIEF",
            autocompletion=completion.briefs_and_sets,
            help="TOML file of a brief or a set, or a packaged id such as demo.",
        ),
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Run folder; a stopped run is taken up again.")
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Seed of every draw; the brief's if left out.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Threads; all cores if left out. Results do not depend on it.")
    ] = None,
    exhaustive: Annotated[
        bool, typer.Option("--exhaustive", help="Try every combination of all initiators: the slow audit.")
    ] = False,
    storage: Annotated[
        str | None,
        typer.Option(
            metavar="URL",
            envvar="GELWRIGHT_STORAGE",
            show_envvar=True,
            help="postgresql://user@host/database: share the search with every process given the same brief.",
        ),
    ] = None,
) -> None:
    """Search the blend a brief asks for. Exit code 3 when no blend meets it.

    Example: gelwright tune demo --out my_run
    """
    from .brief_reader import read_brief
    from .demo_data import brief_path
    from .set_brief import is_set, read_set

    file = brief_path(brief)
    options = Options(out=out, as_json=as_json, workers=workers, exhaustive=exhaustive, storage=storage)
    if is_set(file):
        asked_set = read_set(file)
        if seed is not None:
            asked_set = asked_set.seeded(seed)
        _tune_set(asked_set, file, options)
        return
    asked = read_brief(file)
    if seed is not None:
        asked = replace(asked, seed=seed)
    if asked.serve != "one_blend":
        _tune_lamps(asked, file, options)
        return
    if not asked.choices.is_empty:
        _tune_choices(asked, file, options)
        return
    _tune_brief(asked, file, options)


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What the command line asks of a run."""

    out: Path
    as_json: bool
    workers: int | None
    exhaustive: bool
    storage: str | None = None

    def run(
        self,
        search: Callable[..., T],
        asked: object,
        file: Path,
        write: Callable[[T, Path, Path], Path],
    ) -> T:
        """Run a search in the run folder and write its report; a Ctrl-C ends it with a word on what is kept."""
        from .progress import ProgressBar

        _make_folder(self.out)
        try:
            with ProgressBar() as bar:
                outcome = search(
                    asked,
                    self.out,
                    workers=self.workers,
                    exhaustive=self.exhaustive,
                    progress=bar,
                    say=bar.say,
                    storage=self.storage,
                )
                bar.say(written(write(outcome, file, self.out)))
                return outcome
        except KeyboardInterrupt:
            typer.echo(
                f"Stopped. Finished work is kept in {self.out}; the same command takes it up again.", err=True
            )
            raise typer.Exit(STOPPED) from None

    def answer(
        self,
        search: Callable[..., A],
        asked: object,
        file: Path,
        write: Callable[[A, Path, Path], Path],
        text: Callable[[A], str],
        data: Callable[[A], dict[str, Any]],
    ) -> None:
        """Run a search, write its report and print its outcome."""
        outcome = self.run(search, asked, file, write)
        self.show(text(outcome), data(outcome), outcome.is_feasible)

    def show(self, text: str, data: dict[str, Any], is_feasible: bool) -> None:
        """Print an outcome; exit code 3 when nothing keeps the limits."""
        typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) if self.as_json else text)
        if not is_feasible:
            raise typer.Exit(NO_BLEND)


def _tune_brief(asked: Brief, file: Path, options: Options) -> None:
    from .outcome_text import outcome_text
    from .report import write_run_folder
    from .run_data import outcome_data
    from .tune import resolve, tune

    inputs = resolve(asked)  # every fault of the inputs shows here, before anything is written
    outcome = options.run(tune, inputs, file, write_run_folder)
    if outcome.found.is_feasible:
        typer.echo(f"Grams for a trial batch: gelwright sheet {options.out} --batch-g 100", err=True)
    options.show(outcome_text(outcome), outcome_data(outcome), outcome.found.is_feasible)


def _tune_lamps(asked: Brief, file: Path, options: Options) -> None:
    from .lamp_choice import plain_for, tune_lamps
    from .lamp_choice_report import lamps_data, lamps_text, write_lamps_folder
    from .tune import resolve

    for name in asked.lamps:  # every fault of the inputs shows here, before anything is written
        resolve(plain_for(asked, (name,)))
    options.answer(tune_lamps, asked, file, write_lamps_folder, lamps_text, lamps_data)


def _tune_choices(asked: Brief, file: Path, options: Options) -> None:
    from .choices import brief_of, combinations_of, tune_choices
    from .choices_report import choices_data, choices_text, write_choices_folder
    from .tune import resolve

    resolve(brief_of(asked, combinations_of(asked)[0]))
    options.answer(tune_choices, asked, file, write_choices_folder, choices_text, choices_data)


def _tune_set(asked: SetBrief, file: Path, options: Options) -> None:
    from .set_report import set_data, set_text, write_set_folder
    from .set_tune import resolve_set, tune_set

    options.answer(tune_set, resolve_set(asked), file, write_set_folder, set_text, set_data)


def written(report: Path) -> str:
    """Where the page for people lies that stands beside a written report."""
    return f"Written: {report.parent}. Open {report.with_suffix('.html')} in a browser."


def _make_folder(out: Path) -> None:
    if out.exists() and not out.is_dir():
        raise InputError(f"--out {out}: is a file. Name a folder.")
    out.mkdir(parents=True, exist_ok=True)
