"""Predicted against measured, in figures and in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..models.trial import TrialSignal

Floats = NDArray[np.float64]

# deviations of less than this share of the measured figure are called agreement, where noise allows no less
AGREEING_SHARE = 0.05
_SHOWN = {"reaction_temperature": (1.0, "K"), "conversion": (100.0, "points"), "heat_flow": (1e-3, "W/g")}
_THINGS = {
    "reaction_temperature": "reaction temperature",
    "conversion": "conversion",
    "heat_flow": "heat flow",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """How far a prediction lies from a measured signal.

    Attributes
    ----------
    name, kind : str
        The signal.
    measured_peak, predicted_peak : float
        Highest value, of a conversion the last one, in the unit of the kind.
    measured_peak_s, predicted_peak_s : float
        When it is reached; of a conversion, when half of the last value is [s].
    rms : float
        Root mean square of predicted minus measured.
    noise_rms : float
        Scatter of the measurement.
    """

    name: str
    kind: str
    measured_peak: float
    predicted_peak: float
    measured_peak_s: float
    predicted_peak_s: float
    rms: float
    noise_rms: float

    @property
    def sentences(self) -> tuple[str, ...]:
        """The deviation in words."""
        scale, unit = _SHOWN[self.kind]
        measured, predicted = scale * self.measured_peak, scale * self.predicted_peak
        name = "final" if self.kind == "conversion" else "highest"
        agree = max(AGREEING_SHARE * abs(measured), 2.0 * scale * self.noise_rms)
        difference = predicted - measured
        if abs(difference) <= agree:
            size = f"agrees with the measured {measured:.3g} {unit} (predicted {predicted:.3g})"
        else:
            way = "higher" if difference > 0.0 else "lower"
            share = f", {100.0 * abs(difference) / abs(measured):.0f} %" if measured else ""
            size = f"is predicted {abs(difference):.2g} {unit} {way} than measured{share} ({predicted:.3g} against {measured:.3g})"
        late = self.predicted_peak_s - self.measured_peak_s
        what = "half of it" if self.kind == "conversion" else "it"
        when = (
            f"{what} comes {abs(late):.1f} s {'later' if late > 0.0 else 'earlier'} than measured"
            if abs(late) >= 0.5
            else f"{what} comes when measured"
        )
        ratio = self.rms / self.noise_rms
        return (
            f"The {name} {_THINGS[self.kind]} {size}; {when}.",
            f"Typical distance of the curves {scale * self.rms:.2g} {unit}, {_times(ratio)} times the noise of the measurement"
            + (
                ": the model explains these data."
                if ratio < 1.5
                else ": more than noise, so a fit has something to learn."
            ),
        )


def _times(ratio: float) -> str:
    return f"{ratio:.0f}" if ratio >= 10.0 else f"{ratio:.1f}"


def deviation_of(signal: TrialSignal, predicted: Floats) -> Deviation:
    """Compare a signal with what was predicted at its times.

    Parameters
    ----------
    signal : TrialSignal
        Measured.
    predicted : ndarray, shape (n,)
        Predicted, in the signal's unit.
    """
    time = signal.time_s
    peaks = [_peak(signal.kind, time, values) for values in (signal.value, predicted)]
    return Deviation(
        name=signal.name,
        kind=signal.kind,
        measured_peak=peaks[0][0],
        measured_peak_s=peaks[0][1],
        predicted_peak=peaks[1][0],
        predicted_peak_s=peaks[1][1],
        rms=math.sqrt(float(np.mean((predicted - signal.value) ** 2))),
        noise_rms=math.sqrt(float(np.mean(signal.noise_sd**2))),
    )


def _peak(kind: str, time: Floats, values: Floats) -> tuple[float, float]:
    if kind != "conversion":
        top = int(np.argmax(values))
        return float(values[top]), float(time[top])
    last = float(np.mean(values[-max(values.size // 20, 1) :]))
    half = np.flatnonzero(values >= 0.5 * last)
    return last, float(time[half[0]]) if half.size and last > 0.0 else float(time[-1])
