"""A small believable lamp, as text in any dialect."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

GRID = np.arange(340.0, 461.0, 2.0)
LEVELS = {"thumb": 0.6, "middle": 1.4}
PER_UNIT = {"W/m2/nm": 1.0, "mW/m2/nm": 1e-3, "mW/cm2/nm": 10.0, "uW/cm2/nm": 1e-2}


def line_w_m2_nm(level: float) -> np.ndarray:
    """A 14 nm wide line at 395 nm; 200 W/m2 at level 1."""
    return level * 13.42 * np.exp(-4.0 * np.log(2.0) * ((GRID - 395.0) / 14.0) ** 2)


class ExportText:
    """Rows of a wide export that a test can spoil before writing."""

    def __init__(self, unit: str = "W/m2/nm", separator: str = ",", decimal: str = ".") -> None:
        self.separator = separator
        self.head = ["wavelength_nm", *LEVELS]
        columns = [line_w_m2_nm(level) / PER_UNIT[unit] for level in LEVELS.values()]
        self.rows = [
            [f"{number:.6g}".replace(".", decimal) for number in numbers]
            for numbers in zip(GRID, *columns, strict=True)
        ]
        self.preamble: list[str] = []
        self.footer: list[str] = []

    def text(self) -> str:
        body = [self.separator.join(cells) for cells in [self.head, *self.rows]]
        return "\n".join([*self.preamble, *body, *self.footer]) + "\n"


@pytest.fixture(scope="session")
def export() -> Callable[..., ExportText]:
    return ExportText


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write text or bytes to a file in the test's folder."""

    def to_file(content: str | bytes | ExportText, name: str = "lamp.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        text = content.text() if isinstance(content, ExportText) else content
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return path

    return to_file
