"""Every simulated blend of a run, one row per film, appended to a table while the search goes on.

A batch is written with one call as soon as it is simulated, so a crash loses at most the batch in flight. A line torn by a
crash is cut away when the run is taken up again. Rows of a unit that was cut short and run anew appear in both attempts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..models.batch import Scenario
from ..models.gel import Gel
from .evaluators import EvaluatorMaker
from .problem import SCENARIO_FIGURES

if TYPE_CHECKING:
    from ..models.batch import BlendFigures

Floats = NDArray[np.float64]

FILE = "evaluations.csv"
AFTER_THE_SEARCH = "after the search"
_PLACE = (
    "attempt",
    "unit",
    "is_screening",
    "is_neighbour",
    "lamp",
    "position",
    "thickness_m",
    "exposure_s",
    "cycles",
)
_SECOND = SCENARIO_FIGURES.index("second_cycle_heat_ratio")


class EvaluationLog:
    """The table of everything simulated.

    Parameters
    ----------
    folder : Path
        Run folder; the table is made in it by `open`.
    keys : sequence of str
        Substances that have a column, in wt%.

    Notes
    -----
    Nothing is written before `open`: a folder that turns out to hold another run must stay as it is.
    """

    def __init__(self, folder: Path, keys: Sequence[str]) -> None:
        self.path, self._keys = folder / FILE, tuple(keys)
        self.unit = AFTER_THE_SEARCH
        self._attempt = 0

    def open(self, say: Callable[[str], None]) -> None:
        """Begin an attempt: heal a torn last line, write the heading of a new table.

        Parameters
        ----------
        say : callable
            Told in one sentence what was repaired.
        """
        head = ",".join(
            [*_PLACE, *SCENARIO_FIGURES, "residual_initiator_wt_pct", *(f"{k}_wt_pct" for k in self._keys)]
        )
        if self.path.exists():
            mended = heal(self.path)
            if mended:
                say(mended)
        lines = self.path.read_text(encoding="utf-8").splitlines() if self.path.exists() else []
        if not lines:
            self._append(head + "\n")
        self._attempt = 1 + max((int(line.split(",", 1)[0]) for line in lines[1:]), default=0)

    def watching(self, make: EvaluatorMaker) -> EvaluatorMaker:
        """An evaluator maker whose evaluators write down what they simulate.

        Parameters
        ----------
        make : callable
            Makes the simulator proper.
        """

        def made(
            gel: Gel,
            initiators: Sequence[str],
            amines: Sequence[str],
            scenarios: Sequence[Scenario],
            **options: Any,
        ) -> Any:
            inner = make(gel, initiators, amines, scenarios, **options)
            return _Watched(
                self, inner, (*initiators, *amines), scenarios, bool(options.get("coarse", False))
            )

        return made

    def write(
        self,
        keys: Sequence[str],
        scenarios: Sequence[Scenario],
        loadings_wt_pct: Floats,
        figures: BlendFigures,
        *,
        is_screening: bool,
        is_neighbour: bool,
        where: Sequence[int] | None = None,
    ) -> None:
        """Append one batch: a row per blend and scenario.

        Parameters
        ----------
        keys : sequence of str
            Substances in the order of the loadings.
        scenarios : sequence of Scenario
            What was simulated.
        loadings_wt_pct : ndarray, shape (n_blend, n_substance)
            The blends.
        figures : BlendFigures
            What came out.
        is_screening, is_neighbour : bool
            Whether settings were coarse, and whether the blends are the neighbours of a difference quotient.
        where : sequence of int, optional
            Scenarios to write; all if left out.
        """
        if not self._attempt:
            return
        columns = np.stack(
            [
                *(getattr(figures, name) for name in SCENARIO_FIGURES),
                figures.residual_initiator_wt_pct.sum(axis=2),
            ],
            axis=2,
        )
        at = [keys.index(key) if key in keys else -1 for key in self._keys]
        head = f"{self._attempt},{self.unit.replace(',', ';')},{is_screening},{is_neighbour}"
        places = [
            f"{s.lamp.lamp_id},{s.position},{s.thickness_m:.9g},{s.exposure_s:.9g},{s.cycles}"
            for s in scenarios
        ]
        rows = []
        for loads, films in zip(loadings_wt_pct.tolist(), columns.tolist(), strict=True):
            blend = ",".join("0" if i < 0 else f"{loads[i]:.9g}" for i in at)
            for number, (scenario, place, film) in enumerate(zip(scenarios, places, films, strict=True)):
                if where is not None and number not in where:
                    continue
                cells = [f"{value:.9g}" for value in film]
                if scenario.cycles < 2:
                    cells[_SECOND] = ""  # no second cycle was run
                rows.append(f"{head},{place},{','.join(cells)},{blend}\n")
        self._append("".join(rows))

    def _append(self, text: str) -> None:
        with self.path.open("a", encoding="utf-8", newline="") as file:
            file.write(text)


class _Watched:
    """An evaluator that tells the log what it simulates."""

    def __init__(
        self,
        log: EvaluationLog,
        inner: Any,
        keys: Sequence[str],
        scenarios: Sequence[Scenario],
        is_screening: bool,
    ) -> None:
        self._log, self._inner, self._keys, self._scenarios = log, inner, tuple(keys), scenarios
        self._is_screening = is_screening

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def __call__(self, loadings_wt_pct: Floats) -> BlendFigures:
        figures: BlendFigures = self._inner(loadings_wt_pct)
        self._tell(loadings_wt_pct, figures, is_neighbour=False)
        return figures

    def with_jacobian(
        self,
        loadings_wt_pct: Floats,
        step_wt_pct: Floats,
        *,
        columns: Sequence[int] | None = None,
        scenarios: Sequence[int] | None = None,
    ) -> tuple[BlendFigures, BlendFigures]:
        """As the evaluator's; only the scenarios in which neighbours were simulated are written down."""
        at, beside = self._inner.with_jacobian(
            loadings_wt_pct, step_wt_pct, columns=columns, scenarios=scenarios
        )
        chosen = range(len(step_wt_pct)) if columns is None else columns
        steps = np.diag(step_wt_pct)[list(chosen)]
        where = range(len(self._scenarios)) if scenarios is None else scenarios
        if len(where):
            self._tell(loadings_wt_pct[np.newaxis, :] + steps, beside, is_neighbour=True, where=list(where))
        return at, beside

    def _tell(
        self,
        loadings_wt_pct: Floats,
        figures: BlendFigures,
        *,
        is_neighbour: bool,
        where: Sequence[int] | None = None,
    ) -> None:
        self._log.write(
            self._keys,
            self._scenarios,
            loadings_wt_pct,
            figures,
            is_screening=self._is_screening,
            is_neighbour=is_neighbour,
            where=where,
        )


def heal(path: Path) -> str:
    """Cut a torn last line off a table.

    Parameters
    ----------
    path : Path
        An existing table.

    Returns
    -------
    str
        What was done, in one sentence; empty when the table is whole.
    """
    content = path.read_bytes()
    if not content or content.endswith(b"\n"):
        return ""
    whole = content[: content.rfind(b"\n") + 1]
    path.write_bytes(whole)
    return (
        f"{path}: the last line was cut short by a crash and is left out ({len(content) - len(whole)} bytes)."
    )
