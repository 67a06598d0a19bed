"""The standing cautions, shown wherever a verdict is given."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution.

    Parameters
    ----------
    key : str
        Short name for machines.
    short : str
        One sentence for the screen.
    long : str
        The fuller text for the report.
    """

    key: str
    short: str
    long: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        key="not_an_assessment",
        short="A prediction to plan a trial with, not a safety assessment.",
        long=(
            "These are predictions of a model. They help to choose the next trial and replace neither the cosmetic "
            "product safety report of a qualified assessor, nor patch data, nor a test in the lamp itself. Where local "
            "codes, a safety assessor or licensed professional practice ask for more, they have the last word."
        ),
    ),
    Caution(
        key="sensitisers",
        short="Uncured gel can cause lasting allergy: keep it, its tacky layer and its dust off the skin.",
        long=(
            "Monomer left free by an under-cured coat is the main cause of allergy to nail gels; it often lasts for life "
            "and can extend to dental materials and bone cement. Keep uncured gel, the tacky layer and filing dust off "
            "the skin, stay 1 mm clear of the cuticle, and wear nitrile gloves changed at least every 30 to 60 minutes."
        ),
    ),
    Caution(
        key="nail_bed_heat",
        short="Heat can hurt: thin coats, hand out at the first sting, more care on thin or over-filed nails.",
        long=(
            "The nail-bed temperature is computed for the nail plate and finger temperature stated. A thinner or "
            "over-filed plate and a thicker coat both raise it. Work in thin coats, take the hand out at the first sting, "
            "and use a lower limit for thin nails. No measurement under a real nail during a cure is known to this tool."
        ),
    ),
    Caution(
        key="lamp_match",
        short="Holds for this lamp, position, programme and state only; hard to the touch does not prove cure.",
        long=(
            "The result holds for the lamp as measured: its position, programme, hours and battery state. Another lamp, or "
            "the same one aged, needs its own run. A coat can feel hard and still be soft at its base."
        ),
    ),
    Caution(
        key="ultraviolet",
        short="Lamp light reaches skin and eyes: do not look into it, cover or screen the skin.",
        long=(
            "Do not look into the lamp. Use fingertip-free gloves or sunscreen. Anyone with a light-sensitive condition or "
            "on medicines that sensitise to light should ask a doctor first. Exposure adds up over all cures of a session."
        ),
    ),
    Caution(
        key="law",
        short="Substance law differs by market and changes: check the law in force on the day.",
        long=(
            "The legal filter is a table with dates, not legal advice. TPO, for one, has been prohibited in cosmetics in "
            "the European Union since 1 September 2025, professional use included. Check the law in force in every "
            "market before a gel is made or sold; substances of restricted or unknown status are marked where they appear."
        ),
    ),
    Caution(
        key="toxicology",
        short="The toxicology of the initiators, residues and migration are not modelled.",
        long=(
            "Whether an initiator at its loading, or what is left of it after the cure, is acceptable on a nail is a "
            "toxicologist's question. The model only says how much is left."
        ),
    ),
    Caution(
        key="uncertainty",
        short="Constants come from literature, some from estimates: calibrate with trials of your own.",
        long=(
            "Rate constants, absorption scales and tissue data carry errors of several per cent to a factor; the probability "
            "of passing covers only those it lists. Trust differences between blends more than absolute figures, and "
            "calibrate with trials of your own."
        ),
    ),
)  # fmt: skip


def short_cautions(law_date: date | None = None) -> list[str]:
    """One sentence per caution, the law's with the date the table was read for."""
    return [_dated(caution.short, caution.key, law_date) for caution in CAUTIONS]


def long_cautions(law_date: date | None = None) -> list[str]:
    """One paragraph per caution for reports."""
    return [_dated(caution.long, caution.key, law_date) for caution in CAUTIONS]


def _dated(text: str, key: str, law_date: date | None) -> str:
    if key != "law" or law_date is None:
        return text
    return f"{text} (Read here for {law_date:%d %B %Y}.)"
