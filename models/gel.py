"""A gel: resin base, initiators, amines, stabilisers and pigments, with its coat and thickness, and its file.

In the file the resin base is given in parts by weight; everything else in wt% of the whole gel, so
that the resin base is what remains.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, get_args

from ..lamp_library.errors import InputError, UnknownNameError, unknown_name
from ..lamp_library.tables import read_text
from ..lamp_library.toml_section import Section
from ..lamp_library.toml_text import TomlValue, toml_text
from ..lamp_library.units import m_from_um, um_from_m
from .materials import (
    list_amines,
    list_photoinitiators,
    list_pigments,
    list_resins,
    list_stabilisers,
    photoinitiator,
)
from .rate_calibration import RateCalibration, calibration_table, read_calibration
from .rate_parameters import check_names

Coat = Literal["base", "builder", "colour", "top"]
COATS: tuple[str, ...] = get_args(Coat)
THICKNESS_RANGE_UM = (5.0, 3000.0)

_ADDITIVES = ("initiators_wt_pct", "amines_wt_pct", "stabilisers_wt_pct", "pigments_wt_pct")
_TABLES = ("resin_parts", *_ADDITIVES)
_FILES = ("absorption_files", "pigment_files")
_PAIRS = "sensitiser_pairs"
_CALIBRATION = "calibration"
_KEYS = (
    "name",
    "coat",
    "thickness_um",
    "cure_seconds",
    "is_demonstration",
    "note",
    *_TABLES,
    *_FILES,
    _PAIRS,
    _CALIBRATION,
)
_FORBIDDEN_IN_ID = re.compile(r"[/\\]|\.toml$")
_ROUNDING_WT_PCT = 1e-9


def _frozen(values: Mapping[str, Any]) -> Mapping[str, Any]:
    return MappingProxyType(dict(values))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gel:
    """One gel as it goes on the nail.

    Parameters
    ----------
    name : str
        Name for reports.
    coat : {"base", "builder", "colour", "top"}
        Its place in the stack.
    resin_parts : mapping of str to float
        Parts by weight of the resins; they need not add up to 100.
    initiators_wt_pct, amines_wt_pct, stabilisers_wt_pct, pigments_wt_pct : mapping of str to float
        Contents [wt% of the whole gel].
    thickness_m : float
        Usual film thickness [m].
    cure_s : float, optional
        Lamp-on time the gel is meant for [s].
    absorption_files : mapping of str to str
        Photoinitiator to the file of its measured spectrum.
    pigment_files : mapping of str to str
        Pigment to the file of its measured K and S (see `pigments.read_pigment_optics`).
    sensitiser_pairs : mapping of str to float
        "donor > acceptor" to the efficiency [-] of energy transfer between two photoinitiators, in place of the packaged
        one (see `sensitisers`).
    calibration : RateCalibration, optional
        Rate parameters found from trials, in place of the packaged ones.
    is_demonstration : bool
        Whether the recipe is invented.
    note : str
        Free text.

    Raises
    ------
    InputError
        If a content is negative or not finite, the contents leave no resin, the thickness is impossible, or the calibration
        belongs to another resin base.
    UnknownNameError
        If a substance or the coat is not known.
    """

    name: str
    coat: Coat
    resin_parts: Mapping[str, float]
    initiators_wt_pct: Mapping[str, float]
    amines_wt_pct: Mapping[str, float] = field(default_factory=dict)
    stabilisers_wt_pct: Mapping[str, float] = field(default_factory=dict)
    pigments_wt_pct: Mapping[str, float] = field(default_factory=dict)
    thickness_m: float
    cure_s: float | None = None
    absorption_files: Mapping[str, str] = field(default_factory=dict)
    pigment_files: Mapping[str, str] = field(default_factory=dict)
    sensitiser_pairs: Mapping[str, float] = field(default_factory=dict)
    calibration: RateCalibration | None = None
    is_demonstration: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        """Check names and numbers and lock the mappings."""
        if self.coat not in COATS:
            raise unknown_name("coat", self.coat, COATS)
        for label, known in _known_by_table().items():
            _check_contents(self.name, label, getattr(self, label), known)
        _check_names("photoinitiator", self.absorption_files, list_photoinitiators())
        _check_names("pigment", self.pigment_files, list_pigments())
        _check_pairs(self)
        _check_resin_base(self)
        _check_calibration(self)
        low, high = THICKNESS_RANGE_UM
        if not low <= um_from_m(self.thickness_m) <= high:
            raise InputError(
                f"gel '{self.name}': thickness is {um_from_m(self.thickness_m):g} um; it must lie between {low:g} and "
                f"{high:g} um."
            )
        if self.cure_s is not None and not 0.01 <= self.cure_s <= 3600.0:
            raise InputError(
                f"gel '{self.name}': cure_seconds is {self.cure_s:g} s; it must lie between 0.01 and 3600 s."
            )
        for label in (*_TABLES, *_FILES, _PAIRS):
            object.__setattr__(self, label, _frozen(getattr(self, label)))

    def __reduce__(self) -> tuple[Any, tuple[Any, ...]]:
        """Rebuild through the constructor: locked mappings do not pickle by themselves."""
        return (_rebuilt, (_plain(self),))

    def __eq__(self, other: object) -> bool:
        """Equal when all fields are equal."""
        return isinstance(other, Gel) and _plain(self) == _plain(other)

    def __hash__(self) -> int:
        """Hash that agrees with equality."""
        return hash((self.name, self.coat, self.thickness_m, tuple(sorted(self.initiators_wt_pct.items()))))

    @property
    def resin_base_wt_pct(self) -> float:
        """Content of the resin base [wt%]: what initiators, amines, stabilisers and pigments leave."""
        return 100.0 - _additives_wt_pct(self)

    def with_initiators(
        self, initiators_wt_pct: Mapping[str, float], amines_wt_pct: Mapping[str, float] | None = None
    ) -> Gel:
        """The same gel with other initiators [wt%] and, unless None, other amines [wt%]."""
        amines = self.amines_wt_pct if amines_wt_pct is None else amines_wt_pct
        return replace(self, initiators_wt_pct=initiators_wt_pct, amines_wt_pct=amines)


def _plain(gel: Gel) -> dict[str, Any]:
    fields = {name: getattr(gel, name) for name in Gel.__dataclass_fields__}
    return {name: dict(value) if isinstance(value, Mapping) else value for name, value in fields.items()}


def _rebuilt(fields: dict[str, Any]) -> Gel:
    return Gel(**fields)


def _known_by_table() -> Mapping[str, tuple[str, tuple[str, ...]]]:
    return {
        "resin_parts": ("resin", list_resins()),
        "initiators_wt_pct": ("photoinitiator", list_photoinitiators()),
        "amines_wt_pct": ("amine", list_amines()),
        "stabilisers_wt_pct": ("stabiliser", list_stabilisers()),
        "pigments_wt_pct": ("pigment", list_pigments()),
    }


def _check_names(kind: str, names: Iterable[str], known: tuple[str, ...]) -> None:
    for name in names:
        if name not in known:
            raise unknown_name(kind, name, known)


def _check_contents(
    gel: str, label: str, contents: Mapping[str, float], known: tuple[str, tuple[str, ...]]
) -> None:
    _check_names(known[0], contents, known[1])
    for name, value in contents.items():
        if not (math.isfinite(value) and value >= 0):
            unit = "parts" if label == "resin_parts" else "wt%"
            raise InputError(f"gel '{gel}': {name} in {label} is {value:g} {unit}; it must be >= 0.")


def pair_keys(name: str) -> tuple[str, str]:
    """Donor and acceptor of a pair written "donor > acceptor".

    Examples
    --------
    >>> pair_keys("ITX > TPO-L")
    ('ITX', 'TPO-L')
    """
    parts = [part.strip() for part in name.split(">")]
    if len(parts) != 2 or not all(parts) or parts[0] == parts[1]:
        raise InputError(
            f"sensitiser_pairs: '{name}' is no pair; write \"donor > acceptor\", two photoinitiators."
        )
    return parts[0], parts[1]


def _check_pairs(gel: Gel) -> None:
    for name, efficiency in gel.sensitiser_pairs.items():
        keys = pair_keys(name)
        _check_names("photoinitiator", keys, list_photoinitiators())
        if photoinitiator(keys[0]).mechanism != "type_II":
            raise InputError(
                f"gel '{gel.name}': sensitiser_pairs '{name}': {keys[0]} cleaves before it can hand on energy; the donor must "
                "be a type II initiator."
            )
        if not 0.0 <= efficiency <= 1.0:
            raise InputError(
                f"gel '{gel.name}': sensitiser_pairs '{name}' is {efficiency:g}; an efficiency lies between 0 and 1."
            )


def _additives_wt_pct(gel: Gel) -> float:
    return math.fsum(value for label in _ADDITIVES for value in getattr(gel, label).values())


def _check_resin_base(gel: Gel) -> None:
    if not math.fsum(gel.resin_parts.values()) > 0:
        raise InputError(f"gel '{gel.name}': resin_parts add up to 0; give at least one resin.")
    total = _additives_wt_pct(gel)
    if total >= 100.0 - _ROUNDING_WT_PCT:
        raise InputError(
            f"gel '{gel.name}': initiators, amines, stabilisers and pigments add up to {total:g} wt%; they must leave "
            "room for the resin below 100 wt%."
        )


def _check_calibration(gel: Gel) -> None:
    calibration = gel.calibration
    if calibration is None:
        return
    check_names(calibration.parameters, list_photoinitiators())
    if not calibration.belongs_to(gel.resin_parts):
        parts = ", ".join(f"{key} {value:g}" for key, value in calibration.resin_parts.items())
        raise InputError(
            f"gel '{gel.name}': its calibration belongs to another resin base ({parts}); fit again with trials of this base, or "
            "remove the table [calibration]."
        )


def load_gel(name_or_path: str | Path, *, packaged: Path | None = None) -> Gel:
    """Load a gel from a file, or by its id from a folder of packaged gels.

    Parameters
    ----------
    name_or_path : str or Path
        Anything with a path separator or ending in ``.toml`` is a file; a bare word is an id.
    packaged : Path, optional
        Folder with ``<id>.toml`` files. Without it a bare id is refused.

    Returns
    -------
    Gel
        Files named in ``absorption_files`` and ``pigment_files`` are given relative to the folder of the file.

    Raises
    ------
    InputError
        If the file is missing, no TOML, or breaks a rule; the message names file and key.
    UnknownNameError
        If a key, a substance or an id is not known.
    """
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or _FORBIDDEN_IN_ID.search(text):
        return _read_gel(Path(name_or_path))
    known = list_gels(packaged) if packaged is not None else ()
    if packaged is None or text not in known:
        raise unknown_name("gel", text, known)
    return _read_gel(packaged / f"{text}.toml")


def list_gels(folder: Path) -> tuple[str, ...]:
    """Ids of the gel files in a folder."""
    return tuple(sorted(path.stem for path in folder.glob("*.toml")))


def save_gel(gel: Gel, path: str | Path) -> None:
    """Write a gel as a TOML file that `load_gel` reads back, thickness in micrometres."""
    Path(path).write_text(gel_text(gel), encoding="utf-8")


def gel_text(gel: Gel) -> str:
    """A gel as the text of its file."""
    document: dict[str, TomlValue] = {
        "name": gel.name,
        "coat": gel.coat,
        # twelve digits hide the last bit of the conversion, which nobody can weigh or measure
        "thickness_um": float(f"{um_from_m(gel.thickness_m):.12g}"),
        "is_demonstration": gel.is_demonstration,
    }
    if gel.cure_s is not None:
        document["cure_seconds"] = gel.cure_s
    if gel.note:
        document["note"] = gel.note
    for label in (*_TABLES, *_FILES, _PAIRS):
        if getattr(gel, label):
            document[label] = dict(getattr(gel, label))
    if gel.calibration is not None:
        document[_CALIBRATION] = calibration_table(gel.calibration)
    return toml_text(document)


def _read_gel(path: Path) -> Gel:
    return _gel_of(read_text(path), path)


def gel_from_text(text: str, name: str) -> Gel:
    """A gel from the text of a gel file that is not on this machine.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        What to call it in messages.

    Raises
    ------
    InputError
        If it breaks a rule, or names further files: there is no folder to look for them in.
    UnknownNameError
        If a key or a substance is not known.
    """
    gel = _gel_of(text, Path(name))
    if gel.absorption_files or gel.pigment_files:
        raise InputError(
            f"{name}: names files of its own, which cannot be read from here; use a gel without them."
        )
    return gel


def _gel_of(text: str, path: Path) -> Gel:
    top = Section.of_file(Path(path.name), text)
    top.only(*_KEYS)
    given: dict[str, Any] = {
        "name": top.text("name"),
        "coat": top.text("coat"),
        "thickness_m": m_from_um(top.number("thickness_um")),
        "cure_s": top.number("cure_seconds") if "cure_seconds" in top.values else None,
        "is_demonstration": top.flag("is_demonstration", False),
        "note": top.text("note", ""),
    }
    for label in (*_TABLES, _PAIRS):
        given[label] = top.table(label, required=False).numbers()
    for label in _FILES:
        given[label] = _own_files(top.table(label, required=False), path.parent)
    try:
        if _CALIBRATION in top.values:
            given[_CALIBRATION] = read_calibration(top.table(_CALIBRATION).values)
        return Gel(**given)
    except (InputError, UnknownNameError) as error:
        raise type(error)(f"{path.name}: {error}") from error


def _own_files(table: Section, folder: Path) -> dict[str, str]:
    """Files named in a table, taken from the folder of the gel file."""
    return {name: str((folder / table.text(name)).resolve()) for name in table.values}
