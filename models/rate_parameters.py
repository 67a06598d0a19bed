"""The parameters of a resin base and its initiators that trials can correct, by plain names, all positive.

Values are in SI units; fits work on their natural logarithms. `k_p0` and `dH` stand for acrylate and methacrylate together: both
move by the same factor, because no trial of a mixed resin tells them apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from ..lamp_library.errors import InputError, unknown_name
from .film import DiBenedetto, Kinetics, Oxygen
from .plain import vitrification_conversion

EFFICIENCY_PREFIX = "f."


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What the parameters belong to: kinetics and oxygen of a resin base, with the C=C [mol/m3] that weigh its means."""

    kinetics: Kinetics
    oxygen: Oxygen
    acrylate_mol_m3: float
    methacrylate_mol_m3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RateParameter:
    """One parameter.

    Attributes
    ----------
    words : str
        What it is.
    unit : str
        Unit a chemist reads it in.
    shown_per_si : float
        Value in that unit over the value in SI units.
    get : callable
        Rates to value (SI).
    resin_field : str
        Field of a resin that holds it, "" where none does.
    scaled : callable
        Rates and a factor to rates in which the parameter is that many times larger.
    """

    words: str
    unit: str
    shown_per_si: float = 1.0
    resin_field: str = ""
    get: Callable[[Rates], float]
    scaled: Callable[[Rates, float], Rates]


def _kinetic(rates: Rates, **fields: float) -> Rates:
    return replace(rates, kinetics=replace(rates.kinetics, **fields))  # type: ignore[arg-type]


def _field(name: str) -> tuple[Callable[[Rates], float], Callable[[Rates, float], Rates]]:
    """Reader and scaler of one number of the kinetics."""

    def get(rates: Rates) -> float:
        return float(getattr(rates.kinetics, name))

    def scaled(rates: Rates, factor: float) -> Rates:
        return _kinetic(rates, **{name: factor * get(rates)})

    return get, scaled


def _mean(rates: Rates, acrylate: float, methacrylate: float) -> float:
    total = rates.acrylate_mol_m3 + rates.methacrylate_mol_m3
    return (rates.acrylate_mol_m3 * acrylate + rates.methacrylate_mol_m3 * methacrylate) / total


def _propagation(rates: Rates) -> float:
    kinetics = rates.kinetics
    logs = [
        math.log(value) if value > 0.0 else 0.0
        for value in (kinetics.acrylate_propagation_m3_mol_s, kinetics.methacrylate_propagation_m3_mol_s)
    ]
    return math.exp(_mean(rates, *logs))


def _scaled_propagation(rates: Rates, factor: float) -> Rates:
    kinetics = rates.kinetics
    return _kinetic(
        rates,
        acrylate_propagation_m3_mol_s=factor * kinetics.acrylate_propagation_m3_mol_s,
        methacrylate_propagation_m3_mol_s=factor * kinetics.methacrylate_propagation_m3_mol_s,
    )


def _energy(rates: Rates) -> float:
    return _mean(rates, rates.kinetics.acrylate_energy_j_mol, rates.kinetics.methacrylate_energy_j_mol)


def _scaled_energy(rates: Rates, factor: float) -> Rates:
    kinetics = rates.kinetics
    return _kinetic(
        rates,
        acrylate_energy_j_mol=factor * kinetics.acrylate_energy_j_mol,
        methacrylate_energy_j_mol=factor * kinetics.methacrylate_energy_j_mol,
    )


def _heat(rates: Rates) -> float:
    return _mean(rates, rates.kinetics.acrylate_heat_j_mol, rates.kinetics.methacrylate_heat_j_mol)


def _scaled_heat(rates: Rates, factor: float) -> Rates:
    kinetics = rates.kinetics
    return _kinetic(
        rates,
        acrylate_heat_j_mol=factor * kinetics.acrylate_heat_j_mol,
        methacrylate_heat_j_mol=factor * kinetics.methacrylate_heat_j_mol,
    )


def _glass(rates: Rates) -> DiBenedetto:
    glass = rates.kinetics.vitrification
    if not isinstance(glass, DiBenedetto):
        raise InputError("X_v: this resin has no glass transition in the model; leave X_v out.")
    return glass


def _vitrification(rates: Rates) -> float:
    glass = _glass(rates)
    return float(
        vitrification_conversion(
            rates.kinetics.reference_k,
            glass.tg_monomer_k,
            glass.tg_polymer_k,
            glass.lambda_ratio,
            glass.half_width_k,
        )
    )


def _scaled_vitrification(rates: Rates, factor: float) -> Rates:
    """The half width that puts vitrification at the reference temperature where it is wanted."""
    glass, wanted = _glass(rates), factor * _vitrification(rates)
    ratio = glass.lambda_ratio * wanted / (1.0 - (1.0 - glass.lambda_ratio) * wanted)
    half_width = (
        glass.tg_monomer_k + ratio * (glass.tg_polymer_k - glass.tg_monomer_k) - rates.kinetics.reference_k
    )
    return replace(
        rates, kinetics=replace(rates.kinetics, vitrification=replace(glass, half_width_k=half_width))
    )


def _oxygen_radicals(rates: Rates, factor: float) -> Rates:
    oxygen = rates.oxygen
    return replace(rates, oxygen=replace(oxygen, radicals_per_oxygen=factor * oxygen.radicals_per_oxygen))


def _oxygen_dissolved(rates: Rates, factor: float) -> Rates:
    oxygen = rates.oxygen
    return replace(
        rates,
        oxygen=replace(
            oxygen,
            surface_mol_m3=factor * oxygen.surface_mol_m3,
            initial_mol_m3=factor * oxygen.initial_mol_m3,
        ),
    )


def _oxygen_diffusion(rates: Rates, factor: float) -> Rates:
    oxygen = rates.oxygen
    return replace(rates, oxygen=replace(oxygen, diffusivity_m2_s=factor * oxygen.diffusivity_m2_s))


def _of_field(words: str, unit: str, shown_per_si: float, name: str, resin_field: str) -> RateParameter:
    get, scaled = _field(name)
    return RateParameter(
        words=words, unit=unit, shown_per_si=shown_per_si, get=get, scaled=scaled, resin_field=resin_field
    )


PARAMETERS: Mapping[str, RateParameter] = {
    "k_p0": RateParameter(
        words="propagation", unit="L/mol/s", shown_per_si=1e3, get=_propagation, scaled=_scaled_propagation,
        resin_field="propagation_rate_coefficient_m3_mol_s",
    ),
    "k_t0": _of_field(
        "termination at the start", "L/mol/s", 1e3, "termination_m3_mol_s", "termination_rate_coefficient_m3_mol_s"
    ),
    "C_RD": _of_field(
        "reaction diffusion", "L/mol", 1e3, "reaction_diffusion_m3_mol", "reaction_diffusion_m3_mol"
    ),
    "b": _of_field(
        "fall of termination with conversion", "", 1.0, "termination_decay", "termination_decay"
    ),
    "X_v": RateParameter(
        words="conversion where it turns to glass at 25 °C", unit="", get=_vitrification,
        scaled=_scaled_vitrification, resin_field="tg_half_width_k",
    ),
    "w": _of_field("width of that turn", "", 1.0, "sigmoid_width_fraction", "vitrification_width"),
    "E_p": RateParameter(
        words="activation energy of propagation", unit="kJ/mol", shown_per_si=1e-3, get=_energy,
        scaled=_scaled_energy, resin_field="propagation_activation_energy_j_mol",
    ),
    "E_t": _of_field(
        "activation energy of termination", "kJ/mol", 1e-3, "termination_energy_j_mol",
        "termination_activation_energy_j_mol",
    ),
    "dH": RateParameter(
        words="heat of polymerisation", unit="kJ/mol", shown_per_si=1e-3, get=_heat, scaled=_scaled_heat,
        resin_field="heat_of_polymerisation_j_mol",
    ),
    "n_O": RateParameter(
        words="radicals lost per oxygen", unit="", get=lambda rates: rates.oxygen.radicals_per_oxygen,
        scaled=_oxygen_radicals,
    ),
    "O_s": RateParameter(
        words="oxygen dissolved under air", unit="mmol/L", get=lambda rates: rates.oxygen.surface_mol_m3,
        scaled=_oxygen_dissolved, resin_field="oxygen_solubility_mol_m3",
    ),
    "D_O": RateParameter(
        words="diffusion of oxygen", unit="m2/s", get=lambda rates: rates.oxygen.diffusivity_m2_s,
        scaled=_oxygen_diffusion, resin_field="oxygen_diffusivity_m2_s",
    ),
}  # fmt: skip


def efficiency_name(initiator: str) -> str:
    """Name of the initiation efficiency of an initiator.

    Examples
    --------
    >>> efficiency_name("BAPO")
    'f.BAPO'
    """
    return EFFICIENCY_PREFIX + initiator


def parameter_names(initiators: Iterable[str]) -> tuple[str, ...]:
    """Every name that fits a gel with these initiators."""
    return (*PARAMETERS, *(efficiency_name(key) for key in initiators))


def check_names(names: Iterable[str], initiators: Iterable[str]) -> None:
    """Raise `UnknownNameError` for a name that no parameter has."""
    known = parameter_names(initiators)
    for name in names:
        if name not in known:
            raise unknown_name("rate parameter", name, known)


def words_of(name: str) -> str:
    """What a parameter is, in words."""
    if name.startswith(EFFICIENCY_PREFIX):
        return f"initiation efficiency of {name.removeprefix(EFFICIENCY_PREFIX)}"
    return PARAMETERS[name].words


def shown(name: str, value: float) -> str:
    """A parameter's value (SI) as a chemist reads it.

    Examples
    --------
    >>> shown("k_p0", 1.293)
    '1293 L/mol/s'
    """
    if name.startswith(EFFICIENCY_PREFIX):
        return f"{value:.3g}"
    parameter = PARAMETERS[name]
    return f"{value * parameter.shown_per_si:.4g} {parameter.unit}".rstrip()


def log_value(name: str, rates: Rates) -> float:
    """Natural logarithm of a parameter (not an efficiency) in SI units.

    Raises
    ------
    InputError
        If the parameter is 0 in this resin, so that it cannot be scaled.
    """
    value = PARAMETERS[name].get(rates)
    if not value > 0.0:
        raise InputError(
            f"{name} is {value:g} in this resin; only a value above 0 can be fitted. Leave it out."
        )
    return math.log(value)


def with_log_values(rates: Rates, log_values: Mapping[str, float]) -> Rates:
    """Rates with some parameters at other values; efficiencies are passed over.

    Parameters
    ----------
    rates : Rates
        Kinetics and oxygen to start from.
    log_values : mapping of str to float
        Name to natural logarithm of the value in SI units.
    """
    for name, wanted in log_values.items():
        if not name.startswith(EFFICIENCY_PREFIX):
            rates = PARAMETERS[name].scaled(rates, math.exp(wanted - log_value(name, rates)))
    return rates
