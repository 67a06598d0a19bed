"""Trials as data for a fit: whitened residuals and their derivatives by logarithms of the rate parameters.

The derivatives are differences of runs that repeat the time steps of the run they start from, so that they are smooth to
rounding. Beside the gel's own parameters two of the set-up may be free: `h_loss`, the heat lost to the air, and `lamp_output`,
both as factors on what the trials state, shared by all of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, SolverError
from .balanced import solve_balanced
from .core_arrays import FilmArrays, State
from .cycles import blank_film
from .film import Absorber, FilmModel, Kinetics, Oxygen
from .gel import Gel
from .materials import photoinitiator
from .packing import pack
from .plain import copy_state
from .priors import Prior, prior_of
from .rate_parameters import EFFICIENCY_PREFIX, Rates, with_log_values
from .solver import Solution, SolverSettings, control_row, run_parallel, segment_rows, solve_packed
from .trial import Trial
from .trial_model import bare_run, signal_values, trial_film, trial_mass_kg_m2, trial_segments

Array = NDArray[np.float64]

# One-sided differences lead the search. The doubt rests on central ones: along a direction that the data hardly see, the curvature
# left in one-sided differences would pass for information.
_SEARCH_STEP_LOG = 1.0e-4
_CENTRAL_STEP_LOG = 1.0e-3
# factors of the set-up: standard deviation of the logarithm, assumed (loss coefficients differ by half from holder to holder;
# two calibrated radiometers by a tenth)
SET_UP_LOG_SD: Mapping[str, float] = {"h_loss": 0.5, "lamp_output": 0.1}
SET_UP_WORDS: Mapping[str, str] = {
    "h_loss": "heat lost to the air, times what the trials state",
    "lamp_output": "lamp output, times what the lamp file states",
}
_OXYGEN = ("n_O", "O_s", "D_O")


def prior_with_set_up(gel: Gel, names: Sequence[str]) -> Prior:
    """Priors of rate parameters and of the set-up.

    Parameters
    ----------
    gel : Gel
        Resin base.
    names : sequence of str
        Rate parameters (see `rate_parameters`), `h_loss`, `lamp_output`.
    """
    own = prior_of(gel, [name for name in names if name not in SET_UP_LOG_SD])
    at = {name: row for row, name in enumerate(own.names)}

    def row(name: str, table: Array, set_up: float) -> float:
        return float(table[at[name]]) if name in at else set_up

    spread = [row(name, own.sd, SET_UP_LOG_SD.get(name, 0.0)) for name in names]
    return Prior(
        names=tuple(names),
        mean=np.array([row(name, own.mean, 0.0) for name in names]),
        sd=np.array(spread),
        lower=np.array([row(name, own.lower, -6.0 * sd) for name, sd in zip(names, spread, strict=True)]),
        upper=np.array([row(name, own.upper, 6.0 * sd) for name, sd in zip(names, spread, strict=True)]),
        assumed=(*own.assumed, *(name for name in names if name in SET_UP_LOG_SD)),
    )


def _with_efficiencies(absorbers: Sequence[Absorber], values: Mapping[str, float]) -> tuple[Absorber, ...]:
    found = []
    for each in absorbers:
        wanted = values.get(EFFICIENCY_PREFIX + each.key)
        if wanted is not None:
            factor = math.exp(wanted) / photoinitiator(each.key).initiation_efficiency
            each = replace(each, radicals_per_molecule=factor * each.radicals_per_molecule)
        found.append(each)
    return tuple(found)


def changed_film(film: FilmModel, log_values: Mapping[str, float]) -> FilmModel:
    """A film of an uncalibrated gel with other rate parameters and set-up.

    Parameters
    ----------
    film : FilmModel
        One coat with packaged numbers.
    log_values : mapping of str to float
        Natural logarithms of the values in SI units; of the factor for the set-up.
    """
    if not (isinstance(film.kinetics, Kinetics) and isinstance(film.oxygen, Oxygen)):
        raise InputError("fit: a trial is one coat of one gel; this film has several.")
    is_inert = film.oxygen.atmosphere == "nitrogen"
    rates = Rates(
        kinetics=film.kinetics,
        oxygen=film.oxygen,
        acrylate_mol_m3=float(np.mean(np.asarray(film.acrylate_mol_m3))),
        methacrylate_mol_m3=float(np.mean(np.asarray(film.methacrylate_mol_m3))),
    )
    own = {
        name: value
        for name, value in log_values.items()
        if name not in SET_UP_LOG_SD and not (is_inert and name in _OXYGEN)
    }
    rates = with_log_values(rates, own)
    light, layers = film.light, film.layers
    if "lamp_output" in log_values:
        photons = np.asarray(light.photon_irradiance_mol_m2_s) * math.exp(log_values["lamp_output"])
        light = replace(light, photon_irradiance_mol_m2_s=photons)
    if "h_loss" in log_values and layers is not None:
        loss = layers.top_transfer_w_m2_k * math.exp(log_values["h_loss"])
        layers = replace(layers, top_transfer_w_m2_k=loss)
    return replace(
        film,
        kinetics=rates.kinetics,
        oxygen=rates.oxygen,
        absorbers=_with_efficiencies(film.absorbers, own),
        light=light,
        layers=layers,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialRun:
    """One trial predicted at one set of values.

    Attributes
    ----------
    values : mapping of str to ndarray
        Prediction of each signal at its times, in its unit.
    sample, blank : Solution, Solution or None
        The runs; `blank` only where a cured sample was the blank.
    """

    values: Mapping[str, Array]
    sample: Solution
    blank: Solution | None


class TrialModel:
    """A trial whose film is assembled once and run with many sets of parameters.

    Parameters
    ----------
    trial : Trial
        What was done and measured; a calibration of its gel is left out of account.
    settings : SolverSettings
        Accuracy.
    """

    def __init__(self, trial: Trial, settings: SolverSettings) -> None:
        self.trial = trial
        self._settings = settings
        self._control = control_row(settings)
        gel = replace(trial.gel, calibration=None)
        self.film = trial_film(trial, gel, settings)
        last = max((float(each.time_s[-1]) for each in trial.signals), default=0.0)
        self._segments = segment_rows(trial_segments(trial, last))
        self._mass = trial_mass_kg_m2(trial, gel)
        wanted = {each.blank for each in trial.signals}
        self._needs_cured = "cured_sample" in wanted
        # no parameter of the gel moves the bare ground
        self._bare = bare_run(trial, gel, settings, self._segments) if "empty_run" in wanted else None

    def run(self, log_values: Mapping[str, float], like: TrialRun | None = None) -> TrialRun:
        """Predict every signal.

        Parameters
        ----------
        log_values : mapping of str to float
            See `changed_film`.
        like : TrialRun, optional
            A run whose time steps are repeated.
        """
        film, start = pack(changed_film(self.film, log_values))
        sample = self._solve(film, start, None if like is None else like.sample)
        blank = None
        if self._needs_cured:
            cured = blank_film(film, sample.state, start)
            blank = self._solve(*cured, None if like is None else like.blank)
        blanks = {"cured_sample": blank, "empty_run": self._bare}
        known = {name: each for name, each in blanks.items() if each is not None}
        values = {each.name: signal_values(each, sample, known, self._mass) for each in self.trial.signals}
        return TrialRun(values=values, sample=sample, blank=blank)

    def _solve(self, film: FilmArrays, start: State, like: Solution | None) -> Solution:
        if like is None:
            what = f"trial {self.trial.trial_id}"
            return solve_balanced(
                film, copy_state(start), self._segments, self._settings, what, record=True, keep_steps=True
            )
        return solve_packed(
            film, copy_state(start), self._segments, self._control, record=True, replay=like.steps_s
        )


class TrialSet:
    """Several trials as one set of whitened residuals.

    Parameters
    ----------
    trials : sequence of Trial
        With the signals that a fit may use; all of one resin base.
    names : sequence of str
        Free parameters, in the order of the value vector.
    settings : SolverSettings, optional
        Accuracy.
    workers : int, optional
        Threads; results do not depend on it.

    Raises
    ------
    InputError
        If there is no trial, two share a name, resin bases differ, or a trial has no signal to fit.
    """

    def __init__(
        self,
        trials: Sequence[Trial],
        names: Sequence[str],
        *,
        settings: SolverSettings | None = None,
        workers: int | None = None,
    ) -> None:
        """Assemble every film once."""
        _check_trials(trials)
        self.trials, self.names = tuple(trials), tuple(names)
        self.runs = 0
        self.noise_factor = 1.0  # on the stated noise of all signals
        self._workers = workers
        accuracy = settings or SolverSettings()
        self._models = [TrialModel(trial, accuracy) for trial in trials]
        self._last: tuple[bytes, list[TrialRun]] | None = None
        self._steps: list[TrialRun | None] = [None] * len(self._models)

    def keep_steps(self, values: Array) -> None:
        """Repeat the time steps of the runs at some values from now on, so that residuals are smooth near them."""
        self._steps = [None] * len(self._models)
        self._last = None
        self._steps = list(self.predict(values))
        self._last = None  # a repeated run differs in the last digits from one that chose its steps

    def film(self, row: int) -> FilmModel:
        """The film of one trial with packaged numbers."""
        return self._models[row].film

    def subset(self, rows: Sequence[int]) -> TrialSet:
        """Some of the trials, without assembling them again."""
        part = object.__new__(TrialSet)
        part.trials, part.names, part.runs = tuple(self.trials[i] for i in rows), self.names, 0
        part.noise_factor = self.noise_factor
        part._workers, part._models, part._last = self._workers, [self._models[i] for i in rows], None
        part._steps = [self._steps[i] for i in rows]
        return part

    def predict(self, values: Array) -> list[TrialRun]:
        """Every trial at some values, shape (n,), remembered until the next ones."""
        key = np.ascontiguousarray(values, dtype=np.float64).tobytes()
        if self._last is None or self._last[0] != key:
            wanted = dict(zip(self.names, map(float, values), strict=True))
            runs = run_parallel(lambda row: self._models[row].run(wanted), len(self._models), self._workers)
            self.runs += len(runs)
            self._last = key, runs
        return self._last[1]

    def residual(self, values: Array) -> Array:
        """Measured minus predicted over noise, shape (m,): trials and signals in their order."""
        rows = [whitened(trial, run) for trial, run in zip(self.trials, self.predict(values), strict=True)]
        return np.concatenate(rows) / self.noise_factor

    def jacobian(self, values: Array) -> Array:
        """Derivatives of the residuals by the values, one-sided, shape (m, n)."""
        moves = np.vstack([np.zeros(len(self.names)), np.eye(len(self.names))])
        centre, *beside = self._repeated(values, _SEARCH_STEP_LOG * moves)
        columns = [np.concatenate(each) - np.concatenate(centre) for each in beside]
        return np.stack(columns, axis=1) / (_SEARCH_STEP_LOG * self.noise_factor)

    def central_jacobian_by_trial(self, values: Array) -> list[Array]:
        """Derivatives of the residuals of each trial by central differences, shapes (m_trial, n)."""
        count = len(self.names)
        found = self._repeated(values, _CENTRAL_STEP_LOG * np.vstack([np.eye(count), -np.eye(count)]))
        width = 2.0 * _CENTRAL_STEP_LOG * self.noise_factor
        return [
            np.stack([(found[i][row] - found[count + i][row]) / width for i in range(count)], axis=1)
            for row in range(len(self.trials))
        ]

    def _repeated(self, values: Array, moves: Array) -> list[list[Array]]:
        """Whitened residuals for every move of the values and every trial, all with the time steps of one run of each."""
        own = self.predict(values)
        try:
            return self._replayed(
                values + moves, [kept or each for kept, each in zip(self._steps, own, strict=True)]
            )
        except SolverError:  # the kept steps are too long for values this far from theirs
            return self._replayed(values + moves, own)

    def _replayed(self, rows: Array, like: Sequence[TrialRun]) -> list[list[Array]]:
        wanted = [dict(zip(self.names, map(float, each), strict=True)) for each in rows]
        count = len(self.trials)

        def one(index: int) -> Array:
            row = index % count
            return whitened(self.trials[row], self._models[row].run(wanted[index // count], like[row]))

        found = run_parallel(one, len(wanted) * count, self._workers)
        self.runs += len(found)
        return [found[i * count : (i + 1) * count] for i in range(len(wanted))]


def whitened(trial: Trial, run: TrialRun) -> Array:
    """Residuals of one trial's included signals in standard deviations, one after the other."""
    return np.concatenate([(each.value - run.values[each.name]) / each.noise_sd for each in trial.included])


def _check_trials(trials: Sequence[Trial]) -> None:
    if not trials:
        raise InputError("fit: no trial at all; name at least one trial folder.")
    seen: set[str] = set()
    for trial in trials:
        if trial.trial_id in seen:
            raise InputError(f"fit: two trials are called '{trial.trial_id}'; rename one.")
        seen.add(trial.trial_id)
        if not trial.included:
            raise InputError(
                f"trial {trial.trial_id}: no signal may be used in a fit; see the reasons in its file, or leave it out."
            )
        if not same_base(trial.gel, trials[0].gel):
            raise InputError(
                f"trial {trial.trial_id}: its resin base is not that of trial {trials[0].trial_id}; fit one base at a time."
            )


def same_base(one: Gel, other: Gel) -> bool:
    """Whether two gels have one resin base, whatever the totals of its parts."""
    return _shares(one) == _shares(other)


def _shares(gel: Gel) -> dict[str, float]:
    total = math.fsum(gel.resin_parts.values())
    return {key: round(part / total, 6) for key, part in sorted(gel.resin_parts.items()) if part > 0.0}
