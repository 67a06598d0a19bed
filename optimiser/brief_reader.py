"""Read a brief from TOML; every fault is one line that says where, what and what to do."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError, UnknownNameError
from ..lamp_library.units import k_from_c, m_from_um
from .brief import Brief, Choices, Limits, Margins, Uncertainty
from .brief_keys import BY_LABEL, KEYS, SECTIONS, Key, nearest
from .own_files import read_prices, read_stock, read_substance_list
from .own_rules import OwnRules


def read_brief(path: Path | str) -> Brief:
    """Read and check a brief.

    Parameters
    ----------
    path : Path or str
        TOML file; lamp and gel paths in it are taken relative to its folder.

    Returns
    -------
    Brief
        The brief in SI units.

    Raises
    ------
    InputError
        If the file is missing, is no TOML, or holds an unknown key, a value outside its range or a
        contradiction. The message is one line.
    """
    file = Path(path)
    tables = brief_tables(file)
    if "coats" in tables:
        raise InputError(
            f"{file}: a brief of a whole set, with [[coats]]; only `gelwright tune` takes it. Here give the brief of one gel."
        )
    return brief_from_tables(tables, file)


def brief_from_tables(tables: Mapping[str, Any], file: Path, part: str = "") -> Brief:
    """A brief from the tables of a file; `part` names the part of the file in messages."""
    where = f"{file}, {part}" if part else str(file)
    values = _checked_values(tables, where)
    try:
        return _brief(values, file)
    except (InputError, UnknownNameError) as fault:
        text = str(fault)
        raise type(fault)(text if text.startswith(f"{file}") else f"{where}, {text}") from None


def brief_tables(file: Path) -> Mapping[str, Any]:
    """The tables of a TOML file, unchecked.

    Raises
    ------
    InputError
        If the file is missing or is no TOML.
    """
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{file}: there is no such file. Give the path of a brief in TOML.") from None
    except (OSError, UnicodeDecodeError) as fault:
        raise InputError(f"{file}: cannot be read ({_one_line(fault)}). Give a UTF-8 text file.") from None
    except tomllib.TOMLDecodeError as fault:
        raise InputError(
            f"{file}: not valid TOML ({_one_line(fault)}). Correct that place; text needs quotes, dates none."
        ) from None


def _one_line(fault: Exception) -> str:
    return " ".join(str(fault).split())


def _checked_values(tables: Mapping[str, Any], file: str) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for name, content in tables.items():
        if name in SECTIONS:
            if not isinstance(content, dict):
                raise InputError(f"{file}, {name}: must be a table. Write [{name}] and the keys below it.")
            for inner, value in content.items():
                _take(values, f"{name}.{inner}", value, file)
        else:
            _take(values, name, content, file)
    for key in KEYS:
        if key.required and key.label not in values:
            raise InputError(f"{file}, {key.label}: missing, and needed. {key.remedy}")
    return values


def _take(values: dict[str, Any], label: str, value: Any, file: str) -> None:
    key = BY_LABEL.get(label)
    if key is None:
        raise InputError(
            f"{file}, {label}: unknown key; {nearest(label, [*BY_LABEL, *SECTIONS])}. Correct or remove it."
        )
    values[label] = _value(key, value, file)


def _value(key: Key, value: Any, file: str) -> Any:
    match key.kind:
        case "number" | "whole":
            return _number(key, value, file, key.label)
        case "yes_no":
            return value if isinstance(value, bool) else _refuse(key, value, file, "true or false")
        case "text":
            return (
                value
                if isinstance(value, str) and value.strip()
                else _refuse(key, value, file, "text in quotes")
            )
        case "choice":
            known = isinstance(value, str) and value in key.choices
            return value if known else _refuse(key, value, file, "one of " + ", ".join(key.choices))
        case "date":
            plain = isinstance(value, date) and not isinstance(value, datetime)
            return value if plain else _refuse(key, value, file, "a plain date")
        case "names":
            return _names(key, value, file)
        case "numbers":
            listed = [value] if isinstance(value, int | float) else value
            if not isinstance(listed, list) or not listed:
                _refuse(key, value, file, "a list of numbers")
            return tuple(_number(key, each, file, key.label) for each in listed)
        case "numbers_by_name":
            if not isinstance(value, dict):
                _refuse(key, value, file, "a table of name = number")
            return {name: _number(key, inner, file, f"{key.label}.{name}") for name, inner in value.items()}
        case "texts_by_name":
            if not isinstance(value, dict) or not all(isinstance(inner, str) for inner in value.values()):
                _refuse(key, value, file, "a table of name = text in quotes")
            return dict(value)


def _names(key: Key, value: Any, file: str) -> tuple[str, ...]:
    listed = [value] if isinstance(value, str) else value
    if not isinstance(listed, list) or not all(isinstance(name, str) and name.strip() for name in listed):
        _refuse(key, value, file, "a list of names in quotes")
    doubled = sorted({name for name in listed if listed.count(name) > 1})
    if doubled:
        raise InputError(f"{file}, {key.label}: {', '.join(doubled)} is listed twice. Remove one.")
    if not listed and key.required:
        raise InputError(f"{file}, {key.label}: the list is empty; it needs at least one name. {key.remedy}")
    return tuple(listed)


def _number(key: Key, value: Any, file: str, label: str) -> float | int:
    wanted = "a whole number" if key.kind == "whole" else "a number"
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        _refuse(key, value, file, wanted, label)
    if key.kind == "whole" and not isinstance(value, int):
        _refuse(key, value, file, wanted, label)
    if not key.low <= value <= key.high:
        unit = f" {key.unit}" if key.unit else ""
        raise InputError(
            f"{file}, {label}: {value:g}{unit} lies outside {key.low:g} to {key.high:g}{unit}. {key.remedy}"
        )
    return value if key.kind == "whole" else float(value)


def _refuse(key: Key, value: Any, file: str, wanted: str, label: str = "") -> Any:
    shown = _one_line(Exception(repr(value)))
    raise InputError(f"{file}, {label or key.label}: {shown[:60]} is not {wanted}. {key.remedy}")


def _located(name: str, folder: Path) -> str:
    """An id stays an id; anything that looks like a path is taken relative to the brief."""
    is_path = "/" in name or "\\" in name or name.endswith(".toml")
    return str((folder / name).resolve()) if is_path else name


def _brief(values: dict[str, Any], file: Path) -> Brief:
    folder = file.resolve().parent
    gel_file = values.get("gel.file")
    optional = {
        "rest_s": "lamp.rest_seconds", "programme": "lamp.programme", "serve": "lamp.serve", "coat": "gel.coat", "note": "note",
        "resin_parts": "gel.resin_parts", "stabilisers_wt_pct": "gel.stabilisers_wt_pct", "seed": "seed",
        "chance": "robust.chance", "surest": "robust.surest",
        "allowed": "substances.allowed", "forbidden": "substances.forbidden",
        "allow_unknown_status": "substances.allow_unknown_status",
        "max_initiators": "substances.max_initiators", "caps_wt_pct": "substances.max_wt_pct",
        "smallest_loading_wt_pct": "substances.smallest_loading_wt_pct", "currency": "prices.currency",
        "is_demonstration": "demonstration",
    }  # fmt: skip
    given = {name: values[label] for name, label in optional.items() if label in values}
    for name, label in (("exposures_s", "lamp.cure_seconds_in"), ("programmes", "lamp.programme_in")):
        if label in values:
            given[name] = {_located(lamp, folder): value for lamp, value in values[label].items()}
    if "hand.start_c" in values:
        given["hand_start_k"] = k_from_c(values["hand.start_c"])
    if "hand.nail_thickness_mm" in values:
        given["nail_thickness_m"] = m_from_um(1000.0 * values["hand.nail_thickness_mm"])
    given["prices_per_kg"] = _prices(values, folder)
    return Brief(
        title=values["title"],
        lamps=tuple(_located(name, folder) for name in values["lamp.names"]),
        exposure_s=values["lamp.cure_seconds"],
        gel_file=None if gel_file is None else _located(gel_file, folder),
        thickness_low_m=m_from_um(values["thickness.low_um"]),
        thickness_high_m=m_from_um(values["thickness.high_um"]),
        markets=values["market.names"],
        on_date=values["market.on_date"],
        professional_use=values["market.professional_use"],
        objective=values["objective.minimise"],
        limits=_limits(values),
        margins=Margins(**_section(values, "margins")),
        choices=_choices(values),
        own=_own_rules(values, folder),
        uncertainty=Uncertainty(**_section(values, "uncertainty")),
        **given,
    )


def _section(values: dict[str, Any], section: str) -> dict[str, Any]:
    return {label.split(".")[1]: value for label, value in values.items() if label.startswith(f"{section}.")}


def _prices(values: dict[str, Any], folder: Path) -> dict[str, float]:
    """Prices of the price list, then those of the brief itself, which win."""
    listed: dict[str, float] = {}
    if "prices.file" in values:
        currency, rates = values.get("prices.currency", ""), values.get("prices.rates", {})
        listed = read_prices(folder / values["prices.file"], currency, rates)
    elif "prices.rates" in values:
        raise InputError("prices.rates: rates are for a price list. Give prices.file too, or remove them.")
    return {**listed, **values.get("prices.per_kg", {})}


def _own_rules(values: dict[str, Any], folder: Path) -> OwnRules:
    list_file, stock_file = values.get("substances.list_file"), values.get("stock.file")
    stock = {} if stock_file is None else read_stock(folder / stock_file)
    return OwnRules(
        list_name="" if list_file is None else Path(list_file).name,
        listed={} if list_file is None else read_substance_list(folder / list_file),
        only_listed=values.get("substances.only_listed", False),
        without=values.get("gel.without", ()),
        swap=values.get("gel.swap", {}),
        solubility_wt_pct=values.get("substances.solubility_wt_pct", {}),
        batch_g=values.get("stock.batch_g"),
        on_hand_g={**stock, **values.get("stock.on_hand_g", {})},
        only_stocked=values.get("stock.only_stocked", False),
    )


def _choices(values: dict[str, Any]) -> Choices:
    given = _section(values, "choices")
    coats = tuple(int(each) for each in given.get("coats", ()) if float(each).is_integer())
    if len(coats) != len(given.get("coats", ())):
        raise InputError("choices.coats: numbers of coats must be whole. Write for instance [1, 2].")
    return Choices(
        exposures_s=tuple(float(each) for each in given.get("cure_seconds", ())),
        exposure_low_s=given.get("cure_seconds_low"),
        exposure_high_s=given.get("cure_seconds_high"),
        programmes=given.get("programmes", ()),
        coats=coats,
    )


def _limits(values: dict[str, Any]) -> Limits:
    given = _section(values, "limits")
    turned: dict[str, Any] = {}
    for name, value in given.items():
        if name in ("nail_bed_max_c", "film_max_c"):
            turned[name[:-2] + "_k"] = k_from_c(value)
        elif name == "tacky_layer_max_um":
            turned["tacky_layer_max_m"] = m_from_um(value)
        elif name == "second_cycle_heat_max_fraction":
            turned["second_cycle_heat_max_ratio"] = value
        elif name == "yellowness_max":
            turned["yellowness_max_ratio"] = value
        else:
            turned[name] = value
    if "bottom_conversion_min_fraction" in given:
        if "bottom_conversion_min_share" in given:
            raise InputError(
                "limits: bottom_conversion_min_share and bottom_conversion_min_fraction are both given; "
                "only one can hold. Remove one."
            )
        turned["bottom_conversion_min_share"] = None
    return Limits(**turned)
