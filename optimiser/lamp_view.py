"""What a lamp gives, as figures; `lamp_text` writes them out and `lamp_plot` draws them.

Irradiance is integrated over the readings as measured. Photolysis rates and shares use the light
a model sees (noise and stray-light floor set to zero).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    from ..lamp_library.lamp import Lamp
    from ..lamp_library.spectrum import Peak, Spectrum

UV_A_NM = (315.0, 400.0)
VIOLET_NM = (400.0, 450.0)
# the coat against which initiators are compared; the density is assumed, typical of acrylate gels
COMPARED_LOADING_FRACTION = 0.01
COMPARED_THICKNESS_M = 100e-6
COMPARED_DENSITY_KG_M3 = 1100.0
# a full set on one hand, assumed: five cures of a minute
SESSION_CURES, SESSION_CURE_S = 5, 60.0


class Absorber(Protocol):
    """The part of an absorption spectrum used here; decadic molar absorption coefficient [m2 mol-1]."""

    @property
    def wavelength_nm(self) -> NDArray[np.float64]: ...
    def at(self, wavelength_nm: ArrayLike) -> NDArray[np.float64]: ...


class Initiator(Protocol):
    """The part of a photoinitiator used here."""

    @property
    def key(self) -> str: ...
    @property
    def mechanism(self) -> str: ...
    @property
    def molar_mass_kg_mol(self) -> float: ...
    @property
    def quantum_yield(self) -> float: ...
    @property
    def absorption(self) -> Absorber: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionFigures:
    """Light at one position, or the mean over the positions.

    Irradiances [W m-2] over the whole measured range, 315-400 nm and 400-450 nm; photon
    irradiance [mol m-2 s-1] over the whole range.
    """

    position: str
    irradiance_w_m2: float
    uv_a_irradiance_w_m2: float
    violet_irradiance_w_m2: float
    photon_irradiance_mol_m2_s: float
    peaks: tuple[Peak, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class InitiatorFigures:
    """What one photoinitiator makes of the lamp.

    Parameters
    ----------
    key, mechanism : str
        The initiator, and ``"type_I"`` or ``"type_II"`` (needs an amine).
    photolysis_rate_1_s, weakest_photolysis_rate_1_s : float
        First-order rate constant of its consumption at the lit surface [s-1], under the mean
        spectrum and at the weakest position.
    absorbed_photon_fraction : float
        Share of the mean spectrum's photons that 1 wt% of it absorbs in 100 um [-].
    outside_data_fraction : float
        Share of the mean spectrum's photons below the first wavelength of the absorption data
        [-]; they are left out.
    """

    key: str
    mechanism: str
    photolysis_rate_1_s: float
    weakest_photolysis_rate_1_s: float
    absorbed_photon_fraction: float
    outside_data_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureFigures:
    """Light on unprotected skin and eye at the nail: an estimate at the film (see `models.light_exposure`).

    Irradiances [W m-2] at the worst position (`position` for the weighted one) and highest output; times to the occupational limits
    of 8 hours [s], None when that light is missing; shares of the limits [-] that one hand takes
    up in a session of `session_cures` cures of `session_cure_s` [s]. The group limits are derived.
    """

    position: str
    effective_irradiance_w_m2: float
    uv_a_irradiance_w_m2: float
    erythemal_irradiance_w_m2: float
    effective_limit_j_m2: float
    eye_uv_a_limit_j_m2: float
    effective_limit_time_s: float | None
    eye_limit_time_s: float | None
    session_cures: int
    session_cure_s: float
    session_effective_dose_j_m2: float
    session_uv_a_dose_j_m2: float
    session_effective_limit_fraction: float
    session_sentence: str
    actinic_group_derived: str
    near_uv_group_derived: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LampFigures:
    """Everything `lamp show` tells; SI units as the names say.

    `exposure` is None when the light cannot be weighed, and the notes then say why.
    """

    lamp_id: str
    name: str
    is_demonstration: bool
    measured_from_nm: float
    measured_to_nm: float
    positions: tuple[PositionFigures, ...]
    mean: PositionFigures
    weakest: str
    strongest: str
    uniformity_ratio: float
    electrical_power_w: float | None
    output_at_switch_on_ratio: float
    output_when_warm_ratio: float
    air_start_k: float
    air_rise_k: float
    programmes: tuple[str, ...]
    initiators: tuple[InitiatorFigures, ...]
    exposure: ExposureFigures | None
    notes: tuple[str, ...]
    not_recorded: tuple[str, ...]


def packaged_initiators() -> list[Initiator]:
    """All photoinitiators of the data tables."""
    from ..models.materials import list_photoinitiators, photoinitiator

    return [photoinitiator(key) for key in list_photoinitiators()]


def lamp_figures(lamp: Lamp, initiators: Sequence[Initiator] = ()) -> LampFigures:
    """Compute the figures of a lamp.

    Parameters
    ----------
    lamp : Lamp
        The lamp.
    initiators : sequence of photoinitiators
        Which to rate against it, e.g. `packaged_initiators()`; none by default.
    """
    mean = lamp.mean_spectrum()
    exposure, gap = _exposure_figures(lamp)
    remarks = tuple(remark for each in lamp.programmes.values() for remark in each.remarks)
    rated = [_initiator_figures(each, mean, lamp.spectrum(lamp.weakest)) for each in initiators]
    settled = lamp.course.level_ratio / (
        1.0
        + lamp.course.overshoot_fraction
        * math.exp(-lamp.course.measured_after_s / lamp.course.time_constant_s)
    )
    return LampFigures(
        lamp_id=lamp.lamp_id,
        name=lamp.name,
        is_demonstration=lamp.is_demonstration,
        measured_from_nm=float(mean.wavelength_nm[0]),
        measured_to_nm=float(mean.wavelength_nm[-1]),
        positions=tuple(_position_figures(label, lamp.spectrum(label)) for label in lamp.positions),
        mean=_position_figures("mean", mean),
        weakest=lamp.weakest,
        strongest=lamp.strongest,
        uniformity_ratio=lamp.uniformity_ratio,
        electrical_power_w=lamp.electrical_power_w,
        output_at_switch_on_ratio=float(lamp.course.factor(0.0)),
        output_when_warm_ratio=settled,
        air_start_k=lamp.air.start_k,
        air_rise_k=lamp.air.rise_k,
        programmes=tuple(lamp.programmes),
        initiators=tuple(sorted(rated, key=lambda each: -each.weakest_photolysis_rate_1_s)),
        exposure=exposure,
        notes=(*lamp.notes, *remarks, *gap),
        not_recorded=tuple(key for key, value in lamp.provenance.items() if value == "not recorded"),
    )


def _position_figures(label: str, spectrum: Spectrum) -> PositionFigures:
    return PositionFigures(
        position=label,
        irradiance_w_m2=spectrum.irradiance_w_m2(),
        uv_a_irradiance_w_m2=spectrum.irradiance_w_m2(*UV_A_NM, dark_outside=True),
        violet_irradiance_w_m2=spectrum.irradiance_w_m2(*VIOLET_NM, dark_outside=True),
        photon_irradiance_mol_m2_s=spectrum.photon_irradiance_mol_m2_s(),
        peaks=spectrum.peaks(),
    )


def _exposure_figures(lamp: Lamp) -> tuple[ExposureFigures | None, tuple[str, ...]]:
    """Exposure figures, or none and the sentence why."""
    from ..lamp_library.errors import InputError
    from ..models.light_exposure import EFFECTIVE_LIMIT_J_M2, EYE_UV_A_LIMIT_J_M2, lamp_exposure

    try:
        found = lamp_exposure(lamp)
    except InputError as error:
        return None, (f"Light on skin and eye was not worked out: {error}",)
    session = found.session(SESSION_CURES, SESSION_CURE_S)
    figures = ExposureFigures(
        position=found.position,
        effective_irradiance_w_m2=found.effective_irradiance_w_m2,
        uv_a_irradiance_w_m2=found.uv_a_irradiance_w_m2,
        erythemal_irradiance_w_m2=found.erythemal_irradiance_w_m2,
        effective_limit_j_m2=EFFECTIVE_LIMIT_J_M2,
        eye_uv_a_limit_j_m2=EYE_UV_A_LIMIT_J_M2,
        effective_limit_time_s=found.effective_limit_time_s,
        eye_limit_time_s=found.eye_limit_time_s,
        session_cures=session.cures,
        session_cure_s=session.cure_s,
        session_effective_dose_j_m2=session.effective_dose_j_m2,
        session_uv_a_dose_j_m2=session.uv_a_dose_j_m2,
        session_effective_limit_fraction=session.effective_limit_fraction,
        session_sentence=session.sentence,
        actinic_group_derived=found.actinic_group,
        near_uv_group_derived=found.near_uv_group,
        cautions=found.cautions,
    )
    return figures, ()


def _initiator_figures(initiator: Initiator, mean: Spectrum, weakest: Spectrum) -> InitiatorFigures:
    light = mean.light()
    start_nm = float(initiator.absorption.wavelength_nm[0])
    photons = light.photon_irradiance_mol_m2_s()
    first, last = float(light.wavelength_nm[0]), float(light.wavelength_nm[-1])
    outside = light.photon_irradiance_mol_m2_s(first, min(start_nm, last)) if start_nm > first else 0.0
    return InitiatorFigures(
        key=initiator.key,
        mechanism=initiator.mechanism,
        photolysis_rate_1_s=photolysis_rate_1_s(initiator, mean),
        weakest_photolysis_rate_1_s=photolysis_rate_1_s(initiator, weakest),
        absorbed_photon_fraction=absorbed_photon_fraction(initiator, mean),
        outside_data_fraction=outside / photons,
    )


def photolysis_rate_1_s(initiator: Initiator, spectrum: Spectrum) -> float:
    """First-order rate constant of an initiator's consumption at the lit surface [s-1].

    The integral over wavelength of photon irradiance x ln(10) x decadic molar absorption
    coefficient x quantum yield. Light below the first wavelength of the absorption data is left
    out.
    """
    import numpy as np

    from ..lamp_library.units import napierian_from_decadic, photon_energy_j_mol

    grid = _common_grid(initiator, spectrum)
    if grid.size < 2:
        return 0.0
    napierian_m2_mol = napierian_from_decadic(np.asarray(initiator.absorption.at(grid), dtype=np.float64))
    weight = napierian_m2_mol * initiator.quantum_yield / photon_energy_j_mol(grid)
    return spectrum.light().weighted(grid, weight)


def absorbed_photon_fraction(
    initiator: Initiator,
    spectrum: Spectrum,
    *,
    loading_fraction: float = COMPARED_LOADING_FRACTION,
    thickness_m: float = COMPARED_THICKNESS_M,
    density_kg_m3: float = COMPARED_DENSITY_KG_M3,
) -> float:
    """Share of a spectrum's photons that an initiator alone absorbs in a fresh coat [-].

    Parameters
    ----------
    initiator : photoinitiator
        What absorbs.
    spectrum : Spectrum
        The light that enters; reflection is not counted.
    loading_fraction : float
        Mass fraction of the initiator in the coat [-].
    thickness_m : float
        Thickness of the coat [m].
    density_kg_m3 : float
        Density of the coat [kg m-3]; the default is assumed.
    """
    import numpy as np

    from ..lamp_library.units import photon_energy_j_mol

    light = spectrum.light()
    grid = _common_grid(initiator, spectrum)
    if grid.size < 2:
        return 0.0
    concentration_mol_m3 = loading_fraction * density_kg_m3 / initiator.molar_mass_kg_mol
    decadic = np.asarray(initiator.absorption.at(grid), dtype=np.float64) * concentration_mol_m3 * thickness_m
    absorbed = light.weighted(grid, (1.0 - 10.0**-decadic) / photon_energy_j_mol(grid))
    return absorbed / light.photon_irradiance_mol_m2_s()


def _common_grid(initiator: Initiator, spectrum: Spectrum) -> NDArray[np.float64]:
    """Wavelengths of both tables where both are known; beyond its red end an initiator is clear."""
    import numpy as np

    first = max(float(initiator.absorption.wavelength_nm[0]), float(spectrum.wavelength_nm[0]))
    last = float(spectrum.wavelength_nm[-1])
    union = np.union1d(spectrum.wavelength_nm, initiator.absorption.wavelength_nm)
    inside = union[(union >= first) & (union <= last)]
    return np.asarray(inside, dtype=np.float64)


def figures_json(figures: LampFigures) -> dict[str, Any]:
    """Plain dictionary of the figures for machines; keys end in their units."""
    from dataclasses import asdict

    return asdict(figures)
