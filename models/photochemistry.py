"""From absorbed photons to radicals: cleavage (type I) and amine-assisted abstraction (type II).

A cleavage initiator makes two radicals per molecule lost; a type II initiator needs an amine and makes one useful
radical. Dissolved oxygen takes the long-lived excited state of type II initiators before the amine can; the excited
states of the phosphine oxides live too short for that (Sumiyoshi et al., Polymer 1985, 26, 141).
"""

from __future__ import annotations

from .compiled import compiled


@compiled
def amine_share(
    amine_mol_m3: float, oxygen_mol_m3: float, half_saturation_mol_m3: float, oxygen_quenching: float
) -> float:
    """Share of the excited type II molecules that the amine reaches first [-].

    Stern-Volmer competition: [A] / ([A] + K_D + q [O2]), where q is the ratio of the quenching constants of oxygen and
    amine.
    """
    if amine_mol_m3 <= 0.0:
        return 0.0
    return amine_mol_m3 / (amine_mol_m3 + half_saturation_mol_m3 + oxygen_quenching * oxygen_mol_m3)
