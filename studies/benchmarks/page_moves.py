"""How long after a move of a slider do pictures and verdict follow in the browser?

Starts the live page's server, opens it in headless Chromium, moves the film slider with the keyboard many times and
reads, inside the browser, the time from the move to the page drawn anew. Every move cures one gel at five positions; the other
side stays as it is.
Needs ``pip install "gelwright[page]" --group browser`` and Chromium. Let nothing else run meanwhile.

Run it with ``python studies/benchmarks/page_moves.py``; the table goes to ``studies/benchmarks/results/page_moves.csv``.
"""

import shutil
import threading
from pathlib import Path

import numpy as np
import pandas as pd

from gelwright.optimiser.grid_inputs import load_gels, load_lamps
from gelwright.optimiser.page_answers import Shelf
from gelwright.optimiser.page_run import open_socket, warm_up
from gelwright.optimiser.page_server import make_app

MOVES = 60
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
]


def serve() -> tuple[object, str]:
    """Server on a free port of this machine, and its address."""
    import uvicorn

    shelf = Shelf(gels=load_gels("demo"), lamps=load_lamps("demo"))
    warm_up(shelf)
    place = open_socket(0)
    host = f"127.0.0.1:{place.getsockname()[1]}"
    server = uvicorn.Server(uvicorn.Config(make_app(shelf, [host]), log_level="error"))
    threading.Thread(target=server.run, kwargs={"sockets": [place]}, daemon=True).start()
    return server, f"http://{host}/"


def moves_ms(address: str, sides: int) -> list[float]:
    """Milliseconds from each move to the page drawn anew, with one or two sides."""
    from playwright.sync_api import sync_playwright

    found = []
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        page = browser.new_page(viewport={"width": 1200, "height": 1400})
        page.goto(address)
        page.wait_for_selector("body[data-answers]")
        page.select_option("select[name=gel]", "clear_builder")
        if sides == 2:
            page.check("#two")
        page.wait_for_timeout(2000)
        page.focus("input[type=range][name=Film]")
        for _ in range(MOVES):
            before = page.evaluate("document.body.dataset.answers")
            page.keyboard.press(
                "ArrowLeft"
            )  # always to a film not seen before: the page keeps what it was told
            page.wait_for_selector(f'body:not([data-answers="{before}"])')
            found.append(float(page.evaluate("document.body.dataset.answeredMs")))
        browser.close()
    return found


def run(folder: Path) -> pd.DataFrame:
    """Measure one and two sides and write the table into `folder`."""
    server, address = serve()
    rows = []
    for sides in (1, 2):
        times = np.array(moves_ms(address, sides))
        rows.append(
            {
                "sides": sides,
                "moves": len(times),
                "median_ms": np.median(times),
                "p90_ms": np.quantile(times, 0.9),
            }
        )
    server.should_exit = True  # type: ignore[attr-defined]
    table = pd.DataFrame(rows)
    table.to_csv(folder / "page_moves.csv", index=False, float_format="%.1f")
    return table


if __name__ == "__main__":
    print(run(Path(__file__).parent / "results").to_string(index=False))
