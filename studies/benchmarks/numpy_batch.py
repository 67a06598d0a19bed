"""The scheme of the stepper at fixed steps in plain NumPy, many films at once along the first axis of every array.

A yardstick for the compiled core: what vectorising buys without compiling. Steps grow from 10 ms after every switch to the
length asked for. Light is Beer-Lambert; all films share cells, layers and programme and hold the same kinds of absorbers. The
cell in which oxygen ends within a step is treated as in the core, but without its inner iteration.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import bare_checkout
import numpy as np
from numpy.typing import NDArray

from gelwright.models import layout as at
from gelwright.models.core_arrays import FilmArrays, State
from gelwright.models.heat import GAMMA

__all__ = ["BatchFilms", "bare_checkout"]
Array = NDArray[np.float64]
R_J_MOL_K = 8.314462618
FIRST_STEP_S, GROWTH, NEWTON = 0.01, 1.5, 8


def tridiagonal(diagonal: Array, off: Array, right: Array) -> Array:
    """Solve symmetric tridiagonal systems along the last axis; `off` couples cell i and i + 1."""
    pivot, value = diagonal.copy(), right.copy()
    for i in range(1, diagonal.shape[-1]):
        factor = off[..., i - 1] / pivot[..., i - 1]
        pivot[..., i] -= factor * off[..., i - 1]
        value[..., i] -= factor * value[..., i - 1]
    value[..., -1] /= pivot[..., -1]
    for i in range(diagonal.shape[-1] - 2, -1, -1):
        value[..., i] = (value[..., i] - off[..., i] * value[..., i + 1]) / pivot[..., i]
    return value


def riccati(made: Array, loss: Array, ending: Array, radical: Array, seconds: Array) -> tuple[Array, Array]:
    """Radicals after, and their integral over, a step of constant coefficients (exact)."""
    root = np.sqrt(loss * loss + 4.0 * made * ending) + 1e-300
    steady = 2.0 * made / (root + loss)
    fall = -np.expm1(-root * seconds)
    memory, excess = np.where(root * seconds < 1e-9, seconds, fall / root), radical - steady
    bend = ending * excess * memory
    bent = np.where(np.abs(bend) < 1e-12, excess * memory, np.log1p(bend) / np.maximum(ending, 1e-30))
    return steady + excess * (1.0 - fall) / (1.0 + bend), steady * seconds + bent


def step_lengths(duration: float, wanted: float) -> Iterator[float]:
    """Steps that grow to the wanted length and end on the switch."""
    done, step = 0.0, min(FIRST_STEP_S, wanted)
    while done < duration * (1.0 - 1e-12):
        left = duration - done
        now = left if step >= left * (1.0 - 1e-9) else min(step, 0.5 * left)
        yield now
        done, step = done + now, min(step * GROWTH, wanted)


class BatchFilms:
    """A batch of films of one geometry.

    Parameters
    ----------
    films : sequence of (FilmArrays, State)
        As packed for the core.
    """

    def __init__(self, films: Sequence[tuple[FilmArrays, State]]) -> None:
        """Stack what differs; the geometry is that of the first."""
        first = films[0][0]
        self.width, self.thermal, self.boundary = first.width, first.thermal, first.boundary
        self.floor, self.photons, self.energy = first.floor, first.photons, first.energy

        def stack(pick: Callable[[FilmArrays, State], Array]) -> Array:
            return np.array([pick(film, state) for film, state in films])

        self.cell = np.moveaxis(stack(lambda film, state: film.cell), 2, 0).copy()  # (property, batch, n)
        self.species = stack(lambda film, state: film.species)
        self.napierian, self.product = stack(lambda f, s: f.napierian), stack(lambda f, s: f.product)
        self.background = stack(lambda f, s: f.background)
        self.full, self.weighed = stack(lambda f, s: f.initial), stack(lambda f, s: f.start_concentration)
        self.absorber, self.amine = stack(lambda f, s: s.concentration), stack(lambda f, s: s.amine)
        self.bonds, self.radical = stack(lambda f, s: s.bonds), stack(lambda f, s: s.radical)
        self.stabiliser = stack(lambda f, s: s.stabiliser)
        self.oxygen, self.kelvin = stack(lambda f, s: s.oxygen), stack(lambda f, s: s.temperature)
        self.sum = np.maximum(self.full.sum(axis=1), 1e-300)

    @property
    def conversion_fraction(self) -> Array:
        """Conversion now, shape (batch, n)."""
        return self._conversion(self.bonds)

    def _conversion(self, bonds: Array) -> Array:
        return np.asarray(1.0 - bonds.sum(axis=1) / self.sum)

    def light(self, absorber: Array) -> tuple[Array, Array, Array]:
        """Uptake per molecule, heat per cell, and photons leaving, at full output."""
        lost = np.maximum(self.weighed - absorber, 0.0)
        uptake, heat = np.zeros_like(absorber), np.zeros_like(self.amine)
        beam = np.repeat(self.photons[None], absorber.shape[0], axis=0)
        for i in range(self.width.size):
            depth = self.background[:, :, i] + np.einsum("bkq,bk->bq", self.napierian, absorber[:, :, i])
            depth = (depth + np.einsum("bkq,bk->bq", self.product, lost[:, :, i])) * self.width[i]
            depth = np.maximum(depth, 1e-12)
            taken = -beam * np.expm1(-depth)
            uptake[:, :, i] = np.einsum("bkq,bq->bk", self.napierian, taken / depth)
            heat[:, i] = taken @ self.energy
            beam = beam - taken
        return uptake, heat, beam

    def shares(self) -> Array:
        """Molecules lost per photon absorbed, shape (batch, kind, n)."""
        share = np.repeat(self.species[:, :, at.QUANTUM_YIELD, None], self.width.size, axis=2)
        half, quench = self.species[:, :, at.AMINE_HALF, None], self.species[:, :, at.O2_QUENCHING, None]
        amine = self.amine[:, None, :]
        reached = amine / (amine + half + quench * self.oxygen[:, None, :] + 1e-300)
        return np.asarray(np.where(self.species[:, :, at.NEEDS_AMINE, None] != 0.0, share * reached, share))

    def _vitrification(self, kelvin: Array) -> Array:
        c = self.cell
        glassy = c[at.VITRIFICATION_MODE] == 1.0
        span = np.where(glassy, c[at.TG_POLYMER] - c[at.TG_MONOMER], 1.0)
        ratio = (kelvin + c[at.TG_HALF_WIDTH] - c[at.TG_MONOMER]) / span
        below = np.where(glassy, c[at.DIBENEDETTO] + (1.0 - c[at.DIBENEDETTO]) * ratio, 1.0)
        return np.where(glassy, ratio / below, 1e9)

    def coefficients(self, bonds: Array, kelvin: Array) -> tuple[Array, Array, Array]:
        """Loss coefficients of both kinds of C=C, shape (batch, 2, n), k_t, and that of radicals with stabiliser."""
        c, kelvin = self.cell, kelvin[:, : self.width.size]
        warm, x = 1.0 / kelvin - 1.0 / c[at.T_REF], self._conversion(bonds)
        glass = self._vitrification(kelvin)
        free = 1.0 / (1.0 + np.exp(np.minimum((x - glass) / c[at.SIGMOID_WIDTH], 700.0)))
        acrylic = c[at.KP_ACRYLATE] * free * np.exp(-c[at.EP_ACRYLATE] / R_J_MOL_K * warm)
        methacrylic = c[at.KP_METHACRYLATE] * free * np.exp(-c[at.EP_METHACRYLATE] / R_J_MOL_K * warm)
        to_meth, to_acr = acrylic / c[at.R_ACRYLATE], methacrylic / c[at.R_METHACRYLATE]
        weight = to_acr * bonds[:, 0] + to_meth * bonds[:, 1]
        share = np.where(weight > 0.0, to_acr * bonds[:, 0] / np.maximum(weight, 1e-300), 0.0)
        share = np.where(bonds[:, 1] <= 0.0, 1.0, np.where(bonds[:, 0] <= 0.0, 0.0, share))
        loss_0 = np.where(bonds[:, 0] > 0.0, acrylic * share + to_acr * (1.0 - share), 0.0)
        loss_1 = np.where(bonds[:, 1] > 0.0, methacrylic * (1.0 - share) + to_meth * share, 0.0)
        loss = np.stack([loss_0, loss_1], axis=1)
        ending = c[at.KT] * np.exp(-c[at.ET] / R_J_MOL_K * warm - c[at.KT_DECAY] * x)
        ending += c[at.REACTION_DIFFUSION] * (loss * bonds).sum(axis=1)
        return loss, ending, c[at.STABILISER_RATE] * free

    def step_oxygen(
        self, made: Array, ending: Array, base: Array, bonds: Array, seconds: float
    ) -> tuple[Array, Array]:
        """Oxygen after an implicit step, and its conductances at the faces above each cell."""
        c, x = self.cell, self._conversion(bonds)
        half = 0.5 * self.width / (c[at.O2_DIFFUSIVITY] * np.exp(-c[at.O2_DECAY] * x))
        faces = np.zeros((x.shape[0], x.shape[1] + 1))
        faces[:, 1:-1] = 1.0 / (half[:, :-1] + half[:, 1:])
        faces[:, 0] = 1.0 / half[:, 0] if self.boundary[at.OXYGEN_MODE] == 2.0 else 0.0
        surface, oxygen, span = self.boundary[at.O2_SURFACE], self.oxygen, np.full_like(x, seconds)
        for _ in range(NEWTON):
            first_order = c[at.O2_RADICALS] * c[at.O2_RATE] * oxygen
            loss = base + first_order
            mean = riccati(made, loss, ending, self.radical, span)[1] / seconds
            root = np.sqrt(loss * loss + 4.0 * made * ending) + 1e-300
            slope = c[at.O2_RATE] * mean * (1.0 - first_order / (root + 1.0 / seconds))
            diagonal = self.width * (1.0 / seconds + slope) + faces[:, :-1] + faces[:, 1:]
            right = self.width * (self.oxygen / seconds + (slope - c[at.O2_RATE] * mean) * oxygen)
            right[:, 0] += faces[:, 0] * surface
            new = tridiagonal(diagonal, -faces[:, 1:-1], right)
            new = np.where(new > 0.0, new, 1e-3 * oxygen)
            change, oxygen = np.abs(new - oxygen).max(), new
            if change < 1e-6 * surface:
                break
        return oxygen, faces

    def alive(self, made: Array, oxygen: Array, faces: Array, seconds: float) -> tuple[Array, Array]:
        """Part of the step in which radicals live, and their loss to oxygen in it."""
        per = self.cell[at.O2_RADICALS]
        rate = per * self.cell[at.O2_RATE] * oxygen
        surface = np.full((made.shape[0], 1), self.boundary[at.O2_SURFACE])
        above = np.concatenate([surface, oxygen[:, :-1]], axis=1)
        below = np.concatenate([oxygen[:, 1:], oxygen[:, -1:]], axis=1)
        inflow = faces[:, :-1] * (above - oxygen) + faces[:, 1:] * (below - oxygen)
        supplied, spent = inflow * seconds / self.width, self.oxygen - oxygen
        stored = np.maximum(spent + np.minimum(supplied, 0.0), 0.0)
        left = np.maximum(seconds - per * stored / np.maximum(made, 1e-300), 0.0)
        fed, falls = np.maximum(supplied, 0.0), (made > 0.0) & (spent > 0.0)
        partly = rate * fed / np.maximum(fed + stored, 1e-300)
        return np.where(falls, left, seconds), np.where(falls, partly, rate)

    def conduct(self, heat: Array, bonds: Array, air: float, seconds: float) -> Array:
        """Temperatures after the two-stage rule of the core."""
        t, b, n, x = self.thermal, self.boundary, self.width.size, self._conversion(bonds)
        capacity = np.repeat((t[at.T_CAPACITY_0] * t[at.T_WIDTH])[None], heat.shape[0], axis=0)
        capacity[:, :n] = self.width * (t[at.T_CAPACITY_0, :n] * (1.0 - x) + t[at.T_CAPACITY_1, :n] * x)
        half = 0.5 * t[at.T_WIDTH] / t[at.T_CONDUCTIVITY]
        link, exchange = 1.0 / (half[:-1] + half[1:]), t[at.T_PERFUSION] * t[at.T_WIDTH]
        inflow = exchange * b[at.BLOOD_TEMPERATURE]
        top = 1.0 / (half[0] + 1.0 / b[at.TOP_TRANSFER]) if b[at.TOP_TRANSFER] > 0.0 else 0.0
        bottom = 1.0 / half[-1] if b[at.BOTTOM_FIXED] != 0.0 else 0.0
        exchange[0], inflow[0] = exchange[0] + top, inflow[0] + top * air
        exchange[-1], inflow[-1] = exchange[-1] + bottom, inflow[-1] + bottom * b[at.BOTTOM_TEMPERATURE]
        implicit = capacity / (GAMMA * seconds)
        diagonal = implicit + exchange
        diagonal[:, :-1] += link
        diagonal[:, 1:] += link
        off = np.repeat(-link[None], heat.shape[0], axis=0)
        stage = tridiagonal(diagonal, off, implicit * self.kelvin + heat + inflow)
        start = self.kelvin + (1.0 - GAMMA) / GAMMA * (stage - self.kelvin)
        return tridiagonal(diagonal, off, implicit * start + heat + inflow)

    def photolyse(self, dose: float) -> tuple[Array, Array, Array]:
        """Absorbers lost over a dose [s], heat of light, photons leaving; light through the mean of the step."""
        share, mean = self.shares(), self.absorber
        uptake, heat = np.zeros_like(mean), np.zeros_like(self.amine)
        leaving = np.zeros((mean.shape[0], self.photons.size))
        if dose > 0.0:
            for _ in range(2):
                uptake, heat, leaving = self.light(mean)
                x = share * uptake * dose
                part = np.where(x > 1e-6, -np.expm1(-x) / np.maximum(x, 1e-300), 1.0 - 0.5 * x)
                mean = self.absorber * part
        return -self.absorber * np.expm1(-share * uptake * dose), heat, leaving

    def step(self, level: float, air: float, seconds: float) -> None:
        """One step of two passes."""
        c, n, bonds, kelvin = self.cell, self.width.size, self.bonds, self.kelvin
        gone, heat_light, leaving = self.photolyse(level * seconds)
        made = (self.species[:, :, at.RADICALS_PER_LOSS, None] * gone).sum(axis=1) / seconds
        oxygen, radical, new_bonds, new_kelvin = self.oxygen, self.radical, bonds, kelvin
        integral = self.radical * seconds
        for _ in range(2):
            middle = 0.5 * (bonds + new_bonds)
            loss, ending, catch = self.coefficients(middle, 0.5 * (kelvin + new_kelvin))
            used = catch * integral / c[at.STABILISER_RADICALS]
            part = np.where(used > 1e-6, -np.expm1(-used) / np.maximum(used, 1e-300), 1.0 - 0.5 * used)
            base = c[at.RADICAL_LOSS] + catch * self.stabiliser * part
            alive, caught = np.full_like(made, seconds), np.zeros_like(made)
            if self.boundary[at.OXYGEN_MODE] != 0.0:
                oxygen, faces = self.step_oxygen(made, ending, base, middle, seconds)
                alive, caught = self.alive(made, oxygen, faces, seconds)
            radical, integral = riccati(made, base + caught, ending, self.radical, alive)
            new_bonds = bonds * np.exp(-loss * integral[:, None])
            reacted, heat = bonds - new_bonds, np.zeros_like(kelvin)
            heat[:, :n] = c[at.HEAT_ACRYLATE] * reacted[:, 0] + c[at.HEAT_METHACRYLATE] * reacted[:, 1]
            heat[:, :n] = heat[:, :n] * self.width / seconds + heat_light * level
            heat[:, n:] = (leaving * self.energy) @ self.floor * level
            new_kelvin = self.conduct(heat, middle, air, seconds)
        needs = self.species[:, :, at.NEEDS_AMINE, None] != 0.0
        taken = np.where(needs, gone, 0.0).sum(axis=1)
        self.amine = self.amine * np.exp(-taken / np.maximum(self.amine, 1e-300))
        self.absorber = self.absorber - gone
        met = (base - c[at.RADICAL_LOSS]) * integral / c[at.STABILISER_RADICALS]
        self.stabiliser = np.maximum(self.stabiliser - met, 0.0)
        self.bonds, self.kelvin, self.oxygen, self.radical = new_bonds, new_kelvin, oxygen, radical

    def run(self, segments: Array, step_s: float) -> list[Array]:
        """Run the programme; conversion at the end of every segment."""
        edges, b = [], self.boundary
        for row in segments:
            done = 0.0
            for seconds in step_lengths(float(row[at.S_DURATION]), step_s):
                middle = done + 0.5 * seconds
                share, on = middle / row[at.S_DURATION], row[at.S_ON_TIME] + middle
                level = row[at.S_LEVEL_START] + share * (row[at.S_LEVEL_END] - row[at.S_LEVEL_START])
                if b[at.WARM_UP] != 0.0:
                    level *= (1.0 + b[at.WARM_UP] * np.exp(-on / b[at.WARM_UP_TIME])) * b[at.WARM_UP_NORM]
                air = row[at.S_AIR] - row[at.S_AIR_RISE] * np.expm1(-on / row[at.S_AIR_TIME])
                self.step(float(level), float(air), seconds)
                done += seconds
            edges.append(self.conversion_fraction)
        return edges
