"""The version of the code behind an answer: another one for another number, the same for another comment."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser import code_version as module
from gelwright.optimiser.build_log import BuildLog
from gelwright.optimiser.code_version import code_version, doing
from gelwright.optimiser.problem import Point

REPOSITORY = Path(__file__).resolve().parents[2]


@pytest.fixture
def version_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[[str, str, str], str]]:
    """Version of a copy of the rooms in which one text of one file is replaced."""
    for room in ("lamp_library", "models", "optimiser"):
        shutil.copytree(
            REPOSITORY / room,
            tmp_path / room,
            ignore=shutil.ignore_patterns("__pycache__", "demo", "page", "lamps"),
        )
    monkeypatch.setattr(module, "ROOM", tmp_path / "optimiser")

    def version(file: str, old: str, new: str) -> str:
        path = tmp_path / file
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        code_version.cache_clear()
        found = code_version()
        path.write_text(text, encoding="utf-8")
        return found

    code_version.cache_clear()
    yield version
    code_version.cache_clear()


def test_numerics_of_search_model_light_and_data_have_a_version(
    version_after: Callable[[str, str, str], str],
) -> None:
    now = code_version()
    places = [
        ("optimiser/local.py", "MOST_STEPS = 25", "MOST_STEPS = 26"),
        ("optimiser/step_model.py", "NEAR = ", "NEAR = 2 * "),  # imported by the search, not named anywhere
        ("optimiser/takers.py", "np.maximum", "np.minimum"),
        ("models/kinetics.py", "def ", "def other_"),
        ("lamp_library/spectrum.py", "def ", "def other_"),
        ("models/data/photoinitiators.csv", "measured", "fitted"),
    ]
    found = [version_after(*place) for place in places]
    assert len({now, *found}) == len(places) + 1


def test_words_and_reports_have_none(version_after: Callable[[str, str, str], str]) -> None:
    now = code_version()
    assert version_after("optimiser/local.py", "MOST_STEPS = 25", "MOST_STEPS = 25  # enough") == now
    assert version_after("optimiser/search.py", '"""The search: ', '"""The search, in short: ') == now
    assert version_after("optimiser/report.py", "def ", "def other_") == now


def test_what_does_something_is_kept_to_the_letter() -> None:
    source = (
        'def f():\n    """Say."""\n    # why\n    return "# no comment"  # but this\n\n\nX = """a\n\nb"""\n'
    )
    assert doing(source) == 'def f():\n    return "# no comment"\nX = """a\nb"""'


def test_builds_of_another_version_stay_in_the_file_unused(tmp_path: Path) -> None:
    said: list[str] = []
    at = np.array([0.5, 0.1])
    point = Point(loadings_wt_pct=at, objective=0.6, values=np.array([-0.1]), figures=(1.0,))
    BuildLog(tmp_path, "set abc-01", said.append).keep_point(["a", "b"], point, 3)
    assert said == []
    newer = BuildLog(tmp_path, "set abc-02", said.append)
    assert newer.point(["a", "b"], at) is None
    assert len(said) == 1
    assert "(01; this one is 02)" in said[0]
    newer.keep_point(["a", "b"], point, 4)
    for digest, builds in (("set abc-01", 3), ("set abc-02", 4)):
        log = BuildLog(tmp_path, digest, said.append)
        known = log.point(["a", "b"], at)
        assert known is not None
        assert known[1] == builds
    with pytest.raises(InputError, match="builds of another set"):
        BuildLog(tmp_path, "set abd-01", said.append)
