"""What a cure gives: profiles, traces, figures, balances, flags and sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from . import layout as at
from .after_cure import AfterCure
from .nail_run import NailRun

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

# Where less than this turns over, a balance is held to a thousandth of this and not of the turnover: rounding alone would fail
# it. Both sums add small changes to large numbers, each step off by a unit in the last digit.
# C=C: 2e-6 of the conversion of the thinnest film (1 um at 6 mol/L), 0.6 mJ/m2 of heat. Rounding: 7 mol/L in 3 mm, some
# thousand steps, 1e-16 each, adds up to 1e-12 (random) or 1e-11 mol/m2 (all one way); 7e-13 was seen.
LEAST_DOUBLE_BONDS_MOL_M2 = 1.0e-8
# Heat: 5 mK in a film of 10 um, or 1 ms of a nail lamp. Rounding: a finger 0.1 m thick holds 4e5 J/m2/K and 313 K are known to
# 6e-14 K, so a few hundred steps add up to 1e-6 (random) or 1e-5 J/m2 (all one way); 7e-6 was seen.
LEAST_HEAT_J_M2 = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Balances:
    """Relative errors of what must balance; each stays below 1e-3 or the run raises.

    Relative to what turned over, or, for C=C and heat, to a turnover too small to matter where there was still less.

    Attributes
    ----------
    photons : float
        Molecules of initiator lost against photons given to it times its yield.
    radicals : float
        Made and present at the start = terminated + caught by oxygen and by the stabiliser lost + left.
    double_bonds : float
        C=C lost against the integral of k_p M R.
    oxygen : float
        At the start + entered = consumed by radicals + left.
    stabiliser : float
        At the start = consumed by the radicals it met + left.
    enthalpy : float
        Heat stored + lost = heat of reaction + light + prescribed.
    """

    photons: float
    radicals: float
    double_bonds: float
    oxygen: float
    stabiliser: float
    enthalpy: float

    @property
    def worst(self) -> float:
        """Largest of the six; not a number if one of them is not."""
        return float(
            np.max(
                [
                    self.photons,
                    self.radicals,
                    self.double_bonds,
                    self.oxygen,
                    self.stabiliser,
                    self.enthalpy,
                ]
            )
        )


def _relative(difference: float, scale: float) -> float:
    return abs(difference) / scale if scale > 1e-30 else abs(difference)


def balances_of(totals: Array) -> Balances:
    """Balances from the totals of a run."""
    radicals_in = totals[at.RADICALS_MADE] + totals[at.RADICALS_START]
    radicals_out = (
        totals[at.RADICALS_TERMINATED]
        + totals[at.RADICALS_TO_OXYGEN]
        + totals[at.RADICALS_TO_STABILISER]
        + totals[at.RADICALS_LOST]
        + totals[at.RADICALS_LEFT]
    )
    oxygen_in = totals[at.OXYGEN_START] + totals[at.OXYGEN_IN]
    heat_in = totals[at.HEAT_REACTION] + totals[at.HEAT_LIGHT] + totals[at.HEAT_SOURCE]
    turnover = max(heat_in, abs(totals[at.HEAT_OUT]), abs(totals[at.HEAT_STORED]), LEAST_HEAT_J_M2)
    stored = totals[at.HEAT_STORED] + totals[at.HEAT_OUT]
    enthalpy = _relative(stored - heat_in, turnover) if totals[at.HEAT_STORED] != 0.0 else 0.0
    return Balances(
        photons=_relative(
            totals[at.INITIATOR_LOST] - totals[at.PHOTONS_INITIATOR], totals[at.INITIATOR_LOST]
        ),
        radicals=_relative(radicals_in - radicals_out, radicals_in),
        double_bonds=_relative(
            totals[at.DOUBLE_BONDS_LOST] - totals[at.DOUBLE_BONDS_INTEGRAL],
            max(totals[at.DOUBLE_BONDS_LOST], LEAST_DOUBLE_BONDS_MOL_M2),
        ),
        oxygen=_relative(oxygen_in - totals[at.OXYGEN_CONSUMED] - totals[at.OXYGEN_LEFT], oxygen_in),
        stabiliser=_relative(
            totals[at.STABILISER_START] - totals[at.STABILISER_CONSUMED] - totals[at.STABILISER_LEFT],
            totals[at.STABILISER_START],
        ),
        enthalpy=enthalpy,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CureResult(NailRun):
    """One film after one schedule in one lamp position; the fields of `NailRun` with it.

    Attributes
    ----------
    gel_name, lamp_id, position, programme : str
        What was cured where, and how.
    thickness_m, exposure_s, rest_s : float
        Film thickness [m]; lit and dark time of one cycle [s].
    cycles : int
        Number of exposures; each is followed by a rest in the dark.
    depth_m : ndarray, shape (n,)
        Depth of the cell centres below the air side [m].
    conversion_fraction, conversion_at_switch_off_fraction : ndarray, shape (n,)
        Conversion of C=C at the very end, and at the end of the first exposure [-].
    conversion_ceiling_fraction : ndarray, shape (n,)
        What is possible in a film at 33 C, whatever the hand [-] (see `formulation.ResinBase`).
    oxygen_mol_m3, radical_mol_m3 : ndarray, shape (n,)
        Oxygen and living radicals at the end [mol/m3].
    bottom_conversion_fraction, surface_conversion_fraction, mean_conversion_fraction : float
        At the lower face; mean over the upper fifth; mean over the film, at the end [-].
    uncured_layer_m : float
        Tacky layer: depth at which conversion first reaches 0.2 [m].
    interface_peak_k : float
        Hottest face of film and nail [K].
    heat_by_cycle_j_m2 : ndarray, shape (cycles,)
        Heat of reaction of each cycle [J/m2].
    second_cycle_heat_ratio : float or None
        Heat of the second cycle over the first; None with one cycle.
    residual_initiator_fraction : mapping of str to float
        Share of each initiator left, film mean [-].
    after_cure : AfterCure
        Initiator, photoproduct, amine and unreacted monomer left, shrinkage, tint, and when the faces set.
    absorbed_photon_fraction : float
        Share of the photons that the film absorbed [-].
    bottom_conversion_trace, surface_conversion_trace, mean_conversion_trace : ndarray, shape (nt,)
        Conversion against time [-].
    conversion_steps : ndarray, shape (nt, n)
        Conversion profile at every step [-].
    """

    gel_name: str
    lamp_id: str
    position: str
    programme: str
    thickness_m: float
    exposure_s: float
    rest_s: float
    cycles: int
    depth_m: Array
    conversion_fraction: Array
    conversion_at_switch_off_fraction: Array
    conversion_ceiling_fraction: Array
    oxygen_mol_m3: Array
    radical_mol_m3: Array
    bottom_conversion_fraction: float
    surface_conversion_fraction: float
    mean_conversion_fraction: float
    uncured_layer_m: float
    interface_peak_k: float
    heat_by_cycle_j_m2: Array
    second_cycle_heat_ratio: float | None
    residual_initiator_fraction: Mapping[str, float]
    after_cure: AfterCure
    absorbed_photon_fraction: float
    bottom_conversion_trace: Array
    surface_conversion_trace: Array
    mean_conversion_trace: Array
    conversion_steps: Array

    def to_frame(self) -> pd.DataFrame:
        """Depth profile at the end as a tidy table."""
        import pandas as pd

        return pd.DataFrame(
            {
                "depth_m": self.depth_m,
                "conversion_fraction": self.conversion_fraction,
                "conversion_at_switch_off_fraction": self.conversion_at_switch_off_fraction,
                "conversion_ceiling_fraction": self.conversion_ceiling_fraction,
                "oxygen_mol_m3": self.oxygen_mol_m3,
                "radical_mol_m3": self.radical_mol_m3,
            }
        )

    def trace_frame(self) -> pd.DataFrame:
        """Traces against time as a tidy table."""
        return self._trace_table(
            {
                "bottom_conversion_fraction": self.bottom_conversion_trace,
                "surface_conversion_fraction": self.surface_conversion_trace,
                "mean_conversion_fraction": self.mean_conversion_trace,
            }
        )
