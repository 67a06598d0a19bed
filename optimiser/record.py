"""The run's record: an Optuna study in a journal file, one trial per finished unit of work.

The study is what makes a run resumable and what other tools can read; the search itself never asks it for
suggestions. One process writes. A tail torn off by a crash is cut away and kept aside.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError
from .code_version import beside, other_version
from .local import Local
from .problem import Problem

JOURNAL = "journal.log"
LOCK_GRACE_S = 5
UNIT, CONTENT, SECONDS = "unit", "found", "seconds"
SCREENING = "only screened"


class Record:
    """Finished units of a run, read back when the run is taken up again.

    Parameters
    ----------
    folder : Path
        Run folder; the journal is made in it.
    digest : str
        Fingerprint of everything the answer depends on; units of another version of the code stay in the journal unused.
    problem : Problem
        Gives names and ranges of the loadings.
    say : callable
        Told in one sentence when something had to be repaired, or is of another version.

    Raises
    ------
    InputError
        If the folder holds the record of another brief.
    """

    def __init__(self, folder: Path, digest: str, problem: Problem, say: Callable[[str], None]) -> None:
        import optuna
        from optuna.storages.journal import JournalFileBackend, JournalFileOpenLock

        optuna.logging.set_verbosity(optuna.logging.WARNING)
        self.path = folder / JOURNAL
        self._problem = problem
        mended = mend(self.path)
        if mended:
            say(mended)
        lock = JournalFileOpenLock(str(self.path), grace_period=LOCK_GRACE_S)
        backend = JournalFileBackend(str(self.path), lock_obj=lock)
        storage = optuna.storages.JournalStorage(backend)
        name = f"tune {digest}"
        studies = optuna.get_all_study_names(storage)
        older = {study: other_version(study.removeprefix("tune "), digest) for study in studies}
        others = [study for study in studies if study != name and not older[study]]
        if others:
            raise InputError(
                f"{folder}: holds the record of another brief or lamp ({others[0]}; this one is {name}). "
                "Choose another --out folder or empty this one."
            )
        if studies and name not in studies:
            say(beside(self.path, list(older.values()), digest))
        self.study = optuna.create_study(
            storage=storage, study_name=name, direction="minimize", load_if_exists=True
        )
        self._units = {
            trial.user_attrs[UNIT]: restored(trial.user_attrs[CONTENT])
            for trial in self.study.get_trials(deepcopy=False)
            if UNIT in trial.user_attrs
        }

    @property
    def finished(self) -> int:
        """Number of units in the record."""
        return len(self._units)

    def get(self, unit: str) -> Local | None:
        """A unit finished earlier, or None."""
        return self._units.get(unit)

    def put(self, unit: str, found: Local, seconds: float) -> None:
        """Append a finished unit to the journal.

        Parameters
        ----------
        unit : str
            Its name.
        found : Local
            Its outcome.
        seconds : float
            Time it took [s].
        """
        from optuna.distributions import FloatDistribution
        from optuna.trial import create_trial

        ranges = {each.key: each.high_wt_pct for each in self._problem.space.substances}
        constraints = dict(zip(found.limits, found.values, strict=True))
        if found.is_screening:  # keeps a coarse blend from ever being the study's best trial
            constraints[SCREENING] = 1.0
        trial = create_trial(
            params={key: found.blend_wt_pct.get(key, 0.0) for key in ranges},
            distributions={
                key: FloatDistribution(0.0, max(high, found.blend_wt_pct.get(key, 0.0)))
                for key, high in ranges.items()
            },
            value=found.objective,
            constraints=constraints,
            user_attrs={UNIT: unit, CONTENT: json.dumps(told(found)), SECONDS: seconds},
        )
        self.study.add_trials([trial])
        self._units[unit] = found


def told(found: Local) -> dict[str, Any]:
    """A unit's outcome as plain data."""
    return {name: getattr(found, name) for name in Local.__slots__}


def restored(text: str) -> Local:
    """A unit's outcome from its JSON text."""
    content: dict[str, Any] = json.loads(text)
    for name in ("limits", "values", "figures", "multipliers"):
        content[name] = tuple(content[name])
    return Local(**content)


def mend(journal: Path) -> str:
    """Cut a torn tail off a journal; the damaged file is kept beside it.

    Parameters
    ----------
    journal : Path
        Journal file; a missing one is fine.

    Returns
    -------
    str
        What was done, in one sentence; empty when the journal is sound.
    """
    if not journal.exists():
        return ""
    lines = journal.read_bytes().splitlines(keepends=True)
    sound: list[bytes] = []
    for line in lines:
        if not line.endswith(b"\n") or not _is_json(line):
            break
        sound.append(line)
    if len(sound) == len(lines):
        return ""
    number = 1
    while (aside := journal.with_name(f"{journal.name}.damaged_{number}")).exists():
        number += 1
    journal.rename(aside)
    journal.write_bytes(b"".join(sound))
    return (
        f"{journal}: the last {len(lines) - len(sound)} line(s) were damaged and are left out; "
        f"the damaged file is kept as {aside.name}. The units in the sound part are used."
    )


def _is_json(line: bytes) -> bool:
    try:
        json.loads(line)
    except ValueError:
        return False
    return True
