"""Does a measured trial bring the next blend nearer to the best one?

A gel is tuned with the packaged rate coefficients; its trial is simulated with other, hidden ones (invented demonstration
data: a thermocouple run on a nail tip and a conversion curve, with noise), fitted, and the gel tuned again with what the fit
found. Both blends are held against the blend that tuning with the hidden coefficients themselves gives.

Run it with ``python studies/04_laboratory_loop.py``; the table goes to ``studies/pictures``.
"""

import csv
import math
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from gelwright.models.fit_trials import fit_trials
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.priors import prior_of
from gelwright.models.rate_calibration import RateCalibration
from gelwright.models.trial import Exposure, Trial, TrialSignal
from gelwright.models.trial_model import predict
from gelwright.optimiser.brief import Uncertainty
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.demo_data import brief_path
from gelwright.optimiser.next_command import TIP_ON_FOAM
from gelwright.optimiser.tune import Inputs, resolve, tune

SLOW = True
ALLOWED = ("BAPO", "TPO-L")
HIDDEN = {"k_p0": 0.7, "k_t0": 1.4}  # factors on the packaged values
FREE = ("k_p0", "k_t0", "C_RD", "X_v")
NOISE = {"conversion": 0.01, "reaction_temperature": 0.2}


def best_blend(inputs: Inputs, gel: Gel) -> dict[str, float]:
    """The winner of a search with this gel's rate coefficients [wt%]."""
    with tempfile.TemporaryDirectory() as folder:
        outcome = tune(
            replace(inputs, gel=gel),
            Path(folder),
            progress=lambda done, total, words: None,
            say=lambda words: None,
        )
    return dict(outcome.candidates[0].blend_wt_pct)


def hidden(gel: Gel) -> Gel:
    """The gel as it really is."""
    names = tuple(HIDDEN)
    values = prior_of(gel, names).mean + [math.log(factor) for factor in HIDDEN.values()]
    truth = RateCalibration(
        parameters=names, values=values, covariance=1e-12 * np.eye(len(names)), resin_parts=gel.resin_parts
    )
    return replace(gel, calibration=truth)


def measured(inputs: Inputs, blend: dict[str, float]) -> list[Trial]:
    """What the laboratory reads of a blend: rise over a cured blank on a tip, and conversion of a thin film."""
    rng, lamp = np.random.default_rng(1), inputs.lamp
    gel = inputs.gel.with_initiators(blend)
    time = np.arange(1.0, 91.0)
    found = []
    for kind, hand, film_m in (
        ("reaction_temperature", TIP_ON_FOAM, 300e-6),
        ("conversion", Hand(start_k=298.15), 50e-6),
    ):
        is_heat = kind == "reaction_temperature"
        signal = TrialSignal(
            name=kind, kind=kind, place="interface" if is_heat else "mean", blank="cured_sample" if is_heat else "none",
            time_s=time, value=0.0 * time, noise_sd=NOISE[kind] + 0.0 * time,
        )  # fmt: skip
        trial = Trial(
            trial_id=kind, gel=gel, lamp=lamp, position=lamp.weakest, thickness_m=film_m, hand=hand, isothermal=not is_heat,
            exposures=(Exposure(start_s=0.0, duration_s=60.0),), signals=(signal,), is_demonstration=True,
        )  # fmt: skip
        shown = predict(trial, gel=hidden(gel)).values[kind] + signal.noise_sd * rng.standard_normal(
            time.size
        )
        found.append(replace(trial, signals=(replace(signal, value=shown),)))
    return found


def distance(one: dict[str, float], other: dict[str, float]) -> float:
    """Wt% that would have to be exchanged to make one blend of the other."""
    return sum(abs(one.get(key, 0.0) - other.get(key, 0.0)) for key in ALLOWED)


def main(folder: Path) -> None:
    """Walk the loop once and write the blends with their distance from the best into `folder`."""
    brief = replace(
        read_brief(brief_path("demo")),
        allowed=ALLOWED,
        objective="least_initiator",
        uncertainty=Uncertainty(draws=2),
    )
    inputs = resolve(brief)
    optimum = best_blend(inputs, hidden(inputs.gel))
    first = best_blend(inputs, inputs.gel)
    fitted = fit_trials(measured(inputs, first), FREE, with_profiles=False)
    second = best_blend(inputs, replace(inputs.gel, calibration=fitted.calibration()))
    rows = [
        {"blend": name, **{f"{key}_wt_pct": f"{blend.get(key, 0.0):.4f}" for key in ALLOWED},
         "from_the_best_wt_pct": f"{distance(blend, optimum):.4f}"}
        for name, blend in (("first", first), ("second, after one trial", second), ("best, with the hidden rates", optimum))
    ]  # fmt: skip
    with (folder / "laboratory_loop.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    if not distance(second, optimum) < distance(first, optimum):
        raise RuntimeError(
            "the blend after the trial lies no nearer to the best one than the blend before it"
        )


if __name__ == "__main__":
    main(Path(__file__).parent / "pictures")
