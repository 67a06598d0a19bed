"""The command line: registers the commands and turns errors into one line and an exit code.

Nothing heavy is imported here or at the top of the modules named here, so that ``--help`` answers at once.

Exit codes: 0 done, 1 a fault in the program, 2 bad input, 3 no blend meets the brief, 130 stopped by the user.
"""

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from ..lamp_library.errors import GelwrightError
from .cli_cure import cure
from .cli_lamp import lamp_app
from .cli_tune import tune

_INPUT_ERROR = 2

app = typer.Typer(
    name="gelwright",
    help="Tune the photoinitiator blend of a nail gel to a measured lamp: cured through, and cool enough.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
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


app.add_typer(lamp_app, name="lamp")
app.command()(cure)
app.command()(tune)


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
