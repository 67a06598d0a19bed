"""In which order raw materials go together, and why. The order is common practice, no source; the light limit is computed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..models.gel import Gel
from ..models.materials import photoinitiator, resin
from .premix import THIN_PA_S
from .weighing import Line

VISIBLE_M2_MOL = 0.1  # 1 L/mol/cm: below it a workshop lamp does little in the minutes of weighing


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Raw materials that are weighed one after another for one reason.

    Parameters
    ----------
    words, reason : str
        What is done, and why (common practice).
    keys : tuple of str
        Substances in their order.
    needs_dark : bool
        Whether amber light is needed from here on.
    """

    words: str
    reason: str
    keys: tuple[str, ...]
    needs_dark: bool


_STEPS = {
    "thin": ("Thin monomers", "they dissolve what follows; thinnest first, in the tared vessel"),
    "stabiliser": ("Stabiliser", "in before anything can react; keep air above the batch, it needs oxygen"),
    "initiator": ("Photoinitiators", "dissolve fully and clear in the thin part, stirred, at most 50 °C"),
    "amine": ("Amine", "after the initiator it serves, so that both are dissolved"),
    "thick": ("Thick resins", "the bulk, once all is dissolved; stir slowly to draw in little air"),
    "pigment": ("Pigments", "wet and mill in part of the thick resin, then stir in as a paste"),
}


def weighing_steps(lines: tuple[Line, ...]) -> tuple[Step, ...]:
    """Steps of a batch in their order, those with nothing to weigh left out.

    Parameters
    ----------
    gel : Gel
        Recipe.
    lines : tuple of Line
        Its raw materials.

    Returns
    -------
    tuple of Step
        Every line appears in exactly one step.
    """
    groups: dict[str, list[Line]] = {name: [] for name in _STEPS}
    for line in lines:
        groups[_group(line)].append(line)
    groups["thin"].sort(key=lambda line: _viscosity_pa_s(line.key))
    groups["thick"].sort(key=lambda line: _viscosity_pa_s(line.key))
    for name in ("stabiliser", "initiator", "amine", "pigment"):
        groups[name].sort(key=lambda line: -line.target_g)
    found, dark = [], False
    for name, (words, reason) in _STEPS.items():
        dark = dark or (name == "initiator" and bool(groups[name]))
        if groups[name]:
            keys = tuple(line.key for line in groups[name])
            found.append(Step(words=words, reason=reason, keys=keys, needs_dark=dark))
    return tuple(found)


def light_limit_nm(gel: Gel) -> float | None:
    """Longest wavelength at which an initiator of the gel still absorbs 1 L/mol/cm [nm]; None without initiators."""
    ends = []
    for key, content in gel.initiators_wt_pct.items():
        if content > 0:
            absorption = photoinitiator(key).absorption
            grid = np.arange(320.0, 700.0, 1.0)
            seen = grid[absorption.at(grid) >= VISIBLE_M2_MOL]
            if len(seen):
                ends.append(float(seen[-1]))
    return max(ends, default=None)


def _group(line: Line) -> str:
    if line.role != "resin":
        return line.role
    return "thin" if _viscosity_pa_s(line.key) <= THIN_PA_S else "thick"


def _viscosity_pa_s(key: str) -> float:
    known = resin(key).viscosity_pa_s
    return math.inf if known is None else known
