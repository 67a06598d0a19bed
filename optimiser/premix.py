"""Premixes (masterbatches): small raw materials dissolved in a resin of the recipe, so that a coarse balance can dose them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..models.gel import Gel
from ..models.materials import photoinitiator, resin
from .weighing import BALANCE_SPREAD_STEPS, Line, Weighing, grams

STRENGTHS_FRACTION = (0.10, 0.05, 0.03, 0.02, 0.01, 0.005, 0.002, 0.001)
# from 5 g up, since what clings to a small vessel would be a large share
SIZES_G = (5.0, 7.5, *(m * 10.0**e for e in range(1, 5) for m in (1.0, 1.5, 2.0, 3.0, 5.0, 7.5)))
# what may share a premix: photoinitiators with amines in the dark, the stabiliser apart, pigments as a paste
THIN_PA_S = 0.1
FAMILIES = {"initiator": "initiator", "amine": "initiator", "stabiliser": "stabiliser", "pigment": "pigment"}
FINER_G = (0.01, 0.001, 0.0001, 0.00001)


@dataclass(frozen=True, slots=True, kw_only=True)
class Premix:
    """A premix and its dose.

    Parameters
    ----------
    family : str
        ``initiator``, ``stabiliser`` or ``pigment``.
    carrier : str
        Resin of the recipe it is made in.
    size_g : float
        Mass to make [g].
    parts_g : dict of str to float
        What to weigh into it, the carrier included [g].
    dose_g : float
        Mass that goes into the batch in place of the lines of its members [g].
    carrier_left_g : float
        Mass of the carrier still to be weighed into the batch by itself [g].
    error_pct : dict of str to float
        Loading error that remains for each member: rounding, and both weighings as independent errors [% of the
        loading].
    """

    family: str
    carrier: str
    size_g: float
    parts_g: dict[str, float]
    dose_g: float
    carrier_left_g: float
    error_pct: dict[str, float]

    @property
    def members(self) -> tuple[str, ...]:
        """Substances dosed by it."""
        return tuple(self.error_pct)

    @property
    def members_g(self) -> dict[str, float]:
        """Mass of every member in the batch [g]."""
        return {key: self.dose_g * self.parts_g[key] / self.size_g for key in self.members}


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do about the lines that the balance is too coarse for.

    Parameters
    ----------
    premixes : tuple of Premix
        One for each family for which one suffices.
    without : tuple of str
        Substances no premix of this balance can dose well enough.
    batch_g : float
        Smallest batch in which every line can be weighed by itself [g].
    finer_g : float or None
        Coarsest usual balance that weighs every line of this batch well enough [g]; None when none does.
    """

    premixes: tuple[Premix, ...]
    without: tuple[str, ...]
    batch_g: float
    finer_g: float | None


def advise(gel: Gel, weighing: Weighing, largest_error_pct: float) -> Advice | None:
    """Ways to weigh a batch well enough, or None when the balance does already.

    Parameters
    ----------
    gel : Gel
        Recipe.
    weighing : Weighing
        The batch on this balance.
    largest_error_pct : float
        Loading error that is still good enough [% of the loading].

    Returns
    -------
    Advice or None
    """
    coarse = weighing.coarse(largest_error_pct)
    if not coarse:
        return None
    premixes, without = [], [line.key for line in coarse if line.role == "resin"]
    left_g = {line.key: line.weighed_g for line in weighing.lines}
    for family in dict.fromkeys(FAMILIES.values()):
        members = [line for line in coarse if FAMILIES.get(line.role) == family]
        if not members:
            continue
        carrier = carrier_of(gel, family)
        found = _premix(weighing, family, members, carrier, left_g[carrier], largest_error_pct)
        if found is None:
            without += [line.key for line in members]
        else:
            premixes.append(found)
            left_g[carrier] = found.carrier_left_g
    smallest_g = min(line.target_g for line in weighing.lines)
    needed_steps = (
        100.0 * (0.5 + BALANCE_SPREAD_STEPS) / largest_error_pct
    )  # worst rounding and balance together
    return Advice(
        premixes=tuple(premixes),
        without=tuple(without),
        batch_g=_rounded_up(weighing.batch_g * needed_steps * weighing.resolution_g / smallest_g),
        finer_g=next(
            (d for d in FINER_G if d < weighing.resolution_g and smallest_g >= needed_steps * d), None
        ),
    )


def batch_with_premixes(weighing: Weighing, premixes: Sequence[Premix]) -> dict[str, float]:
    """Mass of every raw material in a batch dosed by premixes [g]."""
    masses = {line.key: line.weighed_g for line in weighing.lines}
    for each in premixes:
        masses[each.carrier] = each.carrier_left_g
        masses |= each.members_g
    for each in premixes:  # the carrier comes with every dose
        masses[each.carrier] += each.dose_g - math.fsum(each.members_g.values())
    return masses


def carrier_of(gel: Gel, family: str) -> str:
    """Resin to make a premix in: the largest thin one dissolves solids; a pigment paste wants the largest of all."""
    used = [key for key, parts in gel.resin_parts.items() if parts > 0]
    thin = [key for key in used if (resin(key).viscosity_pa_s or math.inf) <= THIN_PA_S]
    return max(used if family == "pigment" or not thin else thin, key=lambda key: gel.resin_parts[key])


def _premix(
    weighing: Weighing,
    family: str,
    members: Sequence[Line],
    carrier: str,
    left_g: float,
    largest_error_pct: float,
) -> Premix | None:
    """The smallest premix that doses its members well enough, the strongest of that size.

    `left_g` is the mass of the carrier that earlier premixes have left for this one.
    """
    for size_g in SIZES_G:
        for strength in STRENGTHS_FRACTION:
            found = _tried(
                weighing, family, members, carrier, left_g, round(size_g / weighing.resolution_g), strength
            )
            if (
                found is not None
                and found.dose_g <= size_g
                and found.carrier_left_g >= 0.0
                and max(found.error_pct.values()) <= largest_error_pct
            ):
                return found
    return None


def _tried(
    weighing: Weighing,
    family: str,
    members: Sequence[Line],
    carrier: str,
    left_g: float,
    size: int,
    strength: float,
) -> Premix | None:
    """A premix of given size (in balance steps) and strength; None when a member is too little or does not dissolve."""
    d = weighing.resolution_g
    whole_g = math.fsum(line.target_g for line in members)
    parts = {line.key: round(strength * line.target_g / whole_g * size) for line in members}
    if min(parts.values()) < 1 or any(
        parts[line.key] / size > _solubility_fraction(line) for line in members
    ):
        return None
    dose = round(whole_g / (sum(parts.values()) / size) / d)  # by the strength as weighed
    if dose < 1:
        return None
    own = sum(line.steps for line in members)
    return Premix(
        family=family,
        carrier=carrier,
        size_g=grams(size, d),
        parts_g={
            key: grams(steps, d) for key, steps in {**parts, carrier: size - sum(parts.values())}.items()
        },
        dose_g=grams(dose, d),
        carrier_left_g=grams(round(left_g / d) - (dose - own), d),
        error_pct={line.key: _error_pct(line, parts[line.key], dose, size) for line in members},
    )


def _error_pct(line: Line, part: int, dose: int, size: int) -> float:
    """Rounding of both weighings, which is known, and their repeatability as independent errors [% of the loading]."""
    rounding = dose * line.resolution_g * part / size / line.target_g - 1.0
    return 100.0 * (abs(rounding) + BALANCE_SPREAD_STEPS * math.hypot(1.0 / part, 1.0 / dose))


def _solubility_fraction(line: Line) -> float:
    """Share a premix may hold of a substance: its solubility where it is known."""
    known = photoinitiator(line.key).solubility_wt_pct if line.role == "initiator" else None
    return 1.0 if known is None else known / 100.0


def _rounded_up(mass_g: float) -> float:
    """A batch size with two digits, not below the mass.

    Examples
    --------
    >>> _rounded_up(431.0)
    440.0
    """
    unit = 10.0 ** (math.floor(math.log10(mass_g)) - 1)
    return float(f"{math.ceil(mass_g / unit - 1e-9) * unit:.6g}")
