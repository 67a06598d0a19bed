"""How a lamp's output and the air inside it change with time, and the programmes it runs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError

FloatArray = NDArray[np.float64]


def _require(name: str, value: float, allowed: str, holds: bool) -> None:
    if not (math.isfinite(value) and holds):
        raise InputError(f"{name} is {value:g}; it must be finite and {allowed}. Check the lamp file.")


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputCourse:
    """Output after switch-on, relative to the measured spectrum.

    ``factor(t) = level_ratio (1 + a exp(-t/tau)) / (1 + a exp(-t_m/tau))``, with t the lamp-on
    time, a the overshoot (positive for diodes that sag as they warm, negative for tubes that
    rise) and t_m the lamp-on time at which the spectrum was measured, where the factor is
    `level_ratio`. The form and its default size for a metal housing (a = 0.10, tau = 330 s) are
    a fit to a published warm-up log of a hand-held inspection lamp.

    Parameters
    ----------
    overshoot_fraction : float
        Output at switch-on above the settled output, over the settled output [-], > -1.
    time_constant_s : float
        Time constant tau [s], > 0.
    level_ratio : float
        Ageing, dirt or battery level now, over that when measured [-], > 0.
    measured_after_s : float
        Lamp-on time at which the spectrum was measured [s], 0 or more.
    """

    overshoot_fraction: float
    time_constant_s: float
    level_ratio: float = 1.0
    measured_after_s: float = 0.0

    def __post_init__(self) -> None:
        """Check the ranges."""
        _require("overshoot_fraction", self.overshoot_fraction, "above -1", self.overshoot_fraction > -1.0)
        _require("time_constant_s", self.time_constant_s, "> 0", self.time_constant_s > 0.0)
        _require("level_ratio", self.level_ratio, "> 0", self.level_ratio > 0.0)
        _require("measured_after_s", self.measured_after_s, ">= 0", self.measured_after_s >= 0.0)

    def factor(self, lamp_on_s: ArrayLike) -> FloatArray:
        """Output over the measured output [-] at lamp-on times [s], 0 or more; same shape."""
        time = np.asarray(lamp_on_s, dtype=np.float64)
        sag = self.overshoot_fraction
        measured = 1.0 + sag * math.exp(-self.measured_after_s / self.time_constant_s)
        factor = self.level_ratio * (1.0 + sag * np.exp(-time / self.time_constant_s)) / measured
        return np.asarray(factor, dtype=np.float64)


CONSTANT_OUTPUT = OutputCourse(overshoot_fraction=0.0, time_constant_s=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class AirTemperature:
    """Air temperature inside the lamp, ``start + rise (1 - exp(-t/tau))`` with t the lamp-on time.

    Parameters
    ----------
    start_k : float
        Temperature at switch-on [K], 253.15-353.15.
    rise_k : float
        Rise after a long time [K], 0-60.
    time_constant_s : float
        Time constant [s], > 0.
    """

    start_k: float
    rise_k: float
    time_constant_s: float

    def __post_init__(self) -> None:
        """Check the ranges."""
        _require("start_k", self.start_k, "253.15 to 353.15 K", 253.15 <= self.start_k <= 353.15)
        _require("rise_k", self.rise_k, "0 to 60 K", 0.0 <= self.rise_k <= 60.0)
        _require("time_constant_s", self.time_constant_s, "> 0", self.time_constant_s > 0.0)

    def temperature_k(self, lamp_on_s: ArrayLike) -> FloatArray:
        """Air temperature [K] at lamp-on times [s], 0 or more; same shape."""
        time = np.asarray(lamp_on_s, dtype=np.float64)
        return np.asarray(
            self.start_k + self.rise_k * -np.expm1(-time / self.time_constant_s), dtype=np.float64
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A stretch of a programme: the output level runs straight from start to end.

    Levels are relative to the lamp's full output [-], 0 to 2; the duration is in seconds, > 0.
    """

    duration_s: float
    level_start_ratio: float
    level_end_ratio: float

    def __post_init__(self) -> None:
        """Check the ranges."""
        _require("duration_s", self.duration_s, "> 0", self.duration_s > 0.0)
        for name in ("level_start_ratio", "level_end_ratio"):
            level = getattr(self, name)
            _require(name, level, "0 to 2", 0.0 <= level <= 2.0)

    def cut(self, duration_s: float) -> Segment:
        """First part of this segment, `duration_s` long [s]."""
        share = duration_s / self.duration_s
        end = self.level_start_ratio + share * (self.level_end_ratio - self.level_start_ratio)
        return Segment(duration_s=duration_s, level_start_ratio=self.level_start_ratio, level_end_ratio=end)


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """A named course of output levels that the lamp runs when its button is pressed.

    Parameters
    ----------
    name : str
        Name used in files and commands.
    segments : tuple of Segment
        At least one, not all dark. The level may jump between two segments (pulses).
    repeat : bool
        Start again at the end. A programme that does not repeat holds its last level.
    """

    name: str
    segments: tuple[Segment, ...]
    repeat: bool

    def __post_init__(self) -> None:
        """Check that there is something to run."""
        object.__setattr__(self, "segments", tuple(self.segments))
        if not self.segments:
            raise InputError(f"programme '{self.name}' has no segments; give at least one.")
        if all(each.level_start_ratio == 0.0 == each.level_end_ratio for each in self.segments):
            raise InputError(
                f"programme '{self.name}' is dark throughout; at least one level must be above 0."
            )

    @property
    def period_s(self) -> float:
        """Length of the segments together [s]."""
        return math.fsum(each.duration_s for each in self.segments)

    def expanded(self, duration_s: float) -> list[Segment]:
        """Segments that fill an exposure of `duration_s` [s] exactly, the last one cut to fit.

        Raises
        ------
        InputError
            If the duration is not above zero, or would need more than 100 000 segments.
        """
        _require("exposure duration", duration_s, "> 0 s", duration_s > 0.0)
        if self.repeat and duration_s / self.period_s * len(self.segments) > 100_000:
            raise InputError(
                f"programme '{self.name}' repeats every {self.period_s:g} s; {duration_s:g} s would need more than "
                "100000 segments. Replace fast pulses by their mean level."
            )
        filled: list[Segment] = []
        left = duration_s
        while True:
            for segment in self.segments:
                # what is left after many subtractions carries rounding dust, no segment
                if left <= 1e-9 * duration_s:
                    return filled
                filled.append(segment if segment.duration_s <= left else segment.cut(left))
                left -= segment.duration_s
            if not self.repeat and left > 1e-9 * duration_s:
                last = self.segments[-1].level_end_ratio
                filled.append(Segment(duration_s=left, level_start_ratio=last, level_end_ratio=last))
                return filled

    def mean_level_ratio(self, duration_s: float) -> float:
        """Mean output level [-] over an exposure of `duration_s` [s]."""
        area = math.fsum(
            0.5 * (each.level_start_ratio + each.level_end_ratio) * each.duration_s
            for each in self.expanded(duration_s)
        )
        return area / duration_s


STEADY = Programme(
    name="steady",
    segments=(Segment(duration_s=60.0, level_start_ratio=1.0, level_end_ratio=1.0),),
    repeat=True,
)
