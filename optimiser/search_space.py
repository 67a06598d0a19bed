"""Which substances a search may use, between which loadings, and why the others are out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.lamp import Lamp
from ..models.gel import Gel
from ..models.market import MarketStatus, market_status
from ..models.materials import (
    Amine,
    Photoinitiator,
    amine,
    list_amines,
    list_photoinitiators,
)
from .brief import Brief
from .colour_figures import initiator_absorbance, initiator_of
from .own_rules import contents_wt_pct

Floats = NDArray[np.float64]

ASSUMED_MAX_WT_PCT = 5.0  # assumed where no usual maximum is known; flagged in the report
LEAST_ABSORBED_FRACTION = 1e-3  # below this an initiator cannot matter even at its highest loading


@dataclass(frozen=True, slots=True, kw_only=True)
class Substance:
    """One initiator or amine the search may load.

    Parameters
    ----------
    key, name : str
        Registry key and readable name.
    is_amine : bool
        Whether it is a co-initiator rather than a photoinitiator.
    needs_amine : bool
        Whether it is a type II initiator.
    high_wt_pct : float
        Highest loading allowed [wt%].
    high_because : str
        Which rule sets that maximum.
    flags : tuple of str
        Sentences to print beside the substance whenever it is proposed.
    unknown_in : tuple of str
        Markets of the brief in which its legal status is unknown.
    """

    key: str
    name: str
    is_amine: bool
    needs_amine: bool
    high_wt_pct: float
    high_because: str
    flags: tuple[str, ...]
    unknown_in: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Excluded:
    """A substance left out, with the reason in words."""

    key: str
    name: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchSpace:
    """Substances of a search: initiators first, then amines.

    Parameters
    ----------
    substances : tuple of Substance
        What may be loaded.
    excluded : tuple of Excluded
        What may not, and why.
    law_notes : tuple of str
        Rules that touch the resin base, the stabilisers and the pigments.
    law_breaches : tuple of str
        Parts of them above what a rule allows that is recalled rather than seen: to be checked before use.
    """

    substances: tuple[Substance, ...]
    excluded: tuple[Excluded, ...]
    law_notes: tuple[str, ...]
    law_breaches: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys in the order of the loading vector."""
        return tuple(substance.key for substance in self.substances)

    @property
    def initiators(self) -> tuple[str, ...]:
        """Keys of the photoinitiators."""
        return tuple(substance.key for substance in self.substances if not substance.is_amine)

    @property
    def amines(self) -> tuple[str, ...]:
        """Keys of the amines."""
        return tuple(substance.key for substance in self.substances if substance.is_amine)

    @property
    def high_wt_pct(self) -> Floats:
        """Highest loadings [wt%], shape (n_substance,)."""
        return np.array([substance.high_wt_pct for substance in self.substances])

    def subset(self, keys: Iterable[str]) -> SearchSpace:
        """The same space with only these substances, in the same order."""
        wanted = set(keys)
        return replace(self, substances=tuple(each for each in self.substances if each.key in wanted))

    def substance(self, key: str) -> Substance:
        """A usable substance by its key."""
        return next(each for each in self.substances if each.key == key)


def build_search_space(brief: Brief, lamp: Lamp, gel: Gel, *, more_lamps: Sequence[Lamp] = ()) -> SearchSpace:
    """Sort every known initiator and amine into usable and excluded.

    Parameters
    ----------
    brief : Brief
        Rules of the formulator and the markets.
    lamp : Lamp
        The lamp; an initiator that absorbs none of its light is left out.
    more_lamps : sequence of Lamp
        Further lamps; an initiator stays in if it absorbs the light of one of them.
    gel : Gel
        The resin base, checked against the same law.

    Returns
    -------
    SearchSpace
        At least one initiator.

    Raises
    ------
    UnknownNameError
        If the brief names a substance that is not in the tables.
    InputError
        If the resin base itself is not allowed, a needed price is missing, or no initiator is left.
    """
    known = [*list_photoinitiators(), *list_amines()]
    _check_names(brief, known)
    notes, breaches = _law_of_base(brief, gel)
    lamps = (lamp, *more_lamps)
    usable: list[Substance] = []
    excluded: list[Excluded] = []
    for key in list_photoinitiators():
        _sort_in(_judge(initiator_of(gel, key), brief, lamps, gel), usable, excluded)
    amines: list[Substance] = []
    for key in list_amines():
        _sort_in(_judge(amine(key), brief, lamps, gel), amines, excluded)
    usable, amines = _pair_type_two(usable, amines, excluded)
    space = SearchSpace(
        substances=(*usable, *amines),
        excluded=tuple(excluded),
        law_notes=tuple(notes),
        law_breaches=tuple(breaches),
    )
    if not usable:
        raise InputError(
            f"no initiator is left to search with ({_by_reason(excluded)}). Allow one more substance."
        )
    _check_prices(brief, space)
    return space


FORBIDDEN = "forbidden by the brief"
HOW_TO_ALLOW = 'under [substances] set "allow_unknown_status = true", or name it in "allowed" with all others to be searched'


def _check_names(brief: Brief, known: Sequence[str]) -> None:
    named = {
        "substances.allowed": brief.allowed,
        "substances.forbidden": brief.forbidden,
        "substances.max_wt_pct": tuple(brief.caps_wt_pct),
    }
    for label, keys in named.items():
        for key in keys:
            if key not in known:
                raise unknown_name(f"initiator or amine in {label}", key, known)


def _sort_in(judged: Substance | Excluded, usable: list[Substance], excluded: list[Excluded]) -> None:
    if isinstance(judged, Substance):
        usable.append(judged)
    else:
        excluded.append(judged)


def _judge(
    substance: Photoinitiator | Amine, brief: Brief, lamps: Sequence[Lamp], gel: Gel
) -> Substance | Excluded:
    def out(reason: str) -> Excluded:
        return Excluded(key=substance.key, name=substance.name, reason=reason)

    if substance.key in brief.forbidden:
        return out(FORBIDDEN)
    if brief.allowed and substance.key not in brief.allowed:
        return out("not in the brief's list of allowed substances")
    refused_by_us = brief.own.refusal(substance.key)
    if refused_by_us:
        return out(refused_by_us)
    flags: list[str] = []
    caps = _own_caps(substance, brief, flags)
    unknown_in: list[str] = []
    for market in brief.markets:
        status = market_status(substance.key, market, brief.on_date)
        refused = _legal_refusal(status, market, brief)
        if refused:
            return out(refused)
        if status.state == "unknown":
            if not _unknown_is_allowed(substance.key, brief):
                return out(f"status unknown in {market} on {_day(brief)}: {HOW_TO_ALLOW}")
            unknown_in.append(market)
        if status.state == "restricted" and status.max_wt_pct is not None:
            caps.append((status.max_wt_pct, f"{status.act} ({market})"))
        flags += _law_flags(status, market)
    high, because = min(caps)
    is_initiator = isinstance(substance, Photoinitiator)
    if high < brief.smallest_loading_wt_pct or high <= 0.0:
        return out(f"its highest loading, {high:g} wt% ({because}), lies below the smallest worth weighing")
    if isinstance(substance, Photoinitiator):
        absorbed = max(
            absorbed_fraction_at_most(substance.key, lamp, gel, high, brief.thickness_high_m)
            for lamp in lamps
        )
        if absorbed < LEAST_ABSORBED_FRACTION:
            return out(
                f"absorbs no usable light of {_lamp_words(lamps)} ({100 * absorbed:.2g} % of its photons at {high:g} wt%)"
            )
        if substance.grade == "C":
            flags.append("its data are weak (grade C): treat the loading as a first guess")
    needs_amine = isinstance(substance, Photoinitiator) and substance.mechanism == "type_II"
    return Substance(
        key=substance.key,
        name=substance.name,
        is_amine=not is_initiator,
        needs_amine=needs_amine,
        high_wt_pct=high,
        high_because=because,
        flags=tuple(flags),
        unknown_in=tuple(unknown_in),
    )


def _lamp_words(lamps: Sequence[Lamp]) -> str:
    return "this lamp" if len(lamps) == 1 else "any of the lamps"


def _own_caps(substance: Photoinitiator | Amine, brief: Brief, flags: list[str]) -> list[tuple[float, str]]:
    caps: list[tuple[float, str]] = []
    if substance.usual_max_wt_pct is None:
        caps.append((ASSUMED_MAX_WT_PCT, "assumed, no usual maximum known"))
        flags.append(f"no usual maximum is known; {ASSUMED_MAX_WT_PCT:g} wt% assumed")
    else:
        caps.append((substance.usual_max_wt_pct, "usual maximum"))
    if substance.key in brief.caps_wt_pct:
        caps.append((brief.caps_wt_pct[substance.key], "cap in the brief"))
    caps += brief.own.caps(substance.key)
    if isinstance(substance, Photoinitiator):
        if substance.key in brief.own.solubility_wt_pct:
            caps.append((brief.own.solubility_wt_pct[substance.key], "solubility given in the brief"))
        elif substance.solubility_wt_pct is None:
            flags.append("solubility in the resin base unknown: check that it dissolves")
        else:
            caps.append((substance.solubility_wt_pct, "solubility"))
    return caps


def _by_reason(excluded: Sequence[Excluded]) -> str:
    """What was left out, substances of one reason together."""
    found: dict[str, list[str]] = {}
    for each in excluded:
        found.setdefault(each.reason, []).append(each.key)
    return "; ".join(f"{', '.join(keys)}: {reason}" for reason, keys in found.items())


def _unknown_is_allowed(key: str, brief: Brief) -> bool:
    return key in brief.allowed or brief.allow_unknown_status or brief.own.allows(key)


def _day(brief: Brief) -> str:
    return f"{brief.on_date:%d %B %Y}".lstrip("0")


def _legal_refusal(status: MarketStatus, market: str, brief: Brief) -> str:
    when = _day(brief)
    if status.state == "prohibited":
        since = f" since {status.from_date:%d %B %Y}" if status.from_date else ""
        return f"prohibited in {market} on {when}{since} ({status.act})"
    if (
        status.state == "restricted"
        and not brief.professional_use
        and "professional" in status.condition.lower()
    ):
        return f"restricted to professional use in {market} on {when} ({status.act}); the brief says consumer use"
    return ""


def _law_flags(status: MarketStatus, market: str) -> list[str]:
    if status.state == "restricted":
        most = "" if status.max_wt_pct is None else f" up to {status.max_wt_pct:g} wt%"
        return [f"restricted in {market}{most}: {status.condition} ({status.act})"]
    if status.state == "unknown":
        return [f"legal status in {market} unknown to the table: check before use"]
    if status.confidence == "low":
        return [f"legal status in {market} rests on weak evidence: {status.condition}"]
    return []


def absorbed_fraction_at_most(
    key: str, lamp: Lamp, gel: Gel, loading_wt_pct: float, thickness_m: float
) -> float:
    """Share of the lamp's photons a fresh film absorbs through one initiator alone.

    Parameters
    ----------
    key : str
        The initiator.
    lamp : Lamp
        The lamp; the mean over its positions is used.
    gel : Gel
        Resin base.
    loading_wt_pct, thickness_m : float
        Loading [wt%] and film thickness [m].

    Returns
    -------
    float
        Absorbed photons over incident photons [-].
    """
    spectrum = lamp.mean_spectrum().light()
    wavelength_nm = spectrum.wavelength_nm
    photons = spectrum.spectral_irradiance_w_m2_nm * wavelength_nm
    absorbance = initiator_absorbance(gel, key, loading_wt_pct, wavelength_nm, thickness_m)
    incident = float(np.trapezoid(photons, wavelength_nm))
    return float(np.trapezoid(photons * (1.0 - 10.0**-absorbance), wavelength_nm)) / incident


def _pair_type_two(
    usable: list[Substance], amines: list[Substance], excluded: list[Excluded]
) -> tuple[list[Substance], list[Substance]]:
    """Type II initiators need an amine, and an amine is of use only beside one."""
    if not amines:
        for lonely in [substance for substance in usable if substance.needs_amine]:
            excluded.append(
                Excluded(key=lonely.key, name=lonely.name, reason="needs an amine and none is allowed")
            )
        usable = [substance for substance in usable if not substance.needs_amine]
    if not any(substance.needs_amine for substance in usable):
        for unused in amines:
            excluded.append(
                Excluded(
                    key=unused.key, name=unused.name, reason="an amine without a type II initiator to serve"
                )
            )
        amines = []
    return usable, amines


def _law_of_base(brief: Brief, gel: Gel) -> tuple[list[str], list[str]]:
    """Rules that touch what is not searched, and what is above one that is only recalled; what breaks a rule seen is refused."""
    notes: list[str] = []
    breaches: list[str] = []
    for key, content in contents_wt_pct(gel).items():
        for market in brief.markets:
            status = market_status(key, market, brief.on_date)
            refused = _legal_refusal(status, market, brief)
            if refused:
                raise InputError(f"the resin base holds {key}: {refused}. Replace it or change the market.")
            if status.max_wt_pct is not None and content > status.max_wt_pct * (1.0 + 1e-9):
                told = (
                    f"{content:.3g} wt% of {key} is above the {status.max_wt_pct:g} wt% that {market} allows "
                    f"({status.act})"
                )
                if status.confidence != "low":
                    raise InputError(f"{told}. Lower it or change the market.")
                breaches.append(f"{told}; the rule is recalled, not seen: check it before use")
            notes += [f"{key}: {flag}" for flag in _law_flags(status, market)]
    return notes, breaches


def _check_prices(brief: Brief, space: SearchSpace) -> None:
    if brief.objective != "least_cost" and brief.limits.cost_max_per_kg is None:
        return
    missing = missing_prices(space.keys, brief)
    if missing:
        raise InputError(
            f"prices.per_kg lacks {', '.join(missing)}; cost is an objective or a limit of this brief, so every "
            "allowed substance needs a price. Add the prices (per_kg = { BAPO = 120 } under [prices], every one of them "
            "named) or forbid the substances."
        )


def missing_prices(keys: Iterable[str], brief: Brief) -> list[str]:
    """Keys without a price in the brief."""
    return [key for key in keys if key not in brief.prices_per_kg]
