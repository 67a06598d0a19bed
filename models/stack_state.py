"""A nail while it is being built: its coats, their state, and what one event does to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp
from . import layout as at
from .assembly import CoatCells, StackLight, gather_light, hands_energy, stack_model
from .balanced import solve_balanced
from .core_arrays import FilmArrays, State
from .cure import SURFACE_SHARE, TACKY_BELOW_FRACTION
from .film import FilmModel
from .formulation import gel_resin, mix_resins
from .gel import Gel
from .grid import film_cells
from .packing import pack
from .perturbed import possible_conversion
from .perturbed_stack import Changes, changed_stack
from .plain import bottom_value, copy_state, depth_reaching, face_temperature, surface_mean
from .schedule import Apply, Schedule
from .sensitisers import with_energy_transfer
from .solver import Segment, Solution, SolverSettings, control_row, segment_rows, solve_packed
from .stack_results import CoatFigures

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """One stretch of time: what the solver left, when it began [s], and which coats lay where, from the air side down."""

    solution: Solution
    start_s: float
    numbers: tuple[int, ...]
    slices: tuple[slice, ...]


@dataclass(slots=True, kw_only=True, eq=False)
class Nail:
    """The nail while it is being built; coats from the air side down.

    `replay` holds the time steps of every run of a neighbouring nail, to be repeated; empty = steps of its own. `changes` holds
    knobs by the gel's name (see `perturbed_stack`).
    """

    lamp: Lamp
    schedule: Schedule
    light: StackLight
    settings: SolverSettings
    coats: list[CoatCells] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    film: FilmArrays
    state: State
    clock_s: float = 0.0
    runs: list[Run] = field(default_factory=list)
    replay: Sequence[Array] = ()
    changes: Changes = field(default_factory=dict)

    @property
    def conversion(self) -> Array:
        """Conversion of every cell [-]."""
        full = self.film.initial.sum(axis=0)
        return np.asarray(1.0 - self.state.bonds.sum(axis=0) / np.where(full > 0.0, full, 1.0))

    @property
    def tacky_layer_m(self) -> float:
        """Depth at which conversion first reaches the tacky threshold [m]."""
        return depth_reaching(self.film.width, self.conversion, TACKY_BELOW_FRACTION)

    def face_k(self, below: int) -> float:
        """Temperature of the face above a thermal cell [K]."""
        return face_temperature(self.film, self.state.temperature, below)

    @property
    def slices(self) -> list[slice]:
        """Cells of every coat."""
        ends = np.cumsum([coat.width_m.size for coat in self.coats])
        return [
            slice(int(end) - coat.width_m.size, int(end)) for end, coat in zip(ends, self.coats, strict=True)
        ]


def _packed(
    coats: Sequence[CoatCells],
    light: StackLight,
    lamp: Lamp,
    schedule: Schedule,
    settings: SolverSettings,
    changes: Changes,
) -> tuple[FilmArrays, State]:
    """Fresh coats in the arrays of the core."""
    model = stack_model(coats, light, lamp.course, schedule.hand, settings)
    for coat in coats:
        if hands_energy(coat.gel):
            alone = stack_model([coat], light, lamp.course, schedule.hand, settings)
            model = _with_transfer_in(model, alone, coat.gel)
    film, state = pack(model)
    return changed_stack(film, state, coats, light.initiator_ids, changes) if changes else (film, state)


def _with_transfer_in(model: FilmModel, alone: FilmModel, gel: Gel) -> FilmModel:
    """The film with the energy transfer of one of its coats; `alone` is that coat by itself, with the same absorbers."""
    own = [row for row, each in enumerate(alone.absorbers) if np.any(np.asarray(each.concentration_mol_m3))]
    handed = with_energy_transfer(
        replace(alone, absorbers=tuple(alone.absorbers[row] for row in own)), gel
    ).absorbers
    absorbers = list(model.absorbers)
    for row, each in zip(own, handed, strict=True):
        absorbers[row] = replace(
            absorbers[row], napierian_m2_mol=each.napierian_m2_mol, product_m2_mol=each.product_m2_mol
        )
    return replace(model, absorbers=tuple(absorbers))


def first_coat(
    schedule: Schedule, lamp: Lamp, position: str, settings: SolverSettings, changes: Changes
) -> Nail:
    """The nail with its first coat on."""
    event = schedule.applications[0]
    light = gather_light(schedule.gels, lamp.spectrum(position), settings.light_bins)
    coats = [CoatCells(gel=event.gel, width_m=film_cells(event.film_thickness_m, settings.cells))]
    film, state = _packed(coats, light, lamp, schedule, settings, changes)
    state.temperature[: film.width.size] = event.arrives_k
    return Nail(
        lamp=lamp, schedule=schedule, light=light, settings=settings, coats=coats, numbers=[1], film=film, state=state,
        changes=changes,
    )  # fmt: skip


def apply_coat(nail: Nail, event: Apply) -> None:
    """Put a fresh coat on top; what lies below keeps its state and loses its open surface."""
    coat = CoatCells(gel=event.gel, width_m=film_cells(event.film_thickness_m, nail.settings.cells))
    nail.coats.insert(0, coat)
    nail.numbers.insert(0, max(nail.numbers) + 1)
    old, fresh = nail.state, coat.width_m.size
    nail.film, nail.state = _packed(
        nail.coats, nail.light, nail.lamp, nail.schedule, nail.settings, nail.changes
    )
    state = nail.state
    state.concentration[:, fresh:], state.bonds[:, fresh:] = old.concentration, old.bonds
    state.amine[fresh:], state.radical[fresh:], state.oxygen[fresh:] = old.amine, old.radical, old.oxygen
    state.stabiliser[fresh:] = old.stabiliser
    state.temperature[:fresh], state.temperature[fresh:] = event.arrives_k, old.temperature


def wipe_tacky_layer(nail: Nail, where: str) -> tuple[float, float]:
    """Take the tacky cells off the topmost coat; thickness [m] and mass [kg/m2] removed."""
    cells = nail.coats[0].width_m.size
    cured = np.flatnonzero(nail.conversion[:cells] >= TACKY_BELOW_FRACTION)
    gone = int(cured[0]) if cured.size > 0 else cells
    if gone == 0:
        return 0.0, 0.0
    gel, removed_m = nail.coats[0].gel, float(nail.coats[0].width_m[:gone].sum())
    if gone < cells:
        nail.coats[0] = replace(nail.coats[0], width_m=nail.coats[0].width_m[gone:])
    elif len(nail.coats) > 1:
        del nail.coats[0], nail.numbers[0]
    else:
        raise InputError(
            f"{where}: the only coat on the nail is uncured through and through and would be wiped off; expose it longer."
        )
    old = nail.state
    nail.film, _ = _packed(nail.coats, nail.light, nail.lamp, nail.schedule, nail.settings, nail.changes)
    nail.state = copy_state(
        State(
            old.concentration[:, gone:],
            old.amine[gone:],
            old.bonds[:, gone:],
            old.radical[gone:],
            old.oxygen[gone:],
            old.temperature[gone:],
            old.stabiliser[gone:],
        )
    )
    return removed_m, removed_m * mix_resins(gel.resin_parts).density_kg_m3


def _replayed(nail: Nail, rows: Array) -> Solution:
    """The steps of a build that balances, once more."""
    steps = nail.replay[len(nail.runs)]
    control = control_row(nail.settings)
    return solve_packed(nail.film, copy_state(nail.state), rows, control, record=True, replay=steps)


def _balanced(nail: Nail, rows: Array) -> Solution:
    """A run with balances that close where finer steps can do it; those of the whole schedule are checked at its end."""
    what = f"{nail.schedule.title} in {nail.lamp.lamp_id}, {nail.clock_s:g} s into the schedule"
    return solve_balanced(nail.film, nail.state, rows, nail.settings, what, record=True, must_close=False)


def let_time_pass(nail: Nail, segments: Sequence[Segment]) -> Solution:
    """Let time pass; the state is advanced."""
    rows = segment_rows(segments)
    solution = _replayed(nail, rows) if nail.replay else _balanced(nail, rows)
    nail.state = solution.state
    nail.runs.append(
        Run(solution=solution, start_s=nail.clock_s, numbers=tuple(nail.numbers), slices=tuple(nail.slices))
    )
    nail.clock_s += sum(segment.duration_s for segment in segments)
    return solution


def coat_heat_j_m2(nail: Nail, before: Array) -> list[float]:
    """Heat of reaction of every coat since the C=C were `before` [J/m2]."""
    lost = before - nail.state.bonds
    cell = nail.film.cell
    heat = nail.film.width * (cell[:, at.HEAT_ACRYLATE] * lost[0] + cell[:, at.HEAT_METHACRYLATE] * lost[1])
    return [float(heat[part].sum()) for part in nail.slices]


def _ceiling(nail: Nail, gel: Gel, part: slice) -> float:
    """What is possible in a coat [-], with the knobs of its gel turned."""
    plain = gel_resin(gel).conversion_ceiling_fraction()
    return possible_conversion(nail.film.cell[part.stop - 1], plain) if nail.changes else plain


def coat_figures(nail: Nail, heat_j_m2: Sequence[float]) -> tuple[CoatFigures, ...]:
    """Figures of all coats, from the nail upwards."""
    profile, found = nail.conversion, []
    for coat, number, part, heat in zip(nail.coats, nail.numbers, nail.slices, heat_j_m2, strict=True):
        width, conversion = coat.width_m, np.ascontiguousarray(profile[part])
        weighed = nail.film.start_concentration[:, part] @ width
        left = nail.state.concentration[:, part] @ width
        found.append(
            CoatFigures(
                number=number,
                coat=coat.gel.coat,
                gel_name=coat.gel.name,
                thickness_m=float(width.sum()),
                bottom_conversion_fraction=bottom_value(width, conversion),
                mean_conversion_fraction=float(width @ conversion / width.sum()),
                top_conversion_fraction=surface_mean(width, conversion, SURFACE_SHARE),
                conversion_ceiling_fraction=_ceiling(nail, coat.gel, part),
                heat_j_m2=heat,
                residual_initiator_fraction={
                    name[0]: float(left[row] / weighed[row])
                    for row, name in enumerate(nail.light.initiator_ids)
                    if weighed[row] > 0.0
                },
            )
        )
    return tuple(reversed(found))
