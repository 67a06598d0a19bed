"""The commands shown in the README are the ones the full check runs."""

import re
import runpy
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]
README = (REPOSITORY / "README.md").read_text(encoding="utf-8")
CHECK = (REPOSITORY / ".ci" / "run").read_text(encoding="utf-8")


def readme_commands() -> list[str]:
    """Lines of the README's shell blocks."""
    blocks = re.findall(r"^```(?:sh|bash|console)\n(.*?)^```", README, flags=re.DOTALL | re.MULTILINE)
    return [line.strip() for block in blocks for line in block.splitlines()]


def checked_command(name: str) -> str:
    found = re.search(rf"^{name}='([^']+)'$", CHECK, flags=re.MULTILINE)
    assert found is not None
    return found.group(1)


@pytest.mark.parametrize("name", ["README_TEST_COMMAND", "README_DEMO_COMMAND"])
def test_the_full_check_runs_what_the_readme_shows(name: str) -> None:
    assert checked_command(name) in readme_commands()
    assert f'-c "${name}"' in CHECK


def test_files_the_readme_points_to_exist() -> None:
    targets = re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", README)
    missing = [target for target in targets if not (REPOSITORY / target).exists()]
    assert targets
    assert missing == []


def test_the_python_example_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    blocks = re.findall(r"^```python\n(.*?)^```", README, flags=re.DOTALL | re.MULTILINE)
    assert blocks
    for block in blocks:
        (tmp_path / "example.py").write_text(block, encoding="utf-8")
        runpy.run_path(str(tmp_path / "example.py"))
    assert re.fullmatch(r"base 0\.\d\d, nail bed \d\d\.\d °C\n", capsys.readouterr().out)


def test_no_placeholder_is_left() -> None:
    assert "<!--" not in README
