"""Plugin of pytest that writes down what every check compares: the published value, the model's, the tolerance, the verdict.

`pytest.approx` is replaced by one that remembers what it was compared with; other assertions are kept as they stand, with the
values pytest puts in. One line of JSON per comparison goes to the file named by GELWRIGHT_CHECKS.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

_real = pytest.approx
_rows: list[dict[str, Any]] = []
_now: dict[str, Any] = {}


def _flat(value: Any) -> np.ndarray:
    if isinstance(value, dict):
        value = list(value.values())
    return np.atleast_1d(np.asarray(value, dtype=float)).ravel()


class Remembered:
    """An approximation that remembers its comparison."""

    __array_ufunc__ = None
    __array_priority__ = 200
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, expected: Any, rel: float | None, abs_: float | None, nan_ok: bool) -> None:
        """Keep the real one."""
        self.expected, self.rel, self.abs = expected, rel, abs_
        self.real = _real(expected, rel=rel, abs=abs_, nan_ok=nan_ok)

    def __eq__(self, actual: object) -> bool:
        """Compare and remember the value furthest off."""
        verdict = bool(self.real == actual)
        wanted, got = _flat(self.expected), _flat(actual)
        if wanted.shape == got.shape:
            allowed = np.zeros(wanted.shape) if self.abs is None else np.full(wanted.shape, self.abs)
            if self.rel is not None or self.abs is None:
                allowed = np.maximum(allowed, (1e-6 if self.rel is None else self.rel) * np.abs(wanted))
            worst = int(np.argmax(np.abs(got - wanted) / np.maximum(allowed, 1e-300)))
            numbers = {"published": wanted[worst], "model": got[worst], "tolerance": allowed[worst]}
            _rows.append(_now | {key: float(value) for key, value in numbers.items()} | {"met": verdict})
        return verdict

    def __ne__(self, actual: object) -> bool:
        """The opposite."""
        return not self == actual

    def __repr__(self) -> str:
        return repr(self.real)


def _approx(expected: Any, rel: float | None = None, abs: float | None = None, nan_ok: bool = False) -> Any:
    return Remembered(expected, rel, abs, nan_ok)


def pytest_assertion_pass(item: pytest.Item, lineno: int, orig: str, expl: str) -> None:
    """Keep assertions that are no approximation."""
    if "approx" not in orig:
        _rows.append(_now | {"statement": orig, "values": expl.splitlines()[0][:160], "met": True})


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    """Say whose comparisons follow."""
    source = (getattr(item, "module", None).__doc__ or "").strip().splitlines()[0]
    _now.clear()
    _now.update({"file": Path(str(item.path)).name, "check": item.name, "source": source})
    before, pytest.approx = pytest.approx, _approx  # type: ignore[assignment]
    try:
        return (yield)
    finally:
        pytest.approx = before


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[Any]:
    """Verdict of the whole check; the assertion that failed, where one did."""
    report = yield
    if report.when == "call":
        reason = getattr(report, "wasxfail", "")
        row = _now | {"verdict": "known miss" if reason else report.outcome, "reason": reason}
        if call.excinfo is not None:
            row["values"] = str(call.excinfo.value).splitlines()[0][:160]
        _rows.append(row)
    return report


def pytest_sessionfinish() -> None:
    """Write what was remembered."""
    path = Path(os.environ["GELWRIGHT_CHECKS"])
    path.write_text("\n".join(json.dumps(row) for row in _rows), encoding="utf-8")
