"""How a smooth surface reflects diffuse light, from Fresnel's equations."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError

_ANGLES = 96  # as good as 400 to the last digit from an index of 1.0001 on; more make the nodes slow to find


@cache
def _angles() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes and weights of the integral; they cost far more than the integral itself."""
    node, weight = np.polynomial.legendre.leggauss(_ANGLES)
    return node, weight


def diffuse_reflectance_outside(refractive_index: float) -> float:
    """Share of diffuse light in air that the smooth surface of a film turns back [-].

    Parameters
    ----------
    refractive_index : float
        Refractive index of the film [-], above 1.

    Raises
    ------
    InputError
        If the refractive index is not above 1.

    Notes
    -----
    Fresnel's reflectance for unpolarised light, integrated over the half space with the weight 2 sin cos of light that is
    equally bright from all sides.

    Examples
    --------
    >>> round(diffuse_reflectance_outside(1.5), 4)
    0.0918
    """
    if not refractive_index > 1.0:
        raise InputError(f"film: refractive index is {refractive_index:g}; it must be above 1.")
    node, weight = _angles()
    angle = 0.25 * np.pi * (node + 1.0)
    outside = np.cos(angle)
    inside = np.sqrt(1.0 - (np.sin(angle) / refractive_index) ** 2)
    crosswise = (outside - refractive_index * inside) / (outside + refractive_index * inside)
    parallel = (refractive_index * outside - inside) / (refractive_index * outside + inside)
    reflectance = 0.5 * (crosswise**2 + parallel**2)
    return float(0.25 * np.pi * np.sum(weight * reflectance * np.sin(2.0 * angle)))


def diffuse_reflectance_inside(refractive_index: float) -> float:
    """Share of diffuse light in a film that its smooth surface turns back into it [-]; arguments and errors as outside.

    Notes
    -----
    1 - (1 - r_outside)/n^2: what gets out in one direction is what gets in in the other (reciprocity). Most of it is total
    reflection.

    References
    ----------
    Duntley, J. Opt. Soc. Am. 1942, 32, 61; Orchard, J. Opt. Soc. Am. 1969, 59, 1584 (from memory): 0.596 at n = 1.5.

    Examples
    --------
    >>> round(diffuse_reflectance_inside(1.5), 3)
    0.596
    """
    return 1.0 - (1.0 - diffuse_reflectance_outside(refractive_index)) / refractive_index**2
