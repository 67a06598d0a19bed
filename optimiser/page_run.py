"""Start the live page: find a port, warm the solver, serve until Ctrl-C."""

from __future__ import annotations

import contextlib
import importlib.util
import socket
import threading
import webbrowser
from collections.abc import Callable

from ..lamp_library.errors import InputError
from .page_answers import Shelf, answer
from .page_server import make_app

LOOPBACK = "127.0.0.1"
NEEDED = ("starlette", "uvicorn")


def check_installed() -> None:
    """Refuse with one line when the optional packages are missing."""
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        raise InputError(
            f"the page needs {' and '.join(missing)}. Install them with: pip install 'gelwright[page]'"
        )


def open_socket(port: int) -> socket.socket:
    """A listening place on this machine; port 0 takes a free one.

    Raises
    ------
    InputError
        If the port is taken.
    """
    # Named as TCP: only then does asyncio switch off the gathering of small packets, which holds each answer back by 40 ms.
    place = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        place.bind((LOOPBACK, port))
    except OSError as error:
        place.close()
        raise InputError(
            f"--port {port}: cannot be used ({error.strerror}). Take another one, or 0 for a free one."
        ) from error
    return place


def warm_up(shelf: Shelf) -> None:
    """Cure once, so that the first move of a slider does not wait for the compiler."""
    answer({"sides": [{"gel": next(iter(shelf.gels)), "lamp": next(iter(shelf.lamps))}]}, shelf)


def run_page(shelf: Shelf, port: int, opens_browser: bool, say: Callable[[str], None]) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    shelf : Shelf
        Gels and lamps to choose from.
    port : int
        Port on the loopback address; 0 for a free one.
    opens_browser : bool
        Whether to open the browser.
    say : callable
        Told the address.

    Raises
    ------
    InputError
        If the optional packages are missing or the port is taken.
    """
    check_installed()
    import uvicorn

    place = open_socket(port)
    number = place.getsockname()[1]
    address = f"http://{LOOPBACK}:{number}/"
    say("Getting the solver ready (half a minute the first time) ...")
    warm_up(shelf)
    app = make_app(shelf, [f"{LOOPBACK}:{number}", f"localhost:{number}"])
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False, server_header=False))
    say(f"The page is at {address} on this machine only. Stop it with Ctrl-C.")
    if opens_browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[place])
