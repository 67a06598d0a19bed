"""A formulator's own rules beside the law: a list of substances, parts the gel must not hold, stock on hand, solubilities.

The law comes first: a list that allows what a market prohibits changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ..lamp_library.errors import InputError, unknown_name
from ..models.gel import Gel
from ..models.materials import (
    list_amines,
    list_photoinitiators,
    list_pigments,
    list_resins,
    list_stabilisers,
    resin,
)

LIST_STATES = ("allowed", "restricted", "prohibited")
KNOWN_SENSITISERS = "known sensitisers"  # stands for every resin the tables flag so


@dataclass(frozen=True, slots=True, kw_only=True)
class ListRule:
    """One row of the list.

    Parameters
    ----------
    state : {"allowed", "restricted", "prohibited"}
        ``restricted`` means up to `max_wt_pct`.
    max_wt_pct : float or None
        Highest content [wt%].
    reason : str
        In the list's words.
    """

    state: str
    max_wt_pct: float | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnRules:
    """The formulator's own rules; empty by default.

    Parameters
    ----------
    list_name : str
        File the list came from, for messages.
    listed : mapping of str to ListRule
        The list by substance.
    only_listed : bool
        Whether initiators and amines that the list does not name are left out.
    without : tuple of str
        Resins, stabilisers and pigments the gel must not hold; ``"known sensitisers"`` = every resin flagged so.
    swap : mapping of str to str
        Resins to be replaced by others, weight for weight.
    solubility_wt_pct : mapping of str to float
        Solubilities in the resin base at hand [wt%], in place of those of the tables.
    batch_g : float or None
        Batch to be made [g].
    on_hand_g : mapping of str to float
        Stock [g].
    only_stocked : bool
        Whether what the stock does not list is left out.
    """

    list_name: str = ""
    listed: Mapping[str, ListRule] = field(default_factory=dict)
    only_listed: bool = False
    without: tuple[str, ...] = ()
    swap: Mapping[str, str] = field(default_factory=dict)
    solubility_wt_pct: Mapping[str, float] = field(default_factory=dict)
    batch_g: float | None = None
    on_hand_g: Mapping[str, float] = field(default_factory=dict)
    only_stocked: bool = False

    def __post_init__(self) -> None:
        if (self.batch_g is None) != (not self.on_hand_g):
            raise InputError("stock: batch_g and the amounts on hand belong together. Give both or neither.")
        if self.only_listed and not self.listed:
            raise InputError("substances.only_listed: there is no list. Give substances.list_file too.")
        if self.only_stocked and not self.on_hand_g:
            raise InputError("stock.only_stocked: no stock is given. Give stock.on_hand_g or stock.file too.")
        initiators, base = (*list_photoinitiators(), *list_amines()), base_keys()
        _check("substances.solubility_wt_pct", self.solubility_wt_pct, list_photoinitiators())
        _check(self.list_name or "the list of substances", self.listed, (*initiators, *base))
        _check("stock", self.on_hand_g, (*initiators, *base))
        _check("gel.without", self.without, (KNOWN_SENSITISERS, *base))
        _check("gel.swap", (*self.swap, *self.swap.values()), list_resins())

    def refusal(self, key: str) -> str:
        """Why an initiator or amine is left out by these rules; empty when it is not."""
        rule = self.listed.get(key)
        if rule is not None and rule.state == "prohibited":
            return f"prohibited by {self.list_name}{_because(rule)}"
        if rule is None and self.only_listed:
            return f"not in {self.list_name}"
        if self.only_stocked and key not in self.on_hand_g:
            return "not in stock"
        return ""

    def caps(self, key: str) -> list[tuple[float, str]]:
        """Upper limits these rules set on an initiator or amine [wt%], each with its reason."""
        found = []
        rule = self.listed.get(key)
        if rule is not None and rule.max_wt_pct is not None:
            found.append((rule.max_wt_pct, f"{self.list_name}{_because(rule)}"))
        if self.batch_g is not None and key in self.on_hand_g:
            grams = self.on_hand_g[key]
            found.append(
                (100.0 * grams / self.batch_g, f"stock of {grams:g} g for a batch of {self.batch_g:g} g")
            )
        return found

    def allows(self, key: str) -> bool:
        """Whether the list names a substance as usable, which settles a legal status that is unknown."""
        return key in self.listed and self.listed[key].state != "prohibited"

    def checked_base(self, gel: Gel) -> Gel:
        """The resin base with its swaps made and every rule about it kept.

        Raises
        ------
        InputError
            If it holds what it must not, or more than the list or the stock allows.
        """
        gel = replace(gel, resin_parts=self._swapped(gel.resin_parts))
        contents = contents_wt_pct(gel)
        for key, content in contents.items():
            if key in self.without or (KNOWN_SENSITISERS in self.without and _is_sensitiser(key)):
                why = "" if key in self.without else f" as one of the {KNOWN_SENSITISERS}"
                raise InputError(
                    f"gel.without names {key}{why}, and the resin base holds {content:.3g} wt% of it. "
                    f'Choose another gel, or replace it: gel.swap = {{ {key} = "..." }}.'
                )
            self._check_listed(key, content)
            self._check_stock(key, content)
        return gel

    def _swapped(self, parts: Mapping[str, float]) -> dict[str, float]:
        found: dict[str, float] = {}
        for key, amount in parts.items():
            taken = self.swap.get(key, key)
            found[taken] = found.get(taken, 0.0) + amount
        for key in self.swap:
            if key not in parts:
                raise InputError(
                    f"gel.swap replaces {key}, which the resin base does not hold ({', '.join(parts)}). Remove it."
                )
        return found

    def _check_listed(self, key: str, content_wt_pct: float) -> None:
        rule = self.listed.get(key)
        if rule is None:
            return
        if rule.state == "prohibited":
            raise InputError(
                f"the resin base holds {key}: prohibited by {self.list_name}{_because(rule)}. Replace it with gel.swap or "
                "choose another gel."
            )
        if rule.max_wt_pct is not None and content_wt_pct > rule.max_wt_pct:
            raise InputError(
                f"the resin base holds {content_wt_pct:.3g} wt% {key}; {self.list_name} allows at most "
                f"{rule.max_wt_pct:g} wt%{_because(rule)}. Use less of it."
            )

    def _check_stock(self, key: str, content_wt_pct: float) -> None:
        if self.batch_g is None:
            return
        if key not in self.on_hand_g:
            if self.only_stocked:
                raise InputError(
                    f"the resin base holds {key}, which is not in stock. Add it to the stock or swap it."
                )
            return
        wanted, there = 0.01 * content_wt_pct * self.batch_g, self.on_hand_g[key]
        if wanted > there:
            raise InputError(
                f"a batch of {self.batch_g:g} g needs {wanted:.4g} g {key} for the resin base; {there:g} g are in stock, "
                f"enough for {100.0 * there / content_wt_pct:.4g} g of gel. Make a smaller batch or buy more."
            )


def base_keys() -> tuple[str, ...]:
    """Everything a gel may hold beside initiators and amines."""
    return (*list_resins(), *list_stabilisers(), *list_pigments())


def contents_wt_pct(gel: Gel) -> dict[str, float]:
    """Content of every part of a gel without initiators [wt%]."""
    whole = sum(gel.resin_parts.values())
    resins = {key: gel.resin_base_wt_pct * parts / whole for key, parts in gel.resin_parts.items()}
    return {**resins, **gel.stabilisers_wt_pct, **gel.pigments_wt_pct}


def _because(rule: ListRule) -> str:
    return f" ({rule.reason})" if rule.reason else ""


def _is_sensitiser(key: str) -> bool:
    return key in list_resins() and resin(key).sensitiser == "known"


def _check(label: str, names: Mapping[str, object] | tuple[str, ...], known: tuple[str, ...]) -> None:
    for name in names:
        if name not in known:
            raise unknown_name(f"substance in {label}", name, known)
