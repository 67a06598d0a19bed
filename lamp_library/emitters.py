"""Emission shapes for what-if lamps: diodes and fluorescent tubes.

A measured spectrum is always better. The diode shapes are fits to single measured diodes, whose
peak lay up to 12 nm from the printed wavelength; the tube shapes are estimates that leave the
mercury lines out.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError, unknown_name
from .spectrum import Spectrum

_FILE = Path(__file__).parent / "led_shapes.csv"

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class EmitterShape:
    """Split Ohno line shape of one emitter.

    Parameters
    ----------
    shape_id : str
        Name, e.g. ``"365_b"``.
    kind : str
        ``"led"`` or ``"fluorescent"``.
    nominal_nm, peak_nm, fwhm_nm : float
        Printed wavelength, measured peak and measured width at half height [nm].
    centre_nm, d_short_nm, d_long_nm : float
        Centre and the two widths of the fitted shape [nm].
    share_to_400_fraction : float
        Measured share of the power up to 400 nm [-].
    origin : str
        ``"fitted"`` to a measured spectrum, or ``"estimated"``.
    source : str
        Key in ``sources.csv``.
    note : str
        What was measured.
    """

    shape_id: str
    kind: str
    nominal_nm: float
    peak_nm: float
    fwhm_nm: float
    centre_nm: float
    d_short_nm: float
    d_long_nm: float
    share_to_400_fraction: float
    origin: str
    source: str
    note: str

    def __post_init__(self) -> None:
        """Check the widths."""
        if min(self.centre_nm, self.d_short_nm, self.d_long_nm) <= 0.0:
            raise InputError(f"emitter shape {self.shape_id}: centre and both widths must be above 0 nm.")

    def relative(self, wavelength_nm: ArrayLike) -> FloatArray:
        """Emission relative to its maximum [-] at wavelengths [nm]; same shape."""
        return split_ohno(
            wavelength_nm, centre_nm=self.centre_nm, d_short_nm=self.d_short_nm, d_long_nm=self.d_long_nm
        )


def split_ohno(
    wavelength_nm: ArrayLike, *, centre_nm: float, d_short_nm: float, d_long_nm: float
) -> FloatArray:
    """Ohno's diode line shape with its own width on either side, 1 at the centre [-].

    Parameters
    ----------
    wavelength_nm : array_like
        Wavelengths [nm].
    centre_nm : float
        Wavelength of the maximum [nm].
    d_short_nm, d_long_nm : float
        Width parameter D below and above the centre [nm].

    Notes
    -----
    S = (g + 2 g^5) / 3 with g = exp(-((l - l0)/D)^2). With one width, full width at half height
    0.92182 D and area 1.11926 D.

    References
    ----------
    Ohno, Opt. Eng. 2005, 44, 111302.

    Examples
    --------
    >>> split_ohno([365.0], centre_nm=365.0, d_short_nm=8.0, d_long_nm=12.0)
    array([1.])
    """
    offset = np.asarray(wavelength_nm, dtype=np.float64) - centre_nm
    g = np.exp(-((offset / np.where(offset < 0.0, d_short_nm, d_long_nm)) ** 2))
    return np.asarray((g + 2.0 * g**5) / 3.0, dtype=np.float64)


@cache
def _shapes() -> dict[str, EmitterShape]:
    with _FILE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    numbers = ("nominal_nm", "peak_nm", "fwhm_nm", "centre_nm", "d_short_nm", "d_long_nm")
    return {
        row["shape_id"]: EmitterShape(
            shape_id=row["shape_id"],
            kind=row["kind"],
            **{name: float(row[name]) for name in numbers},
            share_to_400_fraction=float(row["share_to_400_fraction"]),
            origin=row["origin"],
            source=row["source"],
            note=row["note"],
        )
        for row in rows
    }


def list_emitter_shapes() -> tuple[str, ...]:
    """Ids of the known emitter shapes."""
    return tuple(_shapes())


def emitter_shape(shape_id: str) -> EmitterShape:
    """Emitter shape by its id; an unknown one raises `UnknownNameError`."""
    if shape_id not in _shapes():
        raise unknown_name("emitter shape", shape_id, _shapes())
    return _shapes()[shape_id]


def emitter_spectrum(shape_id: str, wavelength_nm: ArrayLike, irradiance_w_m2: float) -> Spectrum:
    """Spectrum of one kind of emitter with a given irradiance over the grid.

    Parameters
    ----------
    shape_id : str
        See `list_emitter_shapes`.
    wavelength_nm : array_like, shape (n_wavelength,)
        Strictly ascending wavelengths [nm].
    irradiance_w_m2 : float
        Irradiance over the whole grid [W m-2], above 0.

    Raises
    ------
    InputError
        If the irradiance is not above 0, or the grid misses the emitter's line.
    """
    if not (np.isfinite(irradiance_w_m2) and irradiance_w_m2 > 0.0):
        raise InputError(f"irradiance is {irradiance_w_m2:g} W/m2; it must be finite and above 0.")
    shape = emitter_shape(shape_id)
    relative = Spectrum(np.asarray(wavelength_nm, dtype=np.float64), shape.relative(wavelength_nm))
    if not relative.wavelength_nm[0] <= shape.peak_nm <= relative.wavelength_nm[-1]:
        raise InputError(
            f"wavelength grid {relative.wavelength_nm[0]:g}-{relative.wavelength_nm[-1]:g} nm misses the peak of "
            f"emitter {shape_id} at {shape.peak_nm:g} nm; widen the grid."
        )
    return relative.scaled(irradiance_w_m2 / relative.irradiance_w_m2())
