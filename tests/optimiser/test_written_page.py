"""Written reports as pages: nothing lost, pictures inside, no second file needed."""

import base64
from pathlib import Path

from gelwright.optimiser.page_html import from_markdown
from gelwright.optimiser.written_page import parts_of, prose_of, sections_of, write_written_page

REPORT = """# A brief

**Invented demonstration data.** Not a real lamp, gel or price list.

- lamp: one (`demo`)
- wanted: least cost

Two lamps were asked for.

## Answer

**BAPO 0.2 %**; see [best/report.md](best/report.md).

![a line](line.png)

## How this was worked out

- seed 1

## Cautions

1. Heat can hurt.
2. Keep it off the skin.
"""


def test_a_report_comes_apart_and_loses_nothing() -> None:
    found = parts_of(REPORT)
    assert found.title == "A brief"
    assert found.facts == (("lamp", "one (demo)"), ("wanted", "least cost"))
    assert found.opening == "Two lamps were asked for."
    assert [name for name, _ in found.sections] == ["Answer", "How this was worked out"]
    assert found.cautions == ("Heat can hurt.", "Keep it off the skin.")
    assert [each.is_folded for each in sections_of(found)] == [False, True]
    assert [each.title for each in sections_of(found, ("Answer",))] == ["How this was worked out"]


def test_the_page_holds_its_pictures_and_leads_to_other_pages(tmp_path: Path) -> None:
    picture = base64.b64decode(
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
    )
    (tmp_path / "line.png").write_bytes(picture)
    report = tmp_path / "report.md"
    report.write_text(REPORT, encoding="utf-8")
    page = write_written_page(
        report, kind="Several lamps", headline="2 of 2 lamps can be served", state="kept"
    )
    text = page.read_text(encoding="utf-8")
    assert page.name == "report.html"
    assert 'src="data:image/png;base64,' in text
    assert "line.png" not in text
    assert '<a href="best/report.html">best/report.html</a>' in text
    for words in (
        "2 of 2 lamps can be served",
        "Two lamps were asked for.",
        "Keep it off the skin.",
        "seed 1",
    ):
        assert words in text


def test_a_report_for_the_screen_becomes_text_lists_and_columns() -> None:
    text = (
        "A_b 3 um *c*.\nNext +- 1.\n\nTable:\ncycle  peak/K\n    1   49.7\n\n- one\n- <b>two</b>\n1. of three"
    )
    page = from_markdown(prose_of(text).markdown)
    assert page.count("<p>") == 4
    for words in ("A_b 3\xa0µm *c*.", "Next ± 1.", "1. of three", "<li>&lt;b&gt;two&lt;/b&gt;</li>"):
        assert words in page
    columns = page.partition("<code")[2].partition("</code>")[0]
    assert columns.endswith("cycle  peak/K\n    1   49.7\n")
    assert "Table" not in columns
