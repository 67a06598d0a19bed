"""Versions of what an answer rests on."""

from __future__ import annotations

import sys
from importlib.metadata import PackageNotFoundError, version

LIBRARIES = ("gelwright", "numpy", "scipy", "numba", "optuna", "pandas", "matplotlib")


def versions() -> dict[str, str]:
    """Versions of Python and of the libraries an answer rests on, by name."""
    found = {"python": sys.version.split()[0]}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed (running from a checkout)"
    return found


def versions_text() -> str:
    """The same in one line, for reports and the foot of a page."""
    return ", ".join(f"{name} {number}" for name, number in versions().items())
