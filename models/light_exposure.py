"""Light on skin and eye where the nail lies: an estimate at the film, not a photobiological assessment.

Limits: ICNIRP, Health Phys. 2004, 87, 171, which Directive 2006/25/EC makes law for workers: within 8 hours
30 J/m2 of light weighted with the actinic spectrum S (skin and eye, 180-400 nm), and 10 000 J/m2 of unweighted UV-A
(315-400 nm) on the eye. IEC 62471 lets the eye have 10 W/m2 without end after 1000 s; the stricter reading, a dose at any
irradiance, is used here.

The group limits of IEC 62471 are derived from the two limits (30 J/m2 in 30 000, 10 000 and 1000 s; 10 000 J/m2 in 1000,
300 and 100 s), not read in the standard, which also judges at 20 cm and not at the film.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from .actinic import FIRST_NM, LAST_NM, actinic_weight, erythema_weight

if TYPE_CHECKING:
    from ..lamp_library.lamp import Lamp
    from ..lamp_library.spectrum import Spectrum

Array = NDArray[np.float64]

EFFECTIVE_LIMIT_J_M2 = 30.0
EYE_UV_A_LIMIT_J_M2 = 1.0e4
LIMIT_PERIOD_S = 8.0 * 3600.0
UV_A_NM = (315.0, 400.0)
# Consumer advice of the US FDA, as quoted by Hacker et al. 2021: at most this long per hand and session.
ADVISED_LONGEST_SESSION_S = 600.0

GROUPS = ("exempt", "risk group 1", "risk group 2", "risk group 3")
ACTINIC_GROUP_LIMITS_W_M2 = (0.001, 0.003, 0.03)
NEAR_UV_GROUP_LIMITS_W_M2 = (10.0, 33.0, 100.0)

CAUTION = "An estimate at the film from the measured spectra, not a photobiological assessment of the lamp."
# between the points of the table S is a straight line in the logarithm; this fine, a plain one serves
_STEP_NM = 0.1
_NOISE_SHARE_TO_TELL = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class LightExposure:
    """Light that reaches unprotected skin, or an eye, at the place of the nail.

    Attributes
    ----------
    position : str
        Where in the lamp.
    effective_irradiance_w_m2 : float
        Weighted with S, 300-400 nm [W/m2]: the larger of the readings as measured and the light above their noise floor.
    noise_share_fraction : float
        Share of it that readings at the noise floor make [-].
    uv_a_irradiance_w_m2 : float
        Unweighted, 315-400 nm [W/m2], chosen likewise.
    erythemal_irradiance_w_m2 : float
        Weighted for reddening of the skin (ISO/CIE 17166), 300-400 nm [W/m2], chosen likewise.
    measured_from_nm : float
        Where the measurement begins [nm]; what lies below is not counted.
    """

    position: str
    effective_irradiance_w_m2: float
    noise_share_fraction: float
    uv_a_irradiance_w_m2: float
    erythemal_irradiance_w_m2: float
    measured_from_nm: float

    @property
    def effective_limit_time_s(self) -> float | None:
        """Time to 30 J/m2 weighted [s]; None when no light carries weight."""
        return _time_to(EFFECTIVE_LIMIT_J_M2, self.effective_irradiance_w_m2)

    @property
    def eye_limit_time_s(self) -> float | None:
        """Time until an eye at this place has 10 000 J/m2 of UV-A [s]; None without UV-A."""
        return _time_to(EYE_UV_A_LIMIT_J_M2, self.uv_a_irradiance_w_m2)

    @property
    def actinic_group(self) -> str:
        """Group by the weighted irradiance at the film; derived limits."""
        return risk_group(self.effective_irradiance_w_m2, ACTINIC_GROUP_LIMITS_W_M2)

    @property
    def near_uv_group(self) -> str:
        """Group by the UV-A irradiance at the film; derived limits."""
        return risk_group(self.uv_a_irradiance_w_m2, NEAR_UV_GROUP_LIMITS_W_M2)

    def session(self, cures: int, cure_s: float) -> SessionDose:
        """What one hand receives in a session of `cures` exposures of `cure_s` [s] each.

        Raises
        ------
        InputError
            If there is no cure, or a cure takes no time.
        """
        if cures < 1 or not (np.isfinite(cure_s) and cure_s > 0.0):
            raise InputError(
                f"session of {cures} cures of {cure_s:g} s; give 1 or more cures, each above 0 s."
            )
        lit_s = cures * cure_s
        return SessionDose(
            cures=cures,
            cure_s=cure_s,
            effective_dose_j_m2=self.effective_irradiance_w_m2 * lit_s,
            uv_a_dose_j_m2=self.uv_a_irradiance_w_m2 * lit_s,
            erythemal_dose_j_m2=self.erythemal_irradiance_w_m2 * lit_s,
        )

    @property
    def cautions(self) -> tuple[str, ...]:
        """Sentences on what the figures do not cover, the general caution first."""
        found = [CAUTION]
        if self.measured_from_nm > UV_A_NM[0]:
            found.append(
                f"The measurement begins at {self.measured_from_nm:g} nm; shorter light, which weighs most, is not counted."
            )
        if self.noise_share_fraction > _NOISE_SHARE_TO_TELL:
            found.append(
                f"{100.0 * self.noise_share_fraction:.0f} % of the weighted light are readings at the noise floor; a "
                "stray-light-corrected measurement may give less."
            )
        return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionDose:
    """Light on one unprotected hand in one session: doses [J/m2] of `cures` exposures of `cure_s` [s]."""

    cures: int
    cure_s: float
    effective_dose_j_m2: float
    uv_a_dose_j_m2: float
    erythemal_dose_j_m2: float

    @property
    def effective_limit_fraction(self) -> float:
        """Share of the limit of 8 hours for skin and eye, 30 J/m2 weighted [-]; above 1 = over it."""
        return self.effective_dose_j_m2 / EFFECTIVE_LIMIT_J_M2

    @property
    def eye_uv_a_limit_fraction(self) -> float:
        """Share of the limit of 8 hours for an eye held at the place of the hand, 10 000 J/m2 of UV-A [-]."""
        return self.uv_a_dose_j_m2 / EYE_UV_A_LIMIT_J_M2

    @property
    def sentence(self) -> str:
        """The outcome for the skin in plain words."""
        share = self.effective_limit_fraction
        session = f"{self.cures} cures of {self.cure_s:g} s per hand"
        percent = f"{100.0 * share:.0f} %" if share >= 0.01 else "less than 1 %"
        if share >= 1.0:
            return f"{session} exceed the occupational limit of a day ({percent}): shorten them or weaken the lamp."
        place = "well below" if share <= 0.25 else "below"
        words = f"{session} use {percent} of the occupational limit of a day, {place} it; protect the skin anyway."
        if self.cures * self.cure_s > ADVISED_LONGEST_SESSION_S:
            words += f" Consumer advice is not more than {ADVISED_LONGEST_SESSION_S / 60.0:g} min per hand and session."
        return words


def _time_to(limit_j_m2: float, irradiance_w_m2: float) -> float | None:
    return limit_j_m2 / irradiance_w_m2 if irradiance_w_m2 > 0.0 else None


def risk_group(irradiance_w_m2: float, limits_w_m2: tuple[float, float, float]) -> str:
    """Group of IEC 62471 by one hazard; a value on a limit still belongs to the lower group.

    Parameters
    ----------
    irradiance_w_m2 : float
        Irradiance of the hazard [W/m2].
    limits_w_m2 : tuple of float
        Upper limits of the exempt group and of risk groups 1 and 2 [W/m2]; derived, see the module.
    """
    return GROUPS[sum(irradiance_w_m2 > limit * (1.0 + 1e-12) for limit in limits_w_m2)]


def light_exposure(spectrum: Spectrum, position: str = "film") -> LightExposure:
    """Weigh a spectrum for skin and eye.

    Parameters
    ----------
    spectrum : Spectrum
        At the place of the nail; taken as dark outside its range.
    position : str
        Label of the place.

    Raises
    ------
    InputError
        If there is light below 300 nm, where the table ends.

    Notes
    -----
    Readings at the noise floor of an array instrument count little for a cure but, where S is large (S at 300 nm is 2700
    times S at 365 nm), a good deal here. They may be stray light or real; the figures keep whichever is more.
    """
    light = spectrum.light()
    lit = light.wavelength_nm[light.spectral_irradiance_w_m2_nm > 0.0]
    if lit.size and lit[0] < FIRST_NM:
        raise InputError(
            f"position '{position}' gives light from {lit[0]:g} nm; the actinic table covers {FIRST_NM:g} nm and above. "
            "A lamp that shines there needs a photobiological assessment."
        )
    grid = np.linspace(FIRST_NM, LAST_NM, round((LAST_NM - FIRST_NM) / _STEP_NM) + 1)
    figures = {}
    for name, weight in (("effective", actinic_weight(grid)), ("erythemal", erythema_weight(grid))):
        figures[name] = [_weighted(each, grid, weight) for each in (spectrum, light)]
    uv_a = [each.irradiance_w_m2(*UV_A_NM, dark_outside=True) for each in (spectrum, light)]
    effective = max(figures["effective"])
    return LightExposure(
        position=position,
        effective_irradiance_w_m2=effective,
        noise_share_fraction=1.0 - figures["effective"][1] / effective if effective > 0.0 else 0.0,
        uv_a_irradiance_w_m2=max(uv_a),
        erythemal_irradiance_w_m2=max(figures["erythemal"]),
        measured_from_nm=float(spectrum.wavelength_nm[0]),
    )


def _weighted(spectrum: Spectrum, grid: Array, weight: Array) -> float:
    """Weighted irradiance [W/m2]; 0 where the spectrum does not reach the weight."""
    if spectrum.wavelength_nm[0] >= grid[-1] or spectrum.wavelength_nm[-1] <= grid[0]:
        return 0.0
    return spectrum.weighted(grid, weight)


def lamp_exposure(lamp: Lamp) -> LightExposure:
    """Exposure at the position with the most weighted light, at the lamp's highest output after switch-on.

    The UV-A and the reddening light are the most found at any position.

    Raises
    ------
    InputError
        If the lamp shines below 300 nm.
    """
    course = lamp.course
    # a sagging lamp is strongest at switch-on, a rising one after a long time
    level = max(float(course.factor(0.0)), float(course.factor(1e3 * course.time_constant_s)))
    found = [light_exposure(lamp.spectrum(each).scaled(level), each) for each in lamp.positions]
    worst = max(found, key=lambda each: each.effective_irradiance_w_m2)
    return replace(
        worst,
        uv_a_irradiance_w_m2=max(each.uv_a_irradiance_w_m2 for each in found),
        erythemal_irradiance_w_m2=max(each.erythemal_irradiance_w_m2 for each in found),
    )
