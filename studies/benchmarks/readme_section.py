"""Tables in Markdown, and their place between two marks of a README."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd


def markdown(table: pd.DataFrame) -> str:
    """Table in Markdown; a dash where there is no number."""

    def text(value: Any) -> str:
        if not isinstance(value, float):
            return str(value)
        return "-" if np.isnan(value) else f"{value:.3g}"

    lines = ["| " + " | ".join(map(str, table.columns)) + " |", "|" + "---|" * table.shape[1]]
    lines += ["| " + " | ".join(text(value) for value in row) + " |" for row in table.itertuples(index=False)]
    return "\n".join(lines)


def write_section(readme: Path, marks: tuple[str, str], text: str) -> None:
    """Put text between two marks of a README."""
    begin, end = marks
    before, rest = readme.read_text(encoding="utf-8").split(begin)
    readme.write_text(before + begin + "\n\n" + text + "\n\n" + end + rest.split(end)[1], encoding="utf-8")
