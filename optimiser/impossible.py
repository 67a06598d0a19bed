"""The answer to an impossible brief: the smallest set of limits that clash, and every single change that makes it possible.

"Impossible" means that no blend was found. The changes of different kinds are compared by a size that `SIZE_WORDS` states.
"""

from __future__ import annotations

from dataclasses import dataclass

from .constraints import Constraint
from .stack_parts import SEPARATOR

LIMIT_SIZE = 0.5  # of one scaled unit: 5 K, 0.05 of conversion, a factor e of the others
PROGRAMME_SIZE, INITIATOR_SIZE, SUBSTANCE_SIZE, MARKET_SIZE = 0.2, 0.3, 0.4, 1.5

SIZE_WORDS = (
    "Sizes compare changes of different kinds: thickness and time by the logarithm of the factor (halving is 0.69), a longer "
    "rest between coats by that of cure and rest together; 5 K, 0.05 of conversion, or a factor e of another limit count 0.5; another programme of the lamp 0.2, one more initiator in the "
    "blend 0.3, one more substance 0.4, another market 1.5. The weights are a choice, not a measurement."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """One single change that makes the brief possible, and the blend that then does.

    Parameters
    ----------
    kind : str
        ``thickness``, ``time``, ``rest``, ``programme``, ``limit``, ``market``, ``substance`` or ``initiators``.
    words : str
        The change in one sentence.
    size : float
        See `SIZE_WORDS`.
    blend_wt_pct : dict of str to float
        A blend that keeps every limit of the changed brief; of a set, by coat and substance (``"builder: BAPO"``).
    coat : str
        Coat of a set that the change concerns; empty for the whole set, and for a brief of one coat.
    """

    kind: str
    words: str
    size: float
    blend_wt_pct: dict[str, float]
    coat: str = ""

    @property
    def blends_wt_pct(self) -> dict[str, dict[str, float]]:
        """The blend of each coat by its name; that of a brief of one coat under the empty name."""
        found: dict[str, dict[str, float]] = {}
        for key, loading in self.blend_wt_pct.items():
            coat, _, substance = key.rpartition(SEPARATOR)
            found.setdefault(coat, {})[substance] = loading
        return found

    @property
    def blend_words(self) -> str:
        """The blend on one line, coat by coat."""
        told = {
            coat: " + ".join(f"{key} {load:.3g} %" for key, load in blend.items())
            for coat, blend in self.blends_wt_pct.items()
        }
        return "; ".join(f"{coat}{SEPARATOR}{words}" if coat else words for coat, words in told.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class Impossible:
    """Why no blend was found and what would help.

    Parameters
    ----------
    clash : tuple of Constraint
        Limits that cannot be kept together, one row each; of these, without any one, the others can be. Loading ranges and
        the choice of substances hold besides.
    ways : tuple of WayOut
        Single changes that do, the least first; each found by solving the changed brief.
    failed : tuple of str
        Kinds of change that were tried and do not help alone.
    untried : tuple of str
        Kinds of change left when the search had spent what it may.
    """

    clash: tuple[Constraint, ...]
    ways: tuple[WayOut, ...]
    failed: tuple[str, ...]
    untried: tuple[str, ...] = ()

    @property
    def clash_words(self) -> str:
        """The clash in one sentence."""
        asked = "; ".join(row.words for row in self.clash)
        if not self.clash:
            return "Even without any limit no blend was found: nothing here starts the cure."
        if len(self.clash) == 1:
            return f"One limit alone cannot be kept with these substances: {asked}."
        told = (
            f"These {len(self.clash)} limits cannot be kept together, even if no other limit held: {asked}."
        )
        if {f"easing {row.limit_name}" for row in self.clash} <= set(self.failed):
            told += " Letting one of them go is not enough: the limits not named here clash with the rest as well."
        return told


def way_out_lines(impossible: Impossible, head: str = "") -> list[str]:
    """The answer to an impossible brief as lines of text.

    Parameters
    ----------
    impossible : Impossible
        The answer.
    head : str
        What stands before a heading.
    """
    lines = [f"{head}Smallest set of limits that clash", "", impossible.clash_words, ""]
    lines += [f"{head}Single changes that make it possible, the least first", ""]
    for way in impossible.ways:
        lines.append(f"- {way.words}: {way.blend_words} (size {way.size:.2f})")
    if not impossible.ways:
        lines.append("- none was found")
    if impossible.failed:
        lines.append(f"- no help alone: {', '.join(impossible.failed)}")
    if impossible.untried:
        lines.append(f"- not tried, as the search had spent what it may: {', '.join(impossible.untried)}")
    return [*lines, "", f"Each was searched again with the change. {SIZE_WORDS}"]


def way_out_data(impossible: Impossible) -> dict[str, object]:
    """The same as plain data."""
    return {
        "clash": [{"limit": row.name, "words": row.words} for row in impossible.clash],
        "clash_words": impossible.clash_words,
        "ways": [
            {"kind": way.kind, "words": way.words, "size_ratio": way.size, **_blend_data(way)}
            for way in impossible.ways
        ],
        "no_help_alone": list(impossible.failed),
        "not_tried": list(impossible.untried),
        "size_words": SIZE_WORDS,
    }


def _blend_data(way: WayOut) -> dict[str, object]:
    blends = way.blends_wt_pct
    return {"blend_wt_pct": blends[""]} if "" in blends else {"coat": way.coat, "blends_wt_pct": blends}
