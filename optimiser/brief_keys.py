"""The keys a brief may hold: one row per key with its unit, range and remedy.

The reader, its error messages and the documentation all follow this table, so a key is described once.
Ranges are wide on purpose: they catch a slip of unit (metres for micrometres, kelvin for Celsius), not taste.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import KW_ONLY, dataclass
from typing import Literal

Kind = Literal[
    "number", "whole", "yes_no", "text", "choice", "date", "names", "numbers", "numbers_by_name", "texts_by_name"
]  # fmt: skip

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


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a brief.

    Parameters
    ----------
    label : str
        Table and key as written in the file, with a dot between; no dot at the top level.
    kind : str
        What the value must be.
    remedy : str
        What to do, shown at the end of the message.
    low, high : float
        Allowed range, both ends included.
    unit : str
        Unit shown after the value in messages; empty for plain numbers.
    choices : tuple of str
        Allowed words for ``kind="choice"``.
    required : bool
        Whether a brief without the key is refused.
    """

    label: str
    kind: Kind
    remedy: str
    _: KW_ONLY
    low: float = float("-inf")
    high: float = float("inf")
    unit: str = ""
    choices: tuple[str, ...] = ()
    required: bool = False

    @property
    def section(self) -> str:
        """The table the key stands in; empty at the top level."""
        return self.label.rpartition(".")[0]


_WEIGHT = "Give weight percent of the whole gel."
_SHARE = "Give a fraction between 0 and 1, not percent."

KEYS: tuple[Key, ...] = (
    Key("title", "text", "Say in a few words what the blend is for.", required=True),
    Key("note", "text", "Write it as text in quotes."),
    Key("demonstration", "yes_no", "Write true or false."),
    Key("seed", "whole", "Give a whole number.", low=0, high=2**31 - 1),
    Key("lamp.names", "names", 'Write for instance names = ["my_lamp/lamp.toml"].', required=True),
    Key("lamp.cure_seconds", "number", "Give the lamp's on time in seconds.", low=1, high=600, unit="s", required=True),
    Key("lamp.rest_seconds", "number", "Give the pause between two cure cycles in seconds.", low=1, high=600, unit="s"),
    Key("lamp.programme", "text",
        'Name one of the lamp\'s programmes, or write a sequence such as "low_heat 20 s then steady".'),
    Key("lamp.serve", "choice", "Say how several lamps are to be served.", choices=SERVE),
    Key("lamp.cure_seconds_in", "numbers_by_name", "Give the on time of single lamps in seconds.", low=1, high=600, unit="s"),
    Key("lamp.programme_in", "texts_by_name", "Give the programme of single lamps as text."),
    Key("choices.cure_seconds", "numbers",
        "List the cure times to choose among, for instance [30, 60].", low=1, high=600, unit="s"),
    Key("choices.cure_seconds_low", "number", "Give the shortest cure time in seconds.", low=1, high=600, unit="s"),
    Key("choices.cure_seconds_high", "number", "Give the longest cure time in seconds.", low=1, high=600, unit="s"),
    Key("choices.programmes", "names", 'List programmes and sequences to choose among, or write "all" for those the lamp has.'),
    Key("choices.coats", "numbers", "List numbers of coats for the same total thickness, for instance [1, 2].", low=1, high=5),
    Key("gel.file", "text", "Give the path of a gel file, or gel.resin_parts instead."),
    Key("gel.coat", "choice", "Choose one of the coats.", choices=COATS),
    Key("gel.resin_parts", "numbers_by_name", "Give parts by weight of the resin base.", low=1e-6, high=1e6, unit="parts"),
    Key("gel.stabilisers_wt_pct", "numbers_by_name", _WEIGHT, low=0, high=2, unit="wt%"),
    Key("gel.without", "names", 'List parts the gel must not hold, for instance ["HEMA"] or ["known sensitisers"].'),
    Key("gel.swap", "texts_by_name", 'Name resins to replace weight for weight, for instance { HEMA = "HPMA" }.'),
    Key("thickness.low_um", "number", "Give the thinnest wet film in micrometres.", low=5, high=3000, unit="µm", required=True),
    Key("thickness.high_um", "number", "Give the thickest wet film in micrometres.", low=5, high=3000, unit="µm", required=True),
    Key("market.names", "names", 'Write for instance names = ["EU"].', required=True),
    Key("market.on_date", "date", "Write the date as 2026-01-31, no quotes.", required=True),
    Key("market.professional_use", "yes_no", "Write true or false.", required=True),
    Key("substances.allowed", "names", "List the keys of initiators and amines, or leave out for all whose status is known."),
    Key("substances.forbidden", "names", "List the keys of initiators and amines."),
    Key("substances.allow_unknown_status", "yes_no",
        "Write true or false; true also searches substances whose status in a market is unknown."),
    Key("substances.list_file", "text", "Give the path of a CSV with the columns substance, state, max_wt_pct, reason."),
    Key("substances.only_listed", "yes_no", "Write true or false."),
    Key("substances.solubility_wt_pct", "numbers_by_name",
        "Give the solubility in your resin base in weight percent.", low=0, high=50, unit="wt%"),
    Key("substances.max_initiators", "whole", "Three is usual.", low=1, high=5),
    Key("substances.smallest_loading_wt_pct", "number",
        "Give the smallest loading worth weighing.", low=TRACE_WT_PCT, high=1, unit="wt%"),
    Key("substances.max_wt_pct", "numbers_by_name", _WEIGHT, low=0, high=20, unit="wt%"),
    Key("limits.nail_bed_max_c", "number", f"Give a lower limit: {TISSUE_LIMIT_REASON}.", low=36, high=48, unit="°C"),
    Key("limits.cem43_max_min", "number", "Give equivalent minutes at 43 °C; 1 is the default.", low=0.01, high=16, unit="min"),
    Key("limits.film_max_c", "number", "Leave it out to show the film line without holding to it.", low=40, high=200, unit="°C"),
    Key("limits.second_cycle_heat_max_fraction", "number", _SHARE, low=0.001, high=1),
    Key("limits.bottom_conversion_min_share", "number",
        "Give the share of the conversion possible in a film at 33 °C, 0.9 is the default.", low=0.05, high=1),
    Key("limits.bottom_conversion_min_fraction", "number", _SHARE, low=0.05, high=1),
    Key("limits.surface_conversion_min_share", "number",
        "Give the share of the conversion possible in a film at 33 °C.", low=0.01, high=1),
    Key("limits.surface_conversion_min_fraction", "number", _SHARE, low=0.01, high=1),
    Key("limits.tacky_layer_max_um", "number",
        "Give the thickest uncured surface layer in micrometres.", low=0.1, high=500, unit="µm"),
    Key("limits.residual_initiator_max_wt_pct", "number", _WEIGHT, low=0.001, high=20, unit="wt%"),
    Key("limits.yellowness_max", "number", "Give the yellowness index (ASTM E313) of the cured film.", low=0.1, high=100),
    Key("limits.cost_max_per_kg", "number",
        "Give the cost of the initiator package per kg of gel.", low=1e-6, high=1e9, unit="per kg"),
    Key("limits.total_initiator_max_wt_pct", "number", _WEIGHT, low=0.01, high=20, unit="wt%"),
    Key("objective.minimise", "choice", "Choose one of the objectives.", choices=OBJECTIVES, required=True),
    Key("prices.currency", "text", 'Write for instance currency = "EUR".'),
    Key("prices.per_kg", "numbers_by_name", "Give the price of one kg.", low=0, high=1e6, unit="per kg"),
    Key("prices.file", "text", "Give the path of a CSV with the columns substance, price_per_kg, currency."),
    Key("prices.rates", "numbers_by_name",
        "Give the worth of one unit of each other currency in prices.currency.", low=1e-9, high=1e9),
    Key("stock.batch_g", "number", "Give the batch to be made in grams.", low=1, high=1e8, unit="g"),
    Key("stock.on_hand_g", "numbers_by_name", "Give what is in stock in grams.", low=0, high=1e9, unit="g"),
    Key("stock.file", "text", "Give the path of a CSV with the columns substance, on_hand_g."),
    Key("stock.only_stocked", "yes_no", "Write true or false."),
    Key("margins.temperature_k", "number", "Give kelvin to stay below every temperature limit.", low=0, high=15, unit="K"),
    Key("margins.conversion_fraction", "number", "Give the conversion to stay above every cure limit.", low=0, high=0.3),
    Key("robust.chance", "number", "Give the least chance of passing in use, 0.95 for instance.", low=0.5, high=0.99),
    Key("robust.surest", "yes_no", "Write true to seek the highest chance of passing in place of the objective."),
    Key("uncertainty.weighing_error_ratio", "number", _SHARE, low=0, high=0.5),
    Key("uncertainty.lamp_output_error_ratio", "number", _SHARE, low=0, high=0.5),
    Key("uncertainty.draws", "whole", "A power of two between 32 and 4096.", low=32, high=4096),
    Key("hand.start_c", "number", "Give the finger's temperature before the cure.", low=15, high=38, unit="°C"),
    Key("hand.nail_thickness_mm", "number",
        "Give the thickness of the nail plate in millimetres.", low=0.1, high=1.5, unit="mm"),
)  # fmt: skip

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
