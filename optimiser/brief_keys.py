"""The keys a brief may hold: one row per key with its unit, range and remedy.

The reader, its error messages and the documentation all follow this table, so a key is described once.
Ranges are wide on purpose: they catch a slip of unit (metres for micrometres, kelvin for Celsius), not taste.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "number",
    "whole",
    "yes_no",
    "text",
    "choice",
    "date",
    "names",
    "numbers",
    "numbers_by_name",
    "texts_by_name",
]

OBJECTIVES = ("least_heat", "least_initiator", "least_cost", "least_yellowing")
SERVE = ("one_blend", "blend_per_lamp", "largest_set")
MOST_LAMPS = 8
COATS = ("base", "builder", "colour", "top")

# below this nothing cures, nobody weighs, and the balances of a run compare nothing with nothing
TRACE_WT_PCT = 0.002

TISSUE_LIMIT_REASON = (
    "living tissue is injured within minutes at 48 °C and within seconds a few degrees higher "
    "(time-temperature curves of Moritz and Henriques 1947); "
    "the 71 °C figure heard in the trade is a film temperature and is shown as a second line anyway"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a brief.

    Parameters
    ----------
    section, name : str
        Table and key as written in the file; an empty section means the top level.
    kind : str
        What the value must be.
    unit : str
        Unit shown after the value in messages; empty for plain numbers.
    low, high : float
        Allowed range, both ends included.
    choices : tuple of str
        Allowed words for ``kind="choice"``.
    required : bool
        Whether a brief without the key is refused.
    remedy : str
        What to do, shown at the end of the message.
    """

    section: str
    name: str
    kind: Kind
    unit: str = ""
    low: float = float("-inf")
    high: float = float("inf")
    choices: tuple[str, ...] = ()
    required: bool = False
    remedy: str = ""

    @property
    def label(self) -> str:
        """Dotted name used in messages."""
        return f"{self.section}.{self.name}" if self.section else self.name


def _number(
    section: str, name: str, unit: str, low: float, high: float, remedy: str, required: bool = False
) -> Key:
    return Key(
        section=section,
        name=name,
        kind="number",
        unit=unit,
        low=low,
        high=high,
        remedy=remedy,
        required=required,
    )


_WEIGHT = "Give weight percent of the whole gel."
_SHARE = "Give a fraction between 0 and 1, not percent."

KEYS: tuple[Key, ...] = (
    Key(
        section="",
        name="title",
        kind="text",
        required=True,
        remedy="Say in a few words what the blend is for.",
    ),
    Key(section="", name="note", kind="text", remedy="Write it as text in quotes."),
    Key(section="", name="demonstration", kind="yes_no", remedy="Write true or false."),
    Key(section="", name="seed", kind="whole", low=0, high=2**31 - 1, remedy="Give a whole number."),
    Key(
        section="lamp",
        name="names",
        kind="names",
        required=True,
        remedy='Write for instance names = ["my_lamp/lamp.toml"].',
    ),
    _number("lamp", "cure_seconds", "s", 1, 600, "Give the lamp's on time in seconds.", required=True),
    _number("lamp", "rest_seconds", "s", 1, 600, "Give the pause between two cure cycles in seconds."),
    Key(
        section="lamp",
        name="programme",
        kind="text",
        remedy='Name one of the lamp\'s programmes, or write a sequence such as "low_heat 20 s then steady".',
    ),
    Key(
        section="lamp",
        name="serve",
        kind="choice",
        choices=SERVE,
        remedy="Say how several lamps are to be served.",
    ),
    Key(
        section="lamp",
        name="cure_seconds_in",
        kind="numbers_by_name",
        unit="s",
        low=1,
        high=600,
        remedy="Give the on time of single lamps in seconds.",
    ),
    Key(
        section="lamp",
        name="programme_in",
        kind="texts_by_name",
        remedy="Give the programme of single lamps as text.",
    ),
    Key(
        section="choices",
        name="cure_seconds",
        kind="numbers",
        unit="s",
        low=1,
        high=600,
        remedy="List the cure times to choose among, for instance [30, 60].",
    ),
    _number("choices", "cure_seconds_low", "s", 1, 600, "Give the shortest cure time in seconds."),
    _number("choices", "cure_seconds_high", "s", 1, 600, "Give the longest cure time in seconds."),
    Key(
        section="choices",
        name="programmes",
        kind="names",
        remedy='List programmes and sequences to choose among, or write "all" for those the lamp has.',
    ),
    Key(
        section="choices",
        name="coats",
        kind="numbers",
        low=1,
        high=5,
        remedy="List numbers of coats for the same total thickness, for instance [1, 2].",
    ),
    Key(
        section="gel",
        name="file",
        kind="text",
        remedy="Give the path of a gel file, or gel.resin_parts instead.",
    ),
    Key(section="gel", name="coat", kind="choice", choices=COATS, remedy="Choose one of the coats."),
    Key(
        section="gel",
        name="resin_parts",
        kind="numbers_by_name",
        unit="parts",
        low=1e-6,
        high=1e6,
        remedy="Give parts by weight of the resin base.",
    ),
    Key(
        section="gel",
        name="stabilisers_wt_pct",
        kind="numbers_by_name",
        unit="wt%",
        low=0,
        high=2,
        remedy=_WEIGHT,
    ),
    Key(
        section="gel",
        name="without",
        kind="names",
        remedy='List parts the gel must not hold, for instance ["HEMA"] or ["known sensitisers"].',
    ),
    Key(
        section="gel",
        name="swap",
        kind="texts_by_name",
        remedy='Name resins to replace weight for weight, for instance { HEMA = "HPMA" }.',
    ),
    _number(
        "thickness", "low_um", "µm", 5, 3000, "Give the thinnest wet film in micrometres.", required=True
    ),
    _number(
        "thickness", "high_um", "µm", 5, 3000, "Give the thickest wet film in micrometres.", required=True
    ),
    Key(
        section="market",
        name="names",
        kind="names",
        required=True,
        remedy='Write for instance names = ["EU"].',
    ),
    Key(
        section="market",
        name="on_date",
        kind="date",
        required=True,
        remedy="Write the date as 2026-01-31, no quotes.",
    ),
    Key(
        section="market", name="professional_use", kind="yes_no", required=True, remedy="Write true or false."
    ),
    Key(
        section="substances",
        name="allowed",
        kind="names",
        remedy="List the keys of initiators and amines, or leave out for all whose status is known.",
    ),
    Key(
        section="substances", name="forbidden", kind="names", remedy="List the keys of initiators and amines."
    ),
    Key(
        section="substances",
        name="allow_unknown_status",
        kind="yes_no",
        remedy="Write true or false; true also searches substances whose status in a market is unknown.",
    ),
    Key(
        section="substances",
        name="list_file",
        kind="text",
        remedy="Give the path of a CSV with the columns substance, state, max_wt_pct, reason.",
    ),
    Key(section="substances", name="only_listed", kind="yes_no", remedy="Write true or false."),
    Key(
        section="substances",
        name="solubility_wt_pct",
        kind="numbers_by_name",
        unit="wt%",
        low=0,
        high=50,
        remedy="Give the solubility in your resin base in weight percent.",
    ),
    Key(section="substances", name="max_initiators", kind="whole", low=1, high=5, remedy="Three is usual."),
    _number(
        "substances",
        "smallest_loading_wt_pct",
        "wt%",
        TRACE_WT_PCT,
        1,
        "Give the smallest loading worth weighing.",
    ),
    Key(
        section="substances",
        name="max_wt_pct",
        kind="numbers_by_name",
        unit="wt%",
        low=0,
        high=20,
        remedy=_WEIGHT,
    ),
    _number("limits", "nail_bed_max_c", "°C", 36, 48, f"Give a lower limit: {TISSUE_LIMIT_REASON}."),
    _number(
        "limits", "cem43_max_min", "min", 0.01, 16, "Give equivalent minutes at 43 °C; 1 is the default."
    ),
    _number(
        "limits", "film_max_c", "°C", 40, 200, "Leave it out to show the film line without holding to it."
    ),
    _number("limits", "second_cycle_heat_max_fraction", "", 0.001, 1, _SHARE),
    _number(
        "limits",
        "bottom_conversion_min_share",
        "",
        0.05,
        1,
        "Give the share of the conversion possible in a film at 33 °C, 0.9 is the default.",
    ),
    _number("limits", "bottom_conversion_min_fraction", "", 0.05, 1, _SHARE),
    _number(
        "limits",
        "surface_conversion_min_share",
        "",
        0.01,
        1,
        "Give the share of the conversion possible in a film at 33 °C.",
    ),
    _number("limits", "surface_conversion_min_fraction", "", 0.01, 1, _SHARE),
    _number(
        "limits",
        "tacky_layer_max_um",
        "µm",
        0.1,
        500,
        "Give the thickest uncured surface layer in micrometres.",
    ),
    _number("limits", "residual_initiator_max_wt_pct", "wt%", 0.001, 20, _WEIGHT),
    _number(
        "limits", "yellowness_max", "", 0.1, 100, "Give the yellowness index (ASTM E313) of the cured film."
    ),
    _number(
        "limits",
        "cost_max_per_kg",
        "per kg",
        1e-6,
        1e9,
        "Give the cost of the initiator package per kg of gel.",
    ),
    _number("limits", "total_initiator_max_wt_pct", "wt%", 0.01, 20, _WEIGHT),
    Key(
        section="objective",
        name="minimise",
        kind="choice",
        choices=OBJECTIVES,
        required=True,
        remedy="Choose one of the objectives.",
    ),
    Key(section="prices", name="currency", kind="text", remedy='Write for instance currency = "EUR".'),
    Key(
        section="prices",
        name="per_kg",
        kind="numbers_by_name",
        unit="per kg",
        low=0,
        high=1e6,
        remedy="Give the price of one kg.",
    ),
    Key(
        section="prices",
        name="file",
        kind="text",
        remedy="Give the path of a CSV with the columns substance, price_per_kg, currency.",
    ),
    Key(
        section="prices",
        name="rates",
        kind="numbers_by_name",
        low=1e-9,
        high=1e9,
        remedy="Give the worth of one unit of each other currency in prices.currency.",
    ),
    _number("stock", "batch_g", "g", 1, 1e8, "Give the batch to be made in grams."),
    Key(
        section="stock",
        name="on_hand_g",
        kind="numbers_by_name",
        unit="g",
        low=0,
        high=1e9,
        remedy="Give what is in stock in grams.",
    ),
    Key(
        section="stock",
        name="file",
        kind="text",
        remedy="Give the path of a CSV with the columns substance, on_hand_g.",
    ),
    Key(section="stock", name="only_stocked", kind="yes_no", remedy="Write true or false."),
    _number("margins", "temperature_k", "K", 0, 15, "Give kelvin to stay below every temperature limit."),
    _number(
        "margins", "conversion_fraction", "", 0, 0.3, "Give the conversion to stay above every cure limit."
    ),
    _number("robust", "chance", "", 0.5, 0.99, "Give the least chance of passing in use, 0.95 for instance."),
    Key(
        section="robust",
        name="surest",
        kind="yes_no",
        remedy="Write true to seek the highest chance of passing in place of the objective.",
    ),
    _number("uncertainty", "weighing_error_ratio", "", 0, 0.5, _SHARE),
    _number("uncertainty", "lamp_output_error_ratio", "", 0, 0.5, _SHARE),
    Key(
        section="uncertainty",
        name="draws",
        kind="whole",
        low=32,
        high=4096,
        remedy="A power of two between 32 and 4096.",
    ),
    _number("hand", "start_c", "°C", 15, 38, "Give the finger's temperature before the cure."),
    _number(
        "hand", "nail_thickness_mm", "mm", 0.1, 1.5, "Give the thickness of the nail plate in millimetres."
    ),
)

BY_LABEL: dict[str, Key] = {key.label: key for key in KEYS}
SECTIONS: tuple[str, ...] = tuple(dict.fromkeys(key.section for key in KEYS if key.section))


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name closest to a mistyped one, as a ready-made hint.

    Parameters
    ----------
    name : str
        What was written.
    known : iterable of str
        The names that would have been accepted.

    Returns
    -------
    str
        ``"did you mean 'x'?"`` or, when nothing is close, ``"known are a, b, c"``.
    """
    names = sorted(known)
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
    if not close:  # a key put under the wrong table still ends in the right word
        close = [known_name for known_name in names if known_name.split(".")[-1] == name.split(".")[-1]]
    return f"did you mean '{close[0]}'?" if close else f"known are {', '.join(names)}"
