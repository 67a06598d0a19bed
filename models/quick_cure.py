"""Cures of which only the deciding figures are wanted: no traces, no residues, so that hundreds take seconds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from . import layout as at
from .balanced import solve_balanced
from .cure import TACKY_BELOW_FRACTION, CureCase, film_model, schedule
from .formulation import gel_resin
from .packing import pack
from .plain import bottom_value, depth_reaching
from .sensitisers import with_energy_transfer
from .solver import SolverSettings, run_parallel, segment_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickFigures:
    """What decides on cure and heat of one film; the names are those of `results.CureResult`.

    Attributes
    ----------
    position : str
        Position in the lamp.
    thickness_m, exposure_s : float
        Film [m] and lit time [s].
    bottom_conversion_fraction, conversion_ceiling_fraction : float
        Conversion at the base and the possible one [-].
    uncured_layer_m : float
        Tacky layer [m].
    film_peak_k, nail_bed_peak_k : float
        Hottest film and nail bed [K].
    nail_bed_peak_time_s : float
        When the nail bed was hottest [s].
    cem43_min : float
        Thermal dose of the nail bed [min].
    absorbed_photon_fraction : float
        Photons absorbed by the initiators over those that fell in [-].
    """

    position: str
    thickness_m: float
    exposure_s: float
    bottom_conversion_fraction: float
    conversion_ceiling_fraction: float
    uncured_layer_m: float
    film_peak_k: float
    nail_bed_peak_k: float
    nail_bed_peak_time_s: float
    cem43_min: float
    absorbed_photon_fraction: float


def quick_cures(
    cases: Sequence[CureCase], *, workers: int | None = None, settings: SolverSettings | None = None
) -> list[QuickFigures]:
    """Deciding figures of many films on parallel threads, in the order of the cases; the numbers are those of `cure`.

    Parameters
    ----------
    cases : sequence of CureCase
        What to cure.
    workers : int, optional
        Threads; all cores when omitted. Results do not depend on it.
    settings : SolverSettings, optional
        Accuracy.

    Raises
    ------
    SolverError
        If a balance of a run stays open.
    """
    accuracy = settings or SolverSettings()

    def one(index: int) -> QuickFigures:
        return _figures(cases[index], accuracy)

    found: list[QuickFigures] = run_parallel(one, len(cases), workers)
    return found


def _figures(case: CureCase, accuracy: SolverSettings) -> QuickFigures:
    film, state = pack(with_energy_transfer(film_model(case, accuracy), case.gel))
    what = f"{case.gel.name} in {case.lamp.lamp_id}"
    solution = solve_balanced(film, state, segment_rows(schedule(case)), accuracy, what, record=False)
    profile, totals, width = solution.conversion_fraction, solution.totals, film.width
    return QuickFigures(
        position=case.lamp_position,
        thickness_m=case.film_thickness_m,
        exposure_s=case.exposure_s,
        bottom_conversion_fraction=bottom_value(width, profile),
        conversion_ceiling_fraction=gel_resin(case.gel).conversion_ceiling_fraction(),
        uncured_layer_m=depth_reaching(width, profile, TACKY_BELOW_FRACTION),
        film_peak_k=float(totals[at.PEAK_FILM]),
        nail_bed_peak_k=float(totals[at.PEAK_BED]),
        nail_bed_peak_time_s=float(totals[at.PEAK_BED_TIME]),
        cem43_min=float(totals[at.CEM43]),
        absorbed_photon_fraction=float(totals[at.PHOTONS_ABSORBED] / max(totals[at.PHOTONS_IN], 1e-300)),
    )
