"""What the live page asks and what it is told: plain data in, plain data out, nothing of the network.

A request holds numbers, ids of what was loaded at start, or the text of a gel file; never a path, never code.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, m_from_um, mw_cm2_from_w_m2, um_from_m
from ..models.cure import CureCase, cure_many
from ..models.gel import Gel, gel_from_text, gel_text
from ..models.materials import list_amines, list_photoinitiators, photoinitiator
from ..models.results import CureResult
from .brief import Limits
from .cautions import short_cautions
from .cure_pictures import absorbed_share, blend_absorbance
from .cure_run import figures, verdict_of
from .grid_cells import cell_of, quick_figures_of
from .grid_reasons import reason_of
from .plain_words import plain_words

Floats = NDArray[np.float64]
T = TypeVar("T")

THICKNESS_UM = (5.0, 1000.0)
SECONDS = (1.0, 300.0)
LOADING_WT_PCT = (0.0, 10.0)
MOST_SIDES = 2
MOST_LOADINGS = 8
MOST_KEPT = 32  # sides
MOST_GEL_TEXT = 20_000
ASSUMED_MAX_WT_PCT = 5.0
_SIDE_KEYS = {
    "gel", "gel_text", "lamp", "position", "programme", "thickness_um", "seconds", "initiators_wt_pct", "amines_wt_pct",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shelf:
    """Gels and lamps the page may choose from, by key."""

    gels: Mapping[str, Gel]
    lamps: Mapping[str, Lamp]


def start_data(shelf: Shelf) -> dict[str, Any]:
    """What the page needs before its first question: choices, ranges, the first side."""
    return {
        "gels": {key: gel_data(gel) for key, gel in shelf.gels.items()},
        "lamps": {
            lamp.lamp_id: {
                "name": lamp.name,
                "positions": list(lamp.positions),
                "weakest": lamp.weakest,
                "programmes": list(lamp.programmes),
                "is_demonstration": lamp.is_demonstration,
            }
            for lamp in shelf.lamps.values()
        },
        "initiators": {key: _most(key) for key in list_photoinitiators()},
        "amines": {key: ASSUMED_MAX_WT_PCT for key in list_amines()},
        "thickness_um": list(THICKNESS_UM),
        "seconds": list(SECONDS),
        "cautions": short_cautions(),
    }


def _most(key: str) -> float:
    usual = photoinitiator(key).usual_max_wt_pct
    return ASSUMED_MAX_WT_PCT if usual is None else usual


def gel_data(gel: Gel) -> dict[str, Any]:
    """A gel's part of the choices."""
    return {
        "name": gel.name,
        "coat": gel.coat,
        "thickness_um": um_from_m(gel.thickness_m),
        "seconds": gel.cure_s or 60.0,
        "initiators_wt_pct": dict(gel.initiators_wt_pct),
        "amines_wt_pct": dict(gel.amines_wt_pct),
        "is_demonstration": gel.is_demonstration,
    }


@lru_cache(maxsize=16)
def _read(text: str) -> Gel:
    return gel_from_text(text, "the loaded file")


def loaded_gel(text: object) -> Gel:
    """A gel from the text of a file that somebody opened in the page.

    Raises
    ------
    InputError
        If it is no text, too long, or breaks a rule of gel files.
    """
    if not isinstance(text, str) or len(text) > MOST_GEL_TEXT:
        raise InputError(
            f"the loaded file is no text of at most {MOST_GEL_TEXT} characters; open a gel's TOML file."
        )
    return _read(text)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Side:
    """One gel in one lamp as asked for by the page."""

    gel: Gel
    lamp: Lamp
    position: str
    programme: str
    seconds: float

    @classmethod
    def of(cls, asked: object, shelf: Shelf) -> Side:
        """Check what came in and build it.

        Raises
        ------
        InputError
            If a key is not known, missing, or a value out of its range.
        UnknownNameError
            If a gel, lamp, position, programme or substance is not known.
        """
        if not isinstance(asked, dict) or not set(asked) <= _SIDE_KEYS:
            raise InputError(f"a side holds other keys than {', '.join(sorted(_SIDE_KEYS))}.")
        gel = (
            loaded_gel(asked["gel_text"])
            if asked.get("gel_text")
            else _named("gel", asked.get("gel"), shelf.gels)
        )
        lamp = _named("lamp", asked.get("lamp"), shelf.lamps)
        position, programme = asked.get("position", lamp.weakest), asked.get("programme", "steady")
        lamp.spectrum(str(position))
        lamp.programme(str(programme))
        seconds = _number("seconds", asked.get("seconds", gel.cure_s or 60.0), SECONDS)
        thickness = _number(
            "thickness_um", asked.get("thickness_um", um_from_m(gel.thickness_m)), THICKNESS_UM
        )
        gel = gel.with_initiators(
            _loadings("initiators_wt_pct", asked, gel.initiators_wt_pct),
            _loadings("amines_wt_pct", asked, gel.amines_wt_pct),
        )
        gel = replace(gel, thickness_m=m_from_um(thickness), cure_s=seconds)
        return cls(gel=gel, lamp=lamp, position=str(position), programme=str(programme), seconds=seconds)


def _named(kind: str, key: object, known: Mapping[str, T]) -> T:
    if not isinstance(key, str) or key not in known:
        raise unknown_name(kind, str(key), known)
    return known[key]


def _number(name: str, value: object, limits: tuple[float, float]) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not limits[0] <= value <= limits[1]:
        raise InputError(f"{name} is {value!r}; it must be a number from {limits[0]:g} to {limits[1]:g}.")
    return float(value)


def _loadings(name: str, asked: Mapping[str, Any], own: Mapping[str, float]) -> dict[str, float]:
    given = asked.get(name, own)
    if not isinstance(given, Mapping) or len(given) > MOST_LOADINGS:
        raise InputError(f"{name} must name at most {MOST_LOADINGS} substances with their wt%.")
    found = {str(key): _number(f"{name}.{key}", value, LOADING_WT_PCT) for key, value in given.items()}
    return {key: value for key, value in found.items() if value > 0.0}


class Kept:
    """The last few answers by what was asked, so that a side that did not move is not cured again.

    A side asked for in the same words is in the same state, and a cure is the same each time.
    """

    def __init__(self) -> None:
        """Begin with nothing."""
        self._found: dict[str, dict[str, Any]] = {}

    def get(self, words: str) -> dict[str, Any] | None:
        """The answer to these words, if it is still here."""
        return self._found.get(words)

    def keep(self, words: str, told: dict[str, Any]) -> None:
        """Keep an answer, and let the oldest go."""
        self._found[words] = told
        while len(self._found) > MOST_KEPT:
            self._found.pop(next(iter(self._found)), None)


def answer(
    asked: object, shelf: Shelf, workers: int | None = None, kept: Kept | None = None
) -> dict[str, Any]:
    """Cure one or two sides at every position and say what the page draws.

    Parameters
    ----------
    asked : object
        ``{"sides": [...]}`` as it came in.
    shelf : Shelf
        What may be chosen.
    workers : int, optional
        Threads.
    kept : Kept, optional
        Answers of before.
    """
    sides = asked.get("sides") if isinstance(asked, dict) else None
    if not isinstance(sides, list) or not 1 <= len(sides) <= MOST_SIDES:
        raise InputError(f"give one to {MOST_SIDES} sides.")
    known = Kept() if kept is None else kept
    words = [json.dumps(each, sort_keys=True) for each in sides]
    told = {each: known.get(each) for each in words}
    fresh = [each for each, found in told.items() if found is None]
    built = [Side.of(json.loads(each), shelf) for each in fresh]
    for each, found in zip(fresh, _cured(built, workers), strict=True):
        told[each] = found
        known.keep(each, found)
    return {"sides": [told[each] for each in words]}


def _cured(built: Sequence[Side], workers: int | None) -> list[dict[str, Any]]:
    """What is told of each side; the films of all run together."""
    cases = [
        CureCase(
            gel=side.gel, lamp=side.lamp, exposure_s=side.seconds, position=place, programme=side.programme
        )
        for side in built
        for place in side.lamp.positions
    ]
    results = cure_many(cases, workers=workers)
    found, start = [], 0
    for side in built:
        count = len(side.lamp.positions)
        found.append(_told(side, results[start : start + count]))
        start += count
    return found


def _told(side: Side, results: Sequence[CureResult]) -> dict[str, Any]:
    limits = Limits()
    cell = cell_of("", side.gel, side.lamp, [quick_figures_of(each) for each in results], limits)
    verdict = verdict_of(results, limits)
    chosen = next(each for each in results if each.position == side.position)
    return {
        "verdict": verdict.headline,
        "cures_through": bool(verdict.cures),
        "stays_cool": bool(verdict.stays_cool),
        "is_demonstration": side.gel.is_demonstration or side.lamp.is_demonstration,
        "sentences": list(verdict.sentences),
        "plain": list(plain_words(cell.soft, cell.hot, limits)),
        "why": reason_of(cell, side.gel, side.lamp, limits),
        "asked_fraction": cell.asked_fraction,
        "possible_fraction": cell.soft.conversion_ceiling_fraction,
        "nail_bed_max_c": c_from_k(limits.nail_bed_max_k),
        "soft": {"position": cell.soft.position, "base_fraction": cell.soft.bottom_conversion_fraction},
        "hot": {"position": cell.hot.position, "nail_bed_c": c_from_k(cell.hot.nail_bed_peak_k)},
        "positions": [_row(each) for each in results],
        "light": _light(side),
        "depth": {
            "um": _short(um_from_m(chosen.depth_m), 2),
            "conversion": _short(chosen.conversion_fraction, 4),
        },
        "time": {
            "s": _short(chosen.time_s, 2),
            "film_c": _short(c_from_k(chosen.film_max_k), 2),
            "nail_bed_c": _short(c_from_k(chosen.nail_bed_k), 2),
        },
    }


def _row(result: CureResult) -> dict[str, Any]:
    one = figures(result)
    return {
        "position": one.position,
        "bottom_conversion_fraction": one.bottom_conversion_fraction,
        "surface_conversion_fraction": result.surface_conversion_fraction,
        "uncured_layer_um": um_from_m(one.uncured_layer_m),
        "film_peak_c": c_from_k(one.film_peak_k),
        "nail_bed_peak_c": c_from_k(one.nail_bed_peak_k),
        "cem43_min": one.cem43_min,
    }


def _light(side: Side) -> dict[str, Any]:
    spectrum = side.lamp.spectrum(side.position).light()
    nm, power = spectrum.wavelength_nm, spectrum.spectral_irradiance_w_m2_nm
    lit = power > 2e-3 * power.max()
    span = slice(int(np.argmax(lit)), len(lit) - int(np.argmax(lit[::-1])))
    absorbance = blend_absorbance(side.gel, side.gel.initiators_wt_pct, nm, side.gel.thickness_m)
    shares = {
        key: absorbed_share(side.lamp, _at_mean(side, key, load))
        for key, load in side.gel.initiators_wt_pct.items()
    }
    return {
        "nm": _short(nm[span], 1),
        "mw_cm2_nm": _short(mw_cm2_from_w_m2(power[span]), 4),
        "absorbed_percent": {
            key: _short(100.0 * (1.0 - 10.0 ** -each[span]), 2) for key, each in absorbance.items()
        },
        "share_fraction": shares,
        "irradiance_mw_cm2": mw_cm2_from_w_m2(spectrum.irradiance_w_m2()),
    }


def _at_mean(side: Side, key: str, loading_wt_pct: float) -> Floats:
    nm = side.lamp.mean_spectrum().wavelength_nm
    return blend_absorbance(side.gel, {key: loading_wt_pct}, nm, side.gel.thickness_m)[key]


def _short(values: Floats, digits: int) -> list[float]:
    return [float(each) for each in np.round(values, digits)]


def saved_text(asked: object, shelf: Shelf) -> str:
    """One side's gel, as it stands in the page, as the text of a gel file."""
    return gel_text(Side.of(asked, shelf).gel)
