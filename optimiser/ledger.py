"""Where finished units of work are kept, and how a unit is taken from there or worked out."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from typing import Protocol, runtime_checkable

from .local import Local


class Ledger(Protocol):
    """Where finished units of work are kept, so that a run can be taken up again."""

    def get(self, unit: str) -> Local | None:
        """A unit finished earlier, or None."""
        ...

    def put(self, unit: str, found: Local, seconds: float) -> None:
        """Keep a finished unit."""
        ...


@runtime_checkable
class SharedLedger(Ledger, Protocol):
    """A ledger that several processes work through together."""

    def results(self, jobs: Mapping[str, Callable[[], Local]]) -> Iterator[tuple[str, Local, bool]]:
        """Units as they are finished: name, outcome, and whether it was not worked out here."""
        ...


def kept_unit(ledger: Ledger, unit: str, job: Callable[[], Local]) -> Local:
    """One unit of work: from the ledger, or worked out here or by whoever shares it."""
    if isinstance(ledger, SharedLedger):
        return next(iter(ledger.results({unit: job})))[1]
    found = ledger.get(unit)
    if found is None:
        began = time.perf_counter()
        found = job()
        ledger.put(unit, found, time.perf_counter() - began)
    return found


def kept_units(ledger: Ledger, jobs: Mapping[str, Callable[[], Local]]) -> list[Local]:
    """Outcomes of units that do not depend on one another, in their order; shared out where the ledger is."""
    if not isinstance(ledger, SharedLedger):
        return [kept_unit(ledger, unit, job) for unit, job in jobs.items()]
    found = {unit: outcome for unit, outcome, _ in ledger.results(jobs)}
    return [found[unit] for unit in jobs]
