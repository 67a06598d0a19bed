"""Energy handed from a thioxanthone to another initiator, by a table of pairs.

A thioxanthone takes up 385 to 405 nm light far better than most cleaving initiators. Where its triplet lies at or above
that of a neighbour it can pass the energy on. Whether that is worth anything depends on a yield nobody has measured for
most pairs: the table counts none, and a gel file may set its own (`sensitiser_pairs`).

Share of the donor's excitations that reach acceptor j, beside its amine and its own decay (Stern-Volmer):

    T_j = efficiency_j (Q_j / h_j) / (1 + A / K + sum_k Q_k / h_k)

with Q acceptor, h its half saturation, A amine, K the donor's amine half saturation; without amine and with one acceptor
this is efficiency x Q / (Q + h). Approximations: concentrations are those at the start, oxygen is left out (it is gone
before most of the cure), and what the acceptor takes without using it (efficiency below 1) stays with the donor.

The transferred light is booked as absorption of the acceptor, T_j eps_D C_D / C_j on top of its own, which its product
keeps, and taken off the donor: the sum absorbed stays that of the film, the acceptor is the one used up, and photons
balance. The donor is taken not to bleach in that part, which holds for thioxanthones. `cure` counts the pairs; the search
and stacks of coats do not yet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .data_tables import parse_number, read_rows
from .film import Absorber, FilmModel
from .gel import Gel, pair_keys
from .materials import photoinitiator

Array = NDArray[np.float64]
FILE = "sensitiser_pairs.csv"
# For pairs that only the gel file names: as the table's, assumed.
HALF_SATURATION_MOL_M3 = 5.0
# Uphill by no more than this, transfer is not ruled out: about four thermal energies at 25 C (assumed).
WITHIN_REACH_J_MOL = 10.0e3


@dataclass(frozen=True, slots=True, kw_only=True)
class SensitiserPair:
    """A donor of triplet energy and the initiator that may take it.

    Attributes
    ----------
    donor, acceptor : str
        Photoinitiators.
    efficiency_fraction : float
        Excitations of the acceptor per donor triplet it meets [-].
    half_saturation_mol_m3 : float
        Acceptor concentration at which it meets half of the triplets, without amine [mol m-3].
    uphill_j_mol : float or None
        Triplet energy of the acceptor above the donor's [J/mol]; None where the table has no such pair.
    kind, source, note : str
        Standing of the efficiency, key of its source ("" = the gel), reason.
    """

    donor: str
    acceptor: str
    efficiency_fraction: float
    half_saturation_mol_m3: float
    uphill_j_mol: float | None
    kind: str
    source: str
    note: str


@cache
def sensitiser_pairs() -> Mapping[tuple[str, str], SensitiserPair]:
    """The packaged pairs, by donor and acceptor."""
    found = {}
    for row in read_rows(FILE):
        number = {
            name: parse_number(row[name], row["where"], name)
            for name in (
                "efficiency",
                "half_saturation_mol_m3",
                "donor_triplet_kj_mol",
                "acceptor_triplet_kj_mol",
            )
        }
        found[row["donor"], row["acceptor"]] = SensitiserPair(
            donor=row["donor"],
            acceptor=row["acceptor"],
            efficiency_fraction=number["efficiency"],
            half_saturation_mol_m3=number["half_saturation_mol_m3"],
            uphill_j_mol=1e3 * (number["acceptor_triplet_kj_mol"] - number["donor_triplet_kj_mol"]),
            kind=row["kind"],
            source=row["source"],
            note=row["note"],
        )
    return MappingProxyType(found)


def pairs_in(gel: Gel) -> tuple[SensitiserPair, ...]:
    """Pairs whose donor and acceptor are both in a gel; the gel's own efficiencies go before the table's."""
    present = [key for key, wt_pct in gel.initiators_wt_pct.items() if wt_pct > 0.0]
    return pairs_among(present, gel.sensitiser_pairs)


def pairs_among(present: Sequence[str], own_efficiencies: Mapping[str, float]) -> tuple[SensitiserPair, ...]:
    """Pairs among some photoinitiators, with a gel's own efficiencies ("donor > acceptor") before the table's."""
    own = {pair_keys(name): value for name, value in own_efficiencies.items()}
    found = []
    for names in [*sensitiser_pairs(), *(each for each in own if each not in sensitiser_pairs())]:
        if names[0] not in present or names[1] not in present:
            continue
        pair = sensitiser_pairs().get(names) or SensitiserPair(
            donor=names[0],
            acceptor=names[1],
            efficiency_fraction=0.0,
            half_saturation_mol_m3=HALF_SATURATION_MOL_M3,
            uphill_j_mol=None,
            kind="assumed",
            source="",
            note="named by the gel only",
        )
        if names in own:
            pair = replace(
                pair,
                efficiency_fraction=own[names],
                kind="assumed",
                source="",
                note="efficiency set by the gel",
            )
        found.append(pair)
    return tuple(found)


def transferred_shares(
    pairs: Sequence[SensitiserPair],
    acceptor_mol_m3: Sequence[float],
    amine_mol_m3: float,
    amine_half_saturation_mol_m3: float,
) -> tuple[float, ...]:
    """Shares of one donor's excitations that its acceptors receive [-].

    Parameters
    ----------
    pairs : sequence of SensitiserPair
        Pairs of one donor.
    acceptor_mol_m3 : sequence of float
        Concentration of each acceptor [mol m-3].
    amine_mol_m3, amine_half_saturation_mol_m3 : float
        Amine, and the concentration of half effect for this donor [mol m-3].
    """
    met = [amount / pair.half_saturation_mol_m3 for pair, amount in zip(pairs, acceptor_mol_m3, strict=True)]
    sinks = 1.0 + amine_mol_m3 / amine_half_saturation_mol_m3 + sum(met)
    return tuple(pair.efficiency_fraction * each / sinks for pair, each in zip(pairs, met, strict=True))


def book_transfer(
    pairs: Sequence[SensitiserPair],
    keys: Sequence[str],
    concentration_mol_m3: Array,
    amine_mol_m3: float,
    napierian_m2_mol: Array,
    product_m2_mol: Array,
) -> tuple[Array, Array]:
    """Absorption of initiators and of their products with the transferred light booked to the acceptors.

    Parameters
    ----------
    pairs : sequence of SensitiserPair
        Pairs among `keys`.
    keys : sequence of str
        Photoinitiators of the first rows; further rows (amines) stay as they are.
    concentration_mol_m3 : ndarray, shape (n_row,)
        Concentrations at the start [mol m-3].
    amine_mol_m3 : float
        Amine [mol m-3].
    napierian_m2_mol, product_m2_mol : ndarray, shape (n_row, n_bin)
        Molar napierian absorption coefficients [m2/mol]; not changed.

    Returns
    -------
    tuple of ndarray, shape (n_row, n_bin)
        The two tables [m2/mol].
    """
    napierian, product = napierian_m2_mol.copy(), product_m2_mol.copy()
    counted = [pair for pair in pairs if pair.efficiency_fraction > 0.0]
    for donor in dict.fromkeys(pair.donor for pair in counted):
        own, row = [pair for pair in counted if pair.donor == donor], keys.index(donor)
        acceptors = [keys.index(pair.acceptor) for pair in own]
        half = photoinitiator(donor).amine_half_saturation_mol_m3
        shares = transferred_shares(own, concentration_mol_m3[acceptors].tolist(), amine_mol_m3, half)
        taken_up = napierian_m2_mol[row] * concentration_mol_m3[row]
        napierian[row] -= sum(shares) * napierian_m2_mol[row]
        product[row] -= sum(shares) * product_m2_mol[row]
        for acceptor, share in zip(acceptors, shares, strict=True):
            extra = share * taken_up / concentration_mol_m3[acceptor]
            napierian[acceptor] += extra
            product[acceptor] += extra
    return napierian, product


def with_energy_transfer(model: FilmModel, gel: Gel) -> FilmModel:
    """A film of one coat with the energy transfer of its gel; the same film where no pair has an efficiency."""
    pairs = pairs_in(gel)
    if not any(pair.efficiency_fraction > 0.0 for pair in pairs):
        return model
    napierian, product = book_transfer(
        pairs,
        list(gel.initiators_wt_pct),
        np.array([_mean(each.concentration_mol_m3) for each in model.absorbers]),
        _mean(model.amine_mol_m3),
        *_tables(model.absorbers),
    )
    rows = zip(model.absorbers, napierian, product, strict=True)
    return replace(
        model,
        absorbers=tuple(replace(each, napierian_m2_mol=own, product_m2_mol=left) for each, own, left in rows),
    )


def _mean(value: ArrayLike) -> float:
    return float(np.mean(np.asarray(value, dtype=np.float64)))


def _tables(absorbers: Sequence[Absorber]) -> tuple[Array, Array]:
    own = np.array([np.asarray(each.napierian_m2_mol, dtype=np.float64) for each in absorbers])
    left = [np.broadcast_to(np.asarray(each.product_m2_mol), own.shape[1:]) for each in absorbers]
    return own, np.array(left, dtype=np.float64)


def pair_sources(gel: Gel) -> list[str]:
    """Source keys of the pairs that are counted."""
    counted = [pair.source for pair in pairs_in(gel) if pair.efficiency_fraction > 0.0 and pair.source]
    return list(dict.fromkeys(counted))


def pair_flags(gel: Gel) -> tuple[str, ...]:
    """Sentences on pairs that are counted by assumption, and on those that might matter but are not counted."""
    flags = []
    pairs = pairs_in(gel)
    for pair in pairs:
        if pair.efficiency_fraction > 0.0:
            flags.append(
                f"{pair.donor} is taken to hand energy to {pair.acceptor} with an efficiency of {pair.efficiency_fraction:g} "
                f"({pair.kind}: {pair.note})."
            )
    silent = [
        f"{pair.donor} to {pair.acceptor}"
        for pair in pairs
        if pair.efficiency_fraction == 0.0
        and pair.uphill_j_mol is not None
        and pair.uphill_j_mol <= WITHIN_REACH_J_MOL
        and photoinitiator(pair.acceptor).mechanism == "type_I"
    ]
    if silent:
        flags.append(
            f"Energy transfer from {', '.join(silent)} is possible, its yield unknown; none is counted (sensitiser_pairs)."
        )
    return tuple(flags)
