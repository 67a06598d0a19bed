"""Progress on standard error: a bar on a terminal, a plain line now and then elsewhere."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any, Self

PLAIN_INTERVAL_S = 10.0


def silent(done: int, total: int, words: str) -> None:
    """Says nothing: for callers who want no progress."""


class ProgressBar:
    """Shows units of work done; use as a context manager.

    Parameters
    ----------
    shown : bool
        Whether to show anything.
    """

    def __init__(self, shown: bool = True) -> None:
        self._shown = shown
        self._said: set[str] = set()
        self._bar: Any = None
        self._last = time.monotonic()
        if shown and sys.stderr.isatty():
            self._bar = _rich_bar()
        self._task = None if self._bar is None else self._bar.add_task("starting", total=None)

    def __enter__(self) -> Self:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, done: int, total: int, words: str) -> None:
        """Tell about the unit that begins now."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, completed=done, total=total, description=words)
        elif self._shown and time.monotonic() - self._last > PLAIN_INTERVAL_S:
            self._last = time.monotonic()
            print(f"{done} of {total} done; now: {words}", file=sys.stderr, flush=True)

    def say(self, sentence: str) -> None:
        """Print a sentence above the bar; one said before is not repeated, as by every gel of a set that meets the same thing."""
        if sentence in self._said:
            return
        self._said.add(sentence)
        if self._bar is not None:
            self._bar.console.print(sentence, highlight=False)
        else:
            print(sentence, file=sys.stderr, flush=True)


def _rich_bar() -> Any:
    """A bar of the rich library, which comes with typer; None when it is missing."""
    try:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
    except ImportError:
        return None
    columns = (BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), TextColumn("{task.description}"))
    return Progress(*columns, console=Console(stderr=True), transient=True)
