"""The chances of a set in words: as a whole and coat by coat, in use and with the model's own doubt, never one alone."""

from __future__ import annotations

from .passing import Chance, broken_lines
from .report_text import chance_text, table
from .set_outcome import SetOutcome

READ = (
    "The first chance holds if the model's numbers are right; the second also draws how far they may be off. In brackets stand "
    "the 95 % binomial intervals of the draws. A coat passes when the limits judged on it are kept in every stack it lies in; "
    "the set passes when all of them do and the thermal dose of the whole schedule is kept. Numbers that two gels share are "
    "drawn as one. These are chances in the model, not a test of the set."
)


def chance_lines(outcome: SetOutcome) -> list[str]:
    """Both chances of the set, and of each coat, for the screen."""
    use, doubted = outcome.passing, outcome.passing_with_data
    lines = [
        f"chance of passing in use {chance_text(use.whole)}, with the doubt about the model's numbers {chance_text(doubted.whole)}"
    ]
    for name, chance in use.by_coat.items():
        lines.append(f"   {name}: {_shown(chance)}, with that doubt {_shown(doubted.by_coat[name])}")
    return lines


def chance_section(outcome: SetOutcome) -> list[str]:
    """The same for the report, with what breaks and what was varied."""
    use, doubted = outcome.passing, outcome.passing_with_data
    rows = [("whole set", f"**{chance_text(use.whole)}**", f"**{chance_text(doubted.whole)}**")]
    rows += [(name, _shown(chance), _shown(doubted.by_coat[name])) for name, chance in use.by_coat.items()]
    head = ("predicted chance of passing", "in use", "with the doubt about the model's numbers")
    broken = broken_lines(use.whole, doubted.whole)
    return [
        *table(head, rows),
        "",
        *broken,
        *([""] if broken else []),
        READ,
        "",
        f"Varied: {doubted.whole.included}",
    ]


def _shown(chance: Chance) -> str:
    return (
        f"{100 * chance.fraction:.0f} % ({100 * chance.low_fraction:.0f}-{100 * chance.high_fraction:.0f} %)"
    )
