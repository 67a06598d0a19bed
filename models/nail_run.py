"""What the run of a single film and of a whole build have in common: peaks, dose at the nail bed, traces, balances."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from . import layout as at

if TYPE_CHECKING:
    import pandas as pd

    from .results import Balances

Array = NDArray[np.float64]

_DOSE = {
    "seconds_above_42_c": at.SECONDS_ABOVE_42,
    "seconds_above_43_c": at.SECONDS_ABOVE_43,
    "seconds_above_45_c": at.SECONDS_ABOVE_45,
    "cem43_min": at.CEM43,
    "damage_henriques": at.OMEGA_HENRIQUES,
    "damage_weaver_stoll": at.OMEGA_WEAVER_STOLL,
}
_TRACES = {
    "time_s": at.TIME,
    "level_ratio": at.LEVEL,
    "film_max_k": at.FILM_MAX,
    "interface_k": at.INTERFACE,
    "nail_bed_k": at.BED,
    "air_k": at.AIR,
    "reaction_heat_w_m2": at.REACTION_HEAT,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TissueDose:
    """What the nail bed has been through; all of it adds up over runs.

    Attributes
    ----------
    seconds_above_42_c, seconds_above_43_c, seconds_above_45_c : float
        Time the nail bed spends above these lines [s].
    cem43_min, damage_henriques, damage_weaver_stoll : float
        Thermal dose at the nail bed [min] and the damage integral as a band [-].
    """

    seconds_above_42_c: float
    seconds_above_43_c: float
    seconds_above_45_c: float
    cem43_min: float
    damage_henriques: float
    damage_weaver_stoll: float


def dose_of(totals: Array) -> dict[str, Any]:
    """Fields of `TissueDose` from the totals of a run."""
    return {name: float(totals[place]) for name, place in _DOSE.items()}


def traces_of(record: Array) -> dict[str, Any]:
    """Traces of `NailRun` from the record of a run."""
    return {name: np.array(record[:, column]) for name, column in _TRACES.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NailRun(TissueDose):
    """Peaks, traces and the work of a run; the fields of `TissueDose` with it.

    Attributes
    ----------
    film_peak_k, film_peak_time_s, nail_bed_peak_k, nail_bed_peak_time_s : float
        Hottest film and nail bed [K] and when [s]. The film is never reported as nail bed.
    stabiliser_share_fraction : float
        Share of all radicals formed that the stabiliser takes [-].
    time_s, level_ratio, film_max_k, interface_k, nail_bed_k, air_k, reaction_heat_w_m2 : ndarray, shape (nt,)
        Traces: time [s], lamp output [-], temperatures [K], heat of reaction [W/m2].
    balances : Balances
        Relative errors of the balances.
    flags, citations : tuple of str
        Sentences on what to doubt; sources this run rests on.
    steps, rejected_steps : int
        Work of the solver.
    """

    film_peak_k: float
    film_peak_time_s: float
    nail_bed_peak_k: float
    nail_bed_peak_time_s: float
    stabiliser_share_fraction: float
    time_s: Array
    level_ratio: Array
    film_max_k: Array
    interface_k: Array
    nail_bed_k: Array
    air_k: Array
    reaction_heat_w_m2: Array
    balances: Balances
    flags: tuple[str, ...]
    citations: tuple[str, ...]
    steps: int
    rejected_steps: int

    def _trace_table(self, more: Mapping[str, Array]) -> pd.DataFrame:
        """Traces against time as a tidy table, with further columns."""
        import pandas as pd

        return pd.DataFrame({name: getattr(self, name) for name in _TRACES} | dict(more))


def stabiliser_share(totals: Array) -> float:
    """Share of all radicals formed that the stabiliser takes [-]; 0 where none were formed."""
    made = float(totals[at.RADICALS_MADE])
    return float(totals[at.RADICALS_TO_STABILISER]) / made if made > 0.0 else 0.0
