"""Cure a gel in a lamp: assemble the film, run it, read the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from ..lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from . import layout as at
from .after_cure import SHRINKAGE_SOURCE, AfterCure, FilmEnd, after_cure, after_cure_flags, left_fraction
from .assembly import CoatCells, gather_light, stack_model
from .balanced import solve_balanced
from .core_arrays import State
from .film import FilmModel
from .flags import calibration_flags, flags_of, lamp_flags, run_flags, thickness_flags
from .formulation import ResinBase, amine_records, gel_initiator, gel_pigment, gel_resin
from .gel import Gel
from .grid import film_cells
from .heat import Hand
from .materials import citations, stabiliser
from .nail_run import dose_of, stabiliser_share, traces_of
from .packing import pack
from .plain import bottom_value, depth_reaching, surface_mean
from .results import CureResult, balances_of
from .sensitisers import pair_flags, pair_sources, with_energy_transfer
from .setting import setting_of
from .solver import Segment, Solution, SolverSettings, run_parallel, segment_rows

Array = NDArray[np.float64]

TACKY_BELOW_FRACTION = 0.2
SURFACE_SHARE = 0.2
EXPOSURE_RANGE_S = (0.01, 3600.0)
THICKNESS_RANGE_M = (1.0e-6, 3.0e-3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CureCase:
    """One film to cure; the fields are the arguments of `cure`."""

    gel: Gel
    lamp: Lamp
    exposure_s: float
    position: str | None = None
    thickness_m: float | None = None
    programme: str = "steady"
    cycles: int = 1
    rest_s: float = 60.0
    hand: Hand = field(default_factory=Hand)

    def __post_init__(self) -> None:
        """Check the ranges."""
        _within("exposure", self.exposure_s, EXPOSURE_RANGE_S, "s")
        _within("rest", self.rest_s, (1.0, 3600.0), "s")
        _within(
            "film thickness",
            self.film_thickness_m * 1e6,
            tuple(1e6 * edge for edge in THICKNESS_RANGE_M),
            "um",
        )
        if not 1 <= self.cycles <= 20:
            raise InputError(f"cure: {self.cycles} cycles; the number must lie between 1 and 20.")
        self.lamp.spectrum(self.lamp_position)
        self.lamp.programme(self.programme)

    @property
    def film_thickness_m(self) -> float:
        """Thickness given, or the gel's own [m]."""
        return self.gel.thickness_m if self.thickness_m is None else self.thickness_m

    @property
    def lamp_position(self) -> str:
        """Position given, or the weakest."""
        return self.lamp.weakest if self.position is None else self.position


def _within(what: str, value: float, limits: tuple[float, ...], unit: str) -> None:
    if not limits[0] <= value <= limits[1]:
        raise InputError(
            f"cure: {what} is {value:g} {unit}; it must lie between {limits[0]:g} and {limits[1]:g} {unit}."
        )


def exposure_segments(lamp: Lamp, programme: str, seconds: float, cycle: int) -> list[Segment]:
    """Segments of one exposure from switch-on: the lamp's programme, its warm-up and its air starting afresh."""
    segments: list[Segment] = []
    on_time = 0.0
    for part in lamp.programme(programme).expanded(seconds):
        segments.append(
            Segment(
                duration_s=part.duration_s,
                level_start_ratio=part.level_start_ratio,
                level_end_ratio=part.level_end_ratio,
                on_time_s=on_time,
                air_k=lamp.air.start_k,
                air_rise_k=lamp.air.rise_k,
                air_time_s=lamp.air.time_constant_s,
                cycle=cycle,
            )
        )
        on_time += part.duration_s
    return segments


def rest_segment(lamp: Lamp, seconds: float, cycle: int) -> Segment:
    """A rest in the dark, in air as the lamp's before switch-on."""
    return Segment(
        duration_s=seconds, level_start_ratio=0.0, level_end_ratio=0.0, air_k=lamp.air.start_k, cycle=cycle
    )


def schedule(case: CureCase) -> list[Segment]:
    """Segments of all cycles: exposure by the lamp's programme, then rest in the dark."""
    segments: list[Segment] = []
    for cycle in range(case.cycles):
        segments += exposure_segments(case.lamp, case.programme, case.exposure_s, cycle)
        segments.append(rest_segment(case.lamp, case.rest_s, cycle))
    return segments


def film_model(case: CureCase, settings: SolverSettings) -> FilmModel:
    """The film of a case in the solver's terms."""
    coat = CoatCells(gel=case.gel, width_m=film_cells(case.film_thickness_m, settings.cells))
    light = gather_light([case.gel], case.lamp.spectrum(case.lamp_position), settings.light_bins)
    return stack_model([coat], light, case.lamp.course, case.hand, settings)


def _after_cure(gel: Gel, resin: ResinBase, solution: Solution, start: State) -> AfterCure:
    film, state, kinds = solution.film, solution.state, len(gel.initiators_wt_pct)
    end = FilmEnd(
        width_m=film.width,
        initiator_left_fraction=left_fraction(state.concentration, film.start_concentration)[:kinds],
        amine_left_fraction=left_fraction(state.amine, start.amine),
        stabiliser_left_fraction=left_fraction(state.stabiliser, start.stabiliser),
        start_bonds_mol_m3=film.initial,
        bonds_mol_m3=state.bonds,
    )
    record = solution.record
    faces = setting_of(film.width, record[:, at.TIME], solution.conversion_steps, record[:, at.BOTTOM])
    return after_cure(gel, resin.density_kg_m3, end, faces)


def _result(case: CureCase, solution: Solution, start: State) -> CureResult:
    totals, record, film = solution.totals, solution.record, solution.film
    profile, width = solution.conversion_fraction, film.width
    resin = gel_resin(case.gel)
    off = int(np.searchsorted(record[:, at.TIME], case.exposure_s * (1.0 - 1e-9)))
    weighed = film.start_concentration @ width
    left = solution.state.concentration @ width
    keys = list(case.gel.initiators_wt_pct)
    heat = solution.cycle_heat_j_m2
    ceiling = resin.conversion_ceiling_fraction()
    remains = _after_cure(case.gel, resin, solution, start)
    return CureResult(
        gel_name=case.gel.name,
        lamp_id=case.lamp.lamp_id,
        position=case.lamp_position,
        programme=case.programme,
        thickness_m=case.film_thickness_m,
        exposure_s=case.exposure_s,
        rest_s=case.rest_s,
        cycles=case.cycles,
        depth_m=solution.depth_m,
        conversion_fraction=profile,
        conversion_at_switch_off_fraction=solution.conversion_steps[off],
        conversion_ceiling_fraction=np.full(width.size, ceiling),
        oxygen_mol_m3=solution.state.oxygen,
        radical_mol_m3=solution.state.radical,
        bottom_conversion_fraction=bottom_value(width, profile),
        surface_conversion_fraction=surface_mean(width, profile, SURFACE_SHARE),
        mean_conversion_fraction=float(width @ profile / width.sum()),
        uncured_layer_m=depth_reaching(width, profile, TACKY_BELOW_FRACTION),
        film_peak_k=float(totals[at.PEAK_FILM]),
        film_peak_time_s=float(totals[at.PEAK_FILM_TIME]),
        interface_peak_k=float(totals[at.PEAK_INTERFACE]),
        nail_bed_peak_k=float(totals[at.PEAK_BED]),
        nail_bed_peak_time_s=float(totals[at.PEAK_BED_TIME]),
        stabiliser_share_fraction=stabiliser_share(totals),
        **dose_of(totals),
        **traces_of(record),
        heat_by_cycle_j_m2=heat,
        second_cycle_heat_ratio=heat_ratio(heat) if case.cycles > 1 else None,
        residual_initiator_fraction={
            key: float(left[row] / weighed[row]) if weighed[row] > 0.0 else 0.0
            for row, key in enumerate(keys)
        },
        after_cure=remains,
        absorbed_photon_fraction=float(totals[at.PHOTONS_ABSORBED] / max(totals[at.PHOTONS_IN], 1e-300)),
        bottom_conversion_trace=record[:, at.BOTTOM],
        surface_conversion_trace=record[:, at.SURFACE],
        mean_conversion_trace=record[:, at.MEAN],
        conversion_steps=solution.conversion_steps,
        balances=balances_of(totals),
        flags=(
            *flags_of(case.gel, case.lamp, case.lamp_position, resin, float(totals[at.PEAK_FILM])),
            *calibration_flags(case.gel, _covered_figures(case, float(totals[at.PEAK_FILM]))),
            *pair_flags(case.gel),
            *thickness_flags(case.film_thickness_m),
            *run_flags(stabiliser_share(totals), float(profile.max())),
            *after_cure_flags(remains),
            *lamp_flags(case.lamp, (case.programme,)),
        ),
        citations=citations(source_keys(case.gel, resin)),
        steps=int(totals[at.STEPS]),
        rejected_steps=int(totals[at.REJECTED]),
    )


def _covered_figures(case: CureCase, film_peak_k: float) -> dict[str, float]:
    """Figures by which a cure is held against the range of a calibration."""
    return {
        "thickness_um": um_from_m(case.film_thickness_m),
        "irradiance_mw_cm2": mw_cm2_from_w_m2(case.lamp.spectrum(case.lamp_position).irradiance_w_m2()),
        "exposure_s": case.exposure_s,
        "film_peak_c": c_from_k(film_peak_k),
    }


def heat_ratio(heat_by_cycle_j_m2: Array) -> float:
    """Heat of the second cycle over the first [-]; 1 where the first gave none, since nothing was cured."""
    first, second = float(heat_by_cycle_j_m2[0]), float(heat_by_cycle_j_m2[1])
    return second / first if first > 0.0 else 1.0


def source_keys(gel: Gel, resin: ResinBase) -> list[str]:
    """Keys of the sources that a gel's numbers rest on."""
    keys = [key for name in gel.initiators_wt_pct for key in gel_initiator(gel, name).sources]
    keys += [key for record in amine_records(gel) for key in record.sources]
    keys += pair_sources(gel)
    keys += [key for name in gel.stabilisers_wt_pct for key in stabiliser(name).sources]
    keys += [key for name in gel.pigments_wt_pct for key in gel_pigment(gel, name).sources]
    return list(dict.fromkeys([*keys, *resin.sources, SHRINKAGE_SOURCE]))


def cure_many(
    cases: Sequence[CureCase], *, workers: int | None = None, settings: SolverSettings | None = None
) -> list[CureResult]:
    """Cure many films on parallel threads; results in the order of the cases."""
    accuracy = settings or SolverSettings()

    def one(index: int) -> CureResult:
        case = cases[index]
        film, state = pack(with_energy_transfer(film_model(case, accuracy), case.gel))
        what = f"{case.gel.name} in {case.lamp.lamp_id}"
        solution = solve_balanced(film, state, segment_rows(schedule(case)), accuracy, what, record=True)
        return _result(case, solution, state)

    results: list[CureResult] = run_parallel(one, len(cases), workers)
    return results


def cure(
    gel: Gel,
    lamp: Lamp,
    *,
    exposure_s: float,
    position: str | None = None,
    thickness_m: float | None = None,
    programme: str = "steady",
    cycles: int = 1,
    rest_s: float = 60.0,
    hand: Hand | None = None,
    settings: SolverSettings | None = None,
) -> CureResult:
    """Cure one coat on a nail in one position of a lamp.

    Parameters
    ----------
    gel : Gel
        What is cured.
    lamp : Lamp
        In what.
    exposure_s : float
        Lit time of one cycle [s], 0.01 to 3600.
    position : str, optional
        Finger position; default the weakest.
    thickness_m : float, optional
        Film thickness [m]; default the gel's own.
    programme : str
        Programme of the lamp.
    cycles : int
        Exposures, each followed by `rest_s` in the dark [s].
    hand : Hand, optional
        Nail, tissue, start temperature.
    settings : SolverSettings, optional
        Accuracy.

    Returns
    -------
    CureResult

    Raises
    ------
    InputError, UnknownNameError
        If a value is out of range or a name is not known.
    SolverError
        If the run fails or a balance is off by more than 1e-3.
    """
    case = CureCase(
        gel=gel,
        lamp=lamp,
        exposure_s=exposure_s,
        position=position,
        thickness_m=thickness_m,
        programme=programme,
        cycles=cycles,
        rest_s=rest_s,
        hand=hand or Hand(),
    )
    return cure_many([case], workers=1, settings=settings)[0]
