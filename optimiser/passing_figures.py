"""Chances of passing for the first screen of a page: in use, and with the model's own doubt, never the one without the other."""

from __future__ import annotations

from .page_parts import KeyFigure, State
from .passing import Passing

# Estimated: where a chance of passing is good enough to plan on; below one half it is unlikely.
LIKELY, DOUBTFUL = 0.9, 0.5
_WORDS: dict[State, str] = {"kept": "likely", "near": "doubtful", "broken": "unlikely", "plain": ""}


def chance_state(passing: Passing) -> State:
    """How good a chance is."""
    chance = passing.probability_fraction
    return "kept" if chance >= LIKELY else "near" if chance >= DOUBTFUL else "broken"


def chances_words(use: Passing, with_data: Passing | None = None) -> str:
    """Both chances for a headline."""
    first = f"passes in {100 * use.probability_fraction:.0f} % of uses if the model is right"
    if with_data is None:
        return first
    return f"{first}, in {100 * with_data.probability_fraction:.0f} % with its own doubt"


def chance_figures(use: Passing, with_data: Passing | None) -> tuple[KeyFigure, ...]:
    """Both chances as key figures, each with its word.

    Parameters
    ----------
    use : Passing
        Chance under the conditions of use.
    with_data : Passing or None
        The same with the doubt about the model's numbers, where it was drawn.
    """
    pairs = [(use, "Chance of passing in use", "if the model's numbers are right")]
    if with_data is not None:
        pairs.append((with_data, "With the model's own doubt", "its numbers varied as well"))
    return tuple(
        KeyFigure(
            label=label,
            value=f"{100 * each.probability_fraction:.0f} %",
            remark=f"{words}; between {100 * each.low_fraction:.0f} and {100 * each.high_fraction:.0f} % by {each.draws} draws",
            state=chance_state(each),
            state_words=_WORDS[chance_state(each)],
        )
        for each, label, words in pairs
    )
