"""What the model knows of a substance: frozen records in SI, each with its sources.

Every record carries `key`, `name`, `inci_name` and `cas` ("not verified" where unknown), `sources`
(keys of ``sources.csv``) and `unverified`: the names of the fields that rest on an estimate, an
assumption or memory rather than on a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from .absorption import AbsorptionSpectrum
from .pigments import PigmentOptics

Mechanism = Literal["type_I", "type_II"]
Group = Literal["acrylate", "methacrylate"]
Grade = Literal["A", "B", "C"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Photoinitiator:
    """A cleaving initiator (type I) or a sensitiser that needs an amine (type II).

    Parameters
    ----------
    mechanism : {"type_I", "type_II"}
        A type I molecule makes two radicals per cleavage; a type II molecule with an amine one useful radical.
    molar_mass_kg_mol : float
        Molar mass [kg mol-1].
    absorption : AbsorptionSpectrum
        Decadic molar absorption coefficient.
    product_absorption_ratio : float
        Absorption of the photoproduct over that of the initiator [-], at every wavelength.
    quantum_yield : float
        Molecules consumed per absorbed photon [-].
    initiation_efficiency : float
        Chains started per radical formed [-], without oxygen.
    amine_half_saturation_mol_m3 : float
        Amine concentration [mol m-3] that gives half of the full rate; 0 for type I.
    oxygen_quenching_ratio : float
        Quenching rate coefficient of oxygen over that of the amine [-]; 0 for type I.
    scale_error_ratio, quantum_yield_error_ratio : float
        Relative standard deviations [-] of the absorption scale and of the quantum yield.
    grade : {"A", "B", "C"}
        A two or more spectra seen, B a few points, C shape assumed or borrowed.
    solubility_wt_pct, usual_min_wt_pct, usual_max_wt_pct : float or None
        Loadings [wt% of the gel]; None where unknown.
    yellowing : str
        What to expect of the colour after cure.
    """

    key: str
    name: str
    inci_name: str
    cas: str
    sources: tuple[str, ...]
    unverified: tuple[str, ...]
    mechanism: Mechanism
    molar_mass_kg_mol: float
    absorption: AbsorptionSpectrum
    product_absorption_ratio: float
    quantum_yield: float
    initiation_efficiency: float
    amine_half_saturation_mol_m3: float
    oxygen_quenching_ratio: float
    scale_error_ratio: float
    quantum_yield_error_ratio: float
    grade: Grade
    solubility_wt_pct: float | None
    usual_min_wt_pct: float | None
    usual_max_wt_pct: float | None
    yellowing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Resin:
    """A monomer or oligomer with its polymerisable groups.

    Parameters
    ----------
    molar_mass_kg_mol : float
        Molar mass [kg mol-1].
    functionality : int
        C=C groups per molecule.
    group : {"acrylate", "methacrylate"}
        Kind of the C=C group.
    density_kg_m3 : float
        Density of the liquid [kg m-3].
    heat_of_polymerisation_j_mol : float
        Heat given off [J per mole C=C], positive.
    propagation_rate_coefficient_m3_mol_s, propagation_activation_energy_j_mol : float
        Resin-level effective k_p at 298.15 K [m3 mol-1 s-1] and its activation energy [J mol-1].
    termination_rate_coefficient_m3_mol_s, termination_activation_energy_j_mol : float
        k_t at 298.15 K and no conversion, with R_t = k_t R^2, and its activation energy.
    termination_decay : float
        b in exp(-b X) [-].
    reaction_diffusion_m3_mol : float
        C in C k_p M [m3 mol-1].
    tg_monomer_k, tg_polymer_k, dibenedetto_lambda : float
        Glass transition at no and at full conversion [K], and the DiBenedetto ratio [-].
    tg_half_width_k : float
        W in Tg(X) = T + W [K]: half-width of the glass transition.
    vitrification_width : float
        w in the sigmoid that stops propagation [-, conversion].
    heat_capacity_monomer_j_kg_k, heat_capacity_polymer_j_kg_k : float
        Specific heat capacities [J kg-1 K-1].
    thermal_conductivity_w_m_k : float
        Thermal conductivity [W m-1 K-1].
    viscosity_pa_s : float or None
        Viscosity near room temperature [Pa s]; None where unknown.
    oxygen_solubility_mol_m3 : float
        Dissolved oxygen in contact with air [mol m-3].
    oxygen_diffusivity_m2_s, oxygen_diffusivity_decay : float
        D0 [m2 s-1] and beta [-] in D0 exp(-beta X).
    sensitiser : {"", "known", "possible"}
        Skin sensitiser.
    refractive_index : float
        Refractive index of the liquid [-].
    """

    key: str
    name: str
    inci_name: str
    cas: str
    sources: tuple[str, ...]
    unverified: tuple[str, ...]
    molar_mass_kg_mol: float
    functionality: int
    group: Group
    density_kg_m3: float
    heat_of_polymerisation_j_mol: float
    propagation_rate_coefficient_m3_mol_s: float
    propagation_activation_energy_j_mol: float
    termination_rate_coefficient_m3_mol_s: float
    termination_activation_energy_j_mol: float
    termination_decay: float
    reaction_diffusion_m3_mol: float
    tg_monomer_k: float
    tg_polymer_k: float
    dibenedetto_lambda: float
    tg_half_width_k: float
    vitrification_width: float
    heat_capacity_monomer_j_kg_k: float
    heat_capacity_polymer_j_kg_k: float
    thermal_conductivity_w_m_k: float
    viscosity_pa_s: float | None
    oxygen_solubility_mol_m3: float
    oxygen_diffusivity_m2_s: float
    oxygen_diffusivity_decay: float
    sensitiser: Literal["", "known", "possible"]
    refractive_index: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Amine:
    """A co-initiator of the type II sensitisers.

    `absorption` is None where no band is known; aliphatic amines absorb nothing above 300 nm.
    """

    key: str
    name: str
    inci_name: str
    cas: str
    sources: tuple[str, ...]
    unverified: tuple[str, ...]
    molar_mass_kg_mol: float
    absorption: AbsorptionSpectrum | None
    usual_min_wt_pct: float | None
    usual_max_wt_pct: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stabiliser:
    """A radical scavenger that keeps the gel from curing in the jar.

    `radical_rate_coefficient_m3_mol_s` is that of its reaction with a growing chain, true within times or over
    `radical_rate_error_factor`; a molecule takes `radicals_per_molecule` of them and is then used up.
    """

    key: str
    name: str
    inci_name: str
    cas: str
    sources: tuple[str, ...]
    unverified: tuple[str, ...]
    molar_mass_kg_mol: float
    radical_rate_coefficient_m3_mol_s: float
    radical_rate_error_factor: float
    radicals_per_molecule: float
    usual_max_wt_pct: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pigment:
    """A colourant that absorbs and scatters light as particles.

    Parameters
    ----------
    density_kg_m3 : float
        Density of the particles [kg m-3].
    optics : PigmentOptics
        Absorption and reduced scattering per wt% of the gel.
    absorption_error_ratio, scattering_error_ratio : float
        Relative standard deviations [-] of the two.
    usual_min_wt_pct, usual_max_wt_pct : float or None
        Loadings [wt% of the gel]; None where unknown.
    """

    key: str
    name: str
    inci_name: str
    cas: str
    sources: tuple[str, ...]
    unverified: tuple[str, ...]
    density_kg_m3: float
    optics: PigmentOptics
    absorption_error_ratio: float
    scattering_error_ratio: float
    usual_min_wt_pct: float | None
    usual_max_wt_pct: float | None
