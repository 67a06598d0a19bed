"""What is varied in a tolerance study, by how much and why: the conditions of use, and the numbers of the model.

Conditions of use differ from one cure, client, lamp or batch to the next. The numbers of the model are what they are, but
nobody knows them exactly: data on absorption and yields differ by tens of per cent, rate coefficients by factors. The two
are counted apart, because only the first can be met by a better blend and only the second by measuring.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.ageing import ageing_factor
from ..lamp_library.lamp import Lamp
from ..lamp_library.units import um_from_m
from ..models.doubts import Prior, gel_priors, knob_of_parameter, log_spread, without_calibrated
from ..models.gel import Gel
from .brief import Brief
from .problem import Problem
from .stack_problem import StackProblem

Floats = NDArray[np.float64]
Group = Literal["use", "data"]

LAMP_HOURS = 1000.0  # assumed: eight years of a salon lamp, 125 h of light a year
L70_HOURS = 10_000.0  # assumed where nothing is known; published values run from 1000 to 30 000 h
PLACEMENT_SHARE = 0.25  # assumed: a finger lies up to a quarter of the way to the next position
LEAST_PURITY = 0.97  # assumed: data sheets promise 97 to 99 %
COLDER_K, WARMER_K = (
    5.0,
    2.0,
)  # a cold hand at 28 C and a warm one at 35 C beside the usual 33 C (from memory)
NAIL_ERROR_RATIO = 0.2  # estimated: the usual plate is known to 0.1 mm, and people differ
LOADING = "loading"
AT = "@"  # between a knob and the gel of a set that it belongs to


@dataclass(frozen=True, slots=True, kw_only=True)
class Varied:
    """One input that is drawn.

    Parameters
    ----------
    key, words : str
        Name for machines and for people.
    group : {"use", "data"}
        Condition of use, or number of the model.
    how, basis : str
        Its distribution in words, and why.
    law : {"normal", "uniform", "triangular"}
        Distribution of the drawn number.
    low, mode, high : float
        Ends and middle of the uniform and the triangular one.
    targets : mapping of str to float
        Knob of `models.perturbed`, or ``loading:<key>``, to the weight of the drawn number on it. On factors and
        loadings the number acts through its exponential if normal, as it is otherwise.
    """

    key: str
    words: str
    group: Group
    how: str
    basis: str
    law: Literal["normal", "uniform", "triangular"]
    low: float = 0.0
    mode: float = 0.0
    high: float = 1.0
    targets: Mapping[str, float] = field(default_factory=dict)

    def drawn(self, unit: Floats) -> Floats:
        """Numbers at some quantiles, shape (n,)."""
        from scipy.stats import norm

        if self.law == "normal":
            return np.asarray(norm.ppf(np.clip(unit, 1e-9, 1.0 - 1e-9)))
        if self.law == "uniform":
            return self.low + (self.high - self.low) * unit
        width, rising = self.high - self.low, self.mode - self.low
        falling = self.high - self.mode
        share = rising / width
        return np.where(
            unit < share,
            self.low + np.sqrt(unit * width * rising),
            self.high - np.sqrt((1.0 - unit) * width * falling),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conditions:
    """Drawn conditions: loadings [wt%], shape (n_draw, n_substance), and what else differs in each draw."""

    loadings_wt_pct: Floats
    changes: tuple[Mapping[str, float], ...]


def varied_inputs(problem: Problem, groups: Sequence[Group] = ("use", "data")) -> tuple[Varied, ...]:
    """Everything that is varied for a blend.

    Parameters
    ----------
    problem : Problem
        Narrowed to the blend's substances.
    groups : sequence of {"use", "data"}
        Which kinds.
    """
    found: list[Varied] = []
    if "use" in groups:
        found += _in_use(problem)
    if "data" in groups:
        found += _in_data(problem)
    return tuple(found)


def conditions_at(
    inputs: Sequence[Varied],
    problem: Problem | StackProblem,
    loadings_wt_pct: Floats,
    unit: Floats,
    fixed: Mapping[str, float] | None = None,
) -> Conditions:
    """Conditions at some points of the unit cube.

    Parameters
    ----------
    inputs : sequence of Varied
        What is varied.
    problem : Problem
        Narrowed to the blend's substances.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The blend as intended.
    unit : ndarray, shape (n_draw, n_input)
        Quantiles, between 0 and 1.
    fixed : mapping of str to float, optional
        Knobs about which the draws are made.
    """
    factors: dict[str, Floats] = {knob: np.full(len(unit), value) for knob, value in (fixed or {}).items()}
    for column, each in enumerate(inputs):
        number = each.drawn(unit[:, column])
        for target, weight in each.targets.items():
            multiplies = "_ratio" in target.partition(AT)[0] or target.startswith(LOADING)
            if multiplies:
                value = np.exp(weight * number) if each.law == "normal" else number
                factors[target] = factors.get(target, np.ones(len(unit))) * value
            else:
                factors[target] = factors.get(target, np.zeros(len(unit))) + weight * number
    keys = problem.space.keys
    ones = np.ones(len(unit))
    loadings = loadings_wt_pct * np.stack([factors.pop(f"{LOADING}:{key}", ones) for key in keys], axis=1)
    changes = tuple(
        {target: float(value[draw]) for target, value in factors.items()} for draw in range(len(unit))
    )
    return Conditions(loadings_wt_pct=loadings, changes=changes)


def _normal(key: str, words: str, group: Group, how: str, basis: str, targets: Mapping[str, float]) -> Varied:
    return Varied(key=key, words=words, group=group, how=how, basis=basis, law="normal", targets=targets)


def _in_use(problem: Problem) -> list[Varied]:
    brief = problem.brief
    found = [*film_thickness(brief), *lamp_in_use(brief, problem.lamps), *hand_in_use(brief.hand_start_k)]
    for key in problem.space.keys:
        found += weighed(brief, key, key in problem.space.initiators)
    return found


def film_thickness(brief: Brief, at: str = "", of: str = "") -> list[Varied]:
    """Thickness of a coat over its window; `at` ends the names for machines, `of` those for people, in a set."""
    low, high = brief.thickness_low_m, brief.thickness_high_m
    if high == low:
        return []
    return [
        Varied(
            key=f"film_thickness{at}", words=f"film thickness{of}", group="use", law="uniform", low=low, high=high,
            how=f"even between {um_from_m(low):g} and {um_from_m(high):g} µm", basis="the brief",
            targets={f"film_thickness_m{at}": 1.0},
        )
    ]  # fmt: skip


def lamp_in_use(brief: Brief, lamps: Sequence[Lamp]) -> list[Varied]:
    """Output and wear of the lamp, and the place of the finger in it."""
    spread = brief.uncertainty.lamp_output_error_ratio
    found = [
        _normal("lamp_output", "lamp output, one lamp to the next", "use", f"{100 * spread:g} %",
                "the brief, or assumed", {"lamp_output_ratio": log_spread(spread)})
    ]  # fmt: skip
    worn = ageing_factor(LAMP_HOURS, L70_HOURS)
    found.append(
        Varied(
            key="lamp_wear", words="wear of the lamp", group="use", law="uniform", low=worn, high=1.0,
            how=f"even between new and {100 * worn:.1f} %",
            basis=f"assumed: up to {LAMP_HOURS:g} h of light, 70 % left after {L70_HOURS:g} h",
            targets={"lamp_output_ratio": 1.0},
        )
    )  # fmt: skip
    if any(len(lamp.positions) > 1 for lamp in lamps):
        found.append(
            Varied(
                key="placement", words="place of the finger", group="use", law="uniform",
                low=-PLACEMENT_SHARE, high=PLACEMENT_SHARE, targets={"placement_fraction": 1.0},
                how=f"even, up to {100 * PLACEMENT_SHARE:g} % of the way to the next position", basis="assumed",
            )
        )  # fmt: skip
    return found


def hand_in_use(start_k: float) -> list[Varied]:
    """Warmth of the hand and thickness of the nail."""
    coldest, warmest = max(start_k - COLDER_K, 283.15), min(start_k + WARMER_K, 313.15)
    return [
        Varied(
            key="hand", words="warmth of the hand", group="use", law="triangular",
            low=coldest - start_k, mode=0.0, high=warmest - start_k, targets={"hand_start_shift_k": 1.0},
            how=f"from {coldest - 273.15:.0f} to {warmest - 273.15:.0f} °C, most often {start_k - 273.15:.0f} °C",
            basis="from memory: 26 to 35 °C between cold and warm hands",
        ),
        _normal("nail", "thickness of the nail", "use", f"{100 * NAIL_ERROR_RATIO:g} %",
                "estimated: the usual plate is known to 0.1 mm, and people differ", {"nail_thickness_ratio": log_spread(NAIL_ERROR_RATIO)}),
    ]  # fmt: skip


def weighed(brief: Brief, key: str, is_initiator: bool, of: str = "") -> list[Varied]:
    """Weighing of a substance, and its purity if it is an initiator."""
    error = brief.uncertainty.weighing_error_ratio
    found = [
        _normal(
            f"weighing:{key}",
            f"weighing of {key}{of}",
            "use",
            f"{100 * error:g} %",
            "the brief, or assumed",
            {f"{LOADING}:{key}": log_spread(error)},
        )
    ]
    if is_initiator:
        found.append(
            Varied(
                key=f"purity:{key}", words=f"purity of {key}{of}", group="use", law="uniform", low=LEAST_PURITY, high=1.0,
                how=f"even between {100 * LEAST_PURITY:g} and 100 %", basis="assumed: data sheets promise 97 to 99 %", targets={f"{LOADING}:{key}": 1.0},
            )
        )  # fmt: skip
    return found


def _in_data(problem: Problem) -> list[Varied]:
    return in_data(problem.gel, problem.space.initiators)


def in_data(gel: Gel, initiators: Sequence[str]) -> list[Varied]:
    """Numbers of the model for one gel with some initiators in it."""
    priors = gel_priors(gel, initiators)
    calibration = gel.calibration
    found: list[Varied] = []
    if calibration is not None:
        knobs = [knob_of_parameter(name) for name in calibration.parameters]
        priors = without_calibrated(priors, knobs)
        found = calibrated_inputs(calibration.parameters, calibration.log_covariance, initiators)
    return [*found, *(_of_prior(prior) for prior in priors)]


def _of_prior(prior: Prior) -> Varied:
    return _normal(prior.knob, prior.words, "data", prior.size, prior.basis, {prior.knob: prior.spread})


def calibrated_inputs(
    parameters: Sequence[str], log_covariance: Floats, initiators: Sequence[str]
) -> list[Varied]:
    """Independent directions of a calibration's covariance, widest first, as inputs.

    Parameters
    ----------
    parameters : sequence of str
        Names of the fitted parameters.
    log_covariance : ndarray, shape (n, n)
        Covariance of their logarithms.
    initiators : sequence of str
        Initiators of the blend; efficiencies of others do not matter and are left out.
    """
    strength, vectors = np.linalg.eigh(np.asarray(log_covariance, dtype=float))
    found = []
    for number, row in enumerate(np.argsort(strength)[::-1], start=1):
        weights = np.sqrt(max(strength[row], 0.0)) * vectors[:, row]
        used = {
            name: float(weight)
            for name, weight in zip(parameters, weights, strict=True)
            if weight != 0.0 and (not name.startswith("f.") or name[2:] in initiators)
        }
        if not used:
            continue
        main = sorted(used, key=lambda name: -abs(used[name]))[:2]
        found.append(
            _normal(
                f"calibration_{number}", f"calibration, direction {number} (mainly {' and '.join(main)})", "data",
                "one standard deviation", "covariance of the calibration", {knob_of_parameter(name): weight for name, weight in used.items()},
            )
        )  # fmt: skip
    return found


def unit_draws(inputs: Sequence[Any], draws: int, seed: int, stream: int) -> Floats:
    """Scrambled Sobol points, shape (draws, n_input); equal seeds and streams give equal points.

    Parameters
    ----------
    inputs : sequence
        One dimension each.
    draws : int
        A power of two.
    seed, stream : int
        The brief's seed, and a number for each use of it, so that fresh draws are fresh.
    """
    from scipy.stats import qmc

    rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(stream,)))
    return np.asarray(qmc.Sobol(d=len(inputs), scramble=True, rng=rng).random_base2(int(np.log2(draws))))
