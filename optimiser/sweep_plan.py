"""Every combination a sweep cures: what is varied, what stays, how many there are, and a fingerprint of all of it."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from ..lamp_library.units import m_from_um
from ..models.gel import Gel
from ..models.heat import Hand
from ..models.materials import list_amines
from .code_version import MARK, ROOM, code_version, doing
from .conditions import hand_in_use
from .sweep_axes import HAND, LAMP, NAIL, POSITION, SECONDS, THICKNESS, Axis, Value, read_axis

_REDUCTION = (
    "sweep_films",
    "verdict",
)  # modules between a film and a row of the table that no search imports
MOST = 5000  # a few minutes on two cores


@dataclass(frozen=True, slots=True, kw_only=True)
class Combination:
    """One combination.

    Parameters
    ----------
    number : int
        Its row in the table, from 0.
    loadings_wt_pct : tuple of (str, float)
        Every initiator and amine of the sweep with its loading [wt%]; 0 for one left out.
    lamp_id : str
        Lamp.
    position : str or None
        One position; None for all of the lamp.
    thickness_m, exposure_s : float
        Wet film [m], lamp-on time [s].
    hand : Hand
        Finger.
    """

    number: int
    loadings_wt_pct: tuple[tuple[str, float], ...]
    lamp_id: str
    position: str | None
    thickness_m: float
    exposure_s: float
    hand: Hand

    def gel(self, gel: Gel) -> Gel:
        """The gel of this combination: no substance without a loading, its own film and cure time."""
        amines = list_amines()
        held = {key: loading for key, loading in self.loadings_wt_pct if loading > 0.0}
        return replace(
            gel,
            initiators_wt_pct={key: loading for key, loading in held.items() if key not in amines},
            amines_wt_pct={key: loading for key, loading in held.items() if key in amines},
            thickness_m=self.thickness_m,
            cure_s=self.exposure_s,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepPlan:
    """What is swept.

    Parameters
    ----------
    gel : Gel
        The gel; loadings that are not varied are its own.
    lamps : mapping of str to Lamp
        By their ids.
    axes : tuple of Axis
        What is varied; the last one runs fastest through the table.
    thickness_m, exposure_s : float
        Film [m] and time [s] where they are not varied.
    programme : str
        One that every lamp has.
    hand : Hand
        Finger where it is not varied.
    """

    gel: Gel
    lamps: Mapping[str, Lamp]
    axes: tuple[Axis, ...]
    thickness_m: float
    exposure_s: float
    programme: str = "steady"
    hand: Hand = field(default_factory=Hand)

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values of each axis."""
        return tuple(len(axis.values) for axis in self.axes)

    @property
    def count(self) -> int:
        """Number of combinations."""
        return math.prod(self.shape)

    @property
    def varied(self) -> tuple[Axis, ...]:
        """Axes of more than one value."""
        return tuple(axis for axis in self.axes if len(axis.values) > 1)

    @property
    def is_demonstration(self) -> bool:
        """Whether gel or a lamp is invented."""
        return self.gel.is_demonstration or any(lamp.is_demonstration for lamp in self.lamps.values())

    @property
    def substances(self) -> tuple[str, ...]:
        """Initiators, then amines: those of the gel, then those varied besides."""
        amines = list_amines()
        own = (*self.gel.initiators_wt_pct, *self.gel.amines_wt_pct)
        keys = dict.fromkeys([*own, *(axis.key for axis in self.axes if axis.kind == "loading")])
        return (*(key for key in keys if key not in amines), *(key for key in keys if key in amines))

    def values_of(self, number: int) -> dict[str, Value]:
        """Value of every axis in a combination, by the key of the axis."""
        found: dict[str, Value] = {}
        for axis in reversed(self.axes):
            number, at = divmod(number, len(axis.values))
            found[axis.key] = axis.values[at]
        return {axis.key: found[axis.key] for axis in self.axes}

    def combination(self, number: int) -> Combination:
        """A combination by its number, from 0."""
        values = self.values_of(number)
        own = {**self.gel.initiators_wt_pct, **self.gel.amines_wt_pct}
        names = {key: None if key not in values else str(values[key]) for key in (LAMP, POSITION, HAND, NAIL)}
        return Combination(
            number=number,
            loadings_wt_pct=tuple(
                (key, float(values.get(key, own.get(key, 0.0)))) for key in self.substances
            ),
            lamp_id=names[LAMP] or next(iter(self.lamps)),
            position=names[POSITION],
            thickness_m=float(values.get(THICKNESS, self.thickness_m)),
            exposure_s=float(values.get(SECONDS, self.exposure_s)),
            hand=hand_in_use(self.hand, names[HAND], names[NAIL]),
        )

    @property
    def fingerprint(self) -> str:
        """Digest of what is asked, then the version of the model, the substance data and the reduction to figures."""
        gel = {item.name: getattr(self.gel, item.name) for item in fields(self.gel)}
        asked = [gel, self.axes, self.thickness_m, self.exposure_s, self.programme, asdict(self.hand)]
        content = hashlib.sha256(json.dumps(asked, sort_keys=True, default=_plain).encode())
        for file in (*self.gel.absorption_files.values(), *self.gel.pigment_files.values()):
            content.update(Path(file).read_bytes())
        for lamp in self.lamps.values():
            for position, spectrum in lamp.spectra.items():
                content.update(position.encode())
                content.update(spectrum.wavelength_nm.tobytes())
                content.update(spectrum.spectral_irradiance_w_m2_nm.tobytes())
            content.update(repr((lamp.lamp_id, lamp.course, lamp.air, dict(lamp.programmes))).encode())
        version = hashlib.sha256(code_version().encode())
        for module in _REDUCTION:
            version.update(doing((ROOM / f"{module}.py").read_text(encoding="utf-8")).encode())
        return f"{content.hexdigest()[:12]}{MARK}{version.hexdigest()[:8]}"


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    return [value.key, value.values] if isinstance(value, Axis) else str(value)


def sweep_plan(
    gel: Gel,
    lamps: Mapping[str, Lamp],
    vary: Sequence[str],
    *,
    seconds: float | None = None,
    thickness_um: float | None = None,
    programme: str = "steady",
    hand: str | None = None,
    nail: str | None = None,
    most: int = MOST,
) -> SweepPlan:
    """What is swept, from the words of the command line.

    Parameters
    ----------
    gel : Gel
        The gel.
    lamps : mapping of str to Lamp
        By their ids; several are varied like everything else.
    vary : sequence of str
        See `sweep_axes.read_axis`.
    seconds, thickness_um : float, optional
        Lamp-on time [s], the gel's own when None; wet film [um], the gel's own when None.
    programme, hand, nail : str, optional
        What stays.
    most : int
        Most combinations.

    Raises
    ------
    InputError
        If something is given twice, nothing varies, there are too many combinations, or one of them cannot be cured.
    """
    axes = [read_axis(text, list(lamps.values())) for text in vary]
    if len(lamps) > 1:
        axes.insert(0, Axis(key=LAMP, values=tuple(lamps)))
    keys = [axis.key for axis in axes]
    for key in keys:
        if keys.count(key) > 1:
            raise InputError(f"--vary {key}: given twice. Write all its values in one, commas between.")
    fixed = {SECONDS: seconds, THICKNESS: thickness_um, HAND: hand, NAIL: nail}
    options = {SECONDS: "--seconds", THICKNESS: "--thickness-um", HAND: "--hand", NAIL: "--nail"}
    for key, value in fixed.items():
        if key in keys and value is not None:
            raise InputError(
                f"{options[key]} {value if isinstance(value, str) else format(value, 'g')} and --vary {key} are both given; only one can hold. Remove one."
            )
    for lamp in lamps.values():
        lamp.programme(programme)
    time = gel.cure_s if seconds is None else seconds
    if time is None and SECONDS not in keys:
        raise InputError(
            f"gel '{gel.name}': the lamp-on time is missing. Give it with --seconds 60, or vary it: --vary seconds=20:120:6."
        )
    plan = SweepPlan(
        gel=gel,
        lamps=lamps,
        axes=tuple(axes),
        thickness_m=gel.thickness_m if thickness_um is None else float(m_from_um(thickness_um)),
        exposure_s=0.0 if time is None else time,
        programme=programme,
        hand=hand_in_use(Hand(), hand, nail),
    )
    _check(plan, most)
    return plan


def _check(plan: SweepPlan, most: int) -> None:
    if not plan.varied:
        raise InputError(
            "sweep: nothing is varied. Give --vary with two or more values, for instance --vary TPO-L=0.5:3:6, or several lamps."
        )
    if plan.count > most:
        longest = max(plan.axes, key=lambda axis: len(axis.values))
        product = " x ".join(f"{len(axis.values)} of {axis.key}" for axis in plan.axes)
        raise InputError(
            f"sweep: {product} are {plan.count} combinations; at most {most} are cured. Give fewer values, first of {longest.key}, "
            f"or allow more with --most {plan.count}."
        )
    amines = list_amines()
    own = {**plan.gel.initiators_wt_pct, **plan.gel.amines_wt_pct}
    swept = {
        axis.key: [float(value) for value in axis.values] for axis in plan.axes if axis.kind == "loading"
    }
    if not any(
        min(swept.get(key, [own.get(key, 0.0)])) > 0.0 for key in plan.substances if key not in amines
    ):
        zero = [key for key in swept if key not in amines and min(swept[key]) == 0.0]
        where = f"--vary {zero[0]}: at 0 wt%" if zero else f"gel '{plan.gel.name}':"
        raise InputError(
            f"{where} there is no photoinitiator, and nothing would cure. Start a loading above 0."
        )
    most_wt_pct = sum(max(swept.get(key, [own.get(key, 0.0)])) for key in plan.substances)
    others = sum(plan.gel.stabilisers_wt_pct.values()) + sum(plan.gel.pigments_wt_pct.values())
    if most_wt_pct + others >= 100.0:
        raise InputError(
            f"sweep: initiators, amines, stabilisers and pigments reach {most_wt_pct + others:g} wt%; they must stay below 100 wt%. "
            "Lower a loading."
        )
    plan.combination(0).gel(plan.gel)  # refuses a film that no gel may have
