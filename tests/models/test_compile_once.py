"""The run that has the core compiled gives the last digits of all later runs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from gelwright.models import compile_once
from gelwright.models.compile_once import COMPILING, FIRST_USE, PROGRAM, ready

# One film, its conversion to the last digit.
FILM = (
    PROGRAM.partition("from gelwright")[0]
    + """
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.optimiser.demo_data import load_any_gel
result = cure(load_any_gel("clear_builder"), load_lamp("demo_narrow_405"), exposure_s=30.0)
print(result.bottom_conversion_fraction.hex(), result.nail_bed_peak_k.hex())
"""
)


@pytest.mark.slow
def test_the_first_run_of_all_gives_what_later_ones_give(tmp_path: Path) -> None:
    fresh = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    runs = [
        subprocess.run(
            [sys.executable, "-c", FILM], env=fresh, capture_output=True, text=True, check=True, timeout=590
        )
        for _ in range(2)
    ]
    assert runs[0].stdout == runs[1].stdout
    assert runs[0].stdout.startswith("0x1.")


class Entry:
    """A loop that has not been compiled."""

    def __init__(self) -> None:
        self.signatures: list[Any] = []

    def __call__(self) -> int:
        return 0

    def compile(self, types: tuple[Any, ...]) -> None:
        self.signatures.append(types)


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Processes that would have been started, where nothing is kept."""
    found: list[Any] = []
    monkeypatch.setattr(compile_once, "is_kept", lambda entry, types: False)
    monkeypatch.setattr(compile_once.subprocess, "run", lambda command, **options: found.append(options))
    return found


def test_one_process_compiles_and_is_not_asked_again(
    begun: list[Any], capsys: pytest.CaptureFixture[str]
) -> None:
    entry = Entry()
    for _ in range(2):
        assert ready(entry, (1.0,)) is entry
    assert len(begun) == len(entry.signatures) == 1
    assert COMPILING in begun[0]["env"]
    said = capsys.readouterr()
    assert said.err == f"{FIRST_USE}\n"  # once, before the wait
    assert said.out == ""


def test_the_process_that_compiles_starts_no_other(begun: list[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(COMPILING, "1")
    entry = Entry()
    ready(entry, (1.0,))
    assert begun == []
    assert len(entry.signatures) == 1


def test_a_loop_that_is_not_compiled_at_all_is_left_alone(begun: list[Any]) -> None:
    def plain() -> int:
        return 1

    assert ready(plain, ()) is plain
    assert begun == []
