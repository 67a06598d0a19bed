"""Parts of a film, each chosen by name: what the gel and the hand bring along, or a frozen or prescribed stand-in.

An outside check asks for one thing at a time: a fixed rate of initiation, a film that no longer reacts, heat put in by hand,
a face held at a temperature. `with_part` swaps one part of any `film.FilmModel`, also of one assembled from a gel
(`cure.film_model`), and the film then runs through the same solver as every cure. The choices of a part exclude each other;
nothing is chosen by which numbers happen to be there. studies/replaceable_parts shows one example of each.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError, unknown_name
from .film import DiBenedetto, FilmModel, Kinetics, Layers, LinearVitrification, Oxygen

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """A layer of one material under or in place of the hand.

    Attributes
    ----------
    thickness_m : float
        Thickness [m].
    conductivity_w_m_k, capacity_j_m3_k : float
        Thermal conductivity [W m-1 K-1] and volumetric heat capacity [J m-3 K-1].
    cells : int
        Cells it is divided into.
    source_w_m3, perfusion_w_m3_k : float
        Prescribed heat [W m-3] and exchange with blood [W m-3 K-1].
    initial_k : float
        Start temperature [K].
    """

    thickness_m: float
    conductivity_w_m_k: float
    capacity_j_m3_k: float
    cells: int = 10
    source_w_m3: float = 0.0
    perfusion_w_m3_k: float = 0.0
    initial_k: float = 298.15


def layers_of(film_width_m: ArrayLike, film: Slab, below: Sequence[Slab] = ()) -> Layers:
    """Thermal layers from slabs, insulated on both faces.

    Parameters
    ----------
    film_width_m : array_like, shape (n,)
        Cells of the film [m]; of `film` only the properties count.
    film : Slab
        Thermal properties of the film.
    below : sequence of Slab
        What lies under it, from the film downwards; the nail bed is read at the upper face of the last.
    """
    width = np.asarray(film_width_m, dtype=np.float64)
    parts = [(film, width), *((slab, np.full(slab.cells, slab.thickness_m / slab.cells)) for slab in below)]

    def each(name: str) -> Array:
        return np.concatenate([np.full(cells.size, getattr(slab, name)) for slab, cells in parts])

    return Layers(
        width_m=np.concatenate([cells for _, cells in parts]),
        conductivity_w_m_k=each("conductivity_w_m_k"),
        capacity_j_m3_k=each("capacity_j_m3_k"),
        source_w_m3=each("source_w_m3"),
        perfusion_w_m3_k=each("perfusion_w_m3_k"),
        initial_k=each("initial_k"),
        bed_index=sum(cells.size for _, cells in parts[:-1]) if below else 0,
    )


def _each_kinetics(model: FilmModel, **changes: Any) -> FilmModel:
    one = isinstance(model.kinetics, Kinetics)
    entries = [model.kinetics] if isinstance(model.kinetics, Kinetics) else list(model.kinetics)
    changed = [replace(entry, **changes) for entry in entries]
    return replace(model, kinetics=changed[0] if one else changed)


def _needs_layers(model: FilmModel, part: str) -> Layers:
    if model.layers is None:
        raise InputError(
            f"film part '{part}': the film has no thermal layers; choose them first with part 'layers'."
        )
    return model.layers


def _initiation_fixed(model: FilmModel, *, rate_mol_m3_s: ArrayLike) -> FilmModel:
    return replace(model, absorbers=(), fixed_initiation_mol_m3_s=rate_mol_m3_s)


def _initiation_light(model: FilmModel) -> FilmModel:
    return replace(model, fixed_initiation_mol_m3_s=0.0)


def _conversion_fixed(model: FilmModel, *, conversion_fraction: ArrayLike) -> FilmModel:
    frozen = _each_kinetics(model, acrylate_propagation_m3_mol_s=0.0, methacrylate_propagation_m3_mol_s=0.0)
    return replace(frozen, initial_conversion_fraction=conversion_fraction)


def _rates_own(model: FilmModel, *, kinetics: Kinetics | Sequence[Kinetics]) -> FilmModel:
    return replace(model, kinetics=kinetics)


def _glass_none(model: FilmModel) -> FilmModel:
    return _each_kinetics(model, vitrification=None)


def _glass_dibenedetto(model: FilmModel, *, vitrification: DiBenedetto) -> FilmModel:
    return _each_kinetics(model, vitrification=vitrification)


def _glass_linear(model: FilmModel, *, conversion_fraction: float, slope_1_k: float = 0.0) -> FilmModel:
    return _each_kinetics(
        model,
        vitrification=LinearVitrification(conversion_fraction=conversion_fraction, slope_1_k=slope_1_k),
    )


def _oxygen(atmosphere: str) -> Callable[..., FilmModel]:
    def choose(model: FilmModel) -> FilmModel:
        one = isinstance(model.oxygen, Oxygen)
        entries = [model.oxygen] if isinstance(model.oxygen, Oxygen) else list(model.oxygen)
        changed = [replace(entry, atmosphere=atmosphere) for entry in entries]  # type: ignore[arg-type]
        return replace(model, oxygen=changed[0] if one else changed)

    return choose


def _heat_prescribed(model: FilmModel, *, source_w_m3: ArrayLike, decay_s: float = 0.0) -> FilmModel:
    layers = replace(_needs_layers(model, "heat"), source_w_m3=source_w_m3, source_decay_s=decay_s)
    cold = _each_kinetics(model, acrylate_heat_j_mol=0.0, methacrylate_heat_j_mol=0.0)
    dark = np.zeros_like(np.asarray(model.light.photon_energy_j_mol, dtype=np.float64))
    return replace(cold, layers=layers, light=replace(model.light, photon_energy_j_mol=dark))


def _isothermal(model: FilmModel, *, temperature_k: float) -> FilmModel:
    layers = None if model.layers is None else replace(model.layers, initial_k=temperature_k)
    return replace(model, layers=layers, temperature_k=temperature_k, isothermal=True)


def _conduction(model: FilmModel) -> FilmModel:
    _needs_layers(model, "temperature")
    return replace(model, isothermal=False)


def _layers_own(model: FilmModel, *, layers: Layers) -> FilmModel:
    return replace(model, layers=layers)


def _top(model: FilmModel, transfer: float, fixed: float | None, flux: float) -> FilmModel:
    layers = replace(
        _needs_layers(model, "top"), top_transfer_w_m2_k=transfer, top_fixed_k=fixed, top_flux_w_m2=flux
    )
    return replace(model, layers=layers)


def _bottom(model: FilmModel, fixed: float | None) -> FilmModel:
    return replace(model, layers=replace(_needs_layers(model, "bottom"), bottom_fixed_k=fixed))


def _optics(name: str) -> Callable[..., FilmModel]:
    def choose(model: FilmModel) -> FilmModel:
        return replace(model, optics=name)  # type: ignore[arg-type]

    return choose


PARTS: Mapping[str, Mapping[str, Callable[..., FilmModel]]] = MappingProxyType(
    {
        "initiation": {"light": _initiation_light, "fixed": _initiation_fixed},
        "conversion": {"fixed": _conversion_fixed},
        "rates": {"own": _rates_own},
        "vitrification": {
            "none": _glass_none,
            "dibenedetto": _glass_dibenedetto,
            "linear": _glass_linear,
        },
        "oxygen": {name: _oxygen(name) for name in ("air", "closed", "nitrogen")},
        "optics": {name: _optics(name) for name in ("beer_lambert", "two_flux")},
        "heat": {"prescribed": _heat_prescribed},
        "temperature": {"conduction": _conduction, "isothermal": _isothermal},
        "layers": {"own": _layers_own},
        "top": {
            "transfer": lambda model, *, transfer_w_m2_k: _top(model, transfer_w_m2_k, None, 0.0),
            "fixed": lambda model, *, temperature_k: _top(model, 0.0, temperature_k, 0.0),
            "flux": lambda model, *, flux_w_m2: _top(model, 0.0, None, flux_w_m2),
            "insulated": lambda model: _top(model, 0.0, None, 0.0),
        },
        "bottom": {
            "fixed": lambda model, *, temperature_k: _bottom(model, temperature_k),
            "insulated": lambda model: _bottom(model, None),
        },
    }
)


def with_part(model: FilmModel, part: str, choice: str, **values: Any) -> FilmModel:
    """The same film with one part chosen anew.

    Parameters
    ----------
    model : FilmModel
        Any film; it is not changed.
    part, choice : str
        A name of `PARTS`, and one of the names under it. A part that was never chosen stays what the gel brought along.
    **values
        What the choice needs, by name and with its unit: `rate_mol_m3_s` (initiation fixed), `conversion_fraction`
        (conversion fixed, vitrification linear, there with `slope_1_k`), `kinetics` (rates own), `vitrification`
        (vitrification dibenedetto), `source_w_m3` and `decay_s` (heat prescribed), `temperature_k` (temperature isothermal,
        top and bottom fixed), `layers` (layers own), `transfer_w_m2_k`, `flux_w_m2` (top).

    Raises
    ------
    UnknownNameError
        If part or choice is not known.
    InputError
        If a value is missing or too many, or a thermal part is chosen for a film without layers.

    Notes
    -----
    Fixed conversion stops propagation and starts at the conversion given, so that light, oxygen, radicals and heat go on in
    a film that does not change. Prescribed heat takes the place of reaction heat and of the light's.

    Examples
    --------
    >>> film = FilmModel(width_m=[1e-5], kinetics=Kinetics(termination_m3_mol_s=1.0))
    >>> with_part(film, "initiation", "fixed", rate_mol_m3_s=0.1).fixed_initiation_mol_m3_s
    0.1
    """
    if part not in PARTS:
        raise unknown_name("film part", part, PARTS)
    if choice not in PARTS[part]:
        raise unknown_name(f"choice for film part '{part}'", choice, PARTS[part])
    try:
        return PARTS[part][choice](model, **values)
    except TypeError as error:
        raise InputError(f"film part '{part}', choice '{choice}': {str(error).split('() ')[-1]}.") from error
