"""What a new blend may hold: the old gel's brief with the law of a day and the user's own lists."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from ..lamp_library.errors import unknown_name
from ..models.market import MARKETS, market_status
from ..models.materials import list_amines, list_photoinitiators
from .brief import Brief
from .gel_case import GelCase
from .matching import SMALLEST_WT_PCT


def matching_brief(
    case: GelCase,
    *,
    without: Sequence[str],
    markets: Sequence[str],
    on_date: date | None,
    professional_use: bool,
    allow: Sequence[str],
    most: int,
) -> Brief:
    """Brief of a replacement.

    Parameters
    ----------
    case : GelCase
        The old gel in its lamp.
    without, allow : sequence of str
        Substances to do without; substances of unknown status that may be used.
    markets, on_date, professional_use
        The law that applies; today when `on_date` is None.
    most : int
        Most initiators in the new blend.

    Raises
    ------
    UnknownNameError
        If a substance or market is not known.
    """
    known = (*list_photoinitiators(), *list_amines())
    for key in (*without, *allow):
        if key not in known:
            raise unknown_name("initiator or amine", key, known)
    for market in markets:
        if market not in MARKETS:
            raise unknown_name("market", market, MARKETS)
    day = on_date or date.today()
    return replace(
        case.problem.brief,
        markets=tuple(markets),
        on_date=day,
        professional_use=professional_use,
        forbidden=tuple(dict.fromkeys(without)),
        allowed=_allowed(known, without, markets, day, allow) if allow else (),
        max_initiators=most,
        smallest_loading_wt_pct=SMALLEST_WT_PCT,
    )


def _allowed(
    known: Sequence[str], without: Sequence[str], markets: Sequence[str], day: date, allow: Sequence[str]
) -> tuple[str, ...]:
    """Everything of known status and what is allowed by name; a list of allowed substances is read as complete."""
    sorted_out = [
        key
        for key in known
        if key not in allow
        and key not in without
        and all(market_status(key, market, day).state != "unknown" for market in markets)
    ]
    return (*sorted_out, *(key for key in allow if key not in without))
