"""A plan of trials in words: what is in doubt, which trials in which order, and the reason of each."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ..lamp_library.units import c_from_k, um_from_m
from ..models.next_trial import Figure, PlanStep
from .fit_text import parameter_words

if TYPE_CHECKING:
    from .next_command import NextPlan

_MEASURED = {
    "temperature": "a thermocouple under a film on a nail tip on foam, minus a cured blank",
    "conversion": "conversion of a film held at 25 °C, in air",
    "both": "conversion of a film held at 25 °C in air, or a thermocouple under one on a nail tip on foam, minus a cured blank",
}
_LITTLE = 0.95


def next_text(found: NextPlan) -> str:
    """The plan for the terminal."""
    return "\n\n".join([_head(found), _doubt(found), *_steps(found), _closing(found)])


def _head(found: NextPlan) -> str:
    lines = [
        f"Next trials for {found.gel.name} in {found.lamp.name}; measured: {_MEASURED[found.measure]}.",
        f"Looked at: {found.candidates} trials (positions, thicknesses, loadings, exposures).",
    ]
    calibration = found.gel.calibration
    if calibration is None:
        lines.append(
            "The gel is not calibrated: what is known are the packaged values and their uncertainties."
        )
    else:
        lines.append(f"Known from trials {', '.join(calibration.trials)}; the rest from the packaged values.")
    if found.gel.is_demonstration or found.brief.is_demonstration:
        lines.append("Invented demonstration data.")
    return "\n".join(lines)


def _shown(figure: Figure) -> str:
    return f"{figure.value:.2f}" if figure.name == "base conversion" else f"{c_from_k(figure.value):.1f} °C"


def _sd_words(figure: Figure, sd: float) -> str:
    return f"{sd:.3f}" if figure.name == "base conversion" else f"{sd:.1f} K"


def _wrong(distance: float, sd: float) -> float:
    """Chance that a normal error turns the verdict over [-]."""
    return 0.0 if sd <= 0.0 else 0.5 * math.erfc(abs(distance) / sd / math.sqrt(2.0))


def _distances(found: NextPlan) -> tuple[float, float]:
    base, bed = found.figures
    return base.value - found.wanted_conversion_fraction, found.brief.limits.nail_bed_max_k - bed.value


def _doubt(found: NextPlan) -> str:
    base, bed = found.figures
    covariance = found.doubt.covariance
    thick = f"{um_from_m(found.brief.thickness_high_m):g} µm"
    sds = base.sd(covariance), bed.sd(covariance)
    wrong = [100 * _wrong(*pair) for pair in zip(_distances(found), sds, strict=True)]
    return (
        "In doubt through the rate parameters alone (one standard deviation, linearised):\n"
        f"- base conversion {_shown(base)} ± {sds[0]:.3f} at {found.lamp.weakest}, {thick}; wanted "
        f"{found.wanted_conversion_fraction:.2f}; the verdict would turn over in {wrong[0]:.0f} % of cases\n"
        f"- nail bed {_shown(bed)} ± {sds[1]:.1f} K at {found.lamp.strongest}, {thick}; allowed "
        f"{c_from_k(found.brief.limits.nail_bed_max_k):.0f} °C; the verdict would turn over in {wrong[1]:.0f} % of cases"
    )


def _steps(found: NextPlan) -> list[str]:
    return [_step(found, number, step) for number, step in enumerate(found.plan.steps, start=1)]


def _step(found: NextPlan, number: int, step: PlanStep) -> str:
    changes = [
        f"{figure.name} ± {_sd_words(figure, before)} → {_sd_words(figure, after)}"
        for figure, before, after in zip(found.figures, step.sd_before, step.sd_after, strict=True)
    ]
    reasons = [
        f"{name} ({parameter_words(name)}) from {_factor(before)} to {_factor(after)}"
        for name, before, after in step.narrowed
        if after < _LITTLE * before
    ]
    text = f"{number}. {step.candidate.words}.\n   Leaves: {', '.join(changes)}."
    if reasons:
        return f"{text}\n   Because it narrows {' and '.join(reasons)}."
    return f"{text}\n   It would teach little more: repeat the trials before instead, to see the scatter between batches."


def _factor(error: float) -> str:
    return f"±{100 * error:.2g} %" if error < 0.3 else f"a factor of {math.exp(error):.2g}"


def _closing(found: NextPlan) -> str:
    plan = found.plan
    lines = []
    if plan.most_informative is not plan.steps[0].candidate:
        lines.append(
            f"For the parameters alone, whatever this verdict, most is learnt from: {plan.most_informative.words} (D-optimal)."
        )
    weighed = [step for step in plan.steps if "weighed" in step.candidate.words]
    lines.append(
        f"Blend to weigh next: {_blend(weighed[0])}."
        if weighed
        else "No other blend need be weighed for these; weigh the next one that tune proposes with the calibrated gel."
    )
    lines.append("All of them on tips or plates, never on a person.")
    lines.append(
        "After each trial: gelwright trial read, gelwright fit with all trials so far, then this plan again."
    )
    return "\n".join(lines)


def _blend(step: PlanStep) -> str:
    return " + ".join(
        f"{key} {value:g} %" for key, value in step.candidate.trial.gel.initiators_wt_pct.items()
    )


def next_data(found: NextPlan) -> dict[str, Any]:
    """The plan as plain data, SI units."""
    covariance = found.doubt.covariance
    return {
        "figures": [
            {"name": each.name, "value": each.value, "sd": each.sd(covariance), "distance_to_limit": distance}
            for each, distance in zip(found.figures, _distances(found), strict=True)
        ],
        "plan": [
            {
                "words": step.candidate.words,
                "position": step.candidate.trial.position,
                "thickness_m": step.candidate.trial.thickness_m,
                "initiators_wt_pct": dict(step.candidate.trial.gel.initiators_wt_pct),
                "exposures_s": [[each.start_s, each.duration_s] for each in step.candidate.trial.exposures],
                "information_gain": step.information_gain,
                "sd_after": list(step.sd_after),
                "narrowed": [list(each) for each in step.narrowed],
            }
            for step in found.plan.steps
        ],
        "d_optimal": {
            "words": found.plan.most_informative.words,
            "information_gain": found.plan.most_information,
        },
        "candidates": found.candidates,
    }
