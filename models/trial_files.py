"""Trial folders: ``trial.toml`` with ``gel.toml``, ``lamp/`` and one ``signal_<name>.csv`` per signal beside it.

Raw logs lie unchanged in ``logs/``. Hashes of signals and logs are kept, so that a changed file is noticed.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import load_lamp, save_lamp, text_sha256
from ..lamp_library.tables import MAX_BYTES, read_text
from ..lamp_library.toml_section import Section
from ..lamp_library.toml_text import TomlValue, toml_text
from ..lamp_library.units import c_from_k, k_from_c, m_from_um, um_from_m
from .gel import Gel, load_gel, save_gel
from .heat import Hand
from .trial import Exposure, Trial, TrialSignal

FORMAT = "gelwright trial 1"
TRIAL_FILE = "trial.toml"
LOGS_FOLDER = "logs"
DEMONSTRATION_LABEL = "invented demonstration data"
_HEAD = "time_s,value,noise_sd"
_TOP = ("format", "id", "demonstration", "cured", "exposures", "hand", "signals", "logs", "record")
_CURED = ("gel", "lamp", "position", "thickness_um", "atmosphere", "isothermal")
_SIGNAL = ("file", "kind", "place", "blank", "include", "reason", "sha256", "provenance")
_OWN_FILES = ("absorption_files", "pigment_files")
_USUAL = Hand()


def _rounded(value: float) -> float:
    # twelve digits hide the last bit of a conversion, which nobody can measure
    return float(f"{value:.12g}")


def hand_table(hand: Hand) -> dict[str, TomlValue]:
    """Start temperature [C] and whatever differs from the usual hand, in the fields' own units."""
    table: dict[str, TomlValue] = {"start_c": _rounded(c_from_k(hand.start_k))}
    for name in Hand.__dataclass_fields__:
        value = getattr(hand, name)
        if name != "start_k" and value is not None and value != getattr(_USUAL, name):
            table[name] = float(value)
    return table


def hand_from(section: Section) -> Hand:
    """A hand from a table: ``start_c`` and any other field of `Hand` in its own unit."""
    names = tuple(name for name in Hand.__dataclass_fields__ if name != "start_k")
    section.only("start_c", *names)
    given = {name: section.number(name) for name in names if name in section.values}
    if "start_c" in section.values:
        given["start_k"] = k_from_c(section.number("start_c"))
    return Hand(**given)


def log_sha256(path: Path) -> str:
    """SHA-256 of a raw file, byte for byte."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def save_trial(
    trial: Trial, folder: str | Path, *, logs: Sequence[Path] = (), overwrite: bool = False
) -> Path:
    """Write a trial folder.

    Parameters
    ----------
    trial : Trial
        What to write.
    folder : str or Path
        Where to, made if needed.
    logs : sequence of Path
        Raw files to be copied into ``logs/`` unchanged.
    overwrite : bool
        Whether a trial already there may be replaced.

    Returns
    -------
    Path
        The ``trial.toml`` written, last of all: a folder without it is no trial.

    Raises
    ------
    InputError
        If the folder holds a trial already, or cannot be written.
    """
    place = Path(folder)
    if place.exists() and not place.is_dir():
        raise InputError(f"{place}: is a file; give the name of a folder for the trial.")
    if (place / TRIAL_FILE).exists() and not overwrite:
        raise InputError(f"{place}: holds a trial already; choose another folder, or ask to overwrite.")
    names = [path.name for path in logs]
    if len(set(names)) < len(names):
        raise InputError("two logs have the same file name; rename one.")
    try:
        place.mkdir(parents=True, exist_ok=True)
        for old in place.glob("signal_*.csv"):
            old.unlink()
        save_gel_with_files(trial.gel, place)
        save_lamp(trial.lamp, place / "lamp", overwrite=True)
        kept = _copied_logs(logs, place)
        document = _document(trial, place, kept)
        note = [DEMONSTRATION_LABEL] if trial.is_demonstration else []
        (place / TRIAL_FILE).write_text(toml_text(document, comments=note), encoding="utf-8", newline="\n")
    except OSError as error:
        raise InputError(f"{place}: cannot be written ({error.strerror}); choose another folder.") from error
    return place / TRIAL_FILE


def _copied_logs(logs: Sequence[Path], place: Path) -> dict[str, TomlValue]:
    target = place / LOGS_FOLDER
    kept: dict[str, TomlValue] = {}
    for path in logs:
        target.mkdir(exist_ok=True)
        if path.resolve() != (target / path.name).resolve():
            shutil.copyfile(path, target / path.name)
        kept[path.name] = log_sha256(target / path.name)
    return kept


def save_gel_with_files(gel: Gel, place: Path) -> None:
    """Write the gel with copies of its measured spectra beside it, so that the folder can be moved."""
    changed: dict[str, Mapping[str, str]] = {}
    for label in _OWN_FILES:
        files = getattr(gel, label)
        changed[label] = {key: f"gel_{label}_{number}.csv" for number, key in enumerate(files, start=1)}
        for key, name in changed[label].items():
            if Path(files[key]).resolve() != (place / name).resolve():
                shutil.copyfile(files[key], place / name)
    save_gel(replace(gel, **changed), place / "gel.toml")  # type: ignore[arg-type]


def _document(trial: Trial, place: Path, logs: Mapping[str, TomlValue]) -> dict[str, TomlValue]:
    document: dict[str, TomlValue] = {
        "format": FORMAT,
        "id": trial.trial_id,
        "demonstration": trial.is_demonstration,
        "exposures": [
            {
                "start_s": float(each.start_s),
                "duration_s": float(each.duration_s),
                "programme": each.programme,
            }
            for each in trial.exposures
        ],
        "cured": {
            "gel": "gel.toml",
            "lamp": "lamp",
            "position": trial.position,
            "thickness_um": _rounded(um_from_m(trial.thickness_m)),
            "atmosphere": trial.atmosphere,
            "isothermal": trial.isothermal,
        },
        "hand": hand_table(trial.hand),
    }
    signals: dict[str, TomlValue] = {}
    for each in trial.signals:
        name = f"signal_{each.name}.csv"
        text = _signal_text(each)
        (place / name).write_text(text, encoding="utf-8", newline="\n")
        signals[each.name] = {
            "file": name,
            "kind": each.kind,
            "place": each.place,
            "blank": each.blank,
            "include": each.include,
            "reason": each.reason,
            "sha256": text_sha256(text),
            "provenance": dict(each.provenance),
        }
    document["signals"] = signals
    if logs:
        document["logs"] = dict(logs)
    document["record"] = dict(trial.record)
    return document


def _signal_text(signal: TrialSignal) -> str:
    rows = zip(signal.time_s, signal.value, signal.noise_sd, strict=True)
    return "\n".join([_HEAD, *(",".join(f"{float(cell):.9g}" for cell in row) for row in rows)]) + "\n"


def load_trial(folder: str | Path) -> Trial:
    """Load a trial from its folder or its ``trial.toml``.

    Raises
    ------
    InputError
        If a file is missing, was changed since it was written, or breaks a rule; one line says which and what to do.
    UnknownNameError
        If a name in it is not known.
    """
    place = Path(folder)
    if place.name == TRIAL_FILE:
        place = place.parent
    file = place / TRIAL_FILE
    if not file.is_file():
        raise InputError(
            f"{place}: no trial here ({TRIAL_FILE} is missing); give a trial folder, or read a log first: gelwright trial read."
        )
    top = Section.of_file(file)
    top.only(*_TOP)
    if top.values.get("format") != FORMAT:
        raise InputError(f"{file}: format is {top.values.get('format')!r}; it must be '{FORMAT}'.")
    try:
        return _trial(top, place)
    except (InputError, LookupError) as error:
        if str(place) in str(error) or not isinstance(error, InputError):
            raise
        raise InputError(f"{file}: {error}") from error


def _trial(top: Section, place: Path) -> Trial:
    cured = top.table("cured")
    cured.only(*_CURED)
    _check_logs(top.table("logs", required=False), place)
    record = top.table("record", required=False)
    return Trial(
        trial_id=top.text("id"),
        is_demonstration=top.flag("demonstration"),
        gel=load_gel(place / cured.text("gel")),
        lamp=load_lamp(place / cured.text("lamp")),
        position=cured.text("position"),
        thickness_m=m_from_um(cured.number("thickness_um")),
        atmosphere=cured.text("atmosphere"),  # type: ignore[arg-type]
        isothermal=cured.flag("isothermal"),
        exposures=tuple(_exposure(row) for row in top.rows("exposures")),
        hand=hand_from(top.table("hand", required=False)),
        signals=tuple(
            _signal(name, top.table("signals").table(name), place) for name in top.values["signals"]
        )
        if "signals" in top.values
        else (),
        record={key: record.text(key) for key in record.values},
    )


def _exposure(row: Section) -> Exposure:
    row.only("start_s", "duration_s", "programme")
    return Exposure(
        start_s=row.number("start_s"), duration_s=row.number("duration_s"), programme=row.text("programme")
    )


def _signal(name: str, section: Section, place: Path) -> TrialSignal:
    section.only(*_SIGNAL)
    path = place / section.text("file")
    text = read_text(path)
    if "sha256" in section.values and section.text("sha256") != text_sha256(text):
        raise InputError(
            f"{path}: the signal has changed since {TRIAL_FILE} was written (sha256 differs); restore the file, or "
            "delete the sha256 line if the change is meant."
        )
    lines = text.splitlines()
    if lines[0] != _HEAD:
        raise InputError(f"{path}, row 1: the heads are '{lines[0][:60]}'; they must be '{_HEAD}'.")
    provenance = section.table("provenance", required=False)
    return TrialSignal(
        name=name,
        kind=section.text("kind"),  # type: ignore[arg-type]
        place=section.text("place"),
        blank=section.text("blank"),  # type: ignore[arg-type]
        include=section.flag("include"),
        reason=section.text("reason"),
        provenance={key: provenance.text(key) for key in provenance.values},
        **_columns(lines[1:], path),
    )


def _columns(lines: Sequence[str], path: Path) -> dict[str, np.ndarray]:
    rows = []
    for number, line in enumerate(lines, start=2):
        try:
            time, value, noise = (float(cell) for cell in line.split(","))
        except ValueError:
            raise InputError(f"{path}, row {number}: '{line[:40]}' is not three numbers.") from None
        rows.append((time, value, noise))
    columns = np.array(rows, dtype=np.float64).reshape(-1, 3).T
    return dict(zip(_HEAD.split(","), columns, strict=True))


def _check_logs(section: Section, place: Path) -> None:
    for name in section.values:
        path = place / LOGS_FOLDER / Path(name).name
        if not path.is_file():
            raise InputError(f"{path}: the raw log is missing; restore it, or take its line out of [logs].")
        if path.stat().st_size > MAX_BYTES or log_sha256(path) != section.text(name):
            raise InputError(
                f"{path}: the raw log has changed since it was read (sha256 differs); restore it."
            )
