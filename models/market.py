"""What the law of a market says about a substance on a given day.

A permission is never a plain yes: it has a market, a span of days, an act and a confidence. What was
not found is "unknown", and a lookup says so. The table is no legal advice; check the law in force.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

from ..lamp_library.errors import InputError, unknown_name
from .data_tables import parse_number, read_rows, read_sources

Market = Literal["EU", "GB", "US"]
State = Literal["allowed", "restricted", "prohibited", "unknown"]
Confidence = Literal["high", "medium", "low"]
MARKETS: tuple[str, ...] = get_args(Market)

MARKET_FILE = "market.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class MarketStatus:
    """Status of one substance in one market over a span of days.

    Parameters
    ----------
    substance, market : str
        What and where.
    state : {"allowed", "restricted", "prohibited", "unknown"}
        "restricted" means allowed under `condition` and, where given, up to `max_wt_pct`.
    max_wt_pct : float or None
        Highest content [wt%]; None where the rule sets none.
    condition : str
        The rule in words.
    act : str
        Where it stands; "-" if nothing was found.
    from_date, until_date : date or None
        First and last day, both included; None means open.
    source : str
        Key in ``sources.csv``.
    confidence : {"high", "medium", "low"}
        high: act seen or several law notes agree; medium: one good note; low: recalled or contradicted.
    note : str
        Doubts and history.
    """

    substance: str
    market: str
    state: State
    max_wt_pct: float | None
    condition: str
    act: str
    from_date: datetime.date | None
    until_date: datetime.date | None
    source: str
    confidence: Confidence
    note: str

    def holds_on(self, day: datetime.date) -> bool:
        """Whether the row covers a day."""
        after_start = self.from_date is None or day >= self.from_date
        return after_start and (self.until_date is None or day <= self.until_date)

    def permits(self, content_wt_pct: float) -> bool:
        """Whether a content [wt%] may be used, conditions granted; never true for "unknown"."""
        if self.state in ("prohibited", "unknown"):
            return False
        return self.max_wt_pct is None or content_wt_pct <= self.max_wt_pct

    def sentence(self) -> str:
        """The status as one line for a report."""
        limit = "" if self.max_wt_pct is None else f" up to {self.max_wt_pct:g} wt%"
        act = "no act found" if self.act == "-" else self.act
        return (
            f"{self.substance}, {self.market}: {self.state}{limit}; {self.condition} ({act}; "
            f"confidence {self.confidence})."
        )


def market_status(substance: str, market: str, on_date: datetime.date) -> MarketStatus:
    """Status of a substance in a market on a day.

    Parameters
    ----------
    substance : str
        Abbreviation of a photoinitiator, resin, amine, stabiliser or pigment.
    market : {"EU", "GB", "US"}
        Market.
    on_date : date
        The day the product is placed on the market or used.

    Returns
    -------
    MarketStatus
        "unknown" with the reason in `condition` when the table holds nothing for that day.

    Raises
    ------
    UnknownNameError
        If the substance or the market does not exist.

    Examples
    --------
    >>> import datetime
    >>> market_status("TPO", "EU", datetime.date(2025, 9, 1)).state
    'prohibited'
    """
    if market not in MARKETS:
        raise unknown_name("market", market, MARKETS)
    if substance not in _substances():
        raise unknown_name("substance", substance, _substances())
    for status in market_rows():
        if (status.substance, status.market) == (substance, market) and status.holds_on(on_date):
            return status
    return MarketStatus(
        substance=substance,
        market=market,
        state="unknown",
        max_wt_pct=None,
        condition=f"the table holds no entry for {on_date.isoformat()}; ask a regulatory assessor",
        act="-",
        from_date=None,
        until_date=None,
        source="own_estimate",
        confidence="low",
        note="",
    )


def status_table(market: str, on_date: datetime.date) -> Mapping[str, MarketStatus]:
    """Status of every substance of the set in one market on one day, by abbreviation."""
    return {key: market_status(key, market, on_date) for key in _substances()}


@cache
def _substances() -> tuple[str, ...]:
    return tuple(row["substance"] for row in read_rows("substances.csv"))


@cache
def market_rows() -> tuple[MarketStatus, ...]:
    """All rows of the table, checked.

    Raises
    ------
    InputError
        If a cell is not one of the allowed words, no date or no number.
    """
    return tuple(_status(row) for row in read_rows(MARKET_FILE))


def _status(row: Mapping[str, str]) -> MarketStatus:
    where = row["where"]
    for column, allowed in (
        ("state", get_args(State)),
        ("confidence", get_args(Confidence)),
        ("market", MARKETS),
        ("substance", _substances()),
        ("source", tuple(read_sources())),
    ):
        if row[column] not in allowed:
            raise InputError(f"{where}: {column} is '{row[column]}'; it must be one of {', '.join(allowed)}.")
    limit = row["max_wt_pct"]
    return MarketStatus(
        substance=row["substance"],
        market=row["market"],
        state=row["state"],  # type: ignore[arg-type]
        max_wt_pct=parse_number(limit, where, "max_wt_pct") if limit else None,
        condition=row["condition"],
        act=row["act"],
        from_date=_day(row["from_date"], where, "from_date"),
        until_date=_day(row["until_date"], where, "until_date"),
        source=row["source"],
        confidence=row["confidence"],  # type: ignore[arg-type]
        note=row["note"],
    )


def _day(text: str, where: str, what: str) -> datetime.date | None:
    if not text:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{where}: {what} is '{text}'; write a date as 2025-09-01.") from error
