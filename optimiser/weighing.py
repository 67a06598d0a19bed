"""Grams of every raw material in a batch, rounded to the balance, with the error of each loading.

Every line is rounded to the balance's resolution; the largest line takes what the others leave, so that the masses add
up to the batch exactly. Masses are in grams, as on the balance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from ..lamp_library.errors import InputError
from ..models.gel import Gel

# USP <41>, "Balances": the repeatability s is taken as no less than 0.41 d, and twice s counts
BALANCE_SPREAD_STEPS = 2.0 * 0.41
BATCH_RANGE_G = (0.1, 100_000.0)
RESOLUTION_RANGE_G = (1e-6, 10.0)
ADDITIVE_ROLES = {
    "stabiliser": "stabilisers_wt_pct",
    "initiator": "initiators_wt_pct",
    "amine": "amines_wt_pct",
    "pigment": "pigments_wt_pct",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One raw material of a batch.

    Parameters
    ----------
    key, role : str
        Substance; ``resin``, ``initiator``, ``amine``, ``stabiliser`` or ``pigment``.
    target_wt_pct, target_g : float
        Content of the recipe and its mass.
    steps : int
        Mass to weigh, in units of the balance's resolution.
    resolution_g : float
        That unit [g].
    """

    key: str
    role: str
    target_wt_pct: float
    target_g: float
    steps: int
    resolution_g: float

    @property
    def weighed_g(self) -> float:
        """Mass to weigh [g], a multiple of the resolution."""
        return grams(self.steps, self.resolution_g)

    @property
    def rounding_pct(self) -> float:
        """What rounding adds to the loading [% of the loading]."""
        return 100.0 * (self.weighed_g / self.target_g - 1.0)

    @property
    def balance_pct(self) -> float:
        """Twice the repeatability of a balance at its best [% of the loading]."""
        return 100.0 * BALANCE_SPREAD_STEPS * self.resolution_g / self.target_g

    @property
    def error_pct(self) -> float:
        """Loading error to reckon with: rounding and balance together [% of the loading]."""
        return abs(self.rounding_pct) + self.balance_pct


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """A batch as weighed.

    Parameters
    ----------
    lines : tuple of Line
        Every raw material, in the order of the recipe.
    batch_g, resolution_g : float
        Batch size and resolution of the balance [g].
    settled_in : str
        Key of the line that takes what rounding leaves.
    settled_g : float
        How much that is [g].
    """

    lines: tuple[Line, ...]
    batch_g: float
    resolution_g: float
    settled_in: str
    settled_g: float

    def line(self, key: str) -> Line:
        """The line of a substance."""
        return next(line for line in self.lines if line.key == key)

    def coarse(self, largest_error_pct: float) -> tuple[Line, ...]:
        """Lines whose loading error exceeds a share of the loading."""
        return tuple(line for line in self.lines if line.error_pct > largest_error_pct)


def grams(steps: int, resolution_g: float) -> float:
    """Mass of a number of balance steps [g], without the dust of binary fractions.

    Examples
    --------
    >>> grams(3, 0.1)
    0.3
    """
    return float(steps * Decimal(str(resolution_g)))


def decimals(resolution_g: float) -> int:
    """Decimal places a balance shows.

    Examples
    --------
    >>> decimals(0.01), decimals(0.005), decimals(1.0)
    (2, 3, 0)
    """
    exponent = Decimal(str(resolution_g)).normalize().as_tuple().exponent
    return max(0, -int(exponent))


def contents_wt_pct(gel: Gel) -> dict[str, tuple[str, float]]:
    """Role and content [wt% of the gel] of every raw material of a gel, resins first."""
    whole = math.fsum(gel.resin_parts.values())
    found = {
        key: ("resin", parts / whole * gel.resin_base_wt_pct)
        for key, parts in gel.resin_parts.items()
        if parts > 0
    }
    for role, name in ADDITIVE_ROLES.items():
        found |= {key: (role, content) for key, content in getattr(gel, name).items() if content > 0}
    return found


def weigh(gel: Gel, batch_g: float, resolution_g: float) -> Weighing:
    """Round a batch to a balance.

    Parameters
    ----------
    gel : Gel
        Recipe.
    batch_g, resolution_g : float
        Batch size, a multiple of the resolution, and the resolution of the balance [g].

    Returns
    -------
    Weighing
        Its masses add up to the batch exactly.

    Raises
    ------
    InputError
        If a value is out of its range, or the batch is no multiple of the resolution.
    """
    _within("batch", batch_g, BATCH_RANGE_G)
    _within("resolution of the balance", resolution_g, RESOLUTION_RANGE_G)
    whole = Decimal(str(batch_g)) / Decimal(str(resolution_g))
    if whole != whole.to_integral_value():
        nearest = grams(round(whole), resolution_g)
        raise InputError(
            f"sheet: a batch of {batch_g:g} g is no multiple of the balance's {resolution_g:g} g, so that masses cannot "
            f"add up to it. Use {nearest:g} g."
        )
    lines = [
        Line(
            key=key, role=role, target_wt_pct=content, target_g=content / 100.0 * batch_g,
            steps=round(content / 100.0 * float(whole)), resolution_g=resolution_g,
        )
        for key, (role, content) in contents_wt_pct(gel).items()
    ]  # fmt: skip
    left = int(whole) - sum(line.steps for line in lines)
    largest = max(lines, key=lambda line: line.target_g)
    settled = replace(largest, steps=largest.steps + left)
    return Weighing(
        lines=tuple(settled if line is largest else line for line in lines),
        batch_g=batch_g,
        resolution_g=resolution_g,
        settled_in=largest.key,
        settled_g=math.copysign(grams(abs(left), resolution_g), left) if left else 0.0,
    )


def as_weighed(gel: Gel, masses_g: Mapping[str, float]) -> Gel:
    """The gel that given masses make.

    Parameters
    ----------
    gel : Gel
        Recipe; coat, thickness and optical data come from it.
    masses_g : mapping of str to float
        Mass of every raw material [g]; those of no mass are left out.

    Returns
    -------
    Gel
    """
    whole = math.fsum(masses_g.values())

    def contents(planned: Mapping[str, float]) -> dict[str, float]:
        held = {key: masses_g.get(key, 0.0) for key in planned}
        return {key: 100.0 * mass / whole for key, mass in held.items() if mass > 0.0}

    return replace(
        gel,
        resin_parts=contents(gel.resin_parts),
        initiators_wt_pct=contents(gel.initiators_wt_pct),
        amines_wt_pct=contents(gel.amines_wt_pct),
        stabilisers_wt_pct=contents(gel.stabilisers_wt_pct),
        pigments_wt_pct=contents(gel.pigments_wt_pct),
    )


def _within(what: str, value_g: float, allowed_g: tuple[float, float]) -> None:
    low, high = allowed_g
    if not low <= value_g <= high:
        raise InputError(
            f"sheet: {what} is {value_g:g} g; it must lie between {low:g} and {high:g} g. Give it in grams."
        )
