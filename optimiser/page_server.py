"""The live page's server: static files and three answers, on this machine only, careful with what comes in."""

from __future__ import annotations

import json
import time
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..lamp_library.errors import GelwrightError
from .page_answers import Kept, Shelf, answer, gel_data, loaded_gel, saved_text, start_data

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response

FOLDER = Path(__file__).parent / "page"
FILES = {"/": ("index.html", "text/html"), "/page.css": ("page.css", "text/css"), "/page.js": ("page.js", "text/javascript"),
         "/charts.js": ("charts.js", "text/javascript")}  # fmt: skip
MOST_BYTES = 64_000
PER_SECOND, AT_ONCE = (
    40.0,
    60.0,
)  # answers a second over time, and in a burst: far more than a hand on a slider asks for
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}  # fmt: skip

Answer = Callable[[Any], Any]


@dataclass(slots=True)
class Bucket:
    """Lets through so many a second, and a burst."""

    per_second: float = PER_SECOND
    most: float = AT_ONCE
    left: float = field(default=AT_ONCE)
    last_s: float = field(default=-1.0)

    def takes(self, now_s: float) -> bool:
        """Whether one more is let through now."""
        if self.last_s >= 0.0:
            self.left = min(self.most, self.left + (now_s - self.last_s) * self.per_second)
        self.last_s = now_s
        if self.left < 1.0:
            return False
        self.left -= 1.0
        return True


def make_app(shelf: Shelf, hosts: Iterable[str], *, workers: int | None = None) -> Starlette:
    """The application.

    Parameters
    ----------
    shelf : Shelf
        Gels and lamps to choose from.
    hosts : iterable of str
        What the Host header may say, with the port; anything else is refused, so that no foreign page can reach in by a
        name of its own.
    workers : int, optional
        Threads of the solver.
    """
    from starlette.applications import Starlette
    from starlette.middleware import Middleware
    from starlette.middleware.base import BaseHTTPMiddleware
    from starlette.routing import Route

    known, bucket, kept = frozenset(hosts), Bucket(), Kept()

    async def guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
        refused = refusal(request, known)
        response = _error(*refused) if refused else await _within_rate(request, call_next, bucket)
        response.headers.update(HEADERS)
        return response

    answers: dict[str, Answer] = {
        "/api/cure": lambda body: answer(body, shelf, workers, kept),
        "/api/gel": lambda body: gel_data(loaded_gel(body.get("text") if isinstance(body, dict) else None)),
        "/api/save": lambda body: {"text": saved_text(body, shelf)},
    }
    routes = [Route(path, _file(*found), methods=["GET"]) for path, found in FILES.items()]
    routes.append(Route("/api/start", _told(lambda _: start_data(shelf)), methods=["GET"]))
    routes += [Route(path, _told(each), methods=["POST"]) for path, each in answers.items()]
    return Starlette(routes=routes, middleware=[Middleware(BaseHTTPMiddleware, dispatch=guard)])


def refusal(request: Request, hosts: frozenset[str]) -> tuple[int, str] | None:
    """Why a request is turned away before anything is read; None when it is not.

    Parameters
    ----------
    request : Request
        The request; its headers alone are looked at.
    hosts : frozenset of str
        Hosts of this page.
    """
    host, origin = request.headers.get("host", ""), request.headers.get("origin")
    if host not in hosts:
        return 421, "this page answers under its own address only"
    if origin is not None and origin.removeprefix("http://") not in hosts:
        return 403, "another page may not ask here"
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return 403, "another page may not ask here"
    if request.method == "POST":
        if request.headers.get("content-type", "").split(";")[0] != "application/json":
            return 415, "questions are JSON"
        length = request.headers.get("content-length", "")
        if not length.isdigit() or int(length) > MOST_BYTES:
            return 413, f"a question holds at most {MOST_BYTES} bytes and says how many"
    return None


async def _within_rate(
    request: Request, call_next: Callable[[Request], Awaitable[Response]], bucket: Bucket
) -> Response:
    if request.method == "POST" and not bucket.takes(time.monotonic()):
        return _error(429, "too many questions at once; wait a moment")
    return await call_next(request)


def _error(status: int, words: str) -> Response:
    from starlette.responses import JSONResponse

    return JSONResponse({"error": words}, status_code=status)


def _file(name: str, kind: str) -> Callable[[Request], Awaitable[Response]]:
    async def send(request: Request) -> Response:
        from starlette.responses import Response

        return Response((FOLDER / name).read_bytes(), media_type=kind)

    return send


def _told(tell: Answer) -> Callable[[Request], Awaitable[Response]]:
    async def respond(request: Request) -> Response:
        from starlette.concurrency import run_in_threadpool
        from starlette.responses import JSONResponse

        body: Any = None
        if request.method == "POST":
            try:
                body = json.loads(await request.body())
            except (ValueError, RecursionError):
                return _error(400, "the question is no JSON")
        try:
            return JSONResponse(await run_in_threadpool(tell, body))
        except GelwrightError as error:
            return _error(422, str(error))

    return respond
