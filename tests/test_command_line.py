"""The entry point: quick to answer, honest exit codes, one line per expected error."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser import cli

REPOSITORY = Path(__file__).resolve().parents[1]
HEAVY = {"scipy", "pandas", "matplotlib", "optuna", "numba"}

# Makes the package as conftest.py does, so that the child process runs with and without an install.
FIND_PACKAGE = f"""
import importlib.util, json, sys, types
if importlib.util.find_spec("gelwright") is None:
    package = types.ModuleType("gelwright")
    package.__path__ = [{str(REPOSITORY)!r}]
    sys.modules["gelwright"] = package
"""

SHOW_HELP = """
from gelwright.optimiser.cli import main
try:
    main(["--help"])
except SystemExit as leaving:
    print(json.dumps({"code": leaving.code, "modules": sorted({m.split(".")[0] for m in sys.modules})}))
"""


def run_python(code: str) -> subprocess.CompletedProcess[str]:
    """Run code in a fresh interpreter outside the checkout's folder."""
    return subprocess.run(
        [sys.executable, "-c", FIND_PACKAGE + code],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
        cwd=REPOSITORY / "tests",
        env={**os.environ, "COLUMNS": "200"},
    )


def stub(error: BaseException) -> typer.Typer:
    """A command line whose one command ends with the given error."""
    app = typer.Typer(pretty_exceptions_enable=False)

    @app.command()
    def fail() -> None:
        raise error

    return app


def test_help_loads_nothing_heavy() -> None:
    answer = json.loads(run_python(SHOW_HELP).stdout.splitlines()[-1])
    assert answer["code"] == 0
    assert HEAVY.intersection(answer["modules"]) == set()


def test_help_names_the_commands() -> None:
    text = run_python(SHOW_HELP).stdout
    for command in ("lamp", "cure", "grid", "sweep", "tune", "sheet", "fit"):
        assert command in text


def test_version_is_told_with_and_without_an_install(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as leaving:
        cli.main(["--version"])
    assert leaving.value.code == 0
    assert capsys.readouterr().out.startswith("gelwright")


def test_bad_input_is_one_line_and_exit_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(cli, "app", stub(InputError("gel.toml: thickness is -5 um; it must be above 0.")))
    with pytest.raises(SystemExit) as leaving:
        cli.main([])
    assert leaving.value.code == 2
    assert capsys.readouterr().err == "gelwright: gel.toml: thickness is -5 um; it must be above 0.\n"


def test_no_feasible_blend_is_exit_3(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli, "app", stub(typer.Exit(3)))
    with pytest.raises(SystemExit) as leaving:
        cli.main([])
    assert leaving.value.code == 3


def test_stopping_is_exit_130_and_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(cli, "app", stub(KeyboardInterrupt()))
    with pytest.raises(SystemExit) as leaving:
        cli.main([])
    assert leaving.value.code == 130
    assert capsys.readouterr().err == "gelwright: stopped before the end.\n"


def test_a_command_that_stops_in_good_order_speaks_for_itself(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(cli, "app", stub(typer.Exit(130)))
    with pytest.raises(SystemExit) as leaving:
        cli.main([])
    assert leaving.value.code == 130
    assert capsys.readouterr().err == ""


def test_a_fault_in_the_program_is_not_dressed_up_as_bad_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli, "app", stub(ZeroDivisionError()))
    with pytest.raises(ZeroDivisionError):
        cli.main([])


def test_unknown_command_is_exit_2() -> None:
    with pytest.raises(SystemExit) as leaving:
        cli.main(["paint"])
    assert leaving.value.code == 2


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["cure", "--bad"], "No such option: --bad"),
        (["cure"], "Missing argument 'GEL|SCHEDULE'"),
        (["cure", "clear_builder", "--seconds", "soon"], "Invalid value for '--seconds'"),
        (["cure", "clear_builder", "--seconds", "1e9"], "less than or equal to 3600"),
        (["nonsense"], "No such command 'nonsense'"),
        (["--what"], "No such option: --what"),
        (["lamp", "read", "x"], "Missing option"),
    ],
)
def test_usage_errors_are_one_line(
    arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as leaving:
        cli.main(arguments)
    said = capsys.readouterr().err
    assert leaving.value.code == 2
    assert message in said
    assert said.count("\n") == 1
    assert "--help'" in said


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        ("cure cl", {"clear_builder"}),
        ("cure full", {"full_build"}),
        ("cure clear_builder --lamp demo_narrow_4", {"demo_narrow_405"}),
        ("lamp show demo_st", {"demo_strong_395"}),
        ("tune base_and", {"base_and_builder"}),
        ("why dem", {"demo"}),
        ("sweep cl", {"clear_builder"}),
        ("cure ./cl", set()),  # then the shell offers files
    ],
)
def test_the_shell_is_offered_packaged_names(
    words: str, offered: set[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    line = f"gelwright {words}"
    monkeypatch.setenv("COMP_WORDS", line)
    monkeypatch.setenv("COMP_CWORD", str(len(line.split()) - 1))
    monkeypatch.setenv("_GELWRIGHT_COMPLETE", "complete_bash")
    with pytest.raises(SystemExit):
        cli.main([])
    assert set(capsys.readouterr().out.split()) == offered


def every_command(group: Any, before: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Words and command of all commands, those of groups included."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from every_command(command, (*before, name))
        else:
            yield (*before, name), command


def test_the_help_of_every_command_shows_an_example_of_it() -> None:
    found = dict(every_command(typer.main.get_command(cli.app)))
    assert len(found) > 25
    lacking = [
        words for words, each in found.items() if f"gelwright {' '.join(words)}" not in (each.help or "")
    ]
    assert lacking == []
