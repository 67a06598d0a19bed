"""Pictures whose layout is worked out before they are written look as matplotlib would have written them."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest

from gelwright.optimiser.page_html import inline_svg
from gelwright.optimiser.plots import new_figure, save, svg_style


def _drawn(columns: int) -> Any:
    figure, axes = new_figure(6.0, 3.0, columns=columns)
    for number, each in enumerate(axes):
        each.plot([0.0, 1.0], [0.0, 10.0 ** (3 * number)], label="course")
        each.set_ylabel("nail bed / °C")
        each.set_title("A title", loc="left")
        each.legend(loc="best")
    return figure


@pytest.mark.parametrize("columns", [1, 2])
def test_png_is_the_one_matplotlib_lays_out(tmp_path: Path, columns: int) -> None:
    import matplotlib

    expected = _drawn(columns)
    with matplotlib.rc_context(svg_style("gelwright")):
        expected.savefig(tmp_path / "expected.png", dpi=150)
    written = save(_drawn(columns), tmp_path / "written.png")
    assert written.read_bytes() == (tmp_path / "expected.png").read_bytes()


def test_svg_places_its_axes_where_matplotlib_would() -> None:
    import matplotlib

    figure, expected = _drawn(2), _drawn(2)
    inline_svg(figure, "picture")
    with matplotlib.rc_context(svg_style("picture")):
        expected.savefig(io.StringIO(), format="svg")
    places, asked = ([each.get_position().bounds for each in one.axes] for one in (figure, expected))
    assert places == asked
    assert places != [each.get_position().bounds for each in _drawn(2).axes]
