"""What a whole build gives: figures per coat and event, profile through all coats, traces, balances."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .after_cure import AfterCure, Tint
from .nail_run import NailRun
from .results import Balances

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatFigures:
    """One coat after one event.

    Attributes
    ----------
    number : int
        1 = the first coat applied, the one on the nail.
    coat, gel_name : str
        Its role and its gel.
    thickness_m : float
        Thickness [m]; less than applied once its tacky layer is wiped off.
    bottom_conversion_fraction, mean_conversion_fraction, top_conversion_fraction : float
        Conversion at its lower face, its mean, and the mean of its upper fifth [-].
    conversion_ceiling_fraction : float
        What is possible in a film at 33 C, whatever the hand [-].
    heat_j_m2 : float
        Heat of reaction it gave in this event [J/m2].
    residual_initiator_fraction : mapping of str to float
        Share left of each of its initiators, coat mean [-].
    """

    number: int
    coat: str
    gel_name: str
    thickness_m: float
    bottom_conversion_fraction: float
    mean_conversion_fraction: float
    top_conversion_fraction: float
    conversion_ceiling_fraction: float
    heat_j_m2: float
    residual_initiator_fraction: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class EventResult:
    """The nail after one event.

    Attributes
    ----------
    number : int
        Place in the schedule, from 1.
    kind, words : str
        "apply", "expose", "rest" or "wipe"; the event in a few words.
    start_s, end_s : float
        Begin and end on the clock of the schedule [s]; applying and wiping take no time.
    coats : tuple of CoatFigures
        Coats on the nail after the event, from the nail upwards.
    tacky_layer_m : float
        Depth at which conversion first reaches 0.2 [m].
    film_peak_k, interface_peak_k, nail_bed_peak_k : float
        Hottest place of the coats, of the face of coat and nail, and of the nail bed during the event [K].
    nail_bed_peak_time_s : float
        When, on the clock of the schedule [s].
    heat_j_m2 : float
        Heat of reaction of all coats [J/m2].
    cem43_min : float
        Thermal dose of the nail bed in this event [min].
    removed_thickness_m, removed_mass_kg_m2 : float
        What a wipe took off [m], [kg/m2]; 0 otherwise.
    balances : Balances or None
        Relative errors; None for events that take no time.
    """

    number: int
    kind: str
    words: str
    start_s: float
    end_s: float
    coats: tuple[CoatFigures, ...]
    tacky_layer_m: float
    film_peak_k: float
    interface_peak_k: float
    nail_bed_peak_k: float
    nail_bed_peak_time_s: float
    heat_j_m2: float = 0.0
    cem43_min: float = 0.0
    removed_thickness_m: float = 0.0
    removed_mass_kg_m2: float = 0.0
    balances: Balances | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StackResult(NailRun):
    """All coats on a nail after a schedule in one lamp position; the fields of `NailRun` with it, on the clock of the schedule.

    Attributes
    ----------
    bond_side_conversion_fraction : float
        Conversion of the first coat at its lower face, where it holds on to the nail, at the end [-].
    title, lamp_id, position : str
        What was built where.
    coats : tuple of CoatFigures
        Coats at the end, from the nail upwards; their heat is that of the whole schedule.
    events : tuple of EventResult
        The nail after every event.
    after_cure : tuple of AfterCure
        What is left in each of `coats`, its shrinkage and colour; "surface" is its upper fifth, "base" its lower face.
    tint : Tint
        Colour of the clear binders of all coats together over a white floor; pigments are not counted.
    thickness_m, tacky_layer_m : float
        All coats together, and the tacky layer, at the end [m].
    depth_m, width_m, conversion_fraction, conversion_ceiling_fraction : ndarray, shape (n,)
        From the air side down, at the end: depth of cell centres and cell widths [m], conversion and what is possible at 33 C [-].
    oxygen_mol_m3, radical_mol_m3, temperature_k : ndarray, shape (n,)
        Oxygen and living radicals [mol/m3], temperature [K].
    coat_number : ndarray of int, shape (n,)
        Number of the coat each cell belongs to.
    bond_side_conversion_trace : ndarray, shape (nt,)
        Conversion at the lower face of the first coat [-].
    coat_conversion_trace : ndarray, shape (nt, n_coat)
        Mean conversion of every coat applied [-]; 0 while a coat is not on the nail.
    is_demonstration : bool
        Whether schedule, lamp or a gel is invented.
    """

    bond_side_conversion_fraction: float
    title: str
    lamp_id: str
    position: str
    coats: tuple[CoatFigures, ...]
    events: tuple[EventResult, ...]
    after_cure: tuple[AfterCure, ...]
    tint: Tint
    thickness_m: float
    tacky_layer_m: float
    depth_m: Array
    width_m: Array
    conversion_fraction: Array
    conversion_ceiling_fraction: Array
    oxygen_mol_m3: Array
    radical_mol_m3: Array
    temperature_k: Array
    coat_number: NDArray[np.intp]
    bond_side_conversion_trace: Array
    coat_conversion_trace: Array
    is_demonstration: bool

    def to_frame(self) -> pd.DataFrame:
        """Profile through all coats at the end as a tidy table, from the air side down."""
        import pandas as pd

        by_number = {coat.number: coat for coat in self.coats}
        return pd.DataFrame(
            {
                "depth_m": self.depth_m,
                "coat_number": self.coat_number,
                "coat": [by_number[int(number)].coat for number in self.coat_number],
                "gel_name": [by_number[int(number)].gel_name for number in self.coat_number],
                "conversion_fraction": self.conversion_fraction,
                "conversion_ceiling_fraction": self.conversion_ceiling_fraction,
                "oxygen_mol_m3": self.oxygen_mol_m3,
                "radical_mol_m3": self.radical_mol_m3,
                "temperature_k": self.temperature_k,
            }
        )

    def events_frame(self) -> pd.DataFrame:
        """One row per event and coat as a tidy table; what belongs to the whole nail repeats in the rows of its coats."""
        import pandas as pd

        rows = [
            {
                "event": event.number,
                "kind": event.kind,
                "words": event.words,
                "start_s": event.start_s,
                "end_s": event.end_s,
                "coat_number": coat.number,
                "coat": coat.coat,
                "gel_name": coat.gel_name,
                "thickness_m": coat.thickness_m,
                "bottom_conversion_fraction": coat.bottom_conversion_fraction,
                "mean_conversion_fraction": coat.mean_conversion_fraction,
                "top_conversion_fraction": coat.top_conversion_fraction,
                "heat_j_m2": coat.heat_j_m2,
                "tacky_layer_m": event.tacky_layer_m,
                "film_peak_k": event.film_peak_k,
                "nail_bed_peak_k": event.nail_bed_peak_k,
                "cem43_min": event.cem43_min,
                "removed_thickness_m": event.removed_thickness_m,
                "removed_mass_kg_m2": event.removed_mass_kg_m2,
                "worst_balance": 0.0 if event.balances is None else event.balances.worst,
            }
            for event in self.events
            for coat in event.coats
        ]
        return pd.DataFrame(rows)

    def trace_frame(self) -> pd.DataFrame:
        """Traces against time as a tidy table."""
        columns = {
            "bond_side_conversion_fraction": self.bond_side_conversion_trace,
        }
        for column in range(self.coat_conversion_trace.shape[1]):
            columns[f"coat_{column + 1}_conversion_fraction"] = self.coat_conversion_trace[:, column]
        return self._trace_table(columns)
