"""From a recipe in wt% to concentrations and rate parameters: how the substances of a gel are mixed.

Mixing rules (no resin blend of the trade has measured rate parameters; these rules are assumed unless a source is named):

- density: volumes add, those of pigments included. Concentrations follow from wt% and that density; initiators, amines
  and stabilisers are counted as if as dense as the resin.
- k_p of the acrylates, and of the methacrylates: geometric mean weighted by C=C; E_p and heat: arithmetic, by C=C.
- acrylate with methacrylate: terminal model of copolymerisation (Mayo & Lewis 1944), never an average of the two k_p.
- k_t: geometric mean by C=C; b, C_RD, E_t and the sigmoid width: arithmetic, by C=C.
- glass transition of monomer and of polymer: Fox equation by weight (Fox, Bull. Am. Phys. Soc. 1956, 1, 123, from memory).
- DiBenedetto ratio, half width, heat capacity, conductivity, oxygen solubility and decay: arithmetic by weight; oxygen
  diffusivity: geometric by weight.
- pigments: absorption and scattering add up in proportion to their mass per volume; all scattering is crowded by all particles together.
  Their heat capacity, conduction and effect on oxygen are left out (8 wt% titanium dioxide is 2 % of the volume).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError
from .absorption import read_absorption
from .film import DiBenedetto, Kinetics, Oxygen
from .gel import Gel
from .materials import amine, photoinitiator, pigment, resin, stabiliser, with_absorption, with_optics
from .pigments import crowding_ratio, read_pigment_optics
from .plain import vitrification_conversion
from .rate_parameters import PARAMETERS, Rates, efficiency_name, with_log_values
from .substances import Amine, Photoinitiator, Pigment, Resin

# Reactivity ratios of a methacrylate/acrylate pair (methyl methacrylate with methyl acrylate about 2.1 and 0.4): from memory.
METHACRYLATE_REACTIVITY_RATIO = 2.0
ACRYLATE_REACTIVITY_RATIO = 0.4
REFERENCE_K = 298.15
# Film temperature at which "possible" is read: the usual hand (33 C, from memory, as `heat.Hand`). One for all hands and lamps,
# so that a cold hand is not asked for less. A film that gets hotter may pass it.
CEILING_REFERENCE_K = 306.15
MOBILITY_AT_CEILING = 1.0e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinBase:
    """A mixed resin base, free of initiators.

    Attributes
    ----------
    density_kg_m3 : float
        Density [kg/m3].
    acrylate_mol_m3, methacrylate_mol_m3 : float
        C=C of the undiluted resin base [mol/m3].
    kinetics, oxygen : Kinetics, Oxygen
        Rate parameters (without stabiliser) and oxygen properties.
    capacity_j_m3_k, cured_capacity_j_m3_k, conductivity_w_m_k : float
        Volumetric heat capacity of liquid and of fully cured resin [J m-3 K-1]; conductivity [W m-1 K-1].
    refractive_index : float
        Refractive index [-], mean by weight.
    unverified : tuple of str
        "substance: field" of every number that is estimated, assumed or from memory.
    sources : tuple of str
        Source keys.
    """

    density_kg_m3: float
    acrylate_mol_m3: float
    methacrylate_mol_m3: float
    kinetics: Kinetics
    oxygen: Oxygen
    capacity_j_m3_k: float
    cured_capacity_j_m3_k: float
    conductivity_w_m_k: float
    refractive_index: float
    unverified: tuple[str, ...]
    sources: tuple[str, ...]

    def conversion_ceiling_fraction(self, temperature_k: float = CEILING_REFERENCE_K) -> float:
        """Conversion at which propagation has slowed a thousandfold at a temperature, at most 1 [-].

        What is possible in a film of that temperature within minutes: vitrification begins earlier, but radicals trapped in the stiffening
        network carry on until they can hardly add any more.
        """
        glass = self.kinetics.vitrification
        if not isinstance(glass, DiBenedetto):
            return 1.0
        ceiling = vitrification_conversion(
            temperature_k, glass.tg_monomer_k, glass.tg_polymer_k, glass.lambda_ratio, glass.half_width_k
        )
        creep = self.kinetics.sigmoid_width_fraction * math.log(1.0 / MOBILITY_AT_CEILING - 1.0)
        return min(max(ceiling + creep, 0.0), 1.0)


Weights = list[tuple[Resin, float]]


def _mean(weights: Weights, field: Callable[[Resin], float]) -> float:
    total = sum(weight for _, weight in weights)
    return sum(weight * field(part) for part, weight in weights) / total if total > 0.0 else 0.0


def _geometric(weights: Weights, field: Callable[[Resin], float]) -> float:
    total = sum(weight for _, weight in weights)
    return (
        math.exp(sum(weight * math.log(field(part)) for part, weight in weights) / total)
        if total > 0.0
        else 0.0
    )


def _fox(weights: Weights, field: Callable[[Resin], float]) -> float:
    return 1.0 / _mean(weights, lambda part: 1.0 / field(part))


def mix_resins(parts: Mapping[str, float]) -> ResinBase:
    """Mix resins by parts of weight.

    Parameters
    ----------
    parts : mapping of str to float
        Resin key -> parts by weight, any total.

    Raises
    ------
    InputError
        If there is no resin.
    UnknownNameError
        If a resin is not known.

    Notes
    -----
    The rules are stated at the top of this module.
    """
    return _mixed(tuple(parts.items()))


@lru_cache(maxsize=256)
def _mixed(items: tuple[tuple[str, float], ...]) -> ResinBase:
    parts = dict(items)
    total = sum(parts.values())
    if total <= 0.0:
        raise InputError("resin base: no resin at all; give parts by weight above 0.")
    by_weight: Weights = [(resin(key), part / total) for key, part in parts.items() if part > 0.0]
    density = 1.0 / sum(weight / part.density_kg_m3 for part, weight in by_weight)
    bonds: Weights = [
        (part, weight * part.functionality / part.molar_mass_kg_mol) for part, weight in by_weight
    ]
    acrylates = [(part, amount) for part, amount in bonds if part.group == "acrylate"]
    methacrylates = [(part, amount) for part, amount in bonds if part.group == "methacrylate"]
    return ResinBase(
        density_kg_m3=density,
        acrylate_mol_m3=density * sum(amount for _, amount in acrylates),
        methacrylate_mol_m3=density * sum(amount for _, amount in methacrylates),
        kinetics=_mix_kinetics(by_weight, bonds, acrylates, methacrylates),
        oxygen=Oxygen(
            surface_mol_m3=_mean(by_weight, lambda part: part.oxygen_solubility_mol_m3),
            initial_mol_m3=_mean(by_weight, lambda part: part.oxygen_solubility_mol_m3),
            diffusivity_m2_s=_geometric(by_weight, lambda part: part.oxygen_diffusivity_m2_s),
            diffusivity_decay=_mean(by_weight, lambda part: part.oxygen_diffusivity_decay),
        ),
        capacity_j_m3_k=density * _mean(by_weight, lambda part: part.heat_capacity_monomer_j_kg_k),
        cured_capacity_j_m3_k=density * _mean(by_weight, lambda part: part.heat_capacity_polymer_j_kg_k),
        conductivity_w_m_k=_mean(by_weight, lambda part: part.thermal_conductivity_w_m_k),
        refractive_index=_mean(by_weight, lambda part: part.refractive_index),
        unverified=tuple(f"{part.key}: {field}" for part, _ in by_weight for field in part.unverified),
        sources=tuple(dict.fromkeys(key for part, _ in by_weight for key in part.sources)),
    )


def rates_of(resin: ResinBase) -> Rates:
    """What the rate parameters of a resin base act on."""
    return Rates(
        kinetics=resin.kinetics,
        oxygen=resin.oxygen,
        acrylate_mol_m3=resin.acrylate_mol_m3,
        methacrylate_mol_m3=resin.methacrylate_mol_m3,
    )


def gel_resin(gel: Gel) -> ResinBase:
    """The resin base of a gel, with its calibration where it has one."""
    mixed = mix_resins(gel.resin_parts)
    if gel.calibration is None:
        return mixed
    calibration = gel.calibration
    found = with_log_values(
        rates_of(mixed), dict(zip(calibration.parameters, calibration.log_values, strict=True))
    )
    measured = {
        PARAMETERS[name].resin_field
        for name in calibration.parameters
        if name in PARAMETERS and name not in calibration.kept_at_prior
    }
    return replace(
        mixed,
        kinetics=found.kinetics,
        oxygen=found.oxygen,
        unverified=tuple(each for each in mixed.unverified if each.split(": ")[1] not in measured),
    )


def _mix_kinetics(by_weight: Weights, bonds: Weights, acrylates: Weights, methacrylates: Weights) -> Kinetics:
    def propagation(part: Resin) -> float:
        return part.propagation_rate_coefficient_m3_mol_s

    def energy(part: Resin) -> float:
        return part.propagation_activation_energy_j_mol

    def heat(part: Resin) -> float:
        return part.heat_of_polymerisation_j_mol

    return Kinetics(
        acrylate_propagation_m3_mol_s=_geometric(acrylates, propagation),
        acrylate_energy_j_mol=_mean(acrylates, energy),
        methacrylate_propagation_m3_mol_s=_geometric(methacrylates, propagation),
        methacrylate_energy_j_mol=_mean(methacrylates, energy),
        acrylate_reactivity_ratio=ACRYLATE_REACTIVITY_RATIO,
        methacrylate_reactivity_ratio=METHACRYLATE_REACTIVITY_RATIO,
        termination_m3_mol_s=_geometric(bonds, lambda part: part.termination_rate_coefficient_m3_mol_s),
        termination_energy_j_mol=_mean(bonds, lambda part: part.termination_activation_energy_j_mol),
        termination_decay=_mean(bonds, lambda part: part.termination_decay),
        reaction_diffusion_m3_mol=_mean(bonds, lambda part: part.reaction_diffusion_m3_mol),
        reference_k=REFERENCE_K,
        vitrification=DiBenedetto(
            tg_monomer_k=_fox(by_weight, lambda part: part.tg_monomer_k),
            tg_polymer_k=_fox(by_weight, lambda part: part.tg_polymer_k),
            lambda_ratio=_mean(by_weight, lambda part: part.dibenedetto_lambda),
            half_width_k=_mean(by_weight, lambda part: part.tg_half_width_k),
        ),
        sigmoid_width_fraction=_mean(bonds, lambda part: part.vitrification_width),
        acrylate_heat_j_mol=_mean(acrylates, heat),
        methacrylate_heat_j_mol=_mean(methacrylates, heat),
    )


def gel_initiator(gel: Gel, key: str) -> Photoinitiator:
    """An initiator as this gel uses it: with the user's own measured spectrum and calibrated efficiency where it has them."""
    record = photoinitiator(key)
    file = gel.absorption_files.get(key)
    if file is not None:
        record = with_absorption(record, read_absorption(file))
    calibration, name = gel.calibration, efficiency_name(key)
    if calibration is None or name not in calibration.parameters:
        return record
    fitted = math.exp(calibration.log_values[calibration.parameters.index(name)])
    return replace(record, initiation_efficiency=fitted)


def gel_pigment(gel: Gel, key: str) -> Pigment:
    """A pigment as this gel uses it: with the user's own measured K and S where the gel names a file."""
    record = pigment(key)
    file = gel.pigment_files.get(key)
    return record if file is None else with_optics(record, read_pigment_optics(file))


def gel_density_kg_m3(gel: Gel, resin_density_kg_m3: float) -> float:
    """Density of the gel with its pigments [kg/m3]; without pigments that of its resin."""
    if not gel.pigments_wt_pct:
        return resin_density_kg_m3
    solids = sum(gel.pigments_wt_pct.values()) / 100.0
    volume = sum(wt_pct / 100.0 / pigment(key).density_kg_m3 for key, wt_pct in gel.pigments_wt_pct.items())
    return 1.0 / (volume + (1.0 - solids) / resin_density_kg_m3)


def pigment_optics(gel: Gel, wavelength_nm: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What the pigments of a gel do to light, apart from its initiators.

    Parameters
    ----------
    gel : Gel
        The gel.
    wavelength_nm : array_like, shape (n_wavelength,)
        Wavelengths [nm].

    Returns
    -------
    tuple of ndarray, shape (n_wavelength,)
        Napierian absorption coefficient mu_a and reduced scattering coefficient mu_s' [1/m].

    Raises
    ------
    InputError
        If the particles take up 55 % of the volume or more, or a measured file cannot be used.
    """
    nm = np.asarray(wavelength_nm, dtype=np.float64)
    absorption, scattering = np.zeros(nm.shape), np.zeros(nm.shape)
    resin_density = mix_resins(gel.resin_parts).density_kg_m3
    density = gel_density_kg_m3(gel, resin_density)
    records = {key: gel_pigment(gel, key) for key in gel.pigments_wt_pct}
    crowding = crowding_ratio(
        sum(_volume_fraction(density, records[key], wt_pct) for key, wt_pct in gel.pigments_wt_pct.items())
    )
    for key, wt_pct in gel.pigments_wt_pct.items():
        record = records[key]
        mass, change = _against_reference(record, density, crowding, resin_density)
        absorption += wt_pct * mass * record.optics.absorption_at(nm)
        scattering += wt_pct * mass * change * record.optics.scattering_at(nm)
    return absorption, scattering


def _against_reference(
    record: Pigment, density_kg_m3: float, crowding: float, resin_density_kg_m3: float
) -> tuple[float, float]:
    """Mass of pigment per volume and wt%, and its crowding, over those at which its optics hold."""
    measured_at = record.optics.measured_at_wt_pct
    if measured_at is None:
        return 1.0, 1.0
    # Values for particles far apart are those of 1 wt%, without its crowding.
    content = measured_at if measured_at > 0.0 else 1.0
    reference = 1.0 / (0.01 * content / record.density_kg_m3 + (1.0 - 0.01 * content) / resin_density_kg_m3)
    alone = crowding_ratio(_volume_fraction(reference, record, measured_at))
    return density_kg_m3 / reference, crowding / alone


def _volume_fraction(gel_density_kg_m3: float, record: Pigment, wt_pct: float) -> float:
    return wt_pct / 100.0 * gel_density_kg_m3 / record.density_kg_m3


def concentration_mol_m3(wt_pct: float, density_kg_m3: float, molar_mass_kg_mol: float) -> float:
    """Concentration of a substance in the gel [mol/m3].

    Examples
    --------
    >>> round(concentration_mol_m3(1.0, 1100.0, 0.34837), 1)  # 1 wt% TPO: 31.6 mmol/L
    31.6
    """
    return wt_pct / 100.0 * density_kg_m3 / molar_mass_kg_mol


@dataclass(frozen=True, slots=True, kw_only=True)
class StabiliserBlend:
    """All stabilisers of a gel as one: content [mol m-3], rate coefficient [m3 mol-1 s-1] and radicals taken per molecule [-]."""

    content_mol_m3: float
    rate_m3_mol_s: float
    radicals_per_molecule: float


def stabiliser_blend(gel: Gel, density_kg_m3: float) -> StabiliserBlend:
    """The stabilisers of a gel as one substance with mean rate and mean capacity, weighted by amount.

    Notes
    -----
    Exact for one stabiliser. Of two, the slower one lasts longer in truth than the mean does.
    """
    records = [stabiliser(key) for key in gel.stabilisers_wt_pct]
    amounts = [
        concentration_mol_m3(wt_pct, density_kg_m3, record.molar_mass_kg_mol)
        for record, wt_pct in zip(records, gel.stabilisers_wt_pct.values(), strict=True)
    ]
    content = sum(amounts)
    if content <= 0.0:
        return StabiliserBlend(content_mol_m3=0.0, rate_m3_mol_s=0.0, radicals_per_molecule=1.0)
    pairs = list(zip(amounts, records, strict=True))
    return StabiliserBlend(
        content_mol_m3=content,
        rate_m3_mol_s=sum(part * each.radical_rate_coefficient_m3_mol_s for part, each in pairs) / content,
        radicals_per_molecule=sum(part * each.radicals_per_molecule for part, each in pairs) / content,
    )


def amine_records(gel: Gel) -> list[Amine]:
    """Amines of a gel, in its order."""
    return [amine(key) for key in gel.amines_wt_pct]
