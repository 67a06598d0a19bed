"""Do 90 % intervals of a calibration hold the true value nine times out of ten?

In each repeat a true set of parameters is drawn from the priors, three trials are simulated with it (two irradiances and a
thermocouple run; invented demonstration data with realistic noise, one reading in forty spoilt in a second set) and fitted as
`gelwright fit` does, and it is noted whether the truth lies inside each parameter's 90 % interval: normal from the covariance,
and by profile likelihood. Run without arguments it makes 200 repeats and rewrites coverage.csv and README.md beside this file; the word
spoilt adds the second set.
"""

import csv
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from scipy.stats import binomtest, chi2

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.fit_trials import FINAL_TOLERANCE, best_fit, task_of
from gelwright.models.heat import Hand
from gelwright.models.likelihood_profile import profile_excess
from gelwright.models.solver import SolverSettings
from gelwright.models.trial import Exposure, Trial, TrialSignal
from gelwright.models.trial_fit import TrialSet, prior_with_set_up
from gelwright.optimiser.demo_data import load_any_gel

HERE = Path(__file__).parent
NAMES = ("k_p0", "k_t0", "C_RD", "X_v", "f.TPO-L")
LEVEL = 0.9
REPEATS = 200
FEW = 4  # what the tests run
SETTINGS = SolverSettings(cells=16, light_bins=6)  # fast; truth and fit share it, so its error cancels
SPOILT_SHARE, SPOILT_BY = 0.025, 8.0


def trials() -> list[Trial]:
    """Two conversion curves under nitrogen and a thermocouple run in air."""
    gel, lamp = load_any_gel("clear_builder"), load_lamp("demo_narrow_405")
    gel = gel.with_initiators({"TPO-L": 1.5})

    def signal(kind: str, until_s: float, noise: float) -> TrialSignal:
        time = np.arange(2.0, until_s + 1.0, 2.0)
        is_heat = kind == "reaction_temperature"
        return TrialSignal(
            name=kind, kind=kind, place="interface" if is_heat else "mean", time_s=time,
            blank="cured_sample" if is_heat else "none", value=0.0 * time, noise_sd=noise + 0.0 * time,
        )  # fmt: skip

    bright = Trial(
        trial_id="bright", gel=gel, lamp=lamp, position=lamp.weakest, thickness_m=50e-6,
        exposures=(Exposure(start_s=0.0, duration_s=60.0),), hand=Hand(start_k=298.15), atmosphere="nitrogen",
        isothermal=True, signals=(signal("conversion", 60.0, 0.01),), is_demonstration=True,
    )  # fmt: skip
    warm = replace(
        bright, trial_id="warm", thickness_m=300e-6, hand=Hand(), atmosphere="air", isothermal=False,
        signals=(signal("reaction_temperature", 90.0, 0.2),),
    )  # fmt: skip
    return [bright, replace(bright, trial_id="dim", lamp=lamp.with_output(0.2)), warm]


def one_repeat(seed: int, spoilt: bool) -> tuple[list[bool], list[bool], list[float]]:
    """Whether each true value lies inside the normal and the profile interval, and its distance in standard errors."""
    rng = np.random.default_rng(np.random.SeedSequence([seed, int(spoilt)]))
    planned = trials()
    prior = prior_with_set_up(planned[0].gel, NAMES)
    truth = prior.mean + prior.sd * rng.standard_normal(len(NAMES))
    truth = np.clip(truth, prior.lower, prior.upper)
    seen = []
    for trial, run in zip(
        planned, TrialSet(planned, NAMES, settings=SETTINGS, workers=1).predict(truth), strict=True
    ):
        signal = trial.signals[0]
        noise = rng.standard_normal(signal.time_s.size)
        if spoilt:
            noise = np.where(rng.random(noise.size) < SPOILT_SHARE, SPOILT_BY * np.sign(noise), noise)
        value = run.values[signal.name] + signal.noise_sd * noise
        seen.append(replace(trial, signals=(replace(signal, value=value),)))
    data = TrialSet(seen, NAMES, settings=SETTINGS, workers=1)
    best = best_fit(data, prior)
    distance = (best.values - truth) / best.standard_error
    task, limit = task_of(data, prior, FINAL_TOLERANCE), float(chi2.ppf(LEVEL, 1))
    # the truth lies inside a profile interval exactly where holding it there costs less than the limit
    by_profile = [profile_excess(task, best, row, float(truth[row])) <= limit for row in range(len(NAMES))]
    return [bool(abs(each) <= 1.6448536) for each in distance], by_profile, [float(each) for each in distance]


def counted(repeats: int, spoilt: bool) -> list[dict[str, object]]:
    """Run the repeats and count."""
    job = partial(one_repeat, spoilt=spoilt)
    if repeats <= FEW:
        found = [job(seed) for seed in range(repeats)]
    else:
        with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
            found = list(pool.map(job, range(repeats), chunksize=4))
    return table(found, spoilt)


def table(found: list[tuple[list[bool], list[bool], list[float]]], spoilt: bool) -> list[dict[str, object]]:
    """One row per parameter and kind of interval."""
    repeats = len(found)
    rows: list[dict[str, object]] = []
    data = "one reading in forty spoilt" if spoilt else "normal noise"
    for column, kind in enumerate(("covariance", "profile")):
        inside = np.array([each[column] for each in found])
        for row, name in enumerate((*NAMES, "all")):
            hits = inside[:, row] if name != "all" else inside.ravel()
            interval = binomtest(int(hits.sum()), hits.size).proportion_ci(0.95, method="exact")
            rows.append(
                {
                    "data": data, "interval": kind, "parameter": name, "repeats": repeats, "inside": int(hits.sum()),
                    "of": hits.size, "coverage_pct": round(100.0 * float(hits.mean()), 1),
                    "low_pct": round(100.0 * interval.low, 1), "high_pct": round(100.0 * interval.high, 1),
                    "sd_of_distance": "" if name == "all" else round(float(np.std([e[2][row] for e in found])), 3),
                }
            )  # fmt: skip
    return rows


def main(folder: Path, repeats: int = FEW, *, with_spoilt: bool = False) -> list[dict[str, object]]:
    """Write coverage.csv into a folder."""
    rows = counted(repeats, spoilt=False) + (counted(repeats, spoilt=True) if with_spoilt else [])
    write(folder, rows)
    return rows


def write(folder: Path, rows: list[dict[str, object]]) -> None:
    """The table as a file."""
    with (folder / "coverage.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def page(rows: list[dict[str, object]]) -> str:
    """README.md with the table."""
    lines = [
        "# Coverage of calibrated intervals",
        "",
        "How often 90 % intervals hold the true value, over parameters drawn from their priors and trials simulated with noise",
        "(invented demonstration data; see the head of [interval_coverage.py](interval_coverage.py), which writes this page). Asked for: 85 to 95 %.",
        "",
        "| data | interval | parameter | inside | coverage | 95 % range |",
        "|---|---|---|---|---|---|",
    ]
    for row in rows:
        lines.append(
            f"| {row['data']} | {row['interval']} | {row['parameter']} | {row['inside']} of {row['of']} | "
            f"{row['coverage_pct']} % | {row['low_pct']} to {row['high_pct']} % |"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    wanted = next((int(each) for each in sys.argv[1:] if each.isdigit()), REPEATS)
    (HERE / "README.md").write_text(
        page(main(HERE, wanted, with_spoilt="spoilt" in sys.argv)), encoding="utf-8"
    )
