"""A film to be cured, in plain physical terms, and its packing for the compiled core.

`FilmModel` is the place to put one's own rate constants, a prescribed radical formation, a prescribed heat source, fixed
faces or nitrogen: whatever the outside check or the experiment needs runs through the same solver as a gel does.
`parts` swaps these by name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError

Array = NDArray[np.float64]
Atmosphere = Literal["air", "closed", "nitrogen"]
OXYGEN_RATE_M3_MOL_S = 5.0e5  # from memory: Decker & Jenkins 1985; Dendukuri et al. 2008


@dataclass(frozen=True, slots=True, kw_only=True)
class DiBenedetto:
    """Vitrification where the glass transition of the network reaches cure temperature plus half width (see `kinetics`)."""

    tg_monomer_k: float
    tg_polymer_k: float
    lambda_ratio: float
    half_width_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearVitrification:
    """Vitrification at a conversion that moves linearly with temperature; slope 0 = a fixed conversion."""

    conversion_fraction: float
    slope_1_k: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Kinetics:
    """Rate parameters of a resin (R_t = k_t R^2, concentrations per C=C).

    Attributes
    ----------
    acrylate_propagation_m3_mol_s, methacrylate_propagation_m3_mol_s : float
        k_p of each kind of C=C at `reference_k` [m3 mol-1 s-1].
    acrylate_energy_j_mol, methacrylate_energy_j_mol, termination_energy_j_mol : float
        Activation energies [J/mol].
    acrylate_reactivity_ratio, methacrylate_reactivity_ratio : float
        Reactivity ratios of the terminal model [-].
    termination_m3_mol_s : float
        k_t at zero conversion and `reference_k` [m3 mol-1 s-1].
    termination_decay : float
        b in exp(-b X) [-].
    reaction_diffusion_m3_mol : float
        C_RD in k_t = ... + C_RD k_p M [m3/mol].
    vitrification : DiBenedetto, LinearVitrification or None
        When propagation stops; None = never.
    sigmoid_width_fraction : float
        Width w of the stop [-].
    acrylate_heat_j_mol, methacrylate_heat_j_mol : float
        Heat of polymerisation per C=C, positive [J/mol].
    radical_loss_1_s : float
        First-order loss of radicals that is never used up [1/s]: an idealisation for outside checks, no substance of a gel.
    stabiliser_rate_m3_mol_s, radicals_per_stabiliser : float
        Rate coefficient of radicals with the stabiliser [m3 mol-1 s-1], and radicals it takes per molecule until it is gone
        [-]. The coefficient falls with the mobility of propagation (see `core_step.stabiliser_coefficient`).
    """

    acrylate_propagation_m3_mol_s: float = 0.0
    acrylate_energy_j_mol: float = 0.0
    methacrylate_propagation_m3_mol_s: float = 0.0
    methacrylate_energy_j_mol: float = 0.0
    acrylate_reactivity_ratio: float = 1.0
    methacrylate_reactivity_ratio: float = 1.0
    termination_m3_mol_s: float
    termination_energy_j_mol: float = 0.0
    termination_decay: float = 0.0
    reaction_diffusion_m3_mol: float = 0.0
    reference_k: float = 298.15
    vitrification: DiBenedetto | LinearVitrification | None = None
    sigmoid_width_fraction: float = 0.03
    acrylate_heat_j_mol: float = 0.0
    methacrylate_heat_j_mol: float = 0.0
    radical_loss_1_s: float = 0.0
    stabiliser_rate_m3_mol_s: float = 0.0
    radicals_per_stabiliser: float = 2.0

    def __post_init__(self) -> None:
        if not (self.stabiliser_rate_m3_mol_s >= 0.0 and self.radicals_per_stabiliser > 0.0):
            raise InputError(
                f"kinetics: a stabiliser of rate {self.stabiliser_rate_m3_mol_s:g} m3/mol/s that takes "
                f"{self.radicals_per_stabiliser:g} radicals per molecule; the rate must be 0 or more, the number above 0."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Oxygen:
    """Oxygen around and in the film.

    Attributes
    ----------
    atmosphere : str
        "air" = open surface; "closed" = only what is dissolved; "nitrogen" = none at all.
    surface_mol_m3, initial_mol_m3 : float
        Concentration in equilibrium with the air, and at the start [mol m-3].
    diffusivity_m2_s, diffusivity_decay : float
        D0 [m2/s] and beta of D = D0 exp(-beta X) [-].
    rate_m3_mol_s : float
        k_O of R + O2 [m3 mol-1 s-1].
    radicals_per_oxygen : float
        Radicals lost per O2 [-].
    """

    atmosphere: Atmosphere = "air"
    surface_mol_m3: float = 1.05
    initial_mol_m3: float = 1.05
    diffusivity_m2_s: float = 1.0e-10
    diffusivity_decay: float = 0.0
    rate_m3_mol_s: float = OXYGEN_RATE_M3_MOL_S
    radicals_per_oxygen: float = 1.0

    def __post_init__(self) -> None:
        if self.atmosphere not in ("air", "closed", "nitrogen"):
            raise InputError(
                f"oxygen: atmosphere is '{self.atmosphere}'; it must be air, closed or nitrogen."
            )
        if (
            self.atmosphere != "nitrogen"
            and min(self.surface_mol_m3, self.diffusivity_m2_s, self.rate_m3_mol_s) <= 0.0
        ):
            raise InputError(
                "oxygen: surface concentration, diffusivity and rate must be above 0; for none choose nitrogen."
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Absorber:
    """A light-absorbing initiator in the film.

    Attributes
    ----------
    key : str
        Name of the substance.
    concentration_mol_m3 : array_like, shape (n,) or ()
        As weighed in [mol m-3].
    napierian_m2_mol, product_m2_mol : array_like, shape (n_bin,)
        Molar napierian absorption coefficients of the initiator and of its photoproduct [m2/mol].
    quantum_yield : float
        Molecules lost per photon absorbed [-].
    radicals_per_molecule : float
        Chain-starting radicals per molecule lost [-].
    needs_amine, amine_half_mol_m3, oxygen_quenching : bool, float, float
        Type II: amine concentration of half effect [mol m-3] and the ratio of the quenching constants of O2 and amine [-].
    """

    key: str = "initiator"
    concentration_mol_m3: ArrayLike
    napierian_m2_mol: ArrayLike
    product_m2_mol: ArrayLike = 0.0
    quantum_yield: float
    radicals_per_molecule: float
    needs_amine: bool = False
    amine_half_mol_m3: float = 0.0
    oxygen_quenching: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """Light at the film surface at full output, in bins. A film without light has no photons.

    Attributes
    ----------
    photon_irradiance_mol_m2_s, photon_energy_j_mol : array_like, shape (n_bin,)
        Incident photons [mol m-2 s-1] and their energy [J/mol].
    background_1_m, scattering_1_m : array_like, shape (), (n_bin,) or (n_bin, n)
        Napierian absorption of everything but initiators, and reduced scattering coefficient mu_s' [1/m].
    floor_reflectance_fraction : array_like, shape () or (n_bin,)
        Share of light that the floor turns back (optics "two_flux" only).
    surface_reflectance_fraction : float
        Share of diffuse light that the surface turns back into the film (optics "two_flux" only).
    """

    photon_irradiance_mol_m2_s: ArrayLike = (0.0,)
    photon_energy_j_mol: ArrayLike = (3.0e5,)
    background_1_m: ArrayLike = 0.0
    scattering_1_m: ArrayLike = 0.0
    floor_reflectance_fraction: ArrayLike = 0.0
    surface_reflectance_fraction: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layers:
    """Thermal layers from the film downwards; the first cells are the film's own.

    Attributes
    ----------
    width_m, conductivity_w_m_k, capacity_j_m3_k : array_like, shape (m,)
        Cells: width [m], conductivity [W m-1 K-1], volumetric heat capacity [J m-3 K-1].
    cured_capacity_j_m3_k : array_like, shape (m,), optional
        Heat capacity at full conversion; default the same.
    perfusion_w_m3_k, source_w_m3, initial_k : array_like, shape (m,) or ()
        Exchange with blood [W m-3 K-1], prescribed heat [W m-3], start temperature [K].
    bed_index : int
        First cell of the tissue; its upper face is the nail bed. 0 = there is none.
    floor_share : array_like, shape (n_bin, m - n), optional
        Share of the light leaving the film that each lower cell turns to heat; default none.
    top_transfer_w_m2_k, top_fixed_k, top_flux_w_m2 : float
        Upper face: transfer to the air, or a fixed temperature, or a flux into the film (0 and None = insulated).
    bottom_fixed_k : float or None
        Lower face; None = insulated.
    blood_k : float
        Temperature of arriving blood [K].
    source_decay_s : float
        Time constant with which the prescribed heat dies away [s]; 0 = constant.
    """

    width_m: ArrayLike
    conductivity_w_m_k: ArrayLike
    capacity_j_m3_k: ArrayLike
    cured_capacity_j_m3_k: ArrayLike | None = None
    perfusion_w_m3_k: ArrayLike = 0.0
    source_w_m3: ArrayLike = 0.0
    initial_k: ArrayLike = 298.15
    bed_index: int = 0
    floor_share: ArrayLike | None = None
    top_transfer_w_m2_k: float = 0.0
    top_fixed_k: float | None = None
    top_flux_w_m2: float = 0.0
    bottom_fixed_k: float | None = None
    blood_k: float = 310.15
    source_decay_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUp:
    """Output after switch-on: (1 + overshoot exp(-t/time)) x norm."""

    overshoot_fraction: float = 0.0
    time_constant_s: float = 1.0
    norm_ratio: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilmModel:
    """One film, everything it is made of and everything around it, at the start of a run.

    Attributes
    ----------
    width_m : array_like, shape (n,)
        Cell widths from the air side down [m].
    acrylate_mol_m3, methacrylate_mol_m3 : array_like, shape (n,) or ()
        C=C before any cure [mol m-3].
    kinetics, oxygen, light, layers, absorbers, amine_mol_m3, warm_up
        See the classes of this module. Without `layers` the film is isothermal at `temperature_k`.
        `kinetics` and `oxygen` may be sequences, one per layer; the atmosphere and the surface are those of the first.
    layer_of_cell : array_like, shape (n,) or ()
        Layer number of each cell, from 0.
    optics : str
        "beer_lambert" = one straight pass; "two_flux" = scattering, reflecting floor (see `optics`).
    fixed_initiation_mol_m3_s : array_like, shape (n,) or ()
        Prescribed radical formation at full lamp output, beside what light makes [mol m-3 s-1].
    initial_radical_mol_m3, stabiliser_mol_m3 : array_like, shape (n,) or ()
        Radicals and stabiliser at the start [mol m-3].
    initial_conversion_fraction : array_like, shape (n,) or ()
        Conversion of both kinds of C=C at the start [-]; conversions of a result are counted from no cure at all.
    isothermal : bool
        Freeze all temperatures.
    """

    width_m: ArrayLike
    acrylate_mol_m3: ArrayLike = 0.0
    methacrylate_mol_m3: ArrayLike = 0.0
    kinetics: Kinetics | Sequence[Kinetics]
    oxygen: Oxygen | Sequence[Oxygen] = field(default_factory=lambda: Oxygen(atmosphere="nitrogen"))
    layer_of_cell: ArrayLike = 0
    optics: Literal["beer_lambert", "two_flux"] = "beer_lambert"
    light: Light = field(default_factory=Light)
    layers: Layers | None = None
    absorbers: tuple[Absorber, ...] = ()
    amine_mol_m3: ArrayLike = 0.0
    warm_up: WarmUp = field(default_factory=WarmUp)
    fixed_initiation_mol_m3_s: ArrayLike = 0.0
    initial_radical_mol_m3: ArrayLike = 0.0
    stabiliser_mol_m3: ArrayLike = 0.0
    initial_conversion_fraction: ArrayLike = 0.0
    temperature_k: float = 298.15
    isothermal: bool = False
