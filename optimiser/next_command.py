"""The work behind `gelwright next`: trials that could be done in a brief's lamp, what each teaches, a plan of three in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from ..lamp_library.errors import unknown_name
from ..lamp_library.lamp import Lamp
from ..lamp_library.units import um_from_m
from ..models.fit_trials import Progress, expanded_names, usual_names
from ..models.formulation import gel_resin
from ..models.further_runs import DARK_S
from ..models.gel import Gel
from ..models.heat import Hand
from ..models.next_trial import (
    Candidate,
    Doubt,
    Figure,
    Plan,
    candidate_information,
    doubt_of,
    plan_trials,
    verdict_figures,
)
from ..models.trial import Exposure, Trial, TrialSignal
from .brief import Brief
from .brief_reader import read_brief
from .cautions import short_cautions
from .demo_data import brief_path, load_any_gel
from .next_text import next_data, next_text
from .tune import loaded_lamps

MEASURES = ("temperature", "conversion", "both")
# what matters where the brief sets no margin
_MATTERS_CONVERSION, _MATTERS_K = 0.05, 1.0
_SHORT_SHARE = 0.1
_THIN_M = 50.0e-6
# a nail tip of ABS on polyurethane foam at room temperature; never a person. Properties from memory of data sheets.
TIP_ON_FOAM = Hand(
    start_k=298.15, nail_thickness_m=0.5e-3, nail_conductivity_w_m_k=0.18, nail_density_kg_m3=1050.0,
    nail_heat_capacity_j_kg_k=1400.0, tissue_depth_m=10.0e-3, tissue_conductivity_w_m_k=0.035,
    tissue_density_kg_m3=30.0, tissue_heat_capacity_j_kg_k=1400.0, perfusion_1_s=0.0,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRequest:
    """What is to be planned.

    Parameters
    ----------
    gel, brief : str
        Files or packaged ids.
    measure : str
        "temperature", "conversion" or "both".
    noise_k, noise_conversion : float
        Noise of a reading [K], [-].
    workers : int or None
        Threads.
    """

    gel: str
    brief: str
    measure: str
    noise_k: float
    noise_conversion: float
    workers: int | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NextPlan:
    """A plan with all that its words need."""

    gel: Gel
    brief: Brief
    lamp: Lamp
    measure: str
    doubt: Doubt
    figures: tuple[Figure, ...]
    wanted_conversion_fraction: float
    plan: Plan
    candidates: int


def run_next(asked: NextRequest, progress: Progress) -> tuple[str, dict[str, Any]]:
    """Plan the next trials.

    Returns
    -------
    tuple of str and dict
        The plan in words and as plain data.

    Raises
    ------
    InputError, UnknownNameError
        If an input is bad.
    """
    if asked.measure not in MEASURES:
        raise unknown_name("measurement", asked.measure, MEASURES)
    brief, gel = read_brief(brief_path(asked.brief)), load_any_gel(asked.gel)
    lamp = loaded_lamps(brief)[0]
    found = _planned(asked, gel, brief, lamp, progress)
    return (
        next_text(found) + "\n\n" + "\n".join(short_cautions(brief.on_date)),
        next_data(found) | {"cautions": short_cautions(brief.on_date)},
    )


def _planned(asked: NextRequest, gel: Gel, brief: Brief, lamp: Lamp, progress: Progress) -> NextPlan:
    candidates = candidate_trials(asked, gel, brief, lamp)
    trials = [each.trial for each in candidates]
    doubt = doubt_of(gel, expanded_names(trials, usual_names(trials)))
    progress(0, 3, "what the verdict hangs on")
    hand = Hand(start_k=brief.hand_start_k, nail_thickness_m=brief.nail_thickness_m)
    thickest = replace(
        trials[0], signals=(), thickness_m=brief.thickness_high_m, exposures=_lit(brief), hand=hand, isothermal=False
    )  # fmt: skip
    spots = [
        ("base conversion", replace(thickest, position=lamp.weakest, trial_id="base")),
        ("nail bed peak", replace(thickest, position=lamp.strongest, trial_id="bed")),
    ]
    scales = (
        brief.margins.conversion_fraction or _MATTERS_CONVERSION,
        brief.margins.temperature_k or _MATTERS_K,
    )
    figures = verdict_figures(doubt, spots, scales)
    progress(1, 3, f"what each of {len(candidates)} trials would teach")
    information = candidate_information(doubt, candidates, workers=asked.workers)
    progress(2, 3, "the plan")
    return NextPlan(
        gel=gel, brief=brief, lamp=lamp, measure=asked.measure, doubt=doubt, figures=figures,
        wanted_conversion_fraction=wanted_conversion(gel, brief),
        plan=plan_trials(doubt, figures, candidates, information), candidates=len(candidates),
    )  # fmt: skip


def wanted_conversion(gel: Gel, brief: Brief) -> float:
    """Lowest conversion at the base that a brief asks of a gel [-], a share being that of what is possible at 33 °C."""
    limits = brief.limits
    if limits.bottom_conversion_min_fraction is not None:
        return limits.bottom_conversion_min_fraction
    return (limits.bottom_conversion_min_share or 0.0) * gel_resin(gel).conversion_ceiling_fraction()


def _lit(brief: Brief) -> tuple[Exposure, ...]:
    return (Exposure(start_s=0.0, duration_s=brief.exposure_in_s(0), programme=brief.programme_in(0)),)


def _signal(asked: NextRequest, measure: str, until_s: float) -> TrialSignal:
    time = np.arange(1.0, until_s + 0.5, max(1.0, until_s / 200.0))
    if measure == "temperature":
        return TrialSignal(
            name="rise", kind="reaction_temperature", place="interface", blank="cured_sample", time_s=time,
            value=0.0 * time, noise_sd=asked.noise_k + 0.0 * time,
        )  # fmt: skip
    return TrialSignal(
        name="conversion", kind="conversion", place="mean", time_s=time, value=0.0 * time,
        noise_sd=asked.noise_conversion + 0.0 * time,
    )  # fmt: skip


def _blends(gel: Gel) -> list[tuple[str, int, Gel]]:
    """The gel as it is, with half and twice its initiators, and with each initiator alone: words, cost, gel."""
    own = dict(gel.initiators_wt_pct)

    def scaled(factor: float) -> dict[str, float]:
        return {key: float(f"{factor * value:.3g}") for key, value in own.items()}

    found = [("the gel as it is", 0, gel)]
    for blend in (scaled(0.5), scaled(2.0)):
        found.append((f"a gel weighed with {_recipe(blend)}", 2, gel.with_initiators(blend)))
    total = sum(own.values())
    for key in own if len(own) > 1 else ():
        alone = {key: float(f"{total:.3g}")}
        found.append((f"a gel weighed with {_recipe(alone)} alone", 2, gel.with_initiators(alone)))
    return found


def _recipe(blend: Mapping[str, float]) -> str:
    return " + ".join(f"{key} {value:g} %" for key, value in blend.items())


def _exposures(brief: Brief) -> list[tuple[str, int, tuple[Exposure, ...], float]]:
    """Words, cost, exposures and how long to measure [s]."""
    (lit,) = _lit(brief)
    short = replace(lit, duration_s=float(f"{_SHORT_SHARE * lit.duration_s:.2g}"))
    again = replace(lit, start_s=lit.duration_s + DARK_S)
    return [
        (f"{lit.duration_s:g} s of light", 0, (lit,), lit.duration_s + 0.5 * DARK_S),
        (
            f"light cut after {short.duration_s:g} s, then {DARK_S:g} s measured in the dark", 1, (short,),
            short.duration_s + DARK_S,
        ),
        (
            f"{lit.duration_s:g} s of light, {DARK_S:g} s dark, and the same again", 1, (lit, again),
            again.end_s + 0.5 * DARK_S,
        ),
    ]  # fmt: skip


def candidate_trials(asked: NextRequest, gel: Gel, brief: Brief, lamp: Lamp) -> list[Candidate]:
    """Every trial looked at: blends x exposures x measurements x positions x thicknesses, the easiest first."""
    measures = ("temperature", "conversion") if asked.measure == "both" else (asked.measure,)
    positions = dict.fromkeys((lamp.weakest, lamp.strongest))
    found: list[Candidate] = []
    for blend_words, blend_cost, blend in _blends(gel):
        for lit_words, lit_cost, exposures, until_s in _exposures(brief):
            for measure, place in product(measures, positions):
                thin = (_THIN_M,) if measure == "conversion" else ()
                for thickness in dict.fromkeys((*brief.thicknesses_m, *thin)):
                    words = f"{measure.capitalize()} of {blend_words}, {um_from_m(thickness):g} µm at {place}, {lit_words}"
                    trial = Trial(
                        trial_id=f"next-{len(found)}", gel=blend, lamp=lamp, position=place, thickness_m=thickness,
                        exposures=exposures, hand=TIP_ON_FOAM, isothermal=measure == "conversion",
                        signals=(_signal(asked, measure, until_s),),
                    )  # fmt: skip
                    found.append(Candidate(words=words, cost=blend_cost + lit_cost, trial=trial))
    return found
