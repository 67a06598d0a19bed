"""The page of the public interface is the one the docstrings give; its names are the public promise."""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

PAGE = Path(__file__).resolve().parents[1] / "studies" / "api" / "README.md"


def test_the_page_is_current(load_script: Callable[[str], ModuleType]) -> None:
    written = PAGE.read_text(encoding="utf-8")
    assert written == load_script("studies/api/api.py").page(), "run: python studies/api/api.py"
