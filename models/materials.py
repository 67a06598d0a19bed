"""From the data tables to substances: `photoinitiator`, `resin`, `amine`, `stabiliser`, `pigment` and their lists."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from ..lamp_library.errors import InputError, unknown_name
from .absorption import BANDS_FILE, AbsorptionSpectrum, band_spectrum
from .data_tables import UNVERIFIED_KINDS, citation, field_name, read_numbers, read_rows, required
from .pigments import PigmentOptics, packaged_optics
from .substances import Amine, Photoinitiator, Pigment, Resin, Stabiliser

__all__ = [
    "Amine",
    "Photoinitiator",
    "Pigment",
    "Resin",
    "Stabiliser",
    "amine",
    "citations",
    "list_amines",
    "list_photoinitiators",
    "list_pigments",
    "list_resins",
    "list_stabilisers",
    "photoinitiator",
    "pigment",
    "resin",
    "stabiliser",
    "with_absorption",
    "with_optics",
]

_FILES = {
    "photoinitiator": "photoinitiators.csv",
    "resin": "resins.csv",
    "amine": "amines.csv",
    "stabiliser": "stabilisers.csv",
    "pigment": "pigments.csv",
}
# Weighing and cell path of a careful measurement (assumed).
_MEASURED_SCALE_ERROR_RATIO = 0.03
# K and S from draw-downs over black and white, read with an integrating sphere (assumed).
_MEASURED_OPTICS_ERROR_RATIO = 0.1
# property in the table -> unit inside
_REQUIRED: Mapping[str, Mapping[str, str]] = {
    "photoinitiator": {
        "molar_mass": "kg/mol",
        "product_absorption_ratio": "-",
        "quantum_yield": "-",
        "initiation_efficiency": "-",
        "amine_half_saturation": "mol/m3",
        "oxygen_quenching_ratio": "-",
        "scale_error_ratio": "-",
        "quantum_yield_error_ratio": "-",
    },
    "resin": {
        "molar_mass": "kg/mol",
        "density": "kg/m3",
        "heat_of_polymerisation": "J/mol",
        "propagation_rate_coefficient": "m3/mol/s",
        "propagation_activation_energy": "J/mol",
        "termination_rate_coefficient": "m3/mol/s",
        "termination_activation_energy": "J/mol",
        "termination_decay": "-",
        "reaction_diffusion": "m3/mol",
        "tg_monomer": "K",
        "tg_polymer": "K",
        "dibenedetto_lambda": "-",
        "tg_half_width": "K",
        "vitrification_width": "-",
        "heat_capacity_monomer": "J/kg/K",
        "heat_capacity_polymer": "J/kg/K",
        "thermal_conductivity": "W/m/K",
        "oxygen_solubility": "mol/m3",
        "oxygen_diffusivity": "m2/s",
        "oxygen_diffusivity_decay": "-",
        "refractive_index": "-",
    },
    "amine": {"molar_mass": "kg/mol"},
    "stabiliser": {
        "molar_mass": "kg/mol",
        "radical_rate_coefficient": "m3/mol/s",
        "radical_rate_error_factor": "-",
        "radicals_per_molecule": "-",
    },
    "pigment": {"density": "kg/m3", "absorption_error_ratio": "-", "scattering_error_ratio": "-"},
}
# may be unknown: the field is then None and the reports say so
_OPTIONAL: Mapping[str, Mapping[str, str]] = {
    "photoinitiator": {"solubility": "%", "usual_min": "%", "usual_max": "%"},
    "resin": {"viscosity": "Pa s"},
    "amine": {"usual_min": "%", "usual_max": "%"},
    "stabiliser": {"usual_max": "%"},
    "pigment": {"usual_min": "%", "usual_max": "%"},
}


def photoinitiator(key: str) -> Photoinitiator:
    """Look up a photoinitiator or sensitiser by its abbreviation.

    Raises
    ------
    UnknownNameError
        If the set has no such substance.
    InputError
        If one of its numbers is missing in the tables.

    Examples
    --------
    >>> photoinitiator("TPO").mechanism
    'type_I'
    """
    return _photoinitiator(key)


def resin(key: str) -> Resin:
    """Look up a resin or diluent by its abbreviation; errors as `photoinitiator`."""
    return _resin(key)


def amine(key: str) -> Amine:
    """Look up an amine by its abbreviation; errors as `photoinitiator`."""
    return _amine(key)


def stabiliser(key: str) -> Stabiliser:
    """Look up a stabiliser by its abbreviation; errors as `photoinitiator`."""
    return _stabiliser(key)


def pigment(key: str) -> Pigment:
    """Look up a pigment by its colour-index key; errors as `photoinitiator`.

    Examples
    --------
    >>> pigment("CI-77266").name
    'carbon black'
    """
    return _pigment(key)


def list_photoinitiators() -> tuple[str, ...]:
    """Abbreviations of all photoinitiators and sensitisers."""
    return _keys("photoinitiator")


def list_resins() -> tuple[str, ...]:
    """Abbreviations of all resins and diluents."""
    return _keys("resin")


def list_amines() -> tuple[str, ...]:
    """Abbreviations of all amines."""
    return _keys("amine")


def list_stabilisers() -> tuple[str, ...]:
    """Abbreviations of all stabilisers."""
    return _keys("stabiliser")


def list_pigments() -> tuple[str, ...]:
    """Colour-index keys of all pigments."""
    return _keys("pigment")


def with_absorption(initiator: Photoinitiator, spectrum: AbsorptionSpectrum) -> Photoinitiator:
    """The same photoinitiator with another (measured) absorption spectrum.

    Its scale then no longer rests on the packaged table: a measured spectrum sets the grade to A and
    the relative scale error to 3 % (weighing and cell path of a careful measurement, assumed).
    """
    if spectrum.kind != "measured":
        return replace(initiator, absorption=spectrum)
    unverified = tuple(
        name for name in initiator.unverified if name not in ("absorption", "scale_error_ratio")
    )
    return replace(
        initiator,
        absorption=spectrum,
        grade="A",
        scale_error_ratio=_MEASURED_SCALE_ERROR_RATIO,
        unverified=unverified,
    )


def with_optics(colourant: Pigment, optics: PigmentOptics) -> Pigment:
    """The same pigment with other (measured) optics, whose scale is then good to 10 % (assumed)."""
    if optics.kind != "measured":
        return replace(colourant, optics=optics)
    replaced = ("optics", "absorption_error_ratio", "scattering_error_ratio")
    return replace(
        colourant,
        optics=optics,
        absorption_error_ratio=_MEASURED_OPTICS_ERROR_RATIO,
        scattering_error_ratio=_MEASURED_OPTICS_ERROR_RATIO,
        unverified=tuple(name for name in colourant.unverified if name not in replaced),
    )


def citations(keys: Iterable[str]) -> tuple[str, ...]:
    """References of some sources, each once, in the order given.

    Parameters
    ----------
    keys : iterable of str
        Keys of ``sources.csv``, such as the `sources` of a substance.

    Raises
    ------
    UnknownNameError
        If a key is not in ``sources.csv``.
    """
    return tuple(citation(key) for key in dict.fromkeys(keys))


@cache
def _identities(role: str) -> Mapping[str, Mapping[str, str]]:
    return {row["substance"]: row for row in read_rows("substances.csv") if row["role"] == role}


def _keys(role: str) -> tuple[str, ...]:
    return tuple(_identities(role))


def _record(role: str, key: str) -> dict[str, Any]:
    """Identity, converted numbers, sources and unverified fields of one substance."""
    known = _identities(role)
    if key not in known:
        raise unknown_name(role, key, known)
    file = _FILES[role]
    numbers = read_numbers(file).get(key, {})
    record: dict[str, Any] = {name: known[key][name] for name in ("name", "inci_name", "cas")}
    record["key"] = key
    used = []
    for name, unit in {**_REQUIRED[role], **_OPTIONAL[role]}.items():
        field = field_name(name, unit)
        if name in _OPTIONAL[role] and name not in numbers:
            record[field] = None
            continue
        number = required(numbers, key, name, file)
        record[field] = number.in_unit(unit)
        used.append((field, number))
    record["sources"] = tuple(dict.fromkeys(number.source for _, number in used))
    record["unverified"] = tuple(field for field, number in used if number.kind in UNVERIFIED_KINDS)
    return record


def _choice(row: Mapping[str, str], column: str, allowed: tuple[str, ...]) -> str:
    if row[column] not in allowed:
        raise InputError(
            f"{row['where']}: {column} of {row['substance']} is '{row[column]}'; use {' or '.join(allowed)}."
        )
    return row[column]


def _with_spectrum(record: dict[str, Any], spectrum: AbsorptionSpectrum) -> dict[str, Any]:
    unverified = ("absorption",) if spectrum.kind in UNVERIFIED_KINDS else ()
    return {
        **record,
        "absorption": spectrum,
        "sources": tuple(dict.fromkeys((*record["sources"], spectrum.source))),
        "unverified": (*unverified, *record["unverified"]),
    }


@cache
def _photoinitiator(key: str) -> Photoinitiator:
    record = _record("photoinitiator", key)
    row = _identities("photoinitiator")[key]
    return Photoinitiator(
        **_with_spectrum(record, band_spectrum(key)),
        mechanism=_choice(row, "mechanism", ("type_I", "type_II")),  # type: ignore[arg-type]
        grade=_choice(row, "grade", ("A", "B", "C")),  # type: ignore[arg-type]
        yellowing=row["yellowing"],
    )


@cache
def _resin(key: str) -> Resin:
    row = _identities("resin").get(key, {})
    record = _record("resin", key)
    return Resin(
        **record,
        functionality=int(_choice(row, "functionality", ("1", "2", "3", "4", "5", "6"))),
        group=_choice(row, "group", ("acrylate", "methacrylate")),  # type: ignore[arg-type]
        sensitiser=_choice(row, "sensitiser", ("", "known", "possible")),  # type: ignore[arg-type]
    )


@cache
def _amine(key: str) -> Amine:
    record = _record("amine", key)
    if not any(row["substance"] == key for row in read_rows(BANDS_FILE)):
        return Amine(**record, absorption=None)
    return Amine(**_with_spectrum(record, band_spectrum(key)))


@cache
def _stabiliser(key: str) -> Stabiliser:
    return Stabiliser(**_record("stabiliser", key))


@cache
def _pigment(key: str) -> Pigment:
    record = _record("pigment", key)
    optics = packaged_optics(key)
    unverified = ("optics",) if optics.kind in UNVERIFIED_KINDS else ()
    return Pigment(
        **{
            **record,
            "sources": tuple(dict.fromkeys((*record["sources"], *optics.sources))),
            "unverified": (*unverified, *record["unverified"]),
        },
        optics=optics,
    )
