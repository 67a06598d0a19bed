"""How a lamp's output and the air inside it change with time, and the programmes it runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError

FloatArray = NDArray[np.float64]

# Pulses repeating this fast or faster (20 Hz and above) run as their mean level.
FAST_PERIOD_S = 0.05


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
    notes : tuple of str
        Sentences on what was simplified, such as fast pulses inside a sequence.

    Notes
    -----
    Radical-radical termination makes the rate follow the square root of the light. Pulses much
    shorter than a radical lives act as their mean level (a share D of the time at full output
    cures like a steady D: rate sqrt(D) of full); pulses much longer act as on and off (rate D of
    full). This is the textbook rotating-sector result, from memory. A repeating programme with a
    period of 0.05 s or less therefore runs as its mean level; a slower one keeps its edges. In a
    thick builder coat half cured at half duty, edges at 20 Hz instead of the mean changed the
    conversion by 0.001, at 5 Hz by 0.01 and at 1 Hz by 0.06.
    """

    name: str
    segments: tuple[Segment, ...]
    repeat: bool
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Check that there is something to run."""
        object.__setattr__(self, "segments", tuple(self.segments))
        object.__setattr__(self, "notes", tuple(self.notes))
        if not self.segments:
            raise InputError(f"programme '{self.name}' has no segments; give at least one.")
        if all(each.level_start_ratio == 0.0 == each.level_end_ratio for each in self.segments):
            raise InputError(
                f"programme '{self.name}' is dark throughout; at least one level must be above 0."
            )

    @classmethod
    def pulsed(
        cls,
        name: str,
        *,
        period_s: float,
        duty_fraction: float,
        level_ratio: float = 1.0,
        low_level_ratio: float = 0.0,
    ) -> Programme:
        """Pulse train that begins with a pulse and repeats.

        Parameters
        ----------
        name : str
            Name of the programme.
        period_s : float
            From one pulse to the next [s], > 0; ``1 / frequency`` for a dimmed lamp.
        duty_fraction : float
            Share of the period that the pulse lasts [-], above 0, at most 1.
        level_ratio, low_level_ratio : float
            Output during and between the pulses, relative to full [-].
        """
        _require("period_s", period_s, "> 0", period_s > 0.0)
        _require("duty_fraction", duty_fraction, "above 0, at most 1", 0.0 < duty_fraction <= 1.0)
        parts = [(duty_fraction * period_s, level_ratio), ((1.0 - duty_fraction) * period_s, low_level_ratio)]
        segments = tuple(
            Segment(duration_s=seconds, level_start_ratio=level, level_end_ratio=level)
            for seconds, level in parts
            if seconds > 0.0
        )
        return cls(name=name, segments=segments, repeat=True)

    @classmethod
    def ramp(
        cls, name: str, *, ramp_s: float, level_start_ratio: float, level_end_ratio: float = 1.0
    ) -> Programme:
        """Straight ramp between two levels over `ramp_s` [s]; the last level is held."""
        segment = Segment(
            duration_s=ramp_s, level_start_ratio=level_start_ratio, level_end_ratio=level_end_ratio
        )
        return cls(name=name, segments=(segment,), repeat=False)

    @classmethod
    def sequence(
        cls, name: str, parts: Sequence[tuple[Programme, float]], *, repeat: bool = False
    ) -> Programme:
        """Programmes one after the other.

        Parameters
        ----------
        name : str
            Name of the whole.
        parts : sequence of (Programme, float)
            Each programme and how long it runs [s]; it starts from its own beginning.
        repeat : bool
            Start again at the end; otherwise the last level of the last part is held.
        """
        segments = tuple(
            segment for programme, duration_s in parts for segment in programme.expanded(duration_s)
        )
        notes = dict.fromkeys(remark for programme, _ in parts for remark in programme.remarks)
        return cls(name=name, segments=segments, repeat=repeat, notes=tuple(notes))

    @property
    def period_s(self) -> float:
        """Length of the segments together [s]."""
        return math.fsum(each.duration_s for each in self.segments)

    @property
    def period_mean_ratio(self) -> float:
        """Mean output level of the segments together, relative to full [-]."""
        return _area_s(self.segments) / self.period_s

    @property
    def is_fast(self) -> bool:
        """Whether this repeats fast enough to run as its mean level."""
        return self.repeat and self.period_s <= FAST_PERIOD_S * (1.0 + 1e-9)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader of a result should know about how this programme is run."""
        levels = {level for each in self.segments for level in (each.level_start_ratio, each.level_end_ratio)}
        if not self.is_fast or len(levels) == 1:
            return self.notes
        fast = (
            f"Programme '{self.name}' pulses at {1.0 / self.period_s:.4g} Hz, faster than radicals live; it is run as its "
            f"mean level, {self.period_mean_ratio:.3g} of full output."
        )
        return (*self.notes, fast)

    def expanded(self, duration_s: float) -> list[Segment]:
        """Segments that fill an exposure of `duration_s` [s] exactly, the last one cut to fit.

        The whole periods of a fast pulse train become one segment at their mean level; what is
        left of the exposure, less than a period, keeps its edges, so that the radiant exposure is
        exact for every duration.

        Raises
        ------
        InputError
            If the duration is not above zero, or would need more than 100 000 segments.
        """
        _require("exposure duration", duration_s, "> 0 s", duration_s > 0.0)
        periods = math.floor(duration_s / self.period_s * (1.0 + 1e-9)) if self.is_fast else 0
        if periods == 0:
            return self._with_edges(duration_s, duration_s)
        mean = self.period_mean_ratio
        covered_s = min(periods * self.period_s, duration_s)
        averaged = Segment(duration_s=covered_s, level_start_ratio=mean, level_end_ratio=mean)
        return [averaged, *self._with_edges(duration_s - covered_s, duration_s)]

    def _with_edges(self, left_s: float, exposure_s: float) -> list[Segment]:
        """Segments for the first `left_s` [s] of the programme, in an exposure of `exposure_s` [s]."""
        if self.repeat and left_s / self.period_s * len(self.segments) > 100_000:
            raise InputError(
                f"programme '{self.name}' repeats every {self.period_s:g} s; {left_s:g} s would need more than "
                "100000 segments. Shorten the exposure or simplify the programme."
            )
        # what is left after many subtractions carries rounding dust, no segment
        dust_s = 1e-9 * exposure_s
        filled: list[Segment] = []
        while True:
            for segment in self.segments:
                if left_s <= dust_s:
                    return filled
                filled.append(segment if segment.duration_s <= left_s else segment.cut(left_s))
                left_s -= segment.duration_s
            if not self.repeat and left_s > dust_s:
                last = self.segments[-1].level_end_ratio
                filled.append(Segment(duration_s=left_s, level_start_ratio=last, level_end_ratio=last))
                return filled

    def mean_level_ratio(self, duration_s: float) -> float:
        """Mean output level [-] over an exposure of `duration_s` [s]."""
        return _area_s(self.expanded(duration_s)) / duration_s


def _area_s(segments: Sequence[Segment]) -> float:
    """Time integral of the relative level [s]."""
    return math.fsum(
        0.5 * (each.level_start_ratio + each.level_end_ratio) * each.duration_s for each in segments
    )


STEADY = Programme(
    name="steady",
    segments=(Segment(duration_s=60.0, level_start_ratio=1.0, level_end_ratio=1.0),),
    repeat=True,
)
