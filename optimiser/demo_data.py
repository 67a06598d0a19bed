"""The packaged demonstration briefs and gels, found by their ids; all of it is invented."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..lamp_library.errors import InputError, unknown_name

if TYPE_CHECKING:
    from ..models.gel import Gel
    from ..models.schedule import Schedule

DEMO_FOLDER = Path(__file__).parent / "demo"


def list_demo_briefs() -> tuple[str, ...]:
    """Ids of the packaged briefs."""
    return _ids("briefs")


def list_demo_sets() -> tuple[str, ...]:
    """Ids of the packaged sets of coats."""
    return _ids("sets")


def list_demo_gels() -> tuple[str, ...]:
    """Ids of the packaged gels."""
    return _ids("gels")


def brief_path(name_or_path: str) -> Path:
    """File of a brief or a set of coats: an id means a packaged one, a path means a file, never both.

    Raises
    ------
    InputError
        If the file is missing.
    UnknownNameError
        If no packaged brief has this id.
    """
    if not _looks_like_path(name_or_path) and name_or_path in list_demo_sets():
        return _path(name_or_path, "sets", "demonstration set")
    return _path(name_or_path, "briefs", "demonstration brief")


def gel_path(name_or_path: str) -> Path:
    """File of a gel, found as `brief_path` does."""
    return _path(name_or_path, "gels", "demonstration gel")


def load_any_gel(name_or_path: str) -> Gel:
    """Load a packaged gel by id or a gel file by path."""
    from ..models.gel import load_gel

    return load_gel(gel_path(name_or_path))


def sheet_path(name_or_path: str) -> Path:
    """File of a trial sheet, found as `brief_path` does; any existing file is taken as it is."""
    if Path(name_or_path).is_file():
        return Path(name_or_path)
    if not _looks_like_path(name_or_path) and name_or_path not in list_demo_sheets():
        raise unknown_name("demonstration trial sheet", name_or_path, list_demo_sheets())
    return _path(name_or_path, "trials", "demonstration trial sheet")


def list_demo_sheets() -> tuple[str, ...]:
    """Ids of the packaged trial sheets; the gels beside them are none."""
    return tuple(name for name in _ids("trials") if not name.startswith("gel_"))


def reread_path(name: str) -> Path | None:
    """Folder of a packaged lamp read again at some age; None where the id is none."""
    folder = DEMO_FOLDER / "rereads" / name
    return folder if name and not _looks_like_path(name) and (folder / "lamp.toml").is_file() else None


def list_demo_schedules() -> tuple[str, ...]:
    """Ids of the packaged schedules."""
    return _ids("schedules")


def load_any_schedule(name_or_path: str) -> Schedule:
    """Load a packaged schedule by id or a schedule file by path; bare ids of gels in it are packaged ones."""
    from ..models.schedule_file import load_schedule

    path = _path(name_or_path, "schedules", "demonstration schedule")
    return load_schedule(path, packaged=DEMO_FOLDER / "gels")


def is_schedule(name_or_path: str) -> bool:
    """Whether an id or a file is a schedule rather than a gel; a file with a list of events is a schedule.

    Raises
    ------
    InputError
        If the file is missing.
    UnknownNameError
        If no packaged gel or schedule has this id.
    """
    import tomllib

    if not _looks_like_path(name_or_path):
        known = (*list_demo_gels(), *list_demo_schedules())
        if name_or_path not in known:
            raise unknown_name("demonstration gel or schedule", name_or_path, known)
        return name_or_path in list_demo_schedules()
    file = _path(name_or_path, "schedules", "demonstration schedule")
    try:
        return "events" in tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return False  # the reader of gels says what is wrong with the file


def _ids(kind: str) -> tuple[str, ...]:
    return tuple(sorted(path.stem for path in (DEMO_FOLDER / kind).glob("*.toml")))


def _looks_like_path(name: str) -> bool:
    return "/" in name or "\\" in name or name.endswith(".toml")


def _path(name_or_path: str, kind: str, words: str) -> Path:
    if _looks_like_path(name_or_path):
        path = Path(name_or_path)
        if not path.is_file():
            raise InputError(f"{path}: there is no such file. Give the path of a TOML file or a packaged id.")
        return path
    if name_or_path not in _ids(kind):
        raise unknown_name(words, name_or_path, _ids(kind))
    return DEMO_FOLDER / kind / f"{name_or_path}.toml"
