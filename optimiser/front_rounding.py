"""Blends of a front as they can be weighed; one that rounding would take over a limit stays as it was found."""

from __future__ import annotations

import numpy as np

from .local import evaluated
from .problem import Problem
from .weighable import LOADING_STEPS_WT_PCT, weighable

ROUNDED = (
    "Loadings are rounded to 10 mg in a kilogram of gel, or to 1 mg where that breaks a limit; all figures, and the hypervolume, "
    "are those of the rounded blends."
)


def rounded_blend(part: Problem, blend_wt_pct: dict[str, float]) -> tuple[dict[str, float], bool]:
    """A blend rounded for weighing as `tune` rounds its own, and whether it could be.

    Parameters
    ----------
    part : Problem
        Narrowed to the blend's substances, with what the front minimises as its objective.
    blend_wt_pct : dict of str to float
        A blend that keeps the limits of the brief [wt%].

    Returns
    -------
    tuple of dict and bool
        The blend as it was, and False, where every way to round breaks a limit.
    """
    found = weighable(part, evaluated(part, part.vector(blend_wt_pct), 0))
    finest = np.array(list(found.blend_wt_pct.values())) / LOADING_STEPS_WT_PCT[-1]
    return found.blend_wt_pct, bool(np.allclose(finest, np.round(finest), rtol=0.0, atol=1e-6))


def unrounded_words(numbers: list[int]) -> str:
    """Which blends of a front stayed unrounded; empty where none did.

    Parameters
    ----------
    numbers : list of int
        Their numbers in the table, from 1.
    """
    if not numbers:
        return ""
    told = ", ".join(str(number) for number in numbers)
    return f"Not rounded, since every way to round breaks a limit: blend{'s' if len(numbers) > 1 else ''} {told}."
