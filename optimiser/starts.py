"""Starting blends of the relaxed search.

A film can be too opaque as easily as too poor in initiator, and a search begun in the opaque region stays there. So
the starts are spread over what the film absorbs, not over what the shelf allows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from .colour_figures import initiator_absorbance, initiator_of
from .problem import Problem
from .search_space import SearchSpace

Floats = NDArray[np.float64]

LEAST_SHARE = 0.01  # loadings are spread over two decades below the highest allowed
ABSORBED_FRACTION = (0.1, 0.8)  # of the lamp's photons, in the thickest film while fresh
MODERATE_FRACTION = 1.0 / 3.0
HALVINGS = 40


def relaxed_starts(problem: Problem, starts: int) -> Floats:
    """Scrambled Sobol starts over all substances [wt%].

    Parameters
    ----------
    problem : Problem
        Gives substances, lamp, film and seed.
    starts : int
        Number of starts.

    Returns
    -------
    ndarray, shape (starts, n_substance)
        Within the allowed loadings. Mixing ratios are spread evenly on a logarithmic scale, then each blend is thinned
        until its film absorbs the share of the photons drawn for it.
    """
    from scipy.stats import qmc

    high, n = problem.space.high_wt_pct, len(problem.space.keys)
    rng = np.random.default_rng(np.random.SeedSequence(problem.brief.seed).spawn(1)[0])
    doublings = int(np.ceil(np.log2(max(starts, 2))))
    draws = qmc.Sobol(d=n + 1, scramble=True, rng=rng).random_base2(doublings)[:starts]
    low, top = ABSORBED_FRACTION
    loadings = high * LEAST_SHARE ** (1.0 - draws[:, :n])
    photons, absorbance = _light(problem, problem.space.initiators)
    count = len(problem.space.initiators)
    for row, wanted in zip(loadings, low + (top - low) * draws[:, n], strict=True):
        row[:count] *= _thinning(row[:count], wanted, photons, absorbance)
    return np.asarray(loadings)


def moderate_start(problem: Problem, space: SearchSpace | None = None) -> Floats:
    """Half of every highest loading, initiators thinned until the fresh film absorbs a third of the photons [wt%].

    Of the problem's substances, or of those of a narrower space.
    """
    space = space or problem.space
    loadings = 0.5 * space.high_wt_pct
    count = len(space.initiators)
    loadings[:count] *= _thinning(loadings[:count], MODERATE_FRACTION, *_light(problem, space.initiators))
    return np.asarray(loadings)


def by_strength(problem: Problem) -> list[str]:
    """Initiators, those that cleave first; of these the one that starts most chains in a thin film for its weight, or price.

    Radicals in a thin film are photons absorbed times yields; what shade, amines and air make of them shows only in the films.
    """
    keys, prices = problem.space.initiators, problem.brief.prices_per_kg
    photons, absorbance = _light(problem, keys)
    data = [initiator_of(problem.gel, key) for key in keys]
    yields = np.array([each.quantum_yield * each.initiation_efficiency for each in data])
    costs = problem.brief.objective == "least_cost"
    strength = absorbance @ photons * yields / [prices[key] if costs else 1.0 for key in keys]
    late = [problem.space.substance(key).needs_amine for key in keys]
    return [keys[i] for i in np.lexsort((-strength, late))]


def _light(problem: Problem, keys: Sequence[str]) -> tuple[Floats, Floats]:
    """Photons per wavelength, summing to 1, and absorbance per wt% of each initiator in the thickest film."""
    wavelength_nm, photons = mean_light(problem.lamps)
    thickness_m = problem.brief.thickness_high_m
    absorbance = [initiator_absorbance(problem.gel, key, 1.0, wavelength_nm, thickness_m) for key in keys]
    return photons / photons.sum(), np.array(absorbance)


def mean_light(lamps: Sequence[Lamp]) -> tuple[Floats, Floats]:
    """Wavelengths and relative photons per wavelength of the mean over lamps and their positions."""
    spectra = [lamp.mean_spectrum().light() for lamp in lamps]
    wavelength_nm = np.unique(np.concatenate([each.wavelength_nm for each in spectra]))
    power = [
        np.interp(wavelength_nm, each.wavelength_nm, each.spectral_irradiance_w_m2_nm, left=0.0, right=0.0)
        for each in spectra
    ]
    return wavelength_nm, np.mean(power, axis=0) * wavelength_nm * np.gradient(wavelength_nm)


def _thinning(loading_wt_pct: Floats, wanted_fraction: float, photons: Floats, absorbance: Floats) -> float:
    """Factor, at most 1, by which a blend is thinned to absorb the wanted share; halving in log steps."""
    low, high = 1e-6, 1.0
    for _ in range(HALVINGS):
        middle = np.sqrt(low * high)
        absorbed = float(photons @ (1.0 - 10.0 ** -(middle * loading_wt_pct @ absorbance)))
        low, high = (middle, high) if absorbed < wanted_fraction else (low, middle)
    return float(np.sqrt(low * high))
