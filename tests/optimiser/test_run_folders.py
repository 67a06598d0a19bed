"""Runs that hold several gels say where to look, and sets are not taken for briefs."""

from pathlib import Path

import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser.batch_sheet import recipe_of_run
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.demo_data import DEMO_FOLDER
from gelwright.optimiser.gel_case import case_from_run


def made(folder: Path, *files: str) -> Path:
    for name in ("results.json", *files):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("{}", encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("files", "said"),
    [
        (("best/results.json",), r"a run of choices.*gelwright {command} \S+best`"),
        (("one_blend/results.json", "gels/a.toml"), r"several lamps.*gelwright {command} \S+one_blend`"),
        (
            ("gels/a.toml", "gels/b.toml", "lamp/lamp.toml"),
            r"2 gels.*{command} \S+a.toml --lamp \S+lamp --seconds",
        ),
        (("gels/a.toml",), r"1 gels.*--lamp LAMP --seconds"),
    ],
)
def test_a_run_of_several_gels_names_what_to_give(tmp_path: Path, files: tuple[str, ...], said: str) -> None:
    folder = made(tmp_path, *files)
    with pytest.raises(InputError, match=said.format(command="sheet")):
        recipe_of_run(folder, 1, None)
    with pytest.raises(InputError, match=said.format(command="doubt")):
        case_from_run(folder, draws=32)


def test_a_brief_of_a_set_is_told_apart_from_one_of_a_gel() -> None:
    with pytest.raises(InputError, match="a brief of a whole set"):
        read_brief(DEMO_FOLDER / "sets" / "base_and_builder.toml")
