"""What the `gelwright trial` commands do: read a sheet into a folder, show it again, list and compare trials."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..lamp_library.errors import GelwrightError, InputError
from ..lamp_library.lamp import Lamp, load_lamp
from ..lamp_library.toml_text import toml_text
from ..models.gel import Gel, load_gel
from ..models.log_table import read_log_table
from ..models.log_time import time_column
from ..models.temperature_log import unit_of_heads
from ..models.trial_files import LOGS_FOLDER, TRIAL_FILE, load_trial, save_trial
from ..models.trial_model import predict
from ..models.trial_reading import TrialReading, read_trial
from ..models.trial_sheet import RECORD_FIELDS, SHEET_FILE, TrialSheet, read_sheet
from .demo_data import load_any_gel, sheet_path
from .page_html import write_page
from .progress import silent
from .trial_page import trial_page
from .trial_run import TrialRun, percent, run_of, trial_data, trial_text

if TYPE_CHECKING:
    from .search import Progress

_IS_PATH = re.compile(r"[/\\]|\.toml$")
PICTURE = "trial.png"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialRow:
    """One line of a list of trials; `fault` says why a damaged one does not open."""

    folder: Path
    trial_id: str
    summary: str
    fault: str = ""


def _gel(sheet: TrialSheet) -> Gel:
    if _IS_PATH.search(sheet.gel):
        return load_gel(sheet.path.parent / sheet.gel)
    return load_any_gel(sheet.gel)


def _lamp(sheet: TrialSheet) -> Lamp:
    if _IS_PATH.search(sheet.lamp):
        return load_lamp(sheet.path.parent / sheet.lamp)
    return load_lamp(sheet.lamp)


def run_sheet(
    sheet: TrialSheet, gel: Gel, lamp: Lamp, logs: Path, predicted_gel: Gel | None = None
) -> TrialRun:
    """Read the logs of a sheet and set them against the prediction; a faulty trial is left out of fits.

    Parameters
    ----------
    sheet : TrialSheet
        What was done.
    gel, lamp : Gel, Lamp
        What was cured in what.
    logs : Path
        Folder of the logs.
    predicted_gel : Gel, optional
        Another gel to predict with, for instance the same one calibrated.
    """
    reading = read_trial(sheet, gel, lamp, logs)
    run = run_of(reading, predict(reading.trial, gel=predicted_gel), predicted_gel)
    return run_of(_marked(reading, run.faults), run.prediction, predicted_gel)


def _marked(reading: TrialReading, faults: Sequence[str]) -> TrialReading:
    if not faults:
        return reading
    signals = tuple(
        replace(each, include=False, reason=each.reason or "; ".join(faults))
        for each in reading.trial.signals
    )
    return replace(reading, trial=replace(reading.trial, signals=signals))


def read_into(name: str, out: Path, overwrite: bool, say: Progress = silent) -> TrialRun:
    """Read a sheet and write the trial's folder; nothing is written if anything is wrong.

    Parameters
    ----------
    name : str
        Path of a sheet, or a packaged one's id.
    out : Path
        Folder to write.
    overwrite : bool
        Whether a trial in it may be replaced.
    say : callable
        Told what comes next.

    Raises
    ------
    InputError
        If the sheet or a log breaks a rule, or the folder holds a trial.
    """
    path = sheet_path(name)
    if path.suffix != ".toml":
        raise InputError(
            f"{path}: a log alone does not say what was cured; write a sheet for it: gelwright trial sheet {path} --out trial.toml."
        )
    if (out / TRIAL_FILE).exists() and not overwrite:
        raise InputError(f"{out}: holds a trial already; choose another folder, or ask to overwrite.")
    sheet = read_sheet(path)
    say(0, 2, "logs and prediction")
    run = run_sheet(sheet, _gel(sheet), _lamp(sheet), path.parent)
    logs = [path.parent / each for each in sheet.logs]
    save_trial(run.reading.trial, out, logs=logs, overwrite=overwrite)
    if path.resolve() != (out / SHEET_FILE).resolve():
        shutil.copyfile(path, out / SHEET_FILE)
    say(1, 2, "report and picture")
    _write_report(run, out)
    return run


def _write_report(run: TrialRun, out: Path) -> None:
    from .trial_picture import trial_picture

    data = json.dumps(trial_data(run), indent=2, ensure_ascii=False, allow_nan=False)
    (out / "results.json").write_text(data + "\n", encoding="utf-8")
    (out / "report.txt").write_text(trial_text(run) + "\n", encoding="utf-8")
    trial_picture(run, out / PICTURE)
    write_page(trial_page(run), out / "report.html")


def _recalibrated(gel: Gel, name: str) -> Gel:
    """The trial's own gel with the calibration of another gel file."""
    other = load_any_gel(name)
    if other.calibration is None:
        raise InputError(
            f"{name}: holds no calibration; give a gel written by gelwright fit, or leave --calibrated out."
        )
    return replace(gel, calibration=other.calibration)


def run_folder(folder: Path, calibrated: str | None = None) -> TrialRun:
    """A trial folder analysed again from its own logs, sheet, gel and lamp.

    Parameters
    ----------
    folder : Path
        The trial.
    calibrated : str, optional
        Gel file whose calibration the trial's gel is predicted with.

    Raises
    ------
    InputError
        If a file in it is missing or was changed.
    """
    trial = load_trial(folder)
    place = folder.parent if folder.name == TRIAL_FILE else folder
    sheet = read_sheet(place / SHEET_FILE)
    flat = replace(sheet, **_flat_logs(sheet))
    other = None if calibrated is None else _recalibrated(trial.gel, calibrated)
    return run_sheet(flat, trial.gel, trial.lamp, place / LOGS_FOLDER, other)


def _flat_logs(sheet: TrialSheet) -> dict[str, Any]:
    """The sheet's plans with the bare names of its logs, as they lie in the folder."""

    def bare(name: str | None) -> str | None:
        return None if name is None else Path(name).name

    plan = sheet.temperature
    return {
        "temperature": None
        if plan is None
        else replace(
            plan,
            log=Path(plan.log).name,
            blank_log=bare(plan.blank_log),
            probe_step_log=bare(plan.probe_step_log),
        ),
        "conversions": {k: replace(each, log=Path(each.log).name) for k, each in sheet.conversions.items()},
        "heat_flows": {
            k: replace(each, log=Path(each.log).name, baseline_log=bare(each.baseline_log))
            for k, each in sheet.heat_flows.items()
        },
    }


def list_trials(folder: Path, say: Progress = silent) -> list[TrialRow]:
    """Trials anywhere under a folder; one that does not open is listed with the reason.

    Parameters
    ----------
    folder : Path
        Where to look.
    say : callable
        Told before each trial.

    Raises
    ------
    InputError
        If the folder does not exist.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder; give the folder that holds the trials.")
    rows = []
    files = sorted(folder.rglob(TRIAL_FILE))
    for number, file in enumerate(files):
        say(number, len(files), file.parent.name)
        try:
            trial = load_trial(file.parent)
        except GelwrightError as error:
            rows.append(TrialRow(folder=file.parent, trial_id=file.parent.name, summary="", fault=str(error)))
            continue
        use = "in fits" if trial.included else "left out of fits"
        kinds = ", ".join(each.kind.replace("_", " ") for each in trial.signals) or "no signal"
        summary = (
            f"{trial.record.get('date', 'no date'):<11}{trial.gel.name}, {1e6 * trial.thickness_m:g} µm, {trial.lamp.lamp_id}, "
            f"{trial.position}; {kinds}; {use}"
        )
        rows.append(TrialRow(folder=file.parent, trial_id=trial.trial_id, summary=summary))
    return rows


def compare_text(runs: Sequence[TrialRun]) -> str:
    """Trials side by side: what the probe saw, the second exposure, and how far the model was off."""
    head = ("trial", "peak/K", "after/s", "2nd heat/%", "verdict", "predicted peak/K", "rms/K", "times noise")
    rows = [head, *(_compare_row(run) for run in runs)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(head))]
    lines = ["  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True)) for row in rows]
    faults = [f"- {run.reading.trial.trial_id}: {fault}" for run in runs for fault in run.faults]
    return "\n".join([*lines, *(["", "Faults:", *faults] if faults else [])])


def _compare_row(run: TrialRun) -> tuple[str, ...]:
    trial, analysis = run.reading.trial, run.reading.temperature
    if analysis is None:
        each = run.deviations[0]
        return (trial.trial_id, "-", "-", "-", "no probe", "-", "-", f"{each.rms / each.noise_rms:.1f}")
    peak, cycles, each = analysis.peaks[0], analysis.cycles, run.deviations[0]
    share = percent(cycles.share[1]) if cycles is not None and cycles.heat_k.size > 1 else "-"
    verdict = "faulty" if run.faults else (cycles.verdict if cycles is not None else "no heats")
    return (
        trial.trial_id, f"{peak.height_k:.2f}", f"{peak.time_s:.1f}", share, verdict, f"{each.predicted_peak:.2f}",
        f"{each.rms:.2f}", f"{each.rms / each.noise_rms:.1f}",
    )  # fmt: skip


def sheet_text(log: Path | None) -> str:
    """A trial sheet to be filled in, with the channels of a log where one is given.

    Raises
    ------
    InputError
        If the log has no table.
    """
    name, channels, unit, clock = "log.csv", ("sample", "blank"), "C", "time_s"
    if log is not None:
        table = read_log_table(log)
        at = time_column(table, None)
        name, clock = log.name, table.header[at]
        heads = [head for i, head in enumerate(table.header) if i != at]
        channels = (heads[0], heads[1] if len(heads) > 1 else heads[0])
        found = unit_of_heads(heads)
        unit = found[0] if len(found) == 1 else ""
    quoted = {key: toml_text({key: value}).strip() for key, value in (("log", name), ("sample", channels[0]), ("blank", channels[1]), ("time", clock), ("unit", unit))}  # fmt: skip
    lines = [
        "# Trial sheet: fill in, then gelwright trial read THIS_FILE --out FOLDER. Paths are relative to this file.",
        'format = "gelwright trial sheet 1"',
        'id = "my_trial_1"              # lower-case letters, digits, _ and -',
        "",
        "[cured]",
        'gel = "clear_builder"          # packaged id, or a gel file such as "my_gel.toml"',
        'lamp = "demo_arch_365_405"     # packaged id, or a lamp folder such as "./my_lamp"',
        'position = "thumb"',
        "thickness_um = 300.0",
        '# atmosphere = "nitrogen"      # air if left out; closed = covered by foil or glass',
        "",
        "[exposures]",
        "seconds = 60.0",
        "count = 3                      # found in the blank; or give starts_s = [20.0, 200.0] on the log's clock",
        "",
        "[temperature]",
        quoted["log"],
        quoted["time"],
        f"{quoted['unit']:<30} # C or F: what the logger wrote; it is never guessed",
        quoted["sample"],
        quoted["blank"],
        'blank_kind = "cured_sample"    # cured_sample (best), empty_run or lamp_interior',
        "probe_bead_mm = 0.25           # or probe_time_constant_s, or probe_step_log with a plunge into gel or water",
        '# blank_log = "other.csv"      # where the blank was a run of its own',
        "# cell_cooling_s = 120.0       # else read from the cooling after the first exposure",
        "",
        "# [conversion.ftir]            # log, value, quantity = peak_area | conversion_percent, reference, light_on_s",
        "# [heat_flow.dsc]              # log, value, unit = mW | W/g, exothermic = up | down, mass_mg, baseline_log, light_on_s",
        "",
        "[hand]                         # what the film lies on; start_c is its temperature before the lamp is lit",
        "start_c = 25.0",
        "",
        "[record]",
        *(f'{key + " = ":<24}""      # {words}' for key, words in RECORD_FIELDS.items()),
    ]
    return "\n".join(lines) + "\n"
