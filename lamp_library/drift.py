"""A lamp read again: how each position has changed, how fast the lamp ages, when it will be down to 70 %.

Output is taken to fall as exp(-alpha t) with t the hours of light, the form of LM-80 data and their TM-21 projection; a
projection reaches at most six times as far as the readings (see `ageing.longest_claim_hours`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .ageing import L70_FRACTION, longest_claim_hours
from .errors import InputError
from .lamp import Lamp
from .plausibility import CURING_BAND_NM
from .spectrum import Spectrum

FloatArray = NDArray[np.float64]

# standard deviation of one reading's scale against another by the same laboratory: assumed; between laboratories
# intercomparisons of spectroradiometers reach 3 to 6 %
USUAL_REPEAT_FRACTION = 0.02
SALON_HOURS_PER_YEAR = 125.0
ONE_SIDED_SD = 1.645  # 95 % one-sided: 90 % between two ends
_COVERAGE = 2.0  # expanded uncertainties are usually stated for k = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionDrift:
    """One position: irradiance at each reading [W/m2], last over first [-], and how far the centre of its light moved [nm]."""

    position: str
    irradiance_w_m2: tuple[float, ...]
    ratio: float
    centroid_shift_nm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LampDrift:
    """What readings of one lamp at different ages say.

    Attributes
    ----------
    lamp_ids : tuple of str
        The readings, in order of age.
    hours : ndarray, shape (n,)
        Hours of light at each reading [h].
    positions : tuple of PositionDrift
        Common positions.
    mean_ratio : ndarray, shape (n,)
        Output over that of the first reading, geometric mean over the positions [-].
    uneven_sd : float
        Spread of the positions about their mean in the last reading [-].
    repeat_fraction : float
        Standard deviation of one reading's scale [-].
    rate_1_hours, rate_sd_1_hours : float
        Ageing rate alpha and its standard deviation [1/h].
    l70_hours, l70_low_hours, l70_high_hours : float
        Hours to 70 % of the first reading: best, and 90 % interval; infinite where no ageing shows.
    """

    lamp_ids: tuple[str, ...]
    hours: FloatArray
    positions: tuple[PositionDrift, ...]
    mean_ratio: FloatArray
    uneven_sd: float
    repeat_fraction: float
    rate_1_hours: float
    rate_sd_1_hours: float
    l70_hours: float
    l70_low_hours: float
    l70_high_hours: float

    @property
    def is_clear(self) -> bool:
        """Whether ageing shows beyond the doubt of the readings (95 % one-sided)."""
        return self.rate_1_hours > ONE_SIDED_SD * self.rate_sd_1_hours

    @property
    def projection_hours(self) -> float:
        """Furthest that these readings may be projected to: six times their span after the first [h]."""
        return float(self.hours[0]) + longest_claim_hours(float(self.hours[-1] - self.hours[0]))

    def hours_until(self, ratio: float) -> tuple[float, float, float]:
        """Hours of light from the last reading until output has fallen to a share of the last reading's.

        Parameters
        ----------
        ratio : float
            Share of the last reading [-], above 0.

        Returns
        -------
        low, best, high : float
            90 % interval and best value [h], 0 where it is there already, infinite where no ageing shows.
        """
        if not (math.isfinite(ratio) and ratio > 0.0):
            raise InputError(f"ratio is {ratio:g}; it must be above 0.")
        if ratio >= 1.0:
            return 0.0, 0.0, 0.0
        spread = ONE_SIDED_SD * self.rate_sd_1_hours
        return (
            _hours(ratio, self.rate_1_hours + spread),
            _hours(ratio, self.rate_1_hours),
            _hours(ratio, self.rate_1_hours - spread),
        )


def _hours(ratio: float, rate: float) -> float:
    return math.log(1.0 / ratio) / rate if rate > 0.0 else math.inf


def hours_of_use(lamp: Lamp) -> float | None:
    """Hours of light from a lamp's provenance; None where it holds no number."""
    text = lamp.provenance.get("hours_of_use", "").strip().removesuffix("h").strip()
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and value >= 0.0 else None


def lamp_drift(
    readings: Sequence[Lamp], hours: Sequence[float] | None = None, repeat_fraction: float | None = None
) -> LampDrift:
    """Compare readings of one lamp.

    Parameters
    ----------
    readings : sequence of Lamp
        Two or more.
    hours : sequence of float, optional
        Hours of light at each [h]; by default the ``hours_of_use`` of their provenance.
    repeat_fraction : float, optional
        Standard deviation of a reading's scale [-]; by default 0.02, assumed for one instrument.

    Raises
    ------
    InputError
        If hours are missing, equal or descending, or the lamps share no position.
    """
    if len(readings) < 2:
        raise InputError(f"{len(readings)} reading(s); drift needs two or more of the same lamp.")
    age = _ages(readings, hours)
    sd = USUAL_REPEAT_FRACTION if repeat_fraction is None else repeat_fraction
    if not 0.0 < sd < 0.5:
        raise InputError(f"repeat uncertainty is {100 * sd:g} %; it must lie between 0 and 50 %.")
    positions = _positions(readings)
    logs = np.log(np.array([each.irradiance_w_m2 for each in positions]))
    relative = logs - logs[:, :1]
    mean = relative.mean(axis=0)
    uneven = float(np.std(relative[:, -1], ddof=1)) if len(positions) > 1 else 0.0
    # what differs between positions adds to the doubt of their mean
    rate, rate_sd = _slope(age, mean, math.hypot(sd, uneven / math.sqrt(2.0 * len(positions))))
    spread = ONE_SIDED_SD * rate_sd
    return LampDrift(
        lamp_ids=tuple(each.lamp_id for each in readings),
        hours=age,
        positions=positions,
        mean_ratio=np.exp(mean),
        uneven_sd=uneven,
        repeat_fraction=sd,
        rate_1_hours=rate,
        rate_sd_1_hours=rate_sd,
        l70_hours=_hours(L70_FRACTION, rate),
        l70_low_hours=_hours(L70_FRACTION, rate + spread),
        l70_high_hours=_hours(L70_FRACTION, rate - spread),
    )


def _ages(readings: Sequence[Lamp], hours: Sequence[float] | None) -> FloatArray:
    if hours is None:
        found = [hours_of_use(each) for each in readings]
        missing = [each.lamp_id for each, age in zip(readings, found, strict=True) if age is None]
        if missing:
            raise InputError(
                f"lamp {missing[0]}: its hours of use are not recorded; fill in hours_of_use in lamp.toml, or give --hours."
            )
        hours = [age for age in found if age is not None]
    if len(hours) != len(readings):
        raise InputError(f"{len(hours)} hours for {len(readings)} readings; give one for each, in order.")
    age = np.array(hours, dtype=np.float64)
    if not np.isfinite(age).all() or age[0] < 0.0 or np.any(np.diff(age) <= 0.0):
        shown = ", ".join(f"{each:g}" for each in hours)
        raise InputError(
            f"hours of light are {shown}; they must ascend from 0 or more, oldest reading first."
        )
    return age


def _positions(readings: Sequence[Lamp]) -> tuple[PositionDrift, ...]:
    common = [label for label in readings[0].positions if all(label in each.positions for each in readings)]
    if not common:
        raise InputError("the readings share no position; name the positions alike in all of them.")
    found = []
    for label in common:
        spectra = [each.spectrum(label) for each in readings]
        levels = tuple(each.irradiance_w_m2(*CURING_BAND_NM, dark_outside=True) for each in spectra)
        found.append(
            PositionDrift(
                position=label,
                irradiance_w_m2=levels,
                ratio=levels[-1] / levels[0],
                centroid_shift_nm=_centroid_nm(spectra[-1]) - _centroid_nm(spectra[0]),
            )
        )
    return tuple(found)


def _centroid_nm(spectrum: Spectrum) -> float:
    low, high = CURING_BAND_NM
    inside = (spectrum.wavelength_nm >= low) & (spectrum.wavelength_nm <= high)
    nm, light = spectrum.wavelength_nm[inside], spectrum.light().spectral_irradiance_w_m2_nm[inside]
    return float(np.trapezoid(nm * light, nm) / np.trapezoid(light, nm))


def _slope(hours: FloatArray, log_ratio: FloatArray, sd: float) -> tuple[float, float]:
    """Ageing rate by a straight line through the logarithms, each with the same doubt of its scale, and its deviation."""
    centred = hours - hours.mean()
    spread = float(np.sum(centred**2))
    rate = -float(np.sum(centred * log_ratio)) / spread
    misfit = log_ratio - log_ratio.mean() + rate * centred
    if hours.size > 2:
        sd = max(sd, math.sqrt(float(np.sum(misfit**2)) / (hours.size - 2)))
    return rate, sd / math.sqrt(spread)


def stated_repeat_fraction(readings: Sequence[Lamp]) -> float | None:
    """Largest standard uncertainty stated in the readings' provenance [-]; None where none is stated."""
    found = []
    for each in readings:
        text = each.provenance.get("expanded_uncertainty_percent", "").strip().removesuffix("%").strip()
        try:
            found.append(float(text) / 100.0 / _COVERAGE)
        except ValueError:
            continue
    return max(found) if found else None
