"""Every study runs to its end. A study is a script with `main(folder)` that writes its pictures into `folder`."""

import ast
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]
SCRIPTS = sorted(
    script for script in (REPOSITORY / "studies").rglob("*.py") if "\ndef main(" in script.read_text("utf-8")
)


def is_slow(script: Path) -> bool:
    """Whether the script says `SLOW = True` at its top level."""
    body = ast.parse(script.read_text(encoding="utf-8")).body
    return any(isinstance(s, ast.Assign) and ast.unparse(s) == "SLOW = True" for s in body)


def test_there_are_studies() -> None:
    assert SCRIPTS


@pytest.mark.parametrize(
    "script",
    [pytest.param(s, id=s.stem, marks=[pytest.mark.slow] if is_slow(s) else []) for s in SCRIPTS],
)
def test_study_runs(
    script: Path,
    load_script: Callable[[str], ModuleType],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    module = load_script(str(script.relative_to(REPOSITORY)))
    assert module.__doc__, "a study opens with the question it answers"
    module.main(tmp_path)
    assert any(tmp_path.iterdir()), "a study leaves a picture or a table behind"
