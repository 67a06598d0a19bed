"""The live page and the reports in a real browser: sliders moved, numbers read, accessibility checked.

Needs the dependency group ``browser`` and Debian's or any other Chromium; skipped with the reason where one is missing.
"""

import json
import re
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from gelwright.models.gel import load_gel
from gelwright.optimiser.cli import app
from gelwright.optimiser.grid_inputs import load_gels, load_lamps
from gelwright.optimiser.page_answers import Shelf

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
SERIOUS = ("serious", "critical")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    pytest.importorskip("playwright", reason="no playwright here: pip install --group browser")
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        found = player.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield found
        found.close()


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    pytest.importorskip("starlette", reason="the extra 'page' is not installed")
    uvicorn = pytest.importorskip("uvicorn", reason="the extra 'page' is not installed")
    from gelwright.optimiser.page_run import open_socket, warm_up
    from gelwright.optimiser.page_server import make_app

    shelf = Shelf(
        gels=load_gels("clear_builder,white_colour"), lamps=load_lamps("demo_arch_365_405,demo_narrow_385")
    )
    warm_up(shelf)
    place = open_socket(0)
    host = f"127.0.0.1:{place.getsockname()[1]}"
    server = uvicorn.Server(uvicorn.Config(make_app(shelf, [host]), log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [place]}, daemon=True)
    thread.start()
    yield f"http://{host}/"
    server.should_exit = True
    thread.join(10.0)
    place.close()


@pytest.fixture
def page(browser: Any, address: str) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 1200, "height": 1400})
    found = context.new_page()
    found.trouble = []
    found.on("pageerror", lambda error: found.trouble.append(str(error)))
    found.on(
        "console", lambda message: found.trouble.append(message.text) if message.type == "error" else None
    )
    found.on(
        "request",
        lambda asked: (
            found.trouble.append(asked.url) if not asked.url.startswith((address, "data:", "blob:")) else None
        ),
    )
    found.goto(address)
    found.wait_for_selector("body[data-answers]", timeout=60_000)
    yield found
    assert found.trouble == []
    context.close()


def answered(page: Any) -> int:
    return int(page.evaluate("document.body.dataset.answers"))


def wait_for_answer(page: Any, before: int) -> None:
    page.wait_for_selector(f'body[data-answers]:not([data-answers="{before}"])', timeout=60_000)
    page.wait_for_timeout(300)


def command(*words: str) -> dict[str, Any]:
    found = CliRunner().invoke(app, ["cure", *words, "--json"])
    assert found.exit_code == 0, found.output
    return dict(json.loads(found.stdout))


def test_a_slider_moved_with_the_keyboard_gives_the_numbers_of_the_command(page: Any) -> None:
    before = answered(page)
    page.focus("input[type=range][name=Film]")
    for _ in range(4):
        page.keyboard.press("ArrowLeft")
    wait_for_answer(page, before)
    film = page.input_value("input[type=range][name=Film]")
    assert film == "480"
    expected = command(
        "clear_builder", "--lamp", "demo_arch_365_405", "--seconds", "60", "--thickness-um", film
    )
    shown = {
        row.split("\t")[0]: row.split("\t")[1:]
        for row in page.inner_text("tbody").splitlines()
        if row.strip()
    }
    for place in expected["positions"]:
        base, _, film_c, bed_c, _ = shown[place["position"]]
        assert base == f"{place['bottom_conversion_fraction']:.3f}"
        assert film_c == f"{place['film_peak_k'] - 273.15:.1f}"
        assert bed_c == f"{place['nail_bed_peak_k'] - 273.15:.1f}"
    assert expected["verdict"] in page.inner_text(".headline").lower()


def test_a_loading_typed_as_a_number_moves_its_slider_and_the_answer(page: Any) -> None:
    before, first = answered(page), page.inner_text(".numbers .base strong")
    page.fill("input[aria-label^='TPO-L, wt%, side A, as a number']", "0.1")
    wait_for_answer(page, before)
    assert page.input_value("input[type=range][name='TPO-L']") == "0.1"
    assert page.inner_text(".numbers .base strong") != first


def test_two_lamps_side_by_side_and_a_lesson(page: Any) -> None:
    before = answered(page)
    page.check("#two")
    wait_for_answer(page, before)
    assert page.locator(".side").count() == 2
    names = page.locator(".name").all_inner_texts()
    assert names[0].startswith("A: Clear builder in Arch")
    assert names[1].startswith("B: Clear builder in Reflector")
    before, size = answered(page), page.evaluate("getComputedStyle(document.body).fontSize")
    page.check("#lesson")
    wait_for_answer(page, before)
    assert "next to the nail" in page.inner_text(".sentences >> nth=0")
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") > float(
        size.removesuffix("px")
    )
    assert "Uncured gel can cause lasting allergy" in page.inner_text("#cautions")


def test_a_gel_is_saved_and_opened_again(page: Any, tmp_path: Path) -> None:
    before = answered(page)
    page.fill("input[aria-label^='HCPK, wt%, side A, as a number']", "0.7")
    wait_for_answer(page, before)
    with page.expect_download() as waiting:
        page.click("text=Save gel")
    file = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(file)
    assert file.suffix == ".toml"
    assert load_gel(file).initiators_wt_pct["HCPK"] == 0.7
    before = answered(page)
    page.set_input_files("input[type=file]", str(file))
    wait_for_answer(page, before)
    assert page.input_value("input[aria-label^='HCPK, wt%, side A, as a number']") == "0.7"


def test_everything_is_reached_with_the_keyboard(page: Any) -> None:
    page.keyboard.press("Tab")
    seen = set()
    for _ in range(40):
        seen.add(
            page.evaluate(
                "document.activeElement.name || document.activeElement.id || document.activeElement.tagName"
            )
        )
        page.keyboard.press("Tab")
    assert {"two", "lesson", "gel", "lamp", "position", "programme", "Film", "Time", "add", "open"} <= seen


def findings(page: Any, impacts: tuple[str | None, ...] = SERIOUS) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [f"{each['id']}: {each['nodes'][0]['html'][:120]}" for each in found if each["impact"] in impacts]


@pytest.mark.parametrize("dress", ["light", "dark"])
def test_the_page_has_no_serious_accessibility_finding(page: Any, dress: str) -> None:
    page.emulate_media(color_scheme=dress)
    page.check("#two")
    page.wait_for_timeout(1500)
    assert findings(page) == []


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("reports")
    asked = (
        ["cure", "clear_builder", "--lamp", "demo_arch_365_405", "--seconds", "60", "--cycles", "2"],
        ["grid", "--gels", "base_coat,white_colour", "--lamps", "demo_narrow_385"],
    )
    for words in asked:
        found = CliRunner().invoke(app, [*words, "--out", str(folder / words[0])])
        assert found.exit_code == 0, found.output
    return [folder / words[0] / "report.html" for words in asked]


@pytest.mark.parametrize("dress", ["light", "dark"])
def test_reports_have_no_accessibility_finding_at_all_and_fetch_nothing(
    browser: Any, reports: list[Path], dress: str
) -> None:
    context = browser.new_context(color_scheme=dress)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for file in reports:
        page.goto(file.as_uri())
        page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true })")
        assert findings(page, ("minor", "moderate", *SERIOUS)) == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    context.close()


def test_a_field_of_the_grid_opens_its_reason(browser: Any, reports: list[Path]) -> None:
    page = browser.new_page()
    page.goto(reports[1].as_uri())
    reason = page.locator("#cell-2 p").first
    assert not reason.is_visible()
    page.click('a[href="#cell-2"]')
    page.wait_for_timeout(300)
    assert reason.is_visible()
    assert re.search(r"The base reaches \d+\s% of a possible \d+\s%", reason.inner_text())
    page.close()
