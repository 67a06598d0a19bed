"""The page of a trial: what the log says first, then the picture, then the report in full."""

from __future__ import annotations

from ..lamp_library.units import um_from_m
from .cautions import long_cautions
from .page_parts import KeyFigure, Page, Section, State, Text
from .trial_picture import trial_pictures
from .trial_run import TrialRun, coefficients_words, percent, trial_text
from .versions import versions_text
from .written_page import prose_of


def trial_page(run: TrialRun) -> Page:
    """A trial read and set against its prediction, as a page.

    Parameters
    ----------
    run : TrialRun
        The trial.
    """
    trial = run.reading.trial
    in_full = trial_text(run).split("\nCautions:")[0].strip()
    compared = tuple(
        f"{each.name.replace('_', ' ')}: {sentence}" for each in run.deviations for sentence in each.sentences
    )
    sections = [
        Section(
            key="picture",
            title="Measured and predicted",
            blocks=(*trial_pictures(run), *([] if run.faults else [Text(points=compared)])),
        ),
        Section(key="in-full", title="The report in full", blocks=(prose_of(in_full),)),
    ]
    headline, _, detail = _headline(run).replace("+-", "±").partition(": ")
    return Page(
        kind="Trial",
        title=f"{trial.trial_id}: {trial.gel.name} in {trial.lamp.name}",
        is_demonstration=trial.is_demonstration,
        facts=(
            ("gel", f"{trial.gel.name} ({trial.gel.coat}), {um_from_m(trial.thickness_m):g} µm"),
            ("lamp", f"{trial.lamp.name}, {trial.position}"),
            ("exposures", f"{len(trial.exposures)}, programme {trial.exposures[0].programme}"),
            ("predicted", coefficients_words(run.predicted_gel)),
        ),
        headline=headline,
        verdict_state=_state(run),
        answer="",
        sentences=(
            *([f"{detail[0].upper()}{detail[1:]}."] if detail else []),
            *(f"{fault[0].upper()}{fault[1:]}." for fault in run.faults),
        ),
        figures=_figures(run),
        sections=tuple(sections),
        cautions=tuple(long_cautions()),
        footer="Made with " + versions_text() + ".",
    )


def _headline(run: TrialRun) -> str:
    if run.faults:
        return "the log is faulty; the trial is kept and left out of fits"
    analysis = run.reading.temperature
    if analysis is not None and analysis.cycles is not None:
        return analysis.cycles.sentence.rstrip(".")
    return "measured beside predicted"


def _state(run: TrialRun) -> State:
    if run.faults:
        return "broken"
    analysis = run.reading.temperature
    if analysis is None or analysis.cycles is None:
        return "plain"
    return "kept" if analysis.cycles.verdict == "cured" else "near"


def _figures(run: TrialRun) -> tuple[KeyFigure, ...]:
    analysis = run.reading.temperature
    if run.faults or analysis is None:
        return ()
    first = analysis.peaks[0]
    found = [
        KeyFigure(
            label="First peak of the reaction",
            value=f"{first.height_k:.1f} K",
            remark=f"± {first.height_sd_k:.2g} K, after {first.time_s:.0f} s; sample minus blank",
        )
    ]
    cycles = analysis.cycles
    if cycles is not None and cycles.heat_k.size > 1:
        found.append(
            KeyFigure(
                label="Heat of the second cycle",
                value=f"{percent(cycles.share[1])} %",
                remark=f"± {percent(cycles.share_sd[1])} % of the first; 5 % is common practice, no source",
            )
        )
    return tuple(found)
