"""The printed page for lessons, and the project folder to begin with."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.gel import load_gel
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.cli import app
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.handout import handout_figure, pairs_of
from gelwright.optimiser.plain_words import plain_words
from gelwright.optimiser.starting import start_project
from gelwright.optimiser.tune import resolve
from gelwright.optimiser.verdict import CureFigures


def test_the_handout_shows_both_pairs_with_words_and_cautions() -> None:
    gel = load_any_gel("white_colour")
    pairs = pairs_of([(gel, load_lamp("demo_narrow_405")), (gel, load_lamp("demo_fluorescent_365"))])
    figure = handout_figure(pairs)
    words = " ".join(text.get_text().replace("\n", " ") for text in figure.texts)
    for part in (
        "Invented demonstration data.",
        "cures and cool",
        "under-cured",
        "Why: The base reaches",
        "lasting allergy",
    ):
        assert part in words
    assert len(figure.axes) == 8  # three pictures a pair, the first with a second scale


def test_the_handout_is_one_page_of_a4(tmp_path: Path) -> None:
    file = tmp_path / "lesson.pdf"
    asked = [
        "handout",
        "base_coat",
        "--lamp",
        "demo_narrow_385",
        "--other-gel",
        "top_coat",
        "--out",
        str(file),
    ]
    found = CliRunner().invoke(app, asked)
    assert found.exit_code == 0, found.output
    content = file.read_bytes()
    assert len(re.findall(rb"/Type /Page\b", content)) == 1
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", content)
    assert box is not None
    assert [float(each) for each in box.groups()] == pytest.approx(
        [595.0, 842.0], abs=1.0
    )  # ISO 216, in points


def test_a_handout_needs_a_second_pair(tmp_path: Path) -> None:
    found = CliRunner().invoke(
        app, ["handout", "base_coat", "--lamp", "demo_narrow_385", "--out", str(tmp_path / "a.pdf")]
    )
    assert isinstance(found.exception, InputError)


@pytest.mark.parametrize(
    ("base", "bed_k", "layer_m", "parts"),
    [
        (0.9, 310.0, 10e-6, ("has set", "few will feel it", "sticky")),
        (0.3, 310.0, 0.0, ("still soft", "Hard is not cured", "surface is dry")),
        (0.9, 325.0, 100e-6, ("too hot", "Nothing has set")),
        (0.9, 316.0, 10e-6, ("may feel it",)),
        (0.0, 310.0, 100e-6, ("still soft", "Nothing has set")),
    ],
)
def test_plain_words_follow_the_figures(
    base: float, bed_k: float, layer_m: float, parts: tuple[str, ...]
) -> None:
    place = CureFigures(
        position="thumb", thickness_m=100e-6, bottom_conversion_fraction=base, conversion_ceiling_fraction=0.95,
        film_peak_k=bed_k + 5.0, nail_bed_peak_k=bed_k, cem43_min=0.0, uncured_layer_m=layer_m,
    )  # fmt: skip
    told = " ".join(plain_words(place, place, Limits()))
    for part in parts:
        assert part in told
    # liquid gel is not said to feel hard
    assert not ("Nothing has set" in told and "feel hard" in told)


def test_a_started_project_can_be_tuned(tmp_path: Path) -> None:
    folder = tmp_path / "project"
    written = start_project(folder)
    assert all(path.exists() for path in written)
    brief = read_brief(folder / "brief.toml")
    inputs = resolve(brief)
    assert inputs.lamp.is_demonstration
    assert inputs.space.initiators
    assert load_gel(folder / "gel.toml").coat == "builder"


def test_a_project_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(InputError, match="not an empty folder"):
        start_project(tmp_path)
    assert [each.name for each in tmp_path.iterdir()] == ["mine.txt"]
