"""Every combination of a sweep, written down as soon as its batch is cured, so that a sweep cut short goes on where it stood.

One JSON line says whose rows follow, then comes one line per combination. A batch is written with one call: a crash loses at most
the batches in flight, and a line torn by it is cut away. Numbers come back from the file to the last digit.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError
from .code_version import beside, other_version
from .evaluation_log import heal
from .sweep_films import Found, SweepFigures

FILE = "combinations.jsonl"
OF_ANY_RUN = ("results.json", "report.html")  # would be written over
WHOSE = "sweep"


class SweepLog:
    """Combinations cured so far, by number.

    Parameters
    ----------
    folder : Path
        Folder of the sweep, made if needed.
    digest : str
        Fingerprint of what is swept; rows of another version of the code stay in the file unused.
    say : callable
        Told in one sentence when something had to be repaired, or is of another version.

    Raises
    ------
    InputError
        If the folder is a file, or holds another sweep or a run of another command.
    """

    def __init__(self, folder: Path, digest: str, say: Callable[[str], None]) -> None:
        if folder.exists() and not folder.is_dir():
            raise InputError(f"--out {folder}: is a file. Name a folder.")
        self.path = folder / FILE
        if not self.path.exists() and any((folder / name).exists() for name in OF_ANY_RUN):
            raise InputError(
                f"{folder}: holds a run of another command. Choose another --out folder or empty this one."
            )
        folder.mkdir(parents=True, exist_ok=True)
        self.found: dict[int, Found] = {}
        mended = heal(self.path) if self.path.exists() else ""
        whose, others = "", list[str]()
        lines = self.path.read_text(encoding="utf-8").splitlines() if self.path.exists() else []
        for number, line in enumerate(lines, start=1):
            row = _parsed(line, f"{self.path}, line {number}")
            if WHOSE in row:
                whose = row[WHOSE]
                if whose != digest:
                    others.append(other_version(whose, digest))
            elif whose == digest:
                at = int(row.pop("number"))
                self.found[at] = str(row["fault"]) if "fault" in row else SweepFigures(**row)
        if not all(others):
            raise InputError(
                f"{folder}: holds another sweep (other gel, lamps or values). Choose another --out folder or empty this one."
            )
        if mended:
            say(mended)
        if whose != digest:
            if others:
                say(beside(self.path, sorted(set(others)), digest))
            self._append([{WHOSE: digest}])

    def keep(self, rows: Sequence[tuple[int, Found]]) -> None:
        """Write a batch down."""
        self.found.update(rows)
        self._append(
            [
                {"number": number, **({"fault": each} if isinstance(each, str) else asdict(each))}
                for number, each in rows
            ]
        )

    def _append(self, rows: Sequence[Mapping[str, object]]) -> None:
        with self.path.open("a", encoding="utf-8", newline="") as file:
            file.write("".join(json.dumps(row, ensure_ascii=False) + "\n" for row in rows))


def _parsed(line: str, where: str) -> dict[str, Any]:
    try:
        row: dict[str, Any] = json.loads(line)
    except ValueError:
        raise InputError(
            f"{where}: is damaged. Cut the file off before this line to keep what stands above it, or choose another --out folder."
        ) from None
    return row
