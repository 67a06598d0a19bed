"""A trial in the laboratory: what was cured in which light, and what was measured meanwhile.

The trial's clock starts with the first exposure. Everything is in SI units; noise is given for every point, and points
count as independent, so that a fit may weigh them as they stand.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.lamp import Lamp
from .cure import EXPOSURE_RANGE_S, THICKNESS_RANGE_M
from .gel import Gel
from .heat import Hand

Array = NDArray[np.float64]
SignalKind = Literal["reaction_temperature", "conversion", "heat_flow"]
Blank = Literal["cured_sample", "lamp_interior", "empty_run", "none"]
TrialAtmosphere = Literal["air", "nitrogen", "closed"]

# where a signal is measured; the first is the usual place
PLACES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "reaction_temperature": ("interface", "film", "nail_bed"),
        "conversion": ("mean", "bottom", "surface"),
        "heat_flow": ("mean",),
    }
)
UNITS: Mapping[str, str] = MappingProxyType(
    {"reaction_temperature": "K", "conversion": "fraction", "heat_flow": "W/kg"}
)
# believable values of each kind, in its unit
VALUE_RANGE: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"reaction_temperature": (-50.0, 200.0), "conversion": (-0.2, 1.2), "heat_flow": (-1.0e5, 1.0e6)}
)
MAX_EXPOSURES = 20
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """One lit stretch of a trial: when it starts on the trial's clock, how long it lasts [s], and the lamp's programme."""

    start_s: float
    duration_s: float
    programme: str = "steady"

    def __post_init__(self) -> None:
        """Check the ranges."""
        low, high = EXPOSURE_RANGE_S
        if not low <= self.duration_s <= high:
            raise InputError(
                f"exposure: {self.duration_s:g} s long; it must last between {low:g} and {high:g} s."
            )
        if not (np.isfinite(self.start_s) and self.start_s >= 0.0):
            raise InputError(f"exposure: starts at {self.start_s:g} s; it must be 0 s or later.")

    @property
    def end_s(self) -> float:
        """When the light goes off [s]."""
        return self.start_s + self.duration_s


def _column(values: ArrayLike) -> Array:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialSignal:
    """One measured course.

    Attributes
    ----------
    name : str
        Its name in the trial, lower-case.
    kind : str
        "reaction_temperature": sample minus blank [K]; "conversion" of C=C [-]; "heat_flow" of the reaction [W per kg of gel],
        positive when heat is given off.
    place : str
        Where: temperature at "interface" (lower face of the film), in "film" (hottest) or at "nail_bed"; conversion "mean",
        "bottom" or "surface"; heat flow "mean".
    blank : str
        What was taken off a temperature: "cured_sample", "lamp_interior" or "empty_run"; "none" for the other kinds.
    time_s : ndarray, shape (n,)
        Times on the trial's clock, increasing, 0 or later [s].
    value, noise_sd : ndarray, shape (n,)
        Readings and their standard deviation, > 0, in the unit of the kind.
    include : bool
        Whether a fit may use it.
    reason : str
        Why not, or a remark; needed where `include` is false.
    provenance : mapping of str to str
        File, channel, corrections.

    Raises
    ------
    InputError
        If the columns do not match, times do not increase, or a value is impossible.
    UnknownNameError
        If kind, place or blank is not known.
    """

    name: str
    kind: SignalKind
    place: str
    blank: Blank = "none"
    time_s: Array
    value: Array
    noise_sd: Array
    include: bool = True
    reason: str = ""
    provenance: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Lock the columns and check them."""
        _check_name("signal", self.name)
        if self.kind not in PLACES:
            raise unknown_name("kind of signal", self.kind, PLACES)
        if self.place not in PLACES[self.kind]:
            raise unknown_name(f"place of a {self.kind}", self.place, PLACES[self.kind])
        if self.blank not in get_args(Blank):
            raise unknown_name("blank", self.blank, get_args(Blank))
        if (self.blank == "none") == (self.kind == "reaction_temperature"):
            raise InputError(
                f"signal '{self.name}': blank is '{self.blank}'; a reaction temperature names what was taken off, the "
                "other kinds say none."
            )
        if not self.include and not self.reason:
            raise InputError(f"signal '{self.name}': left out of fits without a reason; give one.")
        for label in ("time_s", "value", "noise_sd"):
            object.__setattr__(self, label, _column(getattr(self, label)))
        object.__setattr__(self, "provenance", MappingProxyType(dict(self.provenance)))
        _check_columns(self)

    def __reduce__(self) -> tuple[Any, tuple[Any, ...]]:
        """Rebuild through the constructor, so that a copy is locked too."""
        fields = {name: getattr(self, name) for name in self.__slots__}
        return (_signal, (fields | {"provenance": dict(self.provenance)},))


def _signal(fields: dict[str, Any]) -> TrialSignal:
    return TrialSignal(**fields)


def _check_name(what: str, name: str) -> None:
    if not _NAME.fullmatch(name):
        raise InputError(
            f"{what} name is '{name}'; use lower-case letters, digits, underscores and dashes only."
        )


def _check_columns(signal: TrialSignal) -> None:
    time, value, noise = signal.time_s, signal.value, signal.noise_sd
    where = f"signal '{signal.name}'"
    if time.ndim != 1 or time.size < 2 or value.shape != time.shape or noise.shape != time.shape:
        raise InputError(
            f"{where}: time, value and noise have shapes {time.shape}, {value.shape}, {noise.shape}; give three "
            "columns of one length, 2 or more."
        )
    if not (np.isfinite(time).all() and np.isfinite(value).all() and np.isfinite(noise).all()):
        raise InputError(f"{where}: a cell is no finite number; remove the row.")
    if time[0] < 0.0 or np.any(np.diff(time) <= 0.0):
        raise InputError(f"{where}: times must increase from 0 s or later; sort and join them.")
    if np.any(noise <= 0.0):
        raise InputError(f"{where}: noise_sd must be above 0 everywhere; give the scatter of the instrument.")
    low, high = VALUE_RANGE[signal.kind]
    if value.min() < low or value.max() > high:
        raise InputError(
            f"{where}: values run from {value.min():.4g} to {value.max():.4g} {UNITS[signal.kind]}; a {signal.kind} lies "
            f"between {low:g} and {high:g}. Check unit and columns."
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """What was cured, in which light, on what, and what was measured.

    Attributes
    ----------
    trial_id : str
        Short name, also the folder's.
    gel, lamp, position, thickness_m : Gel, Lamp, str, float
        Film [m] and light.
    exposures : tuple of Exposure
        In order, without overlap; the first starts at 0 s.
    hand : Hand
        What the film lies on; the fields of a hand describe glass, foil or a nail tip on a holder as well.
    atmosphere : str
        "air", "nitrogen", or "closed": under a foil or glass that lets no oxygen in, so that only what is dissolved counts.
    isothermal : bool
        Held at the temperature of `hand`, as in a calorimeter.
    signals : tuple of TrialSignal
        What was measured; names are unique.
    record : mapping of str to str
        Fields of the trial record that people filled in.
    is_demonstration : bool
        Whether it is invented.

    Raises
    ------
    InputError
        If a value is out of its range, or exposures overlap.
    UnknownNameError
        If the lamp has no such position or programme.
    """

    trial_id: str
    gel: Gel
    lamp: Lamp
    position: str
    thickness_m: float
    exposures: tuple[Exposure, ...]
    hand: Hand = field(default_factory=Hand)
    atmosphere: TrialAtmosphere = "air"
    isothermal: bool = False
    signals: tuple[TrialSignal, ...] = ()
    record: Mapping[str, str] = field(default_factory=dict)
    is_demonstration: bool = False

    def __post_init__(self) -> None:
        """Check what belongs together."""
        _check_name("trial", self.trial_id)
        object.__setattr__(self, "record", MappingProxyType(dict(self.record)))
        if self.atmosphere not in get_args(TrialAtmosphere):
            raise unknown_name("atmosphere", self.atmosphere, get_args(TrialAtmosphere))
        low, high = THICKNESS_RANGE_M
        if not low <= self.thickness_m <= high:
            raise InputError(
                f"trial {self.trial_id}: thickness is {1e6 * self.thickness_m:g} um; it must lie between {1e6 * low:g} and "
                f"{1e6 * high:g} um."
            )
        self.lamp.spectrum(self.position)
        _check_exposures(self)
        names = [each.name for each in self.signals]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise InputError(
                f"trial {self.trial_id}: two signals are called '{twice[0]}'; give each its own name."
            )

    def __reduce__(self) -> tuple[Any, tuple[Any, ...]]:
        """Rebuild through the constructor: a locked mapping does not pickle by itself."""
        fields = {name: getattr(self, name) for name in self.__slots__}
        return (_trial, (fields | {"record": dict(self.record)},))

    @property
    def included(self) -> tuple[TrialSignal, ...]:
        """Signals that a fit may use."""
        return tuple(each for each in self.signals if each.include)

    def signal(self, name: str) -> TrialSignal:
        """Signal by name; an unknown one raises `UnknownNameError`."""
        for each in self.signals:
            if each.name == name:
                return each
        raise unknown_name(
            f"signal of trial {self.trial_id}", name, tuple(each.name for each in self.signals)
        )


def _trial(fields: dict[str, Any]) -> Trial:
    return Trial(**fields)


def _check_exposures(trial: Trial) -> None:
    where = f"trial {trial.trial_id}"
    if not 1 <= len(trial.exposures) <= MAX_EXPOSURES:
        raise InputError(
            f"{where}: {len(trial.exposures)} exposures; the number must lie between 1 and {MAX_EXPOSURES}."
        )
    if trial.exposures[0].start_s != 0.0:
        raise InputError(
            f"{where}: the first exposure starts at {trial.exposures[0].start_s:g} s; the clock starts with it, at 0 s."
        )
    for number, (before, after) in enumerate(
        zip(trial.exposures, trial.exposures[1:], strict=False), start=2
    ):
        if after.start_s < before.end_s:
            raise InputError(
                f"{where}: exposure {number} starts at {after.start_s:g} s, before the one before ends at "
                f"{before.end_s:g} s; put them in order."
            )
    for each in trial.exposures:
        trial.lamp.programme(each.programme)
