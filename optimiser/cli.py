"""The command line: registers the commands and turns errors into one line and an exit code.

Nothing heavy is imported here or at the top of the modules named here, so that ``--help`` answers at once.

Exit codes: 0 done, 1 a fault in the program, 2 bad input, 3 no blend meets the brief, 130 stopped by the user.
"""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Annotated, Any

import typer

from ..lamp_library.errors import GelwrightError, InputError
from .cli_book import book_app
from .cli_cure import cure
from .cli_doubt import doubt
from .cli_edges import dimmest, thickest
from .cli_fit import fit
from .cli_front import front
from .cli_grid import grid
from .cli_group import SentenceGroup
from .cli_handout import handout
from .cli_lamp import lamp_app
from .cli_next import next_trials
from .cli_page import page
from .cli_replace import replace
from .cli_shades import shades
from .cli_sheet import sheet
from .cli_start import start
from .cli_sweep import sweep
from .cli_trial import trial_app
from .cli_tune import tune
from .cli_why import why

_INPUT_ERROR = 2
_USAGE_ERRORS: type[Exception] = typer.BadParameter.__mro__[
    1
]  # the parent of all complaints of the option parser
_NO_NUMBER = "Input should be a valid number, unable to parse string as a number"  # the parser's own words
_HELP_SHOWN = "NoArgsIsHelpError"


@contextmanager
def _usage_in_one_line() -> Iterator[None]:
    """Turn a complaint of the option parser into one line that names the way to help; help itself passes."""
    try:
        yield
    except _USAGE_ERRORS as error:
        if type(error).__name__ == _HELP_SHOWN:
            raise
        words = " ".join(error.format_message().split())  # type: ignore[attr-defined]
        words = words.replace(_NO_NUMBER, "give a plain number").removesuffix(".")
        context = getattr(error, "ctx", None)
        raise InputError(
            f"{words}{'' if words.endswith('?') else '.'} See '{context.command_path if context else 'gelwright'} --help'."
        ) from error


class _OneLineErrors(SentenceGroup):
    """Commands whose usage errors are one line, like every other error, instead of a box."""

    def make_context(self, *args: Any, **extra: Any) -> Any:
        """Read the options before the command."""
        with _usage_in_one_line():
            return super().make_context(*args, **extra)

    def invoke(self, ctx: Any) -> Any:
        """Read the options of the command and run it."""
        with _usage_in_one_line():
            return super().invoke(ctx)


app = typer.Typer(
    name="gelwright",
    cls=_OneLineErrors,
    help="Tune the photoinitiator blend of a nail gel to a measured lamp: cured through, and cool enough.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # help without boxes: importing what draws them takes a third of the time of `--help`
)


def _print_version(wanted: bool) -> None:
    """Print the installed version and stop; a bare checkout has no version to show."""
    if not wanted:
        return
    from importlib.metadata import PackageNotFoundError, version

    try:
        typer.echo(f"gelwright {version('gelwright')}")
    except PackageNotFoundError:
        typer.echo("gelwright, not installed (running from a checkout)")
    raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Show the version and exit."),
    ] = False,
) -> None:
    """Tune the photoinitiator blend of a nail gel to a measured lamp: cured through, and cool enough."""


app.command()(start)
app.add_typer(lamp_app, name="lamp")
app.add_typer(trial_app, name="trial")
app.add_typer(book_app, name="book")
app.command()(cure)
app.command()(grid)
app.command()(sweep)
app.command()(page)
app.command()(handout)
app.command()(tune)
app.command()(why)
app.command()(doubt)
app.command()(front)
app.command()(thickest)
app.command()(dimmest)
app.command()(sheet)
app.command()(replace)
app.command()(shades)
app.command()(fit)
app.command("next")(next_trials)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave the process with the exit code of the module's docstring.

    Parameters
    ----------
    arguments : sequence of str, optional
        Command-line arguments without the program's name; those of the process when omitted.

    Raises
    ------
    SystemExit
        Always, with the exit code.
    """
    try:
        app(args=arguments, prog_name="gelwright")
    except GelwrightError as error:
        print(f"gelwright: {error}", file=sys.stderr)
        sys.exit(_INPUT_ERROR)
    except SystemExit as leaving:
        # a command that stops in good order has said so itself and ends with the same code
        ended_by = leaving.__context__.__cause__ if leaving.__context__ else None
        if isinstance(ended_by, KeyboardInterrupt):
            print("gelwright: stopped before the end.", file=sys.stderr)
        raise
