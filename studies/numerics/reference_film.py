"""The film of the product as a system for ordinary stiff integrators: start, rates, Jacobian, tolerances, and runs.

`ReferenceFilm` takes a film as the product's solver does. Radau at a tight tolerance on it is what the studies and the tests
of this folder hold the stepper against.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import bare_checkout
import film_rates as equations
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.sparse import csc_array, dia_array

from gelwright.lamp_library.errors import SolverError
from gelwright.models import layout as at
from gelwright.models.compiled import compiled_entry, source_digest
from gelwright.models.core_arrays import State, copy_state
from gelwright.models.core_totals import bottom_value, face_temperature, surface_mean
from gelwright.models.film import FilmModel
from gelwright.models.packing import pack
from gelwright.models.solver import Segment, segment_rows

__all__ = ["Course", "ReferenceFilm", "bare_checkout"]

Array = NDArray[np.float64]


@cache
def _compiled() -> tuple[Callable[..., None], Callable[..., None]]:
    """Rates and Jacobian; their cache key holds the digest of all sources they are made from."""
    own = hashlib.sha256(Path(equations.__file__).read_bytes()).hexdigest()
    digest = source_digest() + own

    @compiled_entry
    def rates(t: Any, c: Any, y: Any, f: Any, s: Any, g: Any, r: Any, p: Any, b: Any, dy: Any) -> None:
        if len(digest) > 0:
            equations.film_rates(t, c, y, f, s, g, r, p, b, dy)

    @compiled_entry
    def band(
        t: Any, c: Any, y: Any, f: Any, s: Any, g: Any, r: Any, p: Any, b: Any,
        v: Any, low: Any, up: Any, out: Any,
    ) -> None:  # fmt: skip
        if len(digest) > 0:
            equations.film_band(t, c, y, f, s, g, r, p, b, v, low, up, out)

    return rates, band


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What the comparison looks at, at the times asked for.

    Attributes
    ----------
    time_s : ndarray, shape (nt,)
    conversion_fraction : ndarray, shape (nt, n)
    film_max_k, bed_k : ndarray, shape (nt,)
    evaluations, jacobians : int
        Work done.
    """

    time_s: Array
    conversion_fraction: Array
    film_max_k: Array
    bed_k: Array
    evaluations: int
    jacobians: int

    def figures(self, width: Array) -> Array:
        """Bottom, surface and mean conversion, shape (3, nt)."""
        rows = [
            (bottom_value(width, x), surface_mean(width, x, 0.2), float(width @ x / width.sum()))
            for x in self.conversion_fraction
        ]
        return np.array(rows).T


class ReferenceFilm:
    """A film and its programme as one system of ordinary differential equations.

    Parameters
    ----------
    model : FilmModel
        As for the product's solver.
    segments : sequence of Segment
        Programme; integrators start afresh at every edge.
    """

    def __init__(self, model: FilmModel, segments: Sequence[Segment]) -> None:
        """Number the variables."""
        self.film, self.state = pack(model)
        self.segments = segment_rows(segments)
        kinds, n = self.film.species.shape[0], self.film.width.size
        used = [bool(row[at.QUANTUM_YIELD] > 0.0) for row in self.film.species]
        amine = bool(np.any(self.film.species[:, at.NEEDS_AMINE] > 0.0)) and self.state.amine.max() > 0.0
        bonds = [bool(row.max() > 0.0) for row in self.film.initial]
        warm = self.film.boundary[at.ISOTHERMAL] == 0.0
        stabilised = self.state.stabiliser.max() > 0.0 and self.film.cell[:, at.STABILISER_RATE].max() > 0.0
        active = [*used, amine, *bonds, True, self.film.boundary[at.OXYGEN_MODE] != 0.0, stabilised, warm]
        self.place = np.where(active, np.cumsum(active) - 1, -1).astype(np.int64)
        self.block = int(np.sum(active))
        self.size = n * self.block + (self.state.temperature.size - n if warm else 0)
        bond = int(self.place[kinds + 1] if self.place[kinds + 1] >= 0 else self.place[kinds + 2])
        # oxygen diffuses by the conversion of the neighbours too, the widest reach in the ordering
        self.lower, self.upper = self.block + max(int(self.place[kinds + 4]) - bond, 0), self.block
        self._kinds = kinds
        self.typical = self._vector(self._typical(), 10.0)
        self.edges_s = np.concatenate([[0.0], np.cumsum(self.segments[:, at.S_DURATION])])

    def _typical(self) -> Array:
        """Typical size of each variable of a cell."""
        start = self.film.start_concentration
        weighed = [float(row.max()) for row in start]
        bonds = float(self.film.initial.sum(axis=0).max())
        stabiliser = float(self.state.stabiliser.max())
        values = [*weighed, float(self.state.amine.max()), bonds, bonds, 1e-4, 1.0, stabiliser, 10.0]
        return np.array(values)

    def _vector(self, of_cell: Array, below: float) -> Array:
        vector = np.full(self.size, below)
        for kind, slot in enumerate(self.place):
            if slot >= 0:
                vector[slot : self.film.width.size * self.block : self.block] = of_cell[kind]
        return vector

    @property
    def start(self) -> Array:
        """Variables at the start."""
        parts = [*self.state.concentration, self.state.amine, *self.state.bonds, self.state.radical]
        parts += [self.state.oxygen, self.state.stabiliser]
        parts.append(self.state.temperature[: self.film.width.size])
        y = np.zeros(self.size)
        n = self.film.width.size
        for row, slot in zip(parts, self.place, strict=True):
            if slot >= 0:
                y[slot : n * self.block : self.block] = row
        if self.place[-1] >= 0:
            y[n * self.block :] = self.state.temperature[n:]
        return y

    def rates(self, segment: int) -> Callable[[float, Array], Array]:
        """Function (time in the segment, variables) -> rates."""
        function, _ = _compiled()
        row, begin = self.segments[segment], float(self.edges_s[segment])
        state, lit = copy_state(self.state), equations.new_lighting(self.film)

        def call(time: float, y: Array) -> Array:
            dy = np.zeros(y.size)
            function(time, begin + time, y, self.film, state, lit, row, self.place, self.block, dy)
            return dy

        return call

    def band(self, segment: int) -> Callable[[float, Array], Array]:
        """Function (time, variables) -> Jacobian in LAPACK band storage, light held."""
        _, function = _compiled()
        row, begin = self.segments[segment], float(self.edges_s[segment])
        state, lit = copy_state(self.state), equations.new_lighting(self.film)

        def call(time: float, y: Array) -> Array:
            out = np.zeros((self.lower + self.upper + 1, y.size))
            function(
                time, begin + time, y, self.film, state, lit, row, self.place, self.block,
                self.typical, self.lower, self.upper, out,
            )  # fmt: skip
            return out

        return call

    def jacobian(self, segment: int) -> Callable[[float, Array], csc_array]:
        """Function (time, variables) -> the banded Jacobian as a sparse matrix."""
        band, offsets = self.band(segment), self.upper - np.arange(self.lower + self.upper + 1)

        def call(time: float, y: Array) -> csc_array:
            return csc_array(dia_array((band(time, y), offsets), shape=(y.size, y.size)))

        return call

    def sparsity(self) -> csc_array:
        """Where the exact Jacobian is not zero: the band of neighbours, and light from every cell to all below."""
        n, block, pattern = self.film.width.size, self.block, np.zeros((self.size, self.size), dtype=bool)
        cell = np.concatenate([np.repeat(np.arange(n), block), np.arange(n, n + self.size - n * block)])
        pattern |= np.abs(cell[:, None] - cell[None, :]) <= 1
        for slot in self.place[: self._kinds]:
            if slot >= 0:
                pattern[:, slot : n * block : block] |= cell[:, None] >= np.arange(n)[None, :]
        return csc_array(pattern.astype(float))

    def tolerances(self, relative: float) -> Array:
        """Absolute tolerances to go with a relative one: a share of what each variable is at most.

        Radicals among oxygen are a millionth of those without; below zero they would run away, so they are held a hundred
        times closer.
        """
        closer = np.ones(self._kinds + 7)
        closer[self._kinds + 3] = 1e-2
        return relative * self.typical * self._vector(closer, 1.0)

    def unpack(self, y: Array) -> State:
        """State of the film at given variables."""
        state = copy_state(self.state)
        equations.spread(np.ascontiguousarray(y), self.place, self.block, state)
        return state

    def observe(self, time_s: Array, y: Array, work: tuple[int, int]) -> Course:
        """Course from variables of shape (size, nt)."""
        full = self.film.initial.sum(axis=0)
        states = [self.unpack(column) for column in y.T]
        n, bed = self.film.width.size, int(self.film.boundary[at.BED_INDEX])
        return Course(
            time_s=time_s,
            conversion_fraction=np.array([1.0 - s.bonds.sum(axis=0) / full for s in states]),
            film_max_k=np.array([s.temperature[:n].max() for s in states]),
            bed_k=np.array([face_temperature(self.film, s.temperature, bed) for s in states]),
            evaluations=work[0],
            jacobians=work[1],
        )

    def integrate(self, time_s: Array, *, method: str = "Radau", relative: float = 1e-7) -> Course:
        """Integrate with scipy and look at the film at rising times, the last being the end.

        Raises
        ------
        SolverError
            If the integrator gives up.
        """
        y, columns, work = self.start, [], [0, 0]
        for number in range(self.segments.shape[0]):
            begin, end = self.edges_s[number], self.edges_s[number + 1]
            inside = (time_s > begin * (1.0 + 1e-12)) & (time_s <= end * (1.0 + 1e-12))
            local = np.minimum(time_s[inside] - begin, end - begin)
            wanted = np.unique(np.append(local, end - begin))
            options: dict[str, Any] = {"jac": self.jacobian(number)}
            if method == "LSODA":
                options = {"jac": self.band(number), "lband": self.lower, "uband": self.upper}
            answer = solve_ivp(
                self.rates(number), (0.0, end - begin), y, method=method, t_eval=wanted,
                rtol=relative, atol=self.tolerances(relative), **options,
            )  # fmt: skip
            if not answer.success:
                raise SolverError(f"{method} in segment {number}: {answer.message}")
            columns.append(answer.y[:, np.searchsorted(answer.t, local)])
            y, work = answer.y[:, -1], [work[0] + answer.nfev, work[1] + answer.njev]
        return self.observe(time_s[time_s > 0.0], np.concatenate(columns, axis=1), (work[0], work[1]))
