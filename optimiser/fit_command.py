"""The work behind `gelwright fit`: load trials and gel, fit, write the calibrated gel and the pictures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError
from ..models.fit_outcome import TrialFit
from ..models.fit_trials import Progress, expanded_names, fit_trials, usual_names
from ..models.gel import Gel, save_gel
from ..models.rate_parameters import PARAMETERS, efficiency_name
from ..models.trial import Trial
from ..models.trial_files import load_trial
from ..models.trial_fit import SET_UP_LOG_SD, same_base
from .cautions import short_cautions
from .demo_data import load_any_gel
from .fit_pictures import write_fit_pictures
from .fit_text import fit_data, fit_text


@dataclass(frozen=True, slots=True, kw_only=True)
class FitRequest:
    """What is to be fitted.

    Parameters
    ----------
    trials : tuple of str
        Trial folders.
    gel : str or None
        Gel to calibrate; that of the first trial when None.
    free : str or None
        Names of parameters with commas between; the usual ones when None.
    out, plots : Path or None
        File of the calibrated gel and folder of the pictures, if wanted.
    with_profiles : bool
        Intervals by profile likelihood.
    workers : int or None
        Threads.
    """

    trials: tuple[str, ...]
    gel: str | None
    free: str | None
    out: Path | None
    plots: Path | None
    with_profiles: bool
    workers: int | None


def run_fit(asked: FitRequest, progress: Progress) -> tuple[str, dict[str, Any], list[Path]]:
    """Fit, and write what was asked for.

    Returns
    -------
    tuple of str, dict and list of Path
        The report as text, as plain data, and the files written.

    Raises
    ------
    InputError, UnknownNameError
        If an input is bad; nothing has been written then.
    SolverError
        If the fit fails.
    """
    _check_out(asked.out, asked.plots)
    trials = [load_trial(folder) for folder in asked.trials]
    gel = trials[0].gel if asked.gel is None else load_any_gel(asked.gel)
    _check_base(gel, trials[0])
    names = _names(asked.free, trials)
    outcome = fit_trials(
        trials, names, with_profiles=asked.with_profiles, workers=asked.workers, progress=progress
    )
    calibrated = replace(gel, calibration=outcome.calibration())
    written = []
    if asked.out is not None:
        save_gel(calibrated, asked.out)
        written.append(asked.out)
    if asked.plots is not None:
        written += write_fit_pictures(outcome, asked.plots)
    return _text(outcome, gel, asked), fit_data(outcome) | {"cautions": short_cautions()}, written


def _text(outcome: TrialFit, gel: Gel, asked: FitRequest) -> str:
    parts = [fit_text(outcome, gel.name)]
    if gel.calibration is not None:
        earlier = [each for each in gel.calibration.trials if each not in _ids(outcome)]
        if earlier:
            parts.append(
                f"The gel was calibrated before with {', '.join(earlier)}; that is replaced, not added to. Name these trials too "
                "to keep what they taught."
            )
    if asked.out is None:
        parts.append("Nothing saved; add --out FILE to write the calibrated gel.")
    else:
        parts.append(
            f"Calibrated gel: {asked.out}. Give this file to cure, and name it in the brief for tune; both then use these values, "
            "and the chance of passing their doubt."
        )
    parts.append("\n".join(short_cautions()))
    return "\n\n".join(parts)


def _ids(outcome: TrialFit) -> set[str]:
    return {trial.trial_id for trial in outcome.trials}


def _names(free: str | None, trials: list[Trial]) -> tuple[str, ...]:
    asked = (
        usual_names(trials) if free is None else [each.strip() for each in free.split(",") if each.strip()]
    )
    if not asked:
        raise InputError("--free: no name at all; name parameters such as k_p0,k_t0,f.")
    names = expanded_names(trials, asked)
    initiators = dict.fromkeys(key for trial in trials for key in trial.gel.initiators_wt_pct)
    known = (*PARAMETERS, "f", *map(efficiency_name, initiators), *SET_UP_LOG_SD)
    for name in names:
        if name not in known:
            raise InputError(f"--free: '{name}' is no parameter of these trials; known: {', '.join(known)}.")
    return names


def _check_base(gel: Gel, trial: Trial) -> None:
    if not same_base(gel, trial.gel):
        raise InputError(
            f"gel '{gel.name}': its resin base is not that of trial {trial.trial_id}; a calibration belongs to one base."
        )


def _check_out(out: Path | None, plots: Path | None) -> None:
    if out is not None:
        if out.suffix != ".toml":
            raise InputError(f"--out {out}: give the calibrated gel a file name ending in .toml.")
        if out.exists():
            raise InputError(f"--out {out}: exists already; choose another name, or remove it first.")
        if not out.parent.is_dir():
            raise InputError(f"--out {out}: the folder {out.parent} does not exist. Make it first.")
    if plots is not None and plots.exists() and not plots.is_dir():
        raise InputError(f"--plots {plots}: is a file. Name a folder.")
