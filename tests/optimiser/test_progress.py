"""Progress: a bar on a terminal, plain lines elsewhere, and every command that takes seconds tells what it is at."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from gelwright.optimiser import progress
from gelwright.optimiser.book import add, open_book
from gelwright.optimiser.cli import app
from gelwright.optimiser.demo_data import DEMO_FOLDER

IN_LAMP = ["--lamp", "demo_narrow_405", "--seconds", "60"]


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, int, str]]:
    """What any bar is told from now on."""
    heard: list[tuple[int, int, str]] = []

    class Heard(progress.ProgressBar):
        def __call__(self, done: int, total: int, words: str) -> None:
            heard.append((done, total, words))

    monkeypatch.setattr(progress, "ProgressBar", Heard)
    return heard


def run(*arguments: str | Path) -> str:
    found = CliRunner().invoke(app, [str(each) for each in arguments], catch_exceptions=False)
    assert found.exit_code == 0, found.output
    return found.output


@pytest.mark.parametrize(
    ("arguments", "stages"),
    [
        (["cure", "base_coat", *IN_LAMP], ["cure at 5 positions", "tables, page and pictures"]),
        (
            ["cure", "full_build", "--position", "thumb"],
            ["build at 1 position", "tables, page and pictures"],
        ),
        (
            ["sheet", "base_coat", *IN_LAMP, "--batch-g", "50"],
            ["figures expected of the trial", "page and table"],
        ),
    ],
)
def test_a_command_tells_its_stages(
    told: list[tuple[int, int, str]], arguments: list[str], stages: list[str]
) -> None:
    run(*arguments)
    assert [words for _, _, words in told] == stages
    assert [(done, total) for done, total, _ in told] == [(i, len(stages)) for i in range(len(stages))]


def test_a_handout_tells_its_stages(told: list[tuple[int, int, str]], tmp_path: Path) -> None:
    lamps = ["--lamp", "demo_narrow_405", "--other-lamp", "demo_narrow_385"]
    run("handout", "base_coat", *lamps, "--out", tmp_path / "page.png")
    assert told == [(0, 2, "cure of both pairs"), (1, 2, "page")]


def test_trials_and_books_tell_what_they_are_at(told: list[tuple[int, int, str]], tmp_path: Path) -> None:
    trial = tmp_path / "trial"
    run("trial", "read", "thin_film_curves", "--out", trial)
    assert told == [(0, 2, "logs and prediction"), (1, 2, "report and picture")]
    told.clear()
    run("trial", "show", trial)
    run("trial", "list", tmp_path)
    assert told == [(0, 2, "logs and prediction"), (0, 1, "trial")]
    book = open_book(tmp_path / "book", new=True)
    for name in ("clear_builder", "top_coat"):
        add(book, DEMO_FOLDER / "gels" / f"{name}.toml")
    told.clear()
    run("book", "list", book)
    assert told == [(0, 2, "clear_builder"), (1, 2, "top_coat")]


def test_a_bar_is_drawn_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    pty = pytest.importorskip("pty", reason="terminals of POSIX systems")
    monkeypatch.setenv("TERM", "xterm")
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "w") as terminal:
        monkeypatch.setattr(sys, "stderr", terminal)
        with progress.ProgressBar() as bar:
            bar(1, 4, "subset BAPO")
            bar._bar.refresh()
        terminal.flush()
        shown = os.read(ours, 65536).decode()
    os.close(ours)
    assert "1/4" in shown
    assert "subset BAPO" in shown


def test_elsewhere_a_plain_line_comes_now_and_then(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock: dict[str, Any] = {"now": 0.0}
    monkeypatch.setattr(progress.time, "monotonic", lambda: clock["now"])
    with progress.ProgressBar() as bar:
        for second in range(25):
            clock["now"] = float(second)
            bar(second, 25, f"part {second}")
    assert capsys.readouterr().err == "11 of 25 done; now: part 11\n22 of 25 done; now: part 22\n"
