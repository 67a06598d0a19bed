"""A plain sentence on whether a coat cures through and stays cool, with the figures behind it."""

from __future__ import annotations

from dataclasses import dataclass

from ..lamp_library.units import c_from_k, um_from_m
from .brief import COMFORT_K, FILM_COMMON_PRACTICE_K, PAIN_K, Limits, Margins

# First signs of damage lie at 48-50 °C for a spike of ten seconds, blisters at 55 °C (derived from Moritz & Henriques 1947).
INJURY_K = 323.15
# More of a film than this lost as tacky layer is told of, for little of a coat is left (a choice, not a measurement).
_MUCH_OF_THE_FILM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class CureFigures:
    """The figures a verdict rests on, at one position and thickness.

    Parameters
    ----------
    position : str
        Position in the lamp.
    thickness_m : float
        Wet film [m].
    bottom_conversion_fraction, conversion_ceiling_fraction : float
        Conversion at the base of the coat and the one possible in a film at 33 °C [-].
    film_peak_k, nail_bed_peak_k : float
        Highest temperatures of film and nail bed [K]; never to be confused.
    cem43_min : float
        Thermal dose of the nail bed [equivalent minutes at 43 °C].
    uncured_layer_m : float
        Tacky layer at the air [m].
    """

    position: str
    thickness_m: float
    bottom_conversion_fraction: float
    conversion_ceiling_fraction: float
    film_peak_k: float
    nail_bed_peak_k: float
    cem43_min: float
    uncured_layer_m: float

    @property
    def place(self) -> str:
        """Position and thickness in words."""
        return f"{self.position}, {um_from_m(self.thickness_m):g} µm"

    @property
    def is_liquid(self) -> bool:
        """Whether nothing of the film has set; layers are sums over cells, hence the last digits."""
        return self.uncured_layer_m >= (1.0 - 1e-9) * self.thickness_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What to tell a person.

    Parameters
    ----------
    headline : str
        Few words, for a table cell.
    sentences : tuple of str
        The figures, cure first.
    cures, stays_cool : bool
        The two questions.
    where : str
        In what, in words.
    """

    headline: str
    sentences: tuple[str, ...]
    cures: bool
    stays_cool: bool
    where: str = "this lamp"

    @property
    def text(self) -> str:
        """Headline and figures as one paragraph."""
        return f"Predicted in {self.where}: {self.headline}. " + " ".join(self.sentences)


def headline(cures: bool, stays_cool: bool) -> str:
    """The verdict in few words."""
    if cures and stays_cool:
        return "cures through and stays cool"
    if cures:
        return "too hot at the nail bed"
    if stays_cool:
        return "under-cured at the base"
    return "under-cured at the base and too hot at the nail bed"


def judge(
    weakest: CureFigures,
    strongest: CureFigures,
    limits: Limits,
    margins: Margins | None = None,
    wettest: CureFigures | None = None,
) -> Verdict:
    """Judge cure where the light is weakest and heat where it is strongest.

    Parameters
    ----------
    weakest, strongest : CureFigures
        The deciding figures; the same ones when only one position is looked at.
    limits : Limits
        Base conversion, nail-bed temperature and thermal dose allowed.
    margins : Margins, optional
        Distance the brief keeps from them, told in a sentence of its own; the headline speaks of the limits.
    wettest : CureFigures, optional
        Where the largest share of the film stays tacky; `weakest` if left out.

    Returns
    -------
    Verdict
    """
    wanted = _least_conversion(weakest, limits)
    cures = weakest.bottom_conversion_fraction >= wanted
    stays_cool = (
        strongest.nail_bed_peak_k <= limits.nail_bed_max_k and strongest.cem43_min <= limits.cem43_max_min
    )
    sentences = (
        _cure_sentence(weakest, wanted),
        _tacky_sentence(wettest or weakest),
        _heat_sentence(strongest, limits),
        *_lines(strongest, limits),
        *_margin_sentence(wanted, limits, margins),
    )
    return Verdict(
        headline=headline(cures, stays_cool), sentences=sentences, cures=cures, stays_cool=stays_cool
    )


def _least_conversion(figures: CureFigures, limits: Limits) -> float:
    if limits.bottom_conversion_min_fraction is not None:
        return limits.bottom_conversion_min_fraction
    return (limits.bottom_conversion_min_share or 0.0) * figures.conversion_ceiling_fraction


def _cure_sentence(figures: CureFigures, wanted: float) -> str:
    reached, possible = figures.bottom_conversion_fraction, figures.conversion_ceiling_fraction
    return (
        f"The base of the coat reaches a conversion of {reached:.2f} ({figures.place}); "
        f"at least {wanted:.2f} is asked for and about {possible:.2f} is possible at 33 °C."
    )


def _tacky_sentence(figures: CureFigures) -> str:
    layer = um_from_m(figures.uncured_layer_m)
    if figures.is_liquid:
        return "Nothing of the coat sets: keep it off the skin."
    if layer < 0.5:
        return "The surface sets."
    if figures.uncured_layer_m > _MUCH_OF_THE_FILM * figures.thickness_m:
        return (
            f"The top {layer:.0f} of {um_from_m(figures.thickness_m):g} µm stay uncured and tacky under air "
            f"({figures.position}): little of the coat is left once they are wiped off, and they must be kept off the skin."
        )
    return (
        f"The top {layer:.0f} µm stay uncured and tacky under air: wipe them off, and keep them off the skin."
    )


def _heat_sentence(figures: CureFigures, limits: Limits) -> str:
    return (
        f"The nail bed peaks at {c_from_k(figures.nail_bed_peak_k):.1f} °C with a thermal dose of "
        f"{dose_text(figures.cem43_min)} CEM43 min ({figures.place}); the limits are {c_from_k(limits.nail_bed_max_k):.0f} °C "
        f"and {limits.cem43_max_min:g} min. The film itself peaks at {c_from_k(figures.film_peak_k):.0f} °C."
    )


def _margin_sentence(wanted_fraction: float, limits: Limits, margins: Margins | None) -> list[str]:
    if margins is None or margins == Margins():
        return []
    kept = []
    if margins.temperature_k:
        kept.append(f"{c_from_k(limits.nail_bed_max_k - margins.temperature_k):.1f} °C at the nail bed")
    if margins.conversion_fraction and wanted_fraction:
        kept.append(f"{wanted_fraction + margins.conversion_fraction:.2f} of conversion at the base")
    return [f"With the margins of the brief {' and '.join(kept)} are asked for."] if kept else []


def dose_text(cem43_min: float) -> str:
    """A thermal dose in minutes as text, long ones cut short."""
    return (
        f"{cem43_min:.2g}"
        if cem43_min < 100.0
        else f"{cem43_min:.0f}"
        if cem43_min <= 1000.0
        else "over 1000"
    )


def _lines(figures: CureFigures, limits: Limits) -> list[str]:
    found = []
    if PAIN_K < figures.nail_bed_peak_k <= INJURY_K:
        found.append("The nail bed passes 43 °C, where pain begins: take the hand out at the first sting.")
    elif COMFORT_K < figures.nail_bed_peak_k <= PAIN_K:
        found.append("The nail bed passes the comfort line of 42 °C: the client may feel it.")
    if figures.nail_bed_peak_k > INJURY_K:
        found.append(
            "At such a nail-bed temperature tissue is injured within seconds: never try this on a person."
        )
    if figures.film_peak_k > FILM_COMMON_PRACTICE_K:
        found.append("The film passes the 71 °C line of the trade (common practice, no source).")
    return found
