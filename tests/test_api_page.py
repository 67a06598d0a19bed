"""The page of the public interface is the one the docstrings give; its names are the public promise."""

import importlib.util
from pathlib import Path

SCRIPT = Path(__file__).resolve().parents[1] / "studies" / "api" / "api.py"


def test_the_page_is_current() -> None:
    spec = importlib.util.spec_from_file_location("api_page", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    written = SCRIPT.with_name("README.md").read_text(encoding="utf-8")
    assert written == module.page(), "run: python studies/api/api.py"
