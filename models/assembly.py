"""Assemble films from recipes: one coat or several on a nail, in the terms of the solver.

A single coat is a stack of one, so that every coat is put together by the same lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.course import OutputCourse
from ..lamp_library.spectrum import Spectrum
from ..lamp_library.units import napierian_from_decadic
from .film import Absorber, FilmModel, Kinetics, Layers, Light, Oxygen, WarmUp
from .formulation import (
    ResinBase,
    amine_records,
    concentration_mol_m3,
    gel_density_kg_m3,
    gel_initiator,
    gel_resin,
    stabiliser_blend,
)
from .fresnel import diffuse_reflectance_inside
from .gel import Gel
from .grid import nail_cells, tissue_cells
from .heat import Hand
from .optics import LightBins, floor_heat_share, light_bins, lit_part
from .pigment_light import NAIL_REFLECTANCE_FRACTION, pigment_cells, pigment_rows, pigmented
from .rate_parameters import efficiency_name
from .sensitisers import pairs_in
from .solver import SolverSettings
from .substances import Amine, Photoinitiator

Array = NDArray[np.float64]
InitiatorId = tuple[str, str, Gel | None]
BLOOD_CAPACITY_J_M3_K = 1060.0 * 3770.0  # blood density and heat capacity, from memory of burn-model sets


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoatCells:
    """A coat as it lies on the nail.

    Attributes
    ----------
    gel : Gel
        What it is made of.
    width_m : ndarray, shape (n,)
        Its cells from the air side down [m].
    """

    gel: Gel
    width_m: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StackLight:
    """A lamp's light in bins that suit every absorber of every coat.

    Attributes
    ----------
    initiators, amines : tuple of Photoinitiator, tuple of Amine
        Absorbers in the order of the solver's species: initiators, then amines that absorb.
    initiator_ids : tuple of (str, str, Gel or None)
        Key and file of measured absorption ("" = the table's) of each initiator, and the gel where it hands energy from one
        initiator to another or has a calibrated efficiency: two coats may name different files, and energy stays within a coat.
    bins : LightBins
        Light and absorption, species in the same order, then two rows for each pigmented gel (see `pigment_light`).
    pigmented : tuple of Gel
        Gels with pigments; their coats scatter.
    """

    initiators: tuple[Photoinitiator, ...]
    amines: tuple[Amine, ...]
    initiator_ids: tuple[InitiatorId, ...]
    bins: LightBins
    pigmented: tuple[Gel, ...] = ()


def hands_energy(gel: Gel) -> bool:
    """Whether energy passed from one initiator to another is counted in a gel."""
    return any(pair.efficiency_fraction > 0.0 for pair in pairs_in(gel))


def initiator_id(gel: Gel, key: str) -> InitiatorId:
    """What tells an initiator of one gel from that of another (see `StackLight`)."""
    calibrated = gel.calibration is not None and efficiency_name(key) in gel.calibration.parameters
    return key, gel.absorption_files.get(key, ""), gel if calibrated or hands_energy(gel) else None


def gather_light(gels: Sequence[Gel], spectrum: Spectrum, count: int) -> StackLight:
    """Gather a lamp's spectrum into bins over all absorbers of the gels.

    Parameters
    ----------
    gels : sequence of Gel
        Every gel that will lie under the lamp together.
    spectrum : Spectrum
        Light at the film.
    count : int
        Number of bins.
    """
    spectrum = lit_part(spectrum.light())
    nm = spectrum.wavelength_nm
    initiators = {
        initiator_id(gel, key): gel_initiator(gel, key) for gel in gels for key in gel.initiators_wt_pct
    }
    amines = {record.key: record for gel in gels for record in amine_records(gel)}
    absorbing = {key: record for key, record in amines.items() if record.absorption is not None}
    tables = [napierian_from_decadic(record.absorption.at(nm)) for record in initiators.values()]
    tables += [
        napierian_from_decadic(record.absorption.at(nm))
        for record in absorbing.values()
        if record.absorption is not None
    ]
    scattering = pigmented(gels)
    tables += pigment_rows(scattering, nm)
    ratios = [record.product_absorption_ratio for record in initiators.values()] + [1.0] * len(absorbing)
    ratios += [0.0] * (2 * len(scattering))
    return StackLight(
        initiators=tuple(initiators.values()),
        amines=tuple(absorbing.values()),
        initiator_ids=tuple(initiators),
        bins=light_bins(spectrum, tables, ratios, count),
        pigmented=scattering,
    )


def _by_cell(coats: Sequence[CoatCells], values: Sequence[float]) -> Array:
    """One value per cell from one value per coat."""
    return np.repeat(np.asarray(values, dtype=np.float64), [coat.width_m.size for coat in coats])


def nail_layers(
    coats: Sequence[CoatCells],
    resins: Sequence[ResinBase],
    hand: Hand,
    settings: SolverSettings,
    wavelength_nm: Array,
) -> Layers:
    """Coats on nail plate on tissue, with the lamp's light heating what the coats let through."""
    width = np.concatenate([coat.width_m for coat in coats])
    nail = nail_cells(hand.nail_thickness_m, settings.nail_cells)
    tissue = tissue_cells(
        hand.tissue_depth_m, settings.tissue_cells, 1.5 * hand.nail_thickness_m / settings.nail_cells
    )
    counts = (nail.size, tissue.size)
    below_capacity = np.repeat(
        [
            hand.nail_density_kg_m3 * hand.nail_heat_capacity_j_kg_k,
            hand.tissue_density_kg_m3 * hand.tissue_heat_capacity_j_kg_k,
        ],
        counts,
    )
    conductivity = [
        _by_cell(coats, [resin.conductivity_w_m_k for resin in resins]),
        np.repeat([hand.nail_conductivity_w_m_k, hand.tissue_conductivity_w_m_k], counts),
    ]
    liquid = _by_cell(coats, [resin.capacity_j_m3_k for resin in resins])
    cured = _by_cell(coats, [resin.cured_capacity_j_m3_k for resin in resins])
    perfusion = [0.0, 0.0, hand.perfusion_1_s * BLOOD_CAPACITY_J_M3_K]
    return Layers(
        width_m=np.concatenate([width, nail, tissue]),
        conductivity_w_m_k=np.concatenate(conductivity),
        capacity_j_m3_k=np.concatenate([liquid, below_capacity]),
        cured_capacity_j_m3_k=np.concatenate([cured, below_capacity]),
        perfusion_w_m3_k=np.repeat(perfusion, (width.size, *counts)),
        initial_k=hand.start_k,
        bed_index=width.size + nail.size,
        floor_share=floor_heat_share(wavelength_nm, np.concatenate([nail, tissue]), nail.size),
        top_transfer_w_m2_k=hand.surface_loss_w_m2_k,
        bottom_fixed_k=hand.start_k,
        blood_k=hand.start_k if hand.blood_k is None else hand.blood_k,
    )


def _density(coat: CoatCells, resin: ResinBase) -> float:
    return gel_density_kg_m3(coat.gel, resin.density_kg_m3)


def _light(coats: Sequence[CoatCells], resins: Sequence[ResinBase], light: StackLight) -> Light:
    """Light of the lamp, with the pigments of the coats where there are any."""
    plain = Light(
        photon_irradiance_mol_m2_s=light.bins.photon_irradiance_mol_m2_s,
        photon_energy_j_mol=light.bins.photon_energy_j_mol,
    )
    if not _scatters(coats):
        return plain
    absorption, scattering = pigment_cells(
        [(coat.gel, coat.width_m.size) for coat in coats],
        light.pigmented,
        light.bins,
        len(light.initiators) + len(light.amines),
    )
    return replace(
        plain,
        background_1_m=absorption,
        scattering_1_m=scattering,
        floor_reflectance_fraction=NAIL_REFLECTANCE_FRACTION,
        surface_reflectance_fraction=diffuse_reflectance_inside(resins[0].refractive_index),
    )


def _scatters(coats: Sequence[CoatCells]) -> bool:
    return bool(pigmented([coat.gel for coat in coats]))


def _absorbers(
    coats: Sequence[CoatCells], resins: Sequence[ResinBase], light: StackLight
) -> tuple[Absorber, ...]:
    """Absorbers with their concentration in every cell, zero in coats that do not hold them."""
    pairs = list(zip(coats, resins, strict=True))
    found = []
    for row, (record, name) in enumerate(zip(light.initiators, light.initiator_ids, strict=True)):
        held = [
            coat.gel.initiators_wt_pct.get(name[0], 0.0) if initiator_id(coat.gel, name[0]) == name else 0.0
            for coat in coats
        ]
        amounts = [
            concentration_mol_m3(wt_pct, _density(coat, resin), record.molar_mass_kg_mol)
            for wt_pct, (coat, resin) in zip(held, pairs, strict=True)
        ]
        found.append(
            Absorber(
                key=record.key,
                concentration_mol_m3=_by_cell(coats, amounts),
                napierian_m2_mol=light.bins.napierian_m2_mol[row],
                product_m2_mol=light.bins.product_m2_mol[row],
                quantum_yield=record.quantum_yield,
                radicals_per_molecule=(2.0 if record.mechanism == "type_I" else 1.0)
                * record.initiation_efficiency,
                needs_amine=record.mechanism == "type_II",
                amine_half_mol_m3=record.amine_half_saturation_mol_m3,
                oxygen_quenching=record.oxygen_quenching_ratio,
            )
        )
    # An amine shades the initiators but is not used up by its own light: an absorber of quantum yield zero.
    for row, amine in enumerate(light.amines, start=len(light.initiators)):
        amounts = [
            concentration_mol_m3(
                coat.gel.amines_wt_pct.get(amine.key, 0.0), _density(coat, resin), amine.molar_mass_kg_mol
            )
            for coat, resin in pairs
        ]
        found.append(
            Absorber(
                key=amine.key,
                concentration_mol_m3=_by_cell(coats, amounts),
                napierian_m2_mol=light.bins.napierian_m2_mol[row],
                quantum_yield=0.0,
                radicals_per_molecule=0.0,
            )
        )
    return tuple(found)


def _warm_up(course: OutputCourse) -> WarmUp:
    return WarmUp(
        overshoot_fraction=course.overshoot_fraction,
        time_constant_s=course.time_constant_s,
        norm_ratio=float(course.factor(0.0)) / (1.0 + course.overshoot_fraction),
    )


def amine_mol_m3(coat: CoatCells, resin: ResinBase) -> float:
    """Amine of a fresh coat [mol/m3]."""
    density = _density(coat, resin)
    return sum(
        concentration_mol_m3(coat.gel.amines_wt_pct[record.key], density, record.molar_mass_kg_mol)
        for record in amine_records(coat.gel)
    )


def stack_model(
    coats: Sequence[CoatCells], light: StackLight, course: OutputCourse, hand: Hand, settings: SolverSettings
) -> FilmModel:
    """Fresh coats on a nail in the solver's terms.

    Parameters
    ----------
    coats : sequence of CoatCells
        From the air side down: the newest first.
    light : StackLight
        Light of the lamp position, gathered over all gels that will ever lie in this stack.
    course : OutputCourse
        The lamp's output after switch-on.
    hand : Hand
        Nail, tissue, start temperature.
    settings : SolverSettings
        Cells below the film.

    Notes
    -----
    Oxygen is taken to pass from coat to coat without a jump at the face: resins dissolve nearly the same amount.
    """
    resins = [gel_resin(coat.gel) for coat in coats]
    # share of the gel's volume that the resin base takes
    shares = [
        coat.gel.resin_base_wt_pct / 100.0 * (_density(coat, resin) / resin.density_kg_m3)
        for coat, resin in zip(coats, resins, strict=True)
    ]
    stabilisers = [
        stabiliser_blend(coat.gel, _density(coat, resin)) for coat, resin in zip(coats, resins, strict=True)
    ]
    kinetics: list[Kinetics] = [
        replace(
            resin.kinetics,
            stabiliser_rate_m3_mol_s=each.rate_m3_mol_s,
            radicals_per_stabiliser=each.radicals_per_molecule,
        )
        for each, resin in zip(stabilisers, resins, strict=True)
    ]
    oxygen: list[Oxygen] = [resin.oxygen for resin in resins]
    one = len(coats) == 1
    bonds = [
        (resin.acrylate_mol_m3 * share, resin.methacrylate_mol_m3 * share)
        for resin, share in zip(resins, shares, strict=True)
    ]
    amines = [amine_mol_m3(coat, resin) for coat, resin in zip(coats, resins, strict=True)]
    return FilmModel(
        width_m=np.concatenate([coat.width_m for coat in coats]),
        acrylate_mol_m3=_by_cell(coats, [pair[0] for pair in bonds]),
        methacrylate_mol_m3=_by_cell(coats, [pair[1] for pair in bonds]),
        kinetics=kinetics[0] if one else kinetics,
        oxygen=oxygen[0] if one else oxygen,
        layer_of_cell=np.repeat(np.arange(len(coats)), [coat.width_m.size for coat in coats]),
        light=_light(coats, resins, light),
        optics="two_flux" if _scatters(coats) else "beer_lambert",
        layers=nail_layers(coats, resins, hand, settings, light.bins.wavelength_nm),
        absorbers=_absorbers(coats, resins, light),
        amine_mol_m3=_by_cell(coats, amines),
        stabiliser_mol_m3=_by_cell(coats, [each.content_mol_m3 for each in stabilisers]),
        warm_up=_warm_up(course),
    )
