"""Every build of a set's joint polish and of its ways out, written down at once, so that a run cut short goes on where it stood.

One JSON line says whose builds follow; then one for a blend with the limits of its finished stacks, one for the slopes beside it.
Builds of the set with something changed say of which change they are. A crash loses at most the builds in flight; a line torn
by it is cut away. Numbers come back from the file to the last digit, so a search takes the same way again without simulating it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from copy import copy
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from .code_version import beside, other_version
from .evaluation_log import heal
from .problem import Point

Floats = NDArray[np.float64]

FILE = "builds.jsonl"
PREFIX = "set "
POINT, SLOPES = "point", "slopes"


class BuildLog:
    """Builds of one set, by substances and loadings.

    Parameters
    ----------
    folder : Path
        Existing run folder; the file is made in it.
    digest : str
        Fingerprint of everything the builds depend on.
    say : callable
        Told in one sentence when something had to be repaired, or is of another version.

    Raises
    ------
    InputError
        If the folder holds the builds of another set.
    """

    def __init__(self, folder: Path, digest: str, say: Callable[[str], None]) -> None:
        self.path = folder / FILE
        self._change = ""
        self._known: dict[tuple[str, ...], dict[str, Any]] = {}
        whose, others = "", list[str]()
        if self.path.exists():
            mended = heal(self.path)
            if mended:
                say(mended)
        lines = self.path.read_text(encoding="utf-8").splitlines() if self.path.exists() else []
        for line in lines:
            row = json.loads(line)
            if "set" not in row:
                if whose == digest:
                    self._known[_key(row)] = row
                continue
            whose = row["set"]
            if whose != digest:
                others.append(_other(whose, digest))
        if not all(others):
            raise InputError(
                f"{folder}: holds the builds of another set or lamp. Choose another --out folder or empty this one."
            )
        if whose != digest:
            if others:
                say(beside(self.path, sorted(set(others)), digest.removeprefix(PREFIX)))
            self._append({"set": digest})

    def of(self, change: str) -> BuildLog:
        """The log, in the same file, of the set with something changed; the empty name is that of the set as asked."""
        other = copy(self)  # what is known is shared
        other._change = change
        return other

    def point(self, substances: Sequence[str], loadings_wt_pct: Floats) -> tuple[Point, int] | None:
        """A blend built earlier with the number of builds it took, or None; loadings of shape (n_substance,)."""
        row = self._known.get(_key(self._asked(POINT, substances, loadings_wt_pct)))
        if row is None:
            return None
        point = Point(
            loadings_wt_pct=loadings_wt_pct.copy(),
            objective=row["objective"],
            values=np.array(row["values"]),
            figures=tuple(row["figures"]),
        )
        return point, row["builds"]

    def slopes(
        self, substances: Sequence[str], loadings_wt_pct: Floats, step_wt_pct: Floats
    ) -> tuple[Floats, Floats, int] | None:
        """Slopes of objective and limits taken earlier with the builds they took, or None."""
        row = self._known.get(_key(self._asked(SLOPES, substances, loadings_wt_pct, step_wt_pct)))
        return None if row is None else (np.array(row["objective"]), np.array(row["values"]), row["builds"])

    def keep_point(self, substances: Sequence[str], point: Point, builds: int) -> None:
        """Write a blend down."""
        self._keep(
            {
                **self._asked(POINT, substances, point.loadings_wt_pct),
                "objective": float(point.objective),
                "values": point.values.tolist(),
                "figures": [float(figure) for figure in point.figures],
                "builds": builds,
            }
        )

    def keep_slopes(
        self,
        substances: Sequence[str],
        loadings_wt_pct: Floats,
        step_wt_pct: Floats,
        slopes: tuple[Floats, Floats],
        builds: int,
    ) -> None:
        """Write slopes down."""
        self._keep(
            {
                **self._asked(SLOPES, substances, loadings_wt_pct, step_wt_pct),
                "objective": slopes[0].tolist(),
                "values": slopes[1].tolist(),
                "builds": builds,
            }
        )

    def _keep(self, row: dict[str, Any]) -> None:
        self._known[_key(row)] = row
        self._append(row)

    def _asked(
        self,
        what: str,
        substances: Sequence[str],
        loadings_wt_pct: Floats,
        step_wt_pct: Floats | None = None,
    ) -> dict[str, Any]:
        row: dict[str, Any] = {"what": what, "change": self._change} if self._change else {"what": what}
        row |= {"substances": list(substances), "loadings_wt_pct": [float(x) for x in loadings_wt_pct]}
        return row if step_wt_pct is None else {**row, "step_wt_pct": [float(x) for x in step_wt_pct]}

    def _append(self, row: dict[str, Any]) -> None:
        with self.path.open("a", encoding="utf-8", newline="") as file:
            file.write(json.dumps(row, ensure_ascii=False) + "\n")


def _other(digest: str, mine: str) -> str:
    return other_version(digest.removeprefix(PREFIX), mine.removeprefix(PREFIX))


def _key(row: dict[str, Any]) -> tuple[str, ...]:
    numbers = [*row["loadings_wt_pct"], *row.get("step_wt_pct", ())]
    return (row["what"], row.get("change", ""), *row["substances"], *(float(x).hex() for x in numbers))
