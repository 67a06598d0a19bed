"""A calibration in words: values and doubt, what describes the trials how well, what is not separated, what to run next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..models.fit_outcome import InformationRow, SignalMisfit, Suggestion, TrialFit
from ..models.fit_trials import LEVEL
from ..models.rate_parameters import PARAMETERS, shown, words_of
from ..models.trial_fit import SET_UP_LOG_SD, SET_UP_WORDS

Array = NDArray[np.float64]

_NORMAL_90 = 1.6448536
_LINKED = 0.95
_UNKNOWN_ERROR = 10.0
_UNITS = {"reaction_temperature": "K", "conversion": "", "heat_flow": "W/kg"}
_VERDICTS = {
    "determined": "determined by the data",
    "partly": "partly by the data, partly by its prior",
    "kept at prior": "not determined by these data; kept at prior",
}


def parameter_words(name: str) -> str:
    """What a parameter is, in words."""
    return SET_UP_WORDS.get(name) or words_of(name)


def parameter_value(name: str, log_value: float) -> str:
    """A parameter as a chemist reads it."""
    value = math.exp(log_value)
    return f"{value:.3g} ×" if name in SET_UP_LOG_SD else shown(name, value)


def parameter_range(outcome: TrialFit, row: int) -> tuple[float, float]:
    """90 % interval of the logarithm: by profile where it was worked out, else normal; ends may be infinite."""
    interval = outcome.intervals[row]
    if interval is not None:
        return interval.low, interval.high
    half = _NORMAL_90 * float(outcome.best.standard_error[row])
    return float(outcome.best.values[row]) - half, float(outcome.best.values[row]) + half


def _range_words(name: str, ends: tuple[float, float]) -> str:
    low, high = ends
    unit = "" if name in SET_UP_LOG_SD or name not in PARAMETERS else PARAMETERS[name].unit

    def end(value: float) -> str:
        return parameter_value(name, value).removesuffix(unit).removesuffix("×").strip()

    if not math.isfinite(low):
        return f"below {end(high)}"
    if not math.isfinite(high):
        return f"above {end(low)}"
    return f"{end(low)} to {end(high)}"


def fit_text(outcome: TrialFit, gel_name: str) -> str:
    """The report of a calibration for the terminal."""
    parts = [
        _head(outcome, gel_name),
        _values(outcome),
        _remarks(outcome),
        _misfit_table(outcome.misfits),
        _information_table(outcome),
        _advice(outcome),
    ]
    return "\n\n".join(part for part in parts if part)


def _head(outcome: TrialFit, gel_name: str) -> str:
    readings = sum(each.points for each in outcome.misfits)
    names = ", ".join(trial.trial_id for trial in outcome.trials)
    text = (
        f"{gel_name}: {len(outcome.names)} parameters fitted to {readings} readings of {len(outcome.trials)} "
        f"trial{'s' * (len(outcome.trials) > 1)} ({names})."
    )
    if any(trial.is_demonstration for trial in outcome.trials):
        text += "\nInvented demonstration data."
    return text


def _values(outcome: TrialFit) -> str:
    rows = [("", "packaged", "found", f"{100 * LEVEL:.0f} % interval", "")]
    for row, name in enumerate(outcome.names):
        rows.append(
            (
                name,
                parameter_value(name, float(outcome.prior.mean[row])),
                parameter_value(name, float(outcome.best.values[row])),
                _range_words(name, parameter_range(outcome, row)),
                f"{parameter_words(name)}: {_VERDICTS[outcome.knowledge.verdicts[row]]}",
            )
        )
    return table(rows)


def table(rows: Sequence[Sequence[str]]) -> str:
    """Columns of text, the first to the left, figures to the right, the last as it is."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = []
    for row in rows:
        middle = [cell.rjust(width) for cell, width in zip(row[1:-1], widths[1:-1], strict=True)]
        lines.append("  ".join([row[0].ljust(widths[0]), *middle, row[-1]]).rstrip())
    return "\n".join(lines)


def _remarks(outcome: TrialFit) -> str:
    lines = []
    group = outcome.rows[-1].group_error
    if {"k_p0", "k_t0"} <= set(outcome.names) and group < _UNKNOWN_ERROR:
        lines.append(
            f"The group k_p0 √(f/k_t0), which sets the speed of a steady cure, is known {_to(group)}."
        )
        if {"k_p0", "k_t0"} & set(outcome.undetermined):
            lines.append("k_p0 and k_t0 themselves are not: do not quote them as measured.")
    for name in outcome.best.at_bound:
        lines.append(f"{name} rests on a bound of the search: the value means nothing by itself.")
    open_ended = [
        name
        for name, each in zip(outcome.names, outcome.intervals, strict=True)
        if each is not None and each.is_open
    ]
    if open_ended:
        lines.append(f"Interval open within the bounds: {', '.join(open_ended)}.")
    lines += _links(outcome)
    lines += [f"Hardly seen by the data: {words}." for words in weak_words(outcome)]
    if outcome.noise_factor > 1.0:
        lines.append(
            f"The readings scatter {outcome.noise_factor:.2g} times as much about the model as their stated noise: the model does "
            "not describe everything, or the noise is understated. All intervals are widened by that factor."
        )
    if outcome.prior.assumed:
        lines.append(f"Priors without a source, assumed: {', '.join(outcome.prior.assumed)}.")
    return "\n".join(f"- {line}" for line in lines)


def _to(error: float) -> str:
    return f"to {100 * error:.2g} %" if error < 0.3 else f"to a factor of {math.exp(error):.2g}"


def _links(outcome: TrialFit) -> list[str]:
    """Parameters that move together, as groups."""
    table, names = np.abs(outcome.best.correlation) > _LINKED, outcome.names
    groups: list[set[int]] = []
    for i in range(len(names)):
        linked = {int(j) for j in np.flatnonzero(table[i])}
        joined = [each for each in groups if each & linked]
        groups = [each for each in groups if not each & linked] + [linked.union(*joined)]
    return [
        f"{_and([names[i] for i in sorted(group)])} are known together only (correlations beyond {_LINKED:g})."
        for group in groups
        if len(group) > 1
    ]


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def weak_words(outcome: TrialFit) -> list[str]:
    """The directions that the data hardly see, in words."""
    found = []
    for direction in outcome.knowledge.weak_directions:
        share = np.abs(direction) / np.abs(direction).max()
        moves = [
            f"{name} × {math.exp(shift):.2f}"
            for name, shift, each in zip(outcome.names, direction, share, strict=True)
            if each > 0.15
        ]
        found.append(_and(moves) + " together" * (len(moves) > 1))
    return found


def _misfit_table(misfits: Sequence[SignalMisfit]) -> str:
    has_left_out = misfits[0].left_out_rms is not None
    rows = [
        (
            "trial, signal",
            "readings",
            "off by",
            "noises",
            *(("from the others", "noises") if has_left_out else ()),
            "",
        )
    ]
    for each in misfits:
        unit = _UNITS[each.kind]
        row = [
            f"{each.trial_id}, {each.signal}",
            str(each.points),
            f"{each.rms:.2g} {unit}".rstrip(),
            f"{each.rms_ratio:.1f}",
        ]
        if each.left_out_rms is not None and each.left_out_rms_ratio is not None:
            row += [f"{each.left_out_rms:.2g} {unit}".rstrip(), f"{each.left_out_rms_ratio:.1f}"]
        rows.append((*row, ""))
    words = "How far model and readings lie apart (root mean square, also in standard deviations of the stated noise)"
    if has_left_out:
        words += ";\n'from the others': the trial predicted by a fit that did not see it"
    return f"{words}:\n{table(rows)}"


def error_words(error: float) -> str:
    """A standard error of a logarithm for a table."""
    return ">10" if error >= _UNKNOWN_ERROR else f"{error:.2f}" if error >= 0.0995 else f"{error:.2g}"


def _best_of_kind(suggestions: Sequence[Suggestion]) -> list[Suggestion]:
    """For every kind of further run the trial on which it tells most."""
    best: dict[str, Suggestion] = {}
    for each in suggestions:
        if each.run.kind not in best or each.gain > best[each.run.kind].gain:
            best[each.run.kind] = each
    return list(best.values())


def _information_table(outcome: TrialFit) -> str:
    heads = [name for name in outcome.names if name not in SET_UP_LOG_SD]
    columns = [row for row, name in enumerate(outcome.names) if name not in SET_UP_LOG_SD]

    def line(row: InformationRow) -> tuple[str, ...]:
        return (
            row.words if row.words.startswith("all") else row.words.split(":")[0],
            *(error_words(float(row.error[column])) for column in columns),
            error_words(row.group_error),
            "",
        )

    rows: list[Sequence[str]] = [("data", *heads, "group", "")]
    rows += [line(row) for row in outcome.rows]
    rows += [line(each.row) for each in _best_of_kind(outcome.suggestions)]
    legend = "\n".join(f"  {row.words}" for row in outcome.rows if not row.words.startswith("all"))
    return (
        "What each kind of data determines: standard error of the natural logarithm (0.10 = 10 %, 0.69 = a factor of two), data "
        "alone, with priors\nonly for initiation efficiency, oxygen and set-up; group = k_p0 √(f/k_t0). Rows beginning 'all, and' "
        f"are runs not yet done:\n{table(rows)}\n{legend}"
    )


def _advice(outcome: TrialFit) -> str:
    if not [verdict for verdict in outcome.knowledge.verdicts if verdict != "determined"]:
        return "Every free parameter is determined by these data."
    found = outcome.advised
    if found is None:
        text = (
            "No usual further run would narrow what is not determined by a tenth: accept its doubt, which is in the saved "
            "calibration, or measure it another way."
        )
        if {"k_p0", "n_O"} <= set(outcome.names) and any(name.startswith("f.") for name in outcome.names):
            text += (
                "\nRadicals are seen through products only (k_p0 times radicals, radicals times oxygen): one initiation efficiency, or "
                "the\noxygen dissolved, known from elsewhere and left out of --free would settle the rest."
            )
        return text
    changes = []
    for row, name in enumerate(outcome.names):
        before, after = float(outcome.knowledge.posterior_error[row]), float(found.posterior_error[row])
        if after < 0.8 * before and outcome.knowledge.verdicts[row] != "determined":
            changes.append(
                f"{name} {_to(after).removeprefix('to ')} instead of {_to(before).removeprefix('to ')}"
            )
    return (
        f"Cheapest further run that separates what is not separated: {found.run.words} (as trial {found.run.of}).\n"
        f"Expected: {', '.join(changes) or 'a little of everything'}."
    )


def fit_data(outcome: TrialFit) -> dict[str, Any]:
    """A calibration as plain data."""

    def finite(value: float) -> float | None:
        return value if math.isfinite(value) and value < 1e5 else None

    return {
        "trials": [trial.trial_id for trial in outcome.trials],
        "parameters": [
            {
                "name": name,
                "words": parameter_words(name),
                "prior_log": float(outcome.prior.mean[row]),
                "prior_log_sd": float(outcome.prior.sd[row]),
                "log_value": float(outcome.best.values[row]),
                "log_standard_error": float(outcome.best.standard_error[row]),
                "log_interval_90": [finite(end) for end in parameter_range(outcome, row)],
                "by_profile": outcome.intervals[row] is not None,
                "value_si": math.exp(float(outcome.best.values[row])),
                "verdict": outcome.knowledge.verdicts[row],
                "share_from_data": float(outcome.knowledge.share_from_data[row]),
            }
            for row, name in enumerate(outcome.names)
        ],
        "correlation": outcome.best.correlation.tolist(),
        "at_bound": list(outcome.best.at_bound),
        "noise_factor": outcome.noise_factor,
        "weak_directions": weak_words(outcome),
        "misfits": [{name: getattr(each, name) for name in each.__slots__} for each in outcome.misfits],
        "information": [
            {
                "data": row.words,
                "is_done": number < len(outcome.rows),
                "log_standard_error": dict(
                    zip(outcome.names, (finite(float(each)) for each in row.error), strict=True)
                ),
                "group": finite(row.group_error),
            }
            for number, row in enumerate((*outcome.rows, *(each.row for each in outcome.suggestions)))
        ],
        "advised_run": None if outcome.advised is None else outcome.advised.run.words,
        "simulations": outcome.simulations,
    }
