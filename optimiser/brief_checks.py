"""What the parts of a brief may not say to one another."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lamp_library.errors import InputError
from ..lamp_library.units import um_from_m
from .brief_keys import COATS, MOST_LAMPS, OBJECTIVES, SERVE, TRACE_WT_PCT

if TYPE_CHECKING:
    from .brief import Brief


def _check_lamps(brief: Brief) -> None:
    if brief.serve not in SERVE:
        raise InputError(f"lamp.serve is '{brief.serve}'; allowed are {', '.join(SERVE)}. Choose one.")
    if brief.serve != "one_blend" and not 2 <= len(brief.lamps) <= MOST_LAMPS:
        raise InputError(
            f'lamp.serve = "{brief.serve}" needs 2 to {MOST_LAMPS} lamps; lamp.names lists {len(brief.lamps)}. '
            "List more or fewer, or leave serve out."
        )
    for label, given in (("cure_seconds_in", brief.exposures_s), ("programme_in", brief.programmes)):
        for name in given:
            if name not in brief.lamps:
                raise InputError(
                    f"lamp.{label} names '{name}', which is not in lamp.names ({', '.join(brief.lamps)}). "
                    "Write the lamp as in lamp.names."
                )


def _check_choices(brief: Brief) -> None:
    if brief.choices.is_empty:
        return
    if brief.serve != "one_blend":
        raise InputError(
            f'choices: cannot be combined with lamp.serve = "{brief.serve}". Choose for one blend, or leave choices out.'
        )
    if max(brief.choices.coats, default=1) > 1:
        if len(brief.lamps) > 1:
            raise InputError(
                "choices.coats: several coats are worked out in one lamp only. Write one brief per lamp."
            )
        if brief.objective == "least_yellowing":
            raise InputError(
                "choices.coats: yellowness is judged for single coats. Choose another objective or leave coats out."
            )


def _check_sure(brief: Brief) -> None:
    if brief.chance is not None and brief.surest:
        raise InputError("robust: chance and surest are both given; only one can be sought. Remove one.")
    if brief.is_robust and not brief.margins.is_empty:
        raise InputError(
            "robust: a chance of passing takes the place of [margins], and both are given. Remove one of them."
        )


def check_brief(brief: Brief) -> None:
    """Refuse a brief whose parts contradict one another.

    Raises
    ------
    InputError
        One line: what, the value, what is allowed and what to do.
    """
    _check_sure(brief)
    _check_lamps(brief)
    _check_choices(brief)
    if not brief.smallest_loading_wt_pct >= TRACE_WT_PCT:
        raise InputError(
            f"substances.smallest_loading_wt_pct is {brief.smallest_loading_wt_pct:g} wt%; it must be at least "
            f"{TRACE_WT_PCT:g} wt%, below which nothing cures. Give a loading that can be weighed."
        )
    if brief.thickness_low_m > brief.thickness_high_m:
        raise InputError(
            f"thickness.low_um is {um_from_m(brief.thickness_low_m):g} µm; it must be at most thickness.high_um "
            f"({um_from_m(brief.thickness_high_m):g} µm). Exchange the two."
        )
    if brief.objective not in OBJECTIVES:
        raise InputError(
            f"objective.minimise is '{brief.objective}'; allowed are {', '.join(OBJECTIVES)}. Choose one."
        )
    if brief.coat not in COATS:
        raise InputError(f"gel.coat is '{brief.coat}'; allowed are {', '.join(COATS)}. Choose one.")
    if (brief.gel_file is None) == (not brief.resin_parts):
        given = "both" if brief.gel_file else "neither"
        raise InputError(
            f"gel: {given} of gel.file and gel.resin_parts given; exactly one must be. "
            "Name a gel file, or list the resin parts."
        )
    both = sorted(set(brief.allowed) & set(brief.forbidden))
    if both:
        raise InputError(
            f"substances: {', '.join(both)} stands in both allowed and forbidden; it can be only one. "
            "Remove it from one list."
        )
