"""Runs that one could do next, built from a trial already done, cheapest first, and the shares that initiators have in a film.

A further run has the trial's gel, film and instrument; one thing is changed. The order of cost is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from . import layout as at
from .film import FilmModel
from .solver import Solution
from .trial import Exposure, Trial, TrialSignal

Array = NDArray[np.float64]

SHUTTER_CONVERSION = 0.1
DARK_S = 60.0
SECOND_OUTPUT = 0.3
WARMER_K = 15.0
_LEAST_EXPOSURE_S = 0.1
_MOST_POINTS = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FurtherRun:
    """A run not yet done.

    Attributes
    ----------
    kind : str
        "shutter", "second irradiance", "repeat exposure", "without oxygen", "under air", "warmer", or "BAPO alone".
    words : str
        What to do.
    of : str
        Trial it is built from.
    trial : Trial
        The run, with the times and the noise of its signals; the values mean nothing.
    """

    kind: str
    words: str
    of: str
    trial: Trial


def is_shuttered(trial: Trial) -> bool:
    """Whether the signals go on in the dark for at least as long as the first exposure lasted."""
    first = trial.exposures[0]
    until = trial.exposures[1].start_s if len(trial.exposures) > 1 else np.inf
    last = max((min(float(each.time_s[-1]), until) for each in trial.included), default=0.0)
    return last - first.end_s >= first.duration_s


def trial_words(trial: Trial) -> str:
    """A trial in a few words: signals, light, film, surroundings."""
    signals = " and ".join(dict.fromkeys(each.kind.replace("_", " ") for each in trial.included))
    irradiance = mw_cm2_from_w_m2(trial.lamp.spectrum(trial.position).irradiance_w_m2())
    lit = " + ".join(f"{each.duration_s:.3g}" for each in trial.exposures)
    parts = [
        signals or "no signal",
        f"{lit} s at {irradiance:.3g} mW/cm²" + (", then dark" if is_shuttered(trial) else ""),
        f"{um_from_m(trial.thickness_m):.3g} µm",
        "air" if trial.atmosphere == "air" else trial.atmosphere,
    ]
    if trial.isothermal:
        parts.append(f"held at {c_from_k(trial.hand.start_k):.0f} °C")
    return ", ".join(parts)


def planned_signal(signal: TrialSignal, until_s: float) -> TrialSignal:
    """The same instrument on another run: its sampling and noise, up to a time [s]."""
    step = max(float(np.median(np.diff(signal.time_s))), until_s / _MOST_POINTS)
    time = np.arange(step, until_s + 0.5 * step, step)
    noise = float(np.median(signal.noise_sd))
    # fewer points of the same instrument are not better ones
    return replace(
        signal,
        time_s=time,
        value=np.zeros_like(time),
        noise_sd=np.full_like(time, noise),
        include=True,
        provenance={},
    )


def planned(trial: Trial, name: str, until_s: float, **changes: object) -> Trial:
    """A trial with something changed and the signals of `planned_signal`."""
    signals = tuple(planned_signal(each, until_s) for each in trial.included)
    return replace(trial, trial_id=name, signals=signals, **changes)  # type: ignore[arg-type]


def time_reaching(solution: Solution, conversion_fraction: float) -> float | None:
    """When the film's mean conversion first reaches a value [s]; None if never."""
    mean = solution.record[:, at.MEAN]
    rows = np.flatnonzero(mean >= conversion_fraction)
    if rows.size == 0 or rows[0] == 0:
        return None
    after = int(rows[0])
    pair = slice(after - 1, after + 1)
    return float(np.interp(conversion_fraction, mean[pair], solution.record[pair, at.TIME]))


def further_runs(trial: Trial, solution: Solution) -> list[FurtherRun]:
    """What could be done next with a trial's gel, film and instrument, cheapest first.

    Parameters
    ----------
    trial : Trial
        A trial done.
    solution : Solution
        Its recorded prediction, which tells when to close the shutter.
    """
    lit = trial.exposures[0].duration_s
    last = max(float(each.time_s[-1]) for each in trial.included)
    runs: list[FurtherRun] = []

    def add(kind: str, words: str, until_s: float, **changes: object) -> None:
        name = f"{trial.trial_id}-{kind.replace(' ', '-').lower()}"
        runs.append(
            FurtherRun(
                kind=kind, words=words, of=trial.trial_id, trial=planned(trial, name, until_s, **changes)
            )
        )

    shut = time_reaching(solution, SHUTTER_CONVERSION)
    if shut is not None and _LEAST_EXPOSURE_S <= shut < lit and not is_shuttered(trial):
        shut = float(f"{shut:.2g}")
        add(
            "shutter",
            f"the same run with the light cut after {shut:g} s and the signal followed for {DARK_S:g} s in the dark",
            shut + DARK_S,
            exposures=(Exposure(start_s=0.0, duration_s=shut),),
        )
    add(
        "second irradiance",
        f"the same run at {100 * SECOND_OUTPUT:.0f} % of the light (grey filter or further from the lamp)",
        last,
        lamp=trial.lamp.with_output(SECOND_OUTPUT),
    )
    if len(trial.exposures) == 1:
        again = Exposure(start_s=lit + DARK_S, duration_s=lit)
        add(
            "repeat exposure",
            f"the same run, then {DARK_S:g} s dark and the cured film exposed again: lamp heating only",
            again.end_s + 0.5 * DARK_S,
            exposures=(trial.exposures[0], again),
        )
    if trial.atmosphere == "air":
        add(
            "without oxygen",
            "the same run under nitrogen or a clear film laid on",
            last,
            atmosphere="nitrogen",
        )
    else:
        add("under air", "the same run open to the air", last, atmosphere="air")
    if trial.isothermal and trial.hand.start_k + WARMER_K <= 313.15:
        warmer = replace(trial.hand, start_k=trial.hand.start_k + WARMER_K)
        add("warmer", f"the same run at {c_from_k(warmer.start_k):.0f} °C", last, hand=warmer)
    total = sum(trial.gel.initiators_wt_pct.values())
    for key in trial.gel.initiators_wt_pct if len(trial.gel.initiators_wt_pct) > 1 else ():
        alone = trial.gel.with_initiators({key: total})
        add(
            f"{key} alone",
            f"the same run of a gel weighed with {total:g} % {key} and no other initiator",
            last,
            gel=alone,
        )
    return runs


def radical_shares(film: FilmModel) -> dict[str, float]:
    """Share of each initiator in the radicals made at the start near the surface, by its key [-]."""
    photons = np.asarray(film.light.photon_irradiance_mol_m2_s, dtype=np.float64)
    made = {
        each.key: float(np.sum(photons * np.asarray(each.napierian_m2_mol)))
        * float(np.asarray(each.concentration_mol_m3, dtype=np.float64).reshape(-1)[0])
        * each.quantum_yield
        * each.radicals_per_molecule
        for each in film.absorbers
    }
    total = sum(made.values())
    return {key: value / total if total > 0.0 else 0.0 for key, value in made.items()}


def rate_group_weights(names: Sequence[str], shares: dict[str, float]) -> Array:
    """Weights that turn logarithms of parameters into that of k_p0 sqrt(f / k_t0), shape (n,).

    Parameters
    ----------
    names : sequence of str
        Parameters.
    shares : dict of str to float
        Share of each initiator in the radicals [-] (see `radical_shares`).
    """
    weights = {"k_p0": 1.0, "k_t0": -0.5, "lamp_output": 0.5}
    weights.update({f"f.{key}": 0.5 * share for key, share in shares.items()})
    return np.array([weights.get(name, 0.0) for name in names])
