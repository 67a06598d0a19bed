"""What happens to a nail, event by event: a coat goes on, the lamp is lit, the hand rests, the tacky layer is wiped off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from ..lamp_library.errors import InputError
from ..lamp_library.units import c_from_k, um_from_m
from .gel import COATS, Gel
from .heat import Hand

THICKNESS_RANGE_UM = (1.0, 3000.0)
EXPOSURE_RANGE_S = (0.01, 3600.0)
REST_RANGE_S = (0.1, 7200.0)
ARRIVES_RANGE_K = (273.15, 323.15)
ROOM_K = 296.15
MOST_EVENTS = 60
MOST_COATS = 10
USUAL_COLOUR_COATS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Apply:
    """A fresh coat goes on.

    Attributes
    ----------
    gel : Gel
        What is applied.
    thickness_m : float or None
        Wet film [m]; None = the gel's own.
    arrives_k : float
        Temperature of the gel as it comes out of the bottle [K].
    """

    gel: Gel
    thickness_m: float | None = None
    arrives_k: float = ROOM_K

    @property
    def film_thickness_m(self) -> float:
        """Thickness given, or the gel's own [m]."""
        return self.gel.thickness_m if self.thickness_m is None else self.thickness_m

    @property
    def words(self) -> str:
        """The event in a few words."""
        return f"apply {self.gel.name}, {um_from_m(self.film_thickness_m):g} um"


@dataclass(frozen=True, slots=True, kw_only=True)
class Expose:
    """The lamp is switched on for some seconds with one of its programmes; its warm-up starts afresh."""

    seconds: float
    programme: str = "steady"

    @property
    def words(self) -> str:
        """The event in a few words."""
        return f"expose {self.seconds:g} s, {self.programme}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """The hand rests in the dark."""

    seconds: float

    @property
    def words(self) -> str:
        """The event in a few words."""
        return f"rest {self.seconds:g} s"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wipe:
    """The tacky layer of the topmost coat is wiped off."""

    @property
    def words(self) -> str:
        """The event in a few words."""
        return "wipe"


Event = Apply | Expose | Rest | Wipe
KINDS: dict[type, str] = {Apply: "apply", Expose: "expose", Rest: "rest", Wipe: "wipe"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """A whole build.

    Attributes
    ----------
    title : str
        Name for reports.
    events : tuple of Apply, Expose, Rest or Wipe
        In the order of time; the first coat lies on the nail.
    hand : Hand
        Nail, tissue, start temperature.
    lamp : str
        Lamp id or folder; "" = to be given by the caller.
    position : str
        Finger position; "" = not named.
    note : str
        Free text.
    is_demonstration : bool
        Whether it is invented.

    Raises
    ------
    InputError
        If an event cannot happen where it stands; the message gives its number.
    """

    title: str
    events: tuple[Event, ...]
    hand: Hand = field(default_factory=Hand)
    lamp: str = ""
    position: str = ""
    note: str = ""
    is_demonstration: bool = False

    def __post_init__(self) -> None:
        """Check the order and the numbers of the events."""
        object.__setattr__(self, "events", tuple(self.events))
        _check_count(self.events)
        fresh, coats = False, 0
        for number, event in enumerate(self.events, start=1):
            where = f"event {number} ({KINDS[type(event)]})"
            _check_numbers(event, where)
            if isinstance(event, Apply):
                fresh, coats = True, coats + 1
            elif coats == 0:
                raise InputError(f"{where}: there is no coat yet; the first event must apply one.")
            elif isinstance(event, Expose):
                fresh = False
            elif isinstance(event, Wipe) and fresh:
                raise InputError(
                    f"{where}: the coat on top has had no light and would come off whole; expose it first."
                )
        if coats > MOST_COATS:
            raise InputError(f"schedule: {coats} coats; at most {MOST_COATS} can lie on a nail here.")

    @property
    def applications(self) -> tuple[Apply, ...]:
        """The coats in the order they go on."""
        return tuple(event for event in self.events if isinstance(event, Apply))

    @property
    def gels(self) -> tuple[Gel, ...]:
        """Gel of every coat in the order they go on."""
        return tuple(event.gel for event in self.applications)

    @property
    def remarks(self) -> tuple[str, ...]:
        """Sentences on what is unusual about the order of the coats."""
        return _order_remarks(self.gels)


def _check_count(events: Sequence[Event]) -> None:
    if not any(isinstance(event, Expose) for event in events):
        raise InputError(
            "schedule: no event exposes the nail to the lamp; add one, for instance expose_s = 60."
        )
    if len(events) > MOST_EVENTS:
        raise InputError(f"schedule: {len(events)} events; at most {MOST_EVENTS} are allowed.")


def _check_numbers(event: Event, where: str) -> None:
    if isinstance(event, Apply):
        _within(where, "thickness", um_from_m(event.film_thickness_m), THICKNESS_RANGE_UM, "um")
        celsius = (c_from_k(ARRIVES_RANGE_K[0]), c_from_k(ARRIVES_RANGE_K[1]))
        _within(where, "temperature of the gel", c_from_k(event.arrives_k), celsius, "C")
    elif isinstance(event, Expose):
        _within(where, "time", event.seconds, EXPOSURE_RANGE_S, "s")
    elif isinstance(event, Rest):
        _within(where, "time", event.seconds, REST_RANGE_S, "s")


def _within(where: str, what: str, value: float, limits: tuple[float, float], unit: str) -> None:
    if not limits[0] <= value <= limits[1]:
        raise InputError(
            f"{where}: {what} is {value:g} {unit}; it must lie between {limits[0]:g} and {limits[1]:g} {unit}."
        )


def _order_remarks(gels: Sequence[Gel]) -> tuple[str, ...]:
    found = []
    for number, (below, above) in enumerate(pairwise(gels), start=2):
        if COATS.index(above.coat) < COATS.index(below.coat):
            found.append(
                f"Coat {number} is a {above.coat} coat over a {below.coat} coat; the usual order is base, builder, colour, top."
            )
    if gels and gels[0].coat != "base":
        found.append(f"The first coat on the nail is a {gels[0].coat} coat, not a base coat.")
    colours = sum(gel.coat == "colour" for gel in gels)
    if colours > USUAL_COLOUR_COATS:
        found.append(f"{colours} colour coats; one to {USUAL_COLOUR_COATS} are usual.")
    return tuple(found)
