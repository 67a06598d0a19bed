"""Pages for people: self-contained, the verdict on the first screen, nothing said by colour alone."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.optimiser.allowances import _walked, around
from gelwright.optimiser.page_html import bound, from_markdown, inline_svg, page_html
from gelwright.optimiser.page_parts import KeyFigure, Page, Picture, Prose, Section, Text, state_of, table
from gelwright.optimiser.plots import COLOURS, draw_cycles, line_styles, new_figure
from gelwright.optimiser.tune_page import in_lamp

VOID = {"meta", "br", "img", "input", "link", "hr"}


class Balance(HTMLParser):
    """Collects ids and unclosed elements."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.fetched: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            if name in ("src", "href", "xlink:href") and value and not value.startswith("#"):
                self.fetched.append(value)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open
        assert self.open.pop() == tag


def picture(name: str) -> Picture:
    figure, axes = new_figure(4.0, 3.0)
    draw_cycles(axes[0], {"thumb": [1.0, 0.02], "index": [1.0, 0.08]})
    return Picture(svg=inline_svg(figure, name), alt="two positions", caption="Heat by cycle")


@pytest.fixture
def page() -> Page:
    return Page(
        kind="Cure",
        title="A <gel> & a lamp",
        is_demonstration=True,
        facts=(("lamp", "one"),),
        headline="too hot at the nail bed",
        verdict_state="broken",
        answer="BAPO 0.2 %",
        sentences=("The nail bed peaks at 52 °C.",),
        figures=(KeyFigure(label="nail bed", value="52 °C", remark="limit 45 °C", state="broken"),),
        sections=(
            Section(key="pictures", title="Pictures", blocks=(picture("one"), picture("two"))),
            Section(
                key="more",
                title="More",
                blocks=(
                    table("Places", ("position", "base"), [("thumb", "0.9")]),
                    Text(points=("a", "b")),
                    Prose(markdown="| a | b |\n|---|---|\n| 1 | <script>x</script> |\n\n- **bold**"),
                ),
                is_folded=True,
            ),
        ),
        cautions=("Heat can hurt.",),
        footer="Fingerprint 0.",
    )


def test_a_page_is_well_formed_and_fetches_nothing(page: Page) -> None:
    reader = Balance()
    text = page_html(page)
    reader.feed(text)
    assert reader.open == []
    assert len(reader.ids) == len(set(reader.ids))
    assert reader.fetched == []
    assert "url(http" not in text
    assert "<script" not in text


def test_the_first_screen_says_the_verdict_in_words(page: Page) -> None:
    text = page_html(page)
    before_pictures = text[: text.index("<svg")]
    for words in (
        "Too hot at the nail bed",
        "52 °C",
        "limit 45 °C",
        "broken",
        "Invented demonstration data",
        "BAPO 0.2 %",
    ):
        assert bound(words) in before_pictures
    assert "Heat can hurt." in text
    assert "A &lt;gel&gt; &amp; a lamp" in text


def test_numbers_keep_their_units_beside_them() -> None:
    assert bound("0.2 % of 300 µm at 405 nm, 45 °C") == "0.2\xa0% of 300\xa0µm at 405\xa0nm, 45\xa0°C"
    assert bound("2 more, 3 minutes, coat 1 K-factor") == "2 more, 3 minutes, coat 1 K-factor"


def test_text_of_a_picture_without_a_colour_of_its_own_follows_the_page(page: Page) -> None:
    style = page_html(page).partition("</style>")[0]
    assert "figure svg text { fill: var(--ink); }" in style


def test_a_chance_is_told_in_its_own_words(page: Page) -> None:
    figure = KeyFigure(label="chance", value="50 %", remark="", state="broken", state_words="unlikely")
    first_screen = (
        page_html(replace(page, figures=(figure,))).partition('id="asked"')[0].partition("</style>")[2]
    )
    assert "unlikely</span>" in first_screen
    assert "broken</span>" not in first_screen


def test_a_page_is_the_same_every_time(page: Page) -> None:
    assert page_html(page) == page_html(page)
    assert picture("one").svg == picture("one").svg


def test_every_picture_has_words_and_follows_the_dress_of_the_page(page: Page) -> None:
    text = page_html(page)
    assert text.count('role="img" aria-label="two positions"') == 2
    style = text[: text.index("</style>")]
    used = set(re.findall(r"var\((--[\w-]+)\)", text))
    for name in used:
        assert style.count(f"{name}:") >= 3  # light, dark, print
    assert not [colour for colour in COLOURS if colour.lower() in text[text.index("<svg") :].lower()]


def test_lines_differ_in_dashes_as_well_as_in_colour() -> None:
    styles = line_styles(5)
    assert len({str(style["ls"]) for style in styles}) == 5
    assert len({style["color"] for style in styles}) == 5


def test_raw_html_in_a_report_stays_text() -> None:
    assert "&lt;script&gt;" in from_markdown("<script>x</script>")


def test_every_table_of_a_report_has_a_name_of_its_own_and_no_empty_heading() -> None:
    text = from_markdown(
        "|  | b |\n|---|---|\n| 1 | 2 |\n\n| c | d |\n|---|---|\n| 1 | 2 |\n\n```text\nx\n```",
        'Limits "kept"',
    )
    names = re.findall(r'aria-label="([^"]*)"', text)
    assert names == [f"Limits &quot;kept&quot;, table {i}" for i in (1, 2, 3)]
    assert text.count('tabindex="0"') == 3  # what scrolls can be reached by keyboard
    assert "<th></th>" not in text
    assert text.count("<th>") == 3


def test_a_picture_names_its_lamp_where_there_are_several() -> None:
    lamp, shown = load_lamp("demo_narrow_405"), picture("one")
    assert in_lamp(shown, lamp, 1) == shown
    named = in_lamp(shown, lamp, 2)
    assert named.caption == f"{lamp.name}. Heat by cycle"
    assert named.alt == f"{lamp.name}. two positions"
    assert named.svg == shown.svg


def test_a_limit_is_broken_near_or_kept() -> None:
    assert [state_of(value) for value in (0.2, -0.01, -0.5)] == ["broken", "near", "kept"]


def test_an_allowance_is_the_passing_run_around_one() -> None:
    factors = np.array([0.6, 0.8, 1.0, 1.2, 1.4])
    found = around(factors, np.array([True, False, True, True, False]), 10.0)
    assert found is not None
    assert (found.low, found.high) == (10.0, 12.0)
    assert not found.reaches_low
    assert not found.reaches_high
    assert around(factors, np.array([True, True, False, True, True]), 10.0) is None


def test_an_allowance_is_walked_outwards_until_a_factor_fails() -> None:
    factors = np.linspace(0.1, 2.0, 20)  # 1.0 is the tenth
    tried: list[float] = []

    def keeps(some: np.ndarray) -> np.ndarray:
        tried.extend(some.tolist())
        return (some > 0.65) & (some < 1.95) & (np.abs(some - 0.3) > 0.05)

    passes = _walked(factors, keeps)
    assert around(factors, passes, 1.0) == around(factors, (factors > 0.65) & (factors < 1.95), 1.0)
    assert min(tried) == pytest.approx(0.6)
    assert len(tried) == len(set(tried))
    assert not _walked(factors, lambda some: some < 0.95).any()
