"""Packing a `film.FilmModel` into the arrays of the compiled core."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError
from . import layout as at
from .core_arrays import FilmArrays, State
from .film import DiBenedetto, FilmModel, Kinetics, LinearVitrification, Oxygen

Array = NDArray[np.float64]


def _row(value: ArrayLike, count: int, what: str) -> Array:
    array = np.asarray(value, dtype=np.float64)
    if array.shape not in ((), (count,)):
        raise InputError(f"film: {what} has shape {array.shape}; it must be one number or {count} numbers.")
    if not np.all(np.isfinite(array)):
        raise InputError(f"film: {what} holds a value that is not a finite number.")
    return np.array(np.broadcast_to(array, (count,)))


def _layers_of(model: FilmModel, count: int) -> tuple[list[Kinetics], list[Oxygen], NDArray[np.intp]]:
    """Kinetics and oxygen of each layer, and the layer of each cell."""
    kinetics = [model.kinetics] if isinstance(model.kinetics, Kinetics) else list(model.kinetics)
    oxygen = [model.oxygen] * len(kinetics) if isinstance(model.oxygen, Oxygen) else list(model.oxygen)
    layer = np.array(np.broadcast_to(np.asarray(model.layer_of_cell, dtype=np.intp), (count,)))
    if len(oxygen) != len(kinetics) or layer.min() < 0 or layer.max() >= len(kinetics):
        raise InputError(
            f"film: layers {layer.min()} to {layer.max()} are named, with {len(kinetics)} kinetics and {len(oxygen)} oxygen "
            "entries; give one of each per layer."
        )
    return kinetics, oxygen, layer


def _cell_table(model: FilmModel, count: int) -> Array:
    kinetics, oxygen, layer = _layers_of(model, count)
    rows = np.array([_layer_row(*pair) for pair in zip(kinetics, oxygen, strict=True)])
    table = np.array(rows[layer])
    table[:, at.FIXED_INITIATION] = _row(model.fixed_initiation_mol_m3_s, count, "fixed initiation")
    return table


def _layer_row(kinetics: Kinetics, oxygen: Oxygen) -> Array:
    row = np.zeros(at.N_CELL_ROWS)
    row[at.KP_ACRYLATE], row[at.EP_ACRYLATE] = (
        kinetics.acrylate_propagation_m3_mol_s,
        kinetics.acrylate_energy_j_mol,
    )
    row[at.KP_METHACRYLATE] = kinetics.methacrylate_propagation_m3_mol_s
    row[at.EP_METHACRYLATE] = kinetics.methacrylate_energy_j_mol
    row[at.R_ACRYLATE], row[at.R_METHACRYLATE] = (
        kinetics.acrylate_reactivity_ratio,
        kinetics.methacrylate_reactivity_ratio,
    )
    row[at.KT], row[at.ET] = kinetics.termination_m3_mol_s, kinetics.termination_energy_j_mol
    row[at.KT_DECAY], row[at.REACTION_DIFFUSION] = (
        kinetics.termination_decay,
        kinetics.reaction_diffusion_m3_mol,
    )
    row[at.T_REF], row[at.SIGMOID_WIDTH] = kinetics.reference_k, kinetics.sigmoid_width_fraction
    glass = kinetics.vitrification
    if isinstance(glass, DiBenedetto):
        row[at.VITRIFICATION_MODE] = 1.0
        row[at.TG_MONOMER], row[at.TG_POLYMER] = glass.tg_monomer_k, glass.tg_polymer_k
        row[at.DIBENEDETTO], row[at.TG_HALF_WIDTH] = glass.lambda_ratio, glass.half_width_k
    elif isinstance(glass, LinearVitrification):
        row[at.VITRIFICATION_MODE], row[at.X_REF], row[at.X_SLOPE] = (
            2.0,
            glass.conversion_fraction,
            glass.slope_1_k,
        )
    row[at.HEAT_ACRYLATE], row[at.HEAT_METHACRYLATE] = (
        kinetics.acrylate_heat_j_mol,
        kinetics.methacrylate_heat_j_mol,
    )
    row[at.O2_DIFFUSIVITY], row[at.O2_DECAY] = oxygen.diffusivity_m2_s, oxygen.diffusivity_decay
    row[at.O2_RATE], row[at.O2_RADICALS] = oxygen.rate_m3_mol_s, oxygen.radicals_per_oxygen
    row[at.RADICAL_LOSS] = kinetics.radical_loss_1_s
    row[at.STABILISER_RATE] = kinetics.stabiliser_rate_m3_mol_s
    row[at.STABILISER_RADICALS] = kinetics.radicals_per_stabiliser
    return row


def _thermal(model: FilmModel, width: Array, bins: int) -> tuple[Array, Array, Array, bool]:
    """Thermal table, start temperatures, floor shares, and whether temperature is frozen."""
    count = width.size
    layers = model.layers
    if layers is None:
        table = np.zeros((at.N_THERMAL_ROWS, count))
        table[at.T_WIDTH], table[at.T_CONDUCTIVITY] = width, 0.2
        table[at.T_CAPACITY_0] = table[at.T_CAPACITY_1] = 2.0e6
        return table, np.full(count, float(model.temperature_k)), np.zeros((bins, 0)), True
    widths = np.asarray(layers.width_m, dtype=np.float64)
    size = widths.size
    if size < count or not np.allclose(widths[:count], width):
        raise InputError(
            "film: the first thermal cells must be the film's own cells, from the air side down."
        )
    table = np.zeros((at.N_THERMAL_ROWS, size))
    table[at.T_WIDTH] = widths
    table[at.T_CONDUCTIVITY] = _row(layers.conductivity_w_m_k, size, "conductivity")
    table[at.T_CAPACITY_0] = _row(layers.capacity_j_m3_k, size, "heat capacity")
    cured = layers.capacity_j_m3_k if layers.cured_capacity_j_m3_k is None else layers.cured_capacity_j_m3_k
    table[at.T_CAPACITY_1] = _row(cured, size, "cured heat capacity")
    table[at.T_PERFUSION] = _row(layers.perfusion_w_m3_k, size, "perfusion")
    table[at.T_SOURCE] = _row(layers.source_w_m3, size, "heat source")
    floor = np.zeros((bins, size - count))
    if layers.floor_share is not None:
        floor = np.array(np.asarray(layers.floor_share, dtype=np.float64).reshape(bins, size - count))
    return table, _row(layers.initial_k, size, "start temperature"), floor, model.isothermal


def first_oxygen(model: FilmModel) -> Oxygen:
    """Oxygen of the layer that faces the air."""
    return model.oxygen if isinstance(model.oxygen, Oxygen) else model.oxygen[0]


def _boundary(model: FilmModel, frozen: bool) -> Array:
    boundary = np.zeros(at.N_BOUNDARY)
    layers = model.layers
    if layers is not None:
        boundary[at.TOP_TRANSFER], boundary[at.TOP_FLUX] = layers.top_transfer_w_m2_k, layers.top_flux_w_m2
        boundary[at.TOP_FIXED] = float(layers.top_fixed_k is not None)
        boundary[at.TOP_TEMPERATURE] = layers.top_fixed_k or 0.0
        boundary[at.BOTTOM_FIXED] = float(layers.bottom_fixed_k is not None)
        boundary[at.BOTTOM_TEMPERATURE] = layers.bottom_fixed_k or 0.0
        boundary[at.BLOOD_TEMPERATURE], boundary[at.SOURCE_DECAY] = layers.blood_k, layers.source_decay_s
        boundary[at.BED_INDEX] = layers.bed_index
    oxygen = first_oxygen(model)
    boundary[at.OXYGEN_MODE] = {"nitrogen": 0.0, "closed": 1.0, "air": 2.0}[oxygen.atmosphere]
    boundary[at.O2_SURFACE] = oxygen.surface_mol_m3
    if model.optics not in ("beer_lambert", "two_flux"):
        raise InputError(f"film: optics is '{model.optics}'; it must be beer_lambert or two_flux.")
    boundary[at.TWO_FLUX] = float(model.optics == "two_flux")
    boundary[at.SURFACE_REFLECTANCE] = model.light.surface_reflectance_fraction
    boundary[at.ISOTHERMAL] = float(frozen)
    boundary[at.WARM_UP] = model.warm_up.overshoot_fraction
    boundary[at.WARM_UP_TIME], boundary[at.WARM_UP_NORM] = (
        model.warm_up.time_constant_s,
        model.warm_up.norm_ratio,
    )
    return boundary


def _bin_table(value: ArrayLike, bins: int, count: int) -> Array:
    """A coefficient per bin and cell from one number, one per bin, or the full table."""
    array = np.asarray(value, dtype=np.float64)
    if array.ndim == 1:
        array = array[:, None]
    return np.array(np.broadcast_to(array, (bins, count)))


def pack(model: FilmModel) -> tuple[FilmArrays, State]:
    """Arrays of a film for the compiled core, and its state at the start."""
    width = np.array(model.width_m, dtype=np.float64)
    if width.ndim != 1 or width.size == 0 or not np.all(width > 0.0):
        raise InputError("film: cell widths must be one row of numbers above 0.")
    count, kinds = width.size, len(model.absorbers)
    photons = np.array(np.atleast_1d(np.asarray(model.light.photon_irradiance_mol_m2_s, dtype=np.float64)))
    bins = photons.size
    energy = (
        _row(model.light.photon_energy_j_mol, bins, "photon energy")
        if bins > 1
        else np.array(np.atleast_1d(np.asarray(model.light.photon_energy_j_mol, dtype=np.float64)))
    )
    species, concentration = np.zeros((kinds, at.N_SPECIES_ROWS)), np.zeros((kinds, count))
    napierian, product = np.zeros((kinds, bins)), np.zeros((kinds, bins))
    for kind, absorber in enumerate(model.absorbers):
        species[kind] = (
            absorber.quantum_yield,
            absorber.radicals_per_molecule,
            float(absorber.needs_amine),
            absorber.amine_half_mol_m3,
            absorber.oxygen_quenching,
        )
        concentration[kind] = _row(absorber.concentration_mol_m3, count, f"concentration of {absorber.key}")
        napierian[kind] = _row(absorber.napierian_m2_mol, bins, f"absorption of {absorber.key}")
        product[kind] = _row(absorber.product_m2_mol, bins, f"product absorption of {absorber.key}")
    thermal, start_k, floor, frozen = _thermal(model, width, bins)
    bonds = np.array(
        [
            _row(model.acrylate_mol_m3, count, "acrylate"),
            _row(model.methacrylate_mol_m3, count, "methacrylate"),
        ]
    )
    left = 1.0 - _row(model.initial_conversion_fraction, count, "conversion at the start")
    if left.min() < 0.0 or left.max() > 1.0:
        raise InputError("film: the conversion at the start must lie between 0 and 1.")
    oxygen = 0.0 if first_oxygen(model).atmosphere == "nitrogen" else first_oxygen(model).initial_mol_m3
    film = FilmArrays(
        width=width,
        cell=_cell_table(model, count),
        initial=bonds.copy(),
        start_concentration=concentration.copy(),
        species=species,
        napierian=napierian,
        product=product,
        background=_bin_table(model.light.background_1_m, bins, count),
        scattering=_bin_table(model.light.scattering_1_m, bins, count),
        floor_reflectance=_row(model.light.floor_reflectance_fraction, bins, "floor reflectance"),
        photons=photons,
        energy=energy,
        floor=floor,
        thermal=thermal,
        boundary=_boundary(model, frozen),
    )
    state = State(
        concentration, _row(model.amine_mol_m3, count, "amine"), bonds * left,
        _row(model.initial_radical_mol_m3, count, "radicals"), np.full(count, oxygen), start_k,
        _row(model.stabiliser_mol_m3, count, "stabiliser"),
    )  # fmt: skip
    return film, state
