"""Read a set: a brief whose coats are listed in the order they go on the nail.

Everything a plain brief may say holds for the whole set; a coat adds its gel, its window and what differs for it. Coats
with the same `place` are alternatives, such as shades: each makes a stack of its own with the same coats below and above.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError, unknown_name
from .brief import Brief
from .brief_reader import brief_from_tables, brief_tables

RAW_MATERIALS = ("free", "fewest", "penalised")
MOST_COATS = 12
# key of a coat -> table and key of the brief it stands for
COAT_KEYS = {
    "gel": ("gel", "file"),
    "coat": ("gel", "coat"),
    "resin_parts": ("gel", "resin_parts"),
    "stabilisers_wt_pct": ("gel", "stabilisers_wt_pct"),
    "without": ("gel", "without"),
    "swap": ("gel", "swap"),
    "low_um": ("thickness", "low_um"),
    "high_um": ("thickness", "high_um"),
    "cure_seconds": ("lamp", "cure_seconds"),
    "programme": ("lamp", "programme"),
    "rest_seconds": ("lamp", "rest_seconds"),
}
COAT_TABLES = ("limits", "substances", "margins")
OWN_KEYS = ("name", "place", "applications", "wipe")
SET_KEYS = ("raw_materials", "penalty_per_material")
NAIL_LIMITS = ("nail_bed_max_c", "cem43_max_min", "film_max_c")
WHOLE_SET_OBJECTIVES = ("least_cost", "least_initiator", "least_heat")
USUAL_REST_S = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatAsked:
    """One gel of a set as asked for.

    Parameters
    ----------
    name, place : str
        Its name, and the place in the stack it takes; gels of one place are alternatives.
    brief : Brief
        What is asked of its coat.
    applications : int
        How often it is applied, each time cured; the window is that of one application.
    is_wiped : bool
        Whether its tacky layer is wiped off after the last application.
    """

    name: str
    place: str
    brief: Brief
    applications: int = 1
    is_wiped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SetBrief:
    """A whole set as asked for.

    Parameters
    ----------
    title : str
        What it is for.
    brief : Brief
        What holds for the nail as a whole: heat limits, margins, objective, prices, hand, seed.
    coats : tuple of CoatAsked
        The gels in the order they go on the nail.
    raw_materials : str
        ``free``: each gel may have its own; ``fewest``: as few different initiators and amines as any choice needs, then
        the objective (lexicographic); ``penalised``: the objective plus a penalty for each of them.
    penalty_per_material : float
        The penalty, in the unit of the objective.
    """

    title: str
    brief: Brief
    coats: tuple[CoatAsked, ...]
    raw_materials: str = "free"
    penalty_per_material: float = 0.0

    @property
    def stacks(self) -> tuple[tuple[int, ...], ...]:
        """Coats of each stack by number, from the nail upwards: one stack for each alternative."""
        places = list(dict.fromkeys(coat.place for coat in self.coats))
        by_place = [[i for i, coat in enumerate(self.coats) if coat.place == place] for place in places]
        most = max(len(numbers) for numbers in by_place)
        return tuple(tuple(numbers[min(k, len(numbers) - 1)] for numbers in by_place) for k in range(most))

    def seeded(self, seed: int) -> SetBrief:
        """The same set with another seed."""
        coats = tuple(replace(coat, brief=replace(coat.brief, seed=seed)) for coat in self.coats)
        return replace(self, brief=replace(self.brief, seed=seed), coats=coats)


def is_set(path: Path) -> bool:
    """Whether a file is a set rather than a plain brief: a set lists coats."""
    try:
        return "coats" in brief_tables(path)
    except InputError:
        return False  # the reader of briefs says what is wrong with the file


def read_set(path: Path | str) -> SetBrief:
    """Read and check a set.

    Parameters
    ----------
    path : Path or str
        TOML file; lamp and gel paths in it are taken relative to its folder.

    Returns
    -------
    SetBrief

    Raises
    ------
    InputError, UnknownNameError
        If the file breaks a rule. The message is one line that names the coat.
    """
    file = Path(path)
    tables = dict(brief_tables(file))
    rows, asked = tables.pop("coats"), tables.pop("set", {})
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise InputError(f"{file}, coats: must be a list of tables. Write [[coats]] and the keys below it.")
    if not 2 <= len(rows) <= MOST_COATS:
        raise InputError(
            f"{file}, coats: {len(rows)} listed; a set has 2 to {MOST_COATS}. For one coat write a plain brief."
        )
    raw_materials, penalty = _sharing(asked, file)
    coats = tuple(_coat(row, number, tables, file) for number, row in enumerate(rows, start=1))
    _check_places(coats, file)
    whole = _whole(rows[0], tables, file)
    if whole.objective not in WHOLE_SET_OBJECTIVES:
        raise InputError(
            f"{file}, objective.minimise: '{whole.objective}' is judged for single coats; a set takes "
            f"{', '.join(WHOLE_SET_OBJECTIVES)}. Choose one."
        )
    if len(whole.lamps) != 1:
        raise InputError(
            f"{file}, lamp.names: {len(whole.lamps)} lamps; a set is tuned for one. Write one set per lamp."
        )
    return SetBrief(
        title=whole.title,
        brief=whole,
        coats=coats,
        raw_materials=raw_materials,
        penalty_per_material=penalty,
    )


def _sharing(table: Any, file: Path) -> tuple[str, float]:
    if not isinstance(table, dict):
        raise InputError(f"{file}, set: must be a table. Write [set] and the keys below it.")
    for key in table:
        if key not in SET_KEYS:
            raise InputError(f"{file}, set.{key}: {unknown_name('key', key, SET_KEYS)}")
    way = table.get("raw_materials", "free")
    if way not in RAW_MATERIALS:
        raise InputError(
            f"{file}, set.raw_materials: {way!r} is not one of {', '.join(RAW_MATERIALS)}. Choose one."
        )
    penalty = table.get("penalty_per_material", 0.0)
    if isinstance(penalty, bool) or not isinstance(penalty, int | float) or not 0.0 <= penalty <= 1e6:
        raise InputError(
            f"{file}, set.penalty_per_material: {penalty!r} is not a number from 0 to 1e6. Give what one more raw "
            "material must save, in the unit of the objective."
        )
    if (way == "penalised") != ("penalty_per_material" in table):
        raise InputError(
            f'{file}, set: raw_materials = "penalised" and penalty_per_material belong together. Give both or neither.'
        )
    return way, float(penalty)


def _coat(row: Mapping[str, Any], number: int, tables: Mapping[str, Any], file: Path) -> CoatAsked:
    name = row.get("name")
    if not isinstance(name, str) or not name.strip() or ":" in name or "/" in name:
        raise InputError(f"{file}, coats.{number}: name is {name!r}; give a name in quotes, without : or /.")
    where = f"coats.{number} ({name})"
    for key in row:
        if key not in (*COAT_KEYS, *COAT_TABLES, *OWN_KEYS):
            raise InputError(
                f"{file}, {where}: {unknown_name('key', key, (*COAT_KEYS, *COAT_TABLES, *OWN_KEYS))}"
            )
    applications, wiped = row.get("applications", 1), row.get("wipe", False)
    if isinstance(applications, bool) or not isinstance(applications, int) or not 1 <= applications <= 4:
        raise InputError(
            f"{file}, {where}: applications is {applications!r}; give a whole number from 1 to 4."
        )
    if not isinstance(wiped, bool):
        raise InputError(f"{file}, {where}: wipe is {wiped!r}; give true or false.")
    place = row.get("place", name)
    if not isinstance(place, str) or not place.strip():
        raise InputError(f"{file}, {where}: place is {place!r}; give a text in quotes.")
    return CoatAsked(
        name=name,
        place=place,
        brief=brief_from_tables(_coat_tables(row, tables, file, where), file, where),
        applications=applications,
        is_wiped=wiped,
    )


def _coat_tables(
    row: Mapping[str, Any], tables: Mapping[str, Any], file: Path, where: str, limits: bool = True
) -> dict[str, Any]:
    """The tables of a plain brief for one coat."""
    merged = {key: dict(value) if isinstance(value, dict) else value for key, value in tables.items()}
    if isinstance(merged.get("lamp"), dict):
        merged["lamp"].setdefault("rest_seconds", USUAL_REST_S)
    for key, (table, inner) in COAT_KEYS.items():
        if key in row:
            _table(merged, table, file, where)[inner] = row[key]
    for table in COAT_TABLES if limits else ():
        if table in row:
            if not isinstance(row[table], dict):
                raise InputError(f"{file}, {where}: {table} must be a table such as {{ key = 1 }}.")
            for key in row[table] if table == "limits" else ():
                if key in NAIL_LIMITS:
                    raise InputError(
                        f"{file}, {where}: limits.{key} holds for the nail as a whole. Write it under [limits] of the set."
                    )
            if table == "limits" and "bottom_conversion_min_fraction" in row[table]:
                _table(merged, table, file, where).pop("bottom_conversion_min_share", None)
            _table(merged, table, file, where).update(row[table])
    return merged


def _table(tables: dict[str, Any], name: str, file: Path, where: str) -> dict[str, Any]:
    table = tables.setdefault(name, {})
    if not isinstance(table, dict):
        raise InputError(f"{file}, {where}: {name} must be a table. Write [{name}] and the keys below it.")
    return table


def _whole(first: Mapping[str, Any], tables: Mapping[str, Any], file: Path) -> Brief:
    """What holds for the nail; gel and thickness are those of the first coat and are not used."""
    return brief_from_tables(_coat_tables(first, tables, file, "the set", limits=False), file, "")


def _check_places(coats: Sequence[CoatAsked], file: Path) -> None:
    names = [coat.name for coat in coats]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{file}, coats: two are named '{name}'. Give each its own name.")
    places = [coat.place for coat in coats]
    order = list(dict.fromkeys(places))
    if places != sorted(places, key=order.index):
        raise InputError(
            f"{file}, coats: those of one place must stand together ({', '.join(places)}). Put them side by side."
        )
    shared = [place for place in order if places.count(place) > 1]
    if len(shared) > 1:
        raise InputError(
            f"{file}, coats: {' and '.join(shared)} both have alternatives; only one place may. Write one set for each."
        )
