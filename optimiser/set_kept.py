"""Where the joint polish of a set is kept, so that it is taken up again and shared."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from .build_log import PREFIX
from .ledger import kept_unit
from .local import Local
from .sharing import Shared


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """Where the joint polish of a set is kept: its builds in a folder, its outcome in a database if one is shared."""

    folder: Path
    digest: str
    say: Callable[[str], None]
    storage: str | None = None

    def polish(self, unit: str, job: Callable[[], Local]) -> Local:
        """The outcome of one choice of substances, by whoever works it out first."""
        if self.storage is None:
            return job()  # its builds are kept
        from .record_shared import SharedRecord

        record = SharedRecord(self.storage, f"{self.digest.removeprefix(PREFIX)} joint", say=self.say)
        return kept_unit(record, unit, job)


def unit_of(number: int, shared: Shared) -> str:
    """Name of the joint polish of one choice of substances; where it begins is part of it, for what it finds rests on that."""
    start = json.dumps([blend.blend_wt_pct for blend in shared.blends])
    return f"choice {number} of substances from {hashlib.sha256(start.encode()).hexdigest()[:12]}"
