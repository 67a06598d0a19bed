"""Brief: what a blend has to do, in SI units, checked on construction."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError
from ..lamp_library.units import c_from_k, k_from_c
from .brief_checks import check_brief
from .brief_keys import TISSUE_LIMIT_REASON
from .own_rules import OwnRules

NAIL_BED_HIGHEST_K = k_from_c(48.0)
COMFORT_K = k_from_c(42.0)
# thresholds of skin 43-45 °C (Stoll & Greene 1959; Defrin 2006); none was measured under a nail
PAIN_K = k_from_c(43.0)
FILM_COMMON_PRACTICE_K = k_from_c(71.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a blend may not cross; ``None`` means not asked for.

    Parameters
    ----------
    nail_bed_max_k : float
        Highest nail-bed temperature [K]; above 321.15 K (48 °C) it is refused.
    cem43_max_min : float
        Highest thermal dose of the nail bed [equivalent minutes at 43 °C].
    film_max_k : float or None
        Highest film temperature [K].
    second_cycle_heat_max_ratio : float or None
        Highest reaction heat of a second cycle over that of the first [-] (common practice).
    bottom_conversion_min_share : float or None
        Lowest conversion at the base of the coat as a share of the conversion possible in a film at 33 °C [-].
    bottom_conversion_min_fraction : float or None
        The same as an absolute conversion [-]; used instead of the share when given.
    surface_conversion_min_share, surface_conversion_min_fraction : float or None
        Lowest conversion near the surface [-].
    tacky_layer_max_m : float or None
        Thickest uncured surface layer [m].
    residual_initiator_max_wt_pct, total_initiator_max_wt_pct : float or None
        Unspent initiator after the cure, and initiator plus amine weighed in [wt%].
    yellowness_max_ratio : float or None
        Highest yellowness index of the cured film (ASTM E313) [-].
    cost_max_per_kg : float or None
        Highest cost of the initiator package per kg of gel, in the brief's currency.
    """

    nail_bed_max_k: float = 318.15
    cem43_max_min: float = 1.0
    film_max_k: float | None = None
    second_cycle_heat_max_ratio: float | None = 0.05
    bottom_conversion_min_share: float | None = 0.9
    bottom_conversion_min_fraction: float | None = None
    surface_conversion_min_share: float | None = None
    surface_conversion_min_fraction: float | None = None
    tacky_layer_max_m: float | None = None
    residual_initiator_max_wt_pct: float | None = None
    total_initiator_max_wt_pct: float | None = None
    yellowness_max_ratio: float | None = None
    cost_max_per_kg: float | None = None

    def __post_init__(self) -> None:
        if not self.nail_bed_max_k <= NAIL_BED_HIGHEST_K + 1e-9:
            raise InputError(
                f"nail_bed_max_k is {c_from_k(self.nail_bed_max_k):.1f} °C; it must be at most 48 °C, "
                f"because {TISSUE_LIMIT_REASON}. Give a lower limit."
            )
        for where in ("bottom", "surface"):
            share = getattr(self, f"{where}_conversion_min_share")
            fraction = getattr(self, f"{where}_conversion_min_fraction")
            if share is not None and fraction is not None and where == "surface":
                raise InputError(
                    f"limits: {where}_conversion_min_share ({share:g}) and {where}_conversion_min_fraction "
                    f"({fraction:g}) are both given; only one can hold. Remove one."
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """Distance kept from the limits on purpose.

    Parameters
    ----------
    temperature_k : float
        Kelvin below every temperature limit.
    conversion_fraction : float
        Conversion above every cure limit [-].
    """

    temperature_k: float = 0.0
    conversion_fraction: float = 0.0

    @property
    def is_empty(self) -> bool:
        """Whether none is kept."""
        return self == Margins()


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertainty:
    """Errors drawn when the probability of passing is estimated (one standard deviation, relative).

    Parameters
    ----------
    weighing_error_ratio : float
        Error of each weighed loading [-] (assumed default 1 %).
    lamp_output_error_ratio : float
        Error of the lamp's output [-] (assumed default 7 %).
    draws : int
        Number of draws, a power of two.
    """

    weighing_error_ratio: float = 0.01
    lamp_output_error_ratio: float = 0.07
    draws: int = 64

    def __post_init__(self) -> None:
        if self.draws < 2 or self.draws & (self.draws - 1):
            raise InputError(
                f"uncertainty.draws is {self.draws}; Sobol draws need a power of two. Use 64, 128 or 256."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the search may choose beside the blend; nothing when all is empty.

    Parameters
    ----------
    exposures_s : tuple of float
        Cure times to choose among [s].
    exposure_low_s, exposure_high_s : float or None
        A window of cure times instead [s].
    programmes : tuple of str
        Programmes and sequences to choose among; ``"all"`` = every one the lamp has.
    coats : tuple of int
        Numbers of coats, each cured, for the same total thickness.
    """

    exposures_s: tuple[float, ...] = ()
    exposure_low_s: float | None = None
    exposure_high_s: float | None = None
    programmes: tuple[str, ...] = ()
    coats: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        low, high = self.exposure_low_s, self.exposure_high_s
        if (low is None) != (high is None):
            raise InputError(
                "choices: cure_seconds_low and cure_seconds_high belong together. Give both or neither."
            )
        if low is not None and high is not None and low >= high:
            raise InputError(
                f"choices.cure_seconds_low is {low:g} s; it must be below cure_seconds_high ({high:g} s). Exchange the two."
            )
        if low is not None and self.exposures_s:
            raise InputError(
                "choices: cure_seconds and a window cure_seconds_low to _high are both given; only one can hold. "
                "Remove one."
            )
        for label, values in (("cure_seconds", self.exposures_s), ("coats", self.coats)):
            if len(set(values)) != len(values):
                raise InputError(f"choices.{label}: a value is listed twice. Remove one.")

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to choose."""
        return self == Choices()


@dataclass(frozen=True, slots=True, kw_only=True)
class Brief:
    """Everything a search needs to know, as asked for by the formulator.

    Parameters
    ----------
    title : str
        What the blend is for.
    lamps : tuple of str
        Packaged ids or absolute paths.
    serve : str
        How several lamps are served: ``one_blend`` for all, a ``blend_per_lamp``, or the ``largest_set`` one blend can
        serve.
    exposure_s, rest_s : float
        Lamp-on time of one cycle and pause between cycles [s].
    programme : str
        Name of the lamp's programme, or a sequence such as ``"low_heat 20 s then steady"``.
    exposures_s, programmes : mapping of str to float, mapping of str to str
        Cure time [s] and programme of single lamps, by the name in `lamps`, where they differ from the above.
    gel_file : str or None
        Packaged id or absolute path of a gel whose resin base is used; otherwise `resin_parts`.
    coat : str
        ``base``, ``builder``, ``colour`` or ``top``.
    resin_parts, stabilisers_wt_pct : mapping of str to float
        Resin base in parts by weight; stabilisers in wt% of the whole gel.
    thickness_low_m, thickness_high_m : float
        Window of the wet film [m].
    markets : tuple of str
        Markets whose law applies, all of them.
    on_date : datetime.date
        Date on which the law is read.
    professional_use : bool
        Whether only trained people will use the gel.
    allowed, forbidden : tuple of str
        Substance keys; an empty `allowed` means every known one whose status in the markets is known.
    allow_unknown_status : bool
        Whether substances whose status in a market is unknown are searched without being named in `allowed`.
    max_initiators : int
        Most initiators in a blend; an amine is not counted.
    smallest_loading_wt_pct : float
        Smallest loading worth weighing [wt%], 0.002 or more.
    caps_wt_pct : mapping of str to float
        The formulator's own upper limits [wt%].
    limits, margins, uncertainty, choices, own
        See the classes.
    objective : str
        ``least_heat``, ``least_initiator``, ``least_cost`` or ``least_yellowing``.
    currency : str
        Label printed beside prices.
    prices_per_kg : mapping of str to float
        Price of one kg of a substance.
    hand_start_k, nail_thickness_m : float
        Finger temperature before the cure [K], nail plate thickness [m].
    chance : float or None
        Least chance of passing in use [-] under which the objective is minimised; None = the nominal limits alone.
    surest : bool
        Whether the highest chance of passing is sought instead.
    seed : int
        Seed of every random draw.
    is_demonstration : bool
        Whether the brief holds invented demonstration data.

    Raises
    ------
    InputError
        If the parts contradict one another.
    """

    title: str
    lamps: tuple[str, ...]
    exposure_s: float
    thickness_low_m: float
    thickness_high_m: float
    markets: tuple[str, ...]
    on_date: date
    professional_use: bool
    objective: str
    serve: str = "one_blend"
    rest_s: float = 60.0
    programme: str = "steady"
    exposures_s: Mapping[str, float] = field(default_factory=dict)
    programmes: Mapping[str, str] = field(default_factory=dict)
    gel_file: str | None = None
    coat: str = "builder"
    resin_parts: Mapping[str, float] = field(default_factory=dict)
    stabilisers_wt_pct: Mapping[str, float] = field(default_factory=dict)
    allowed: tuple[str, ...] = ()
    forbidden: tuple[str, ...] = ()
    allow_unknown_status: bool = False
    max_initiators: int = 3
    smallest_loading_wt_pct: float = 0.05
    caps_wt_pct: Mapping[str, float] = field(default_factory=dict)
    limits: Limits = field(default_factory=Limits)
    margins: Margins = field(default_factory=Margins)
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    choices: Choices = field(default_factory=Choices)
    own: OwnRules = field(default_factory=OwnRules)
    currency: str = ""
    prices_per_kg: Mapping[str, float] = field(default_factory=dict)
    hand_start_k: float = 306.15
    nail_thickness_m: float = 0.45e-3
    chance: float | None = None
    surest: bool = False
    seed: int = 1
    note: str = ""
    is_demonstration: bool = False

    def __post_init__(self) -> None:
        check_brief(self)

    def exposure_in_s(self, index: int) -> float:
        """Cure time in the lamp of this number [s]."""
        return self.exposures_s.get(self.lamps[index], self.exposure_s)

    def programme_in(self, index: int) -> str:
        """Programme of the lamp of this number."""
        return self.programmes.get(self.lamps[index], self.programme)

    def for_lamps(self, names: Sequence[str]) -> Brief:
        """The same brief for some of its lamps."""
        return replace(
            self,
            lamps=tuple(names),
            exposures_s={name: value for name, value in self.exposures_s.items() if name in names},
            programmes={name: value for name, value in self.programmes.items() if name in names},
        )

    @property
    def is_robust(self) -> bool:
        """Whether blends are made sure in use, not only on paper."""
        return self.chance is not None or self.surest

    @property
    def thicknesses_m(self) -> tuple[float, ...]:
        """The ends of the thickness window [m], one value when they coincide."""
        if self.thickness_low_m == self.thickness_high_m:
            return (self.thickness_high_m,)
        return (self.thickness_low_m, self.thickness_high_m)

    @property
    def digest(self) -> str:
        """Short fingerprint of the brief's content; equal briefs give equal fingerprints."""
        plain = json.dumps(asdict(self), sort_keys=True, default=_plain)
        return hashlib.sha256(plain.encode()).hexdigest()[:16]


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, date | Path):
        return str(value)
    raise TypeError(f"cannot write {type(value).__name__} as JSON")
