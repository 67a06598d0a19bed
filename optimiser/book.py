"""The trial book: trials, gels, lamps and runs of a laboratory in one plain folder that git can merge.

    book/
      book.txt           what this folder is
      .gitattributes     log.txt is merged by keeping the lines of both sides; nothing changes line ends
      log.txt            one line per act, only ever added to: time, act, kind, name, content hash, who
      trials/NAME/ gels/NAME/ lamps/NAME/ runs/NAME/

Nothing is shared between entries, so two people who work on copies meet only where they touch the same entry. The hash of an
entry is that of its files; an entry whose files no longer match its last line is named, and all others still open.
"""

from __future__ import annotations

import datetime
import getpass
import hashlib
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ..lamp_library.errors import GelwrightError, InputError, unknown_name
from ..lamp_library.lamp import load_lamp
from ..models.gel import load_gel
from ..models.trial_files import TRIAL_FILE, load_trial
from .progress import silent

if TYPE_CHECKING:
    from .search import Progress

BOOK_FILE, LOG_FILE, ATTRIBUTES = "book.txt", "log.txt", ".gitattributes"
KINDS = ("trials", "gels", "lamps", "runs")
FIRST_LINE = "gelwright trial book 1"
_MERGE_RULES = "* -text\nlog.txt merge=union\n"
_HASH_SHOWN = 16
_FIELDS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """One act: when, what was done to what, content hash afterwards, and by whom."""

    time: str
    act: str
    kind: str
    name: str
    sha256: str
    who: str

    @property
    def text(self) -> str:
        """The line as written."""
        return f"{self.time}  {self.act}  {self.kind}  {self.name}  {self.sha256}  {self.who}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An entry of the book: kind, name, folder, one line about it, and what is wrong with it ("" = nothing)."""

    kind: str
    name: str
    folder: Path
    summary: str
    fault: str


def content_sha256(folder: Path) -> str:
    """SHA-256 over the names and contents of all files under a folder, in the order of their names."""
    whole = hashlib.sha256()
    for path in sorted(
        (each for each in folder.rglob("*") if each.is_file()),
        key=lambda each: each.relative_to(folder).as_posix(),
    ):
        whole.update(path.relative_to(folder).as_posix().encode("utf-8") + b"\0")
        whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()


def open_book(folder: Path, *, new: bool = False) -> Path:
    """The folder of a book, begun where it is asked for.

    Raises
    ------
    InputError
        If there is no book here, or something else is in the way of a new one.
    """
    if (folder / BOOK_FILE).is_file():
        first = (folder / BOOK_FILE).read_text(encoding="utf-8", errors="replace").splitlines()[:1]
        if first != [FIRST_LINE]:
            raise InputError(f"{folder / BOOK_FILE}: the first line is {first}; it must be '{FIRST_LINE}'.")
        return folder
    if not new:
        raise InputError(f"{folder}: no trial book here; begin one: gelwright book add WHAT --book {folder}.")
    if folder.exists() and (not folder.is_dir() or any(each.name != ".git" for each in folder.iterdir())):
        raise InputError(f"{folder}: holds other things; choose an empty or new folder for the book.")
    folder.mkdir(parents=True, exist_ok=True)
    for kind in KINDS:
        (folder / kind).mkdir()
    (folder / ATTRIBUTES).write_text(_MERGE_RULES, encoding="utf-8", newline="\n")
    (folder / LOG_FILE).write_text("", encoding="utf-8")
    words = "Trials, gels, lamps and runs; see log.txt. Work on copies and merge them with git.\n"
    (folder / BOOK_FILE).write_text(f"{FIRST_LINE}\n{words}", encoding="utf-8", newline="\n")
    return folder


def kind_of(path: Path) -> str:
    """What a path is: trial, gel, lamp or run.

    Raises
    ------
    InputError
        If it is none of them.
    """
    if path.is_dir():
        if (path / TRIAL_FILE).is_file():
            return "trials"
        if (path / "lamp.toml").is_file():
            return "lamps"
        if (path / "results.json").is_file():
            return "runs"
    elif path.suffix == ".toml" and path.is_file():
        return "gels"
    raise InputError(
        f"{path}: neither a trial folder, a lamp folder, a run folder nor a gel file; give one of these."
    )


def add(book: Path, path: Path, *, name: str | None = None, replace: bool = False) -> LogLine:
    """Copy a trial, gel, lamp or run into the book and write the log's line.

    Parameters
    ----------
    book : Path
        Folder of the book.
    path : Path
        What to add; it must open without fault.
    name : str, optional
        Name in the book; by default its own.
    replace : bool
        Whether an entry of this name may be replaced.

    Raises
    ------
    InputError
        If it does not open, or the name is taken.
    """
    kind = kind_of(path)
    _summary(kind, path)
    given = name or (path.resolve().stem if kind == "gels" else path.resolve().name)
    if not given or any(each.isspace() or each in "/\\" for each in given):
        raise InputError(f"the name '{given}' holds a blank or a slash; give another with --name.")
    target = book / kind / given
    if target.exists() and not replace:
        raise InputError(f"{target}: is in the book already; give another name, or ask to replace it.")
    act = "replace" if target.exists() else "add"
    fresh = target.with_name(f".{given}.new")
    shutil.rmtree(fresh, ignore_errors=True)
    try:
        if kind == "gels":
            _copy_gel(path, fresh)
        else:
            shutil.copytree(path, fresh)
        if target.exists():
            shutil.rmtree(target)
        fresh.rename(target)
        line = LogLine(
            time=datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), act=act, kind=kind, name=given,
            sha256=content_sha256(target), who=_who(),
        )  # fmt: skip
        with (book / LOG_FILE).open("a", encoding="utf-8", newline="\n") as log:
            log.write(line.text + "\n")
    except OSError as error:
        raise InputError(f"{book}: cannot be written ({error.strerror}); check its permissions.") from error
    return line


def _copy_gel(path: Path, target: Path) -> None:
    """A gel with the measured spectra it names."""
    from ..models.trial_files import save_gel_with_files

    target.mkdir(parents=True)
    save_gel_with_files(load_gel(path), target)


def _who() -> str:
    try:
        return "_".join(getpass.getuser().split()) or "unknown"
    except (KeyError, OSError):
        return "unknown"


def log_lines(book: Path) -> tuple[list[LogLine], list[str]]:
    """Lines of the log in the order of their times, and complaints about lines that are none."""
    found, faults = [], []
    path = book / LOG_FILE
    if not path.is_file():
        return [], [f"{LOG_FILE} is missing; restore it from a copy."]
    for number, text in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), start=1):
        parts = text.split()
        if not parts:
            continue
        if len(parts) != _FIELDS or parts[2] not in KINDS:
            faults.append(
                f"{LOG_FILE}, row {number}: '{text[:60]}' is no line of a log; correct or remove it."
            )
            continue
        found.append(
            LogLine(time=parts[0], act=parts[1], kind=parts[2], name=parts[3], sha256=parts[4], who=parts[5])
        )
    return sorted(found, key=lambda each: each.time), faults


def _summary(kind: str, path: Path) -> str:
    """One line about an entry; opening it checks it."""
    if kind == "trials":
        trial = load_trial(path)
        use = "in fits" if trial.included else "left out of fits"
        return (
            f"{trial.gel.name}, {1e6 * trial.thickness_m:g} µm, {trial.lamp.lamp_id}, {trial.position}; {use}"
        )
    if kind == "lamps":
        lamp = load_lamp(path)
        return f"{lamp.name}, {len(lamp.positions)} positions"
    if kind == "gels":
        gel = load_gel(path if path.suffix == ".toml" else path / "gel.toml")
        blend = " + ".join(f"{key} {value:g} %" for key, value in gel.initiators_wt_pct.items())
        return f"{gel.name} ({gel.coat}): {blend}"
    return _run_summary(path)


def _run_summary(path: Path) -> str:
    import json

    file = path / "results.json"
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise InputError(f"{file}: not readable as JSON ({error}); restore it.") from error
    keys = ("title", "gel", "verdict", "trial")
    return "; ".join(str(data[key]) for key in keys if isinstance(data, dict) and key in data) or "results"


def entries(book: Path, say: Progress = silent) -> Iterator[Entry]:
    """All entries, damaged ones with what is wrong; nothing stops at a damaged one. `say` is told before each."""
    lines, _ = log_lines(book)
    by_entry: dict[tuple[str, str], list[LogLine]] = {}
    for line in lines:
        by_entry.setdefault((line.kind, line.name), []).append(line)
    present = {
        (kind, folder.name): folder
        for kind in KINDS
        for folder in sorted((book / kind).glob("*"))
        if folder.is_dir() and not folder.name.startswith(".")
    }
    keys = sorted({*present, *by_entry})
    for number, key in enumerate(keys):
        kind, name = key
        say(number, len(keys), name)
        if key not in present:
            yield Entry(
                kind=kind, name=name, folder=book / kind / name, summary="",
                fault="in the log, but its folder is missing; restore it from a copy",
            )  # fmt: skip
            continue
        yield _entry(kind, name, present[key], by_entry.get(key, []))


def _entry(kind: str, name: str, folder: Path, lines: list[LogLine]) -> Entry:
    summary, faults = "", []
    try:
        summary = _summary(kind, folder)
    except (GelwrightError, OSError) as error:
        faults.append(str(error))
    found = content_sha256(folder)
    if not lines:
        faults.append("not in the log; add it with gelwright book add, or remove the folder")
    elif found not in {line.sha256 for line in lines}:
        faults.append(
            "its files do not match any line of the log; restore them, or add it again with --replace"
        )
    elif lines[-1].sha256 != found:
        faults.append(
            f"its files are those of {next(line.time for line in lines if line.sha256 == found)}, not of the last line; two people "
            "changed it: keep one, and add it again with --replace"
        )
    return Entry(kind=kind, name=name, folder=folder, summary=summary, fault="; ".join(faults))


def entry_named(book: Path, name: str) -> Entry:
    """An entry by its name, or ``kind/name`` where two kinds share it.

    Raises
    ------
    UnknownNameError
        If there is none.
    InputError
        If several kinds hold the name.
    """
    kind, _, bare = name.rpartition("/")
    found = [each for each in entries(book) if each.name == bare and kind in ("", each.kind)]
    if not found:
        raise unknown_name("entry of the book", name, sorted({each.name for each in entries(book)}))
    if len(found) > 1:
        names = " or ".join(f"{each.kind}/{each.name}" for each in found)
        raise InputError(f"'{name}' names several entries; say {names}.")
    return found[0]


def short_hash(sha256: str) -> str:
    """First digits of a hash, for people."""
    return sha256[:_HASH_SHOWN]
