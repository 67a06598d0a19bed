"""What pigments do to light: absorption and scattering per wt%, packaged or measured, and the crowding of particles.

Kubelka-Munk K and S are kept as the sources and laboratories give them; inside, K = 2 mu_a and S = 3/4 mu_s', with mu_a
the napierian absorption coefficient and mu_s' = mu_s (1 - g) the reduced scattering coefficient.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.tables import find_table, read_text, to_numbers, wavelength_column
from .data_tables import KINDS, UNVERIFIED_KINDS, parse_number, read_numbers, read_rows, read_sources

FloatArray = NDArray[np.float64]

OPTICS_FILE = "pigment_optics.csv"
PIGMENTS_FILE = "pigments.csv"
K_COLUMN, S_COLUMN = "k_1_m_per_wt_pct", "s_1_m_per_wt_pct"
ABSOLUTE_UNIT, RELATIVE_UNIT = "1/cm/wt%", "relative"
# Packing fraction at which the scattering of crowded particles ends (Fitzwater & Hook, J. Coat. Technol. 1985, from memory).
CROWDED_FRACTION = 0.55
_1_M_FROM_1_CM = 1e2
_DECLARATION = re.compile(r"[#\s]*measured_at_wt_pct\s*[=:]\s*(?P<value>\S+)")


@dataclass(frozen=True, slots=True, eq=False)
class PigmentOptics:
    """Absorption and scattering of a pigment per wt% of the gel, linear between points, level beyond them.

    Parameters
    ----------
    wavelength_nm : array_like, shape (n_wavelength,)
        Strictly ascending wavelengths [nm], at least two.
    absorption_1_m_per_wt_pct : array_like, shape (n_wavelength,)
        Napierian absorption coefficient mu_a per wt% [m-1].
    scattering_1_m_per_wt_pct : array_like, shape (n_wavelength,)
        Reduced scattering coefficient mu_s' per wt% [m-1].
    sources : tuple of str
        Keys in ``sources.csv``, or the file name of a user's measurement.
    kind : str
        measured, computed, estimated ...
    measured_at_wt_pct : float or None
        Content at which the values hold [wt%]; other contents crowd more or less and change the density of the gel.
        0 = values of 1 wt% with particles far apart; None = the values hold as they are at every content.

    Raises
    ------
    InputError
        If the arrays differ in length, do not ascend, or hold negative or non-finite numbers.
    """

    wavelength_nm: FloatArray
    absorption_1_m_per_wt_pct: FloatArray
    scattering_1_m_per_wt_pct: FloatArray
    sources: tuple[str, ...]
    kind: str
    measured_at_wt_pct: float | None = 0.0

    def __post_init__(self) -> None:
        """Check the table and lock copies of the arrays."""
        where = self.sources[0] if self.sources else "pigment"
        arrays = {}
        for name in ("wavelength_nm", "absorption_1_m_per_wt_pct", "scattering_1_m_per_wt_pct"):
            array = np.array(getattr(self, name), dtype=np.float64)
            if array.ndim != 1 or not np.all(np.isfinite(array)) or np.any(array < 0.0):
                raise InputError(
                    f"{where}: {name} holds a negative or non-finite number; every value must be >= 0."
                )
            array.setflags(write=False)
            arrays[name] = array
            object.__setattr__(self, name, array)
        if len({array.size for array in arrays.values()}) > 1 or arrays["wavelength_nm"].size < 2:
            raise InputError(f"{where}: give K and S at the same wavelengths, two or more of them.")
        if not np.all(np.diff(arrays["wavelength_nm"]) > 0.0):
            raise InputError(f"{where}: a wavelength occurs twice; give each wavelength once.")

    def __reduce__(self) -> tuple[Any, tuple[Any, ...]]:
        """Rebuild through the constructor, so that arrays stay locked."""
        return (PigmentOptics, tuple(getattr(self, name) for name in self.__dataclass_fields__))

    @property
    def valid_from_nm(self) -> float:
        """Shortest wavelength with a number [nm]."""
        return float(self.wavelength_nm[0])

    @property
    def valid_to_nm(self) -> float:
        """Longest wavelength with a number [nm]."""
        return float(self.wavelength_nm[-1])

    def absorption_at(self, wavelength_nm: ArrayLike) -> FloatArray:
        """Napierian absorption coefficient mu_a per wt% [m-1]."""
        return self._between(wavelength_nm, self.absorption_1_m_per_wt_pct)

    def scattering_at(self, wavelength_nm: ArrayLike) -> FloatArray:
        """Reduced scattering coefficient mu_s' per wt% [m-1], at `measured_at_wt_pct`."""
        return self._between(wavelength_nm, self.scattering_1_m_per_wt_pct)

    def _between(self, wavelength_nm: ArrayLike, values: FloatArray) -> FloatArray:
        grid = np.asarray(wavelength_nm, dtype=np.float64)
        return np.asarray(np.interp(grid, self.wavelength_nm, values))


def absorption_from_kubelka_munk(k_1_m: ArrayLike) -> FloatArray:
    """Napierian absorption coefficient mu_a [m-1] of Kubelka-Munk K [m-1]: K/2, since diffuse light travels twice as far."""
    return np.asarray(k_1_m, dtype=np.float64) / 2.0


def scattering_from_kubelka_munk(s_1_m: ArrayLike) -> FloatArray:
    """Reduced scattering coefficient mu_s' [m-1] of Kubelka-Munk S [m-1]: 4/3 S (weak absorption)."""
    return np.asarray(s_1_m, dtype=np.float64) * 4.0 / 3.0


def crowding_ratio(volume_fraction: float) -> float:
    """Scattering of crowded particles over that of the same particles far apart [-].

    Parameters
    ----------
    volume_fraction : float
        Particles in the gel [-], 0 to below 0.55.

    Raises
    ------
    InputError
        If the fraction lies outside that range.

    Notes
    -----
    1 - (phi/0.55)^(1/3): the ratio of particle size to spacing. Made for titanium dioxide; taken over for all pigments.

    References
    ----------
    Fitzwater, Hook, J. Coat. Technol. 1985 (from memory).

    Examples
    --------
    >>> round(crowding_ratio(0.008), 3)  # about 3 wt% titanium dioxide
    0.756
    """
    if not 0.0 <= volume_fraction < CROWDED_FRACTION:
        raise InputError(
            f"pigments: their volume fraction is {volume_fraction:.3g}; it must lie between 0 and {CROWDED_FRACTION:g}. "
            "Lower the contents."
        )
    return 1.0 - float((volume_fraction / CROWDED_FRACTION) ** (1.0 / 3.0))


@cache
def packaged_optics(key: str) -> PigmentOptics:
    """Packaged optics of a pigment.

    Raises
    ------
    InputError
        If rows are missing, or a unit, kind or source is not known.
    """
    rows = [row for row in read_rows(OPTICS_FILE) if row["substance"] == key]
    tables: dict[str, dict[float, float]] = {"K": {}, "S": {}}
    for row in rows:
        where = row["where"]
        if row["quantity"] not in tables or row["kind"] not in KINDS or row["source"] not in read_sources():
            raise InputError(
                f"{where}: quantity '{row['quantity']}', kind '{row['kind']}' or source '{row['source']}' is not known; use "
                "K or S, a kind of the other tables, and a key of sources.csv."
            )
        value = parse_number(row["value"], where, row["quantity"]) * _scale(key, row["unit"], where)
        tables[row["quantity"]][parse_number(row["wavelength_nm"], where, "wavelength_nm")] = value
    if not rows or set(tables["K"]) != set(tables["S"]):
        raise InputError(
            f"{OPTICS_FILE}: K and S of {key} are missing or differ in their wavelengths; add rows."
        )
    grid = sorted(tables["K"])
    # A relative table rests on an estimated scale, whatever the quality of its shape.
    kinds = {"estimated" if row["unit"] == RELATIVE_UNIT else row["kind"] for row in rows}
    return PigmentOptics(
        np.array(grid),
        absorption_from_kubelka_munk([tables["K"][nm] for nm in grid]),
        scattering_from_kubelka_munk([tables["S"][nm] for nm in grid]),
        tuple(dict.fromkeys(row["source"] for row in rows)),
        next((kind for kind in UNVERIFIED_KINDS if kind in kinds), rows[0]["kind"]),
    )


def _scale(key: str, unit: str, where: str) -> float:
    """Factor from the value in the table to 1/m per wt%."""
    if unit == ABSOLUTE_UNIT:
        return _1_M_FROM_1_CM
    if unit != RELATIVE_UNIT:
        raise InputError(f"{where}: unit is '{unit}'; it must be {ABSOLUTE_UNIT} or {RELATIVE_UNIT}.")
    numbers = read_numbers(PIGMENTS_FILE).get(key, {})
    if "relative_scale" not in numbers:
        raise InputError(f"{PIGMENTS_FILE}: relative_scale of {key} is missing; add a row with its source.")
    return numbers["relative_scale"].in_unit("1/m/wt%")


def read_pigment_optics(path: str | Path) -> PigmentOptics:
    """Read K and S of a pigment measured in a gel.

    Parameters
    ----------
    path : str or Path
        A CSV with the columns ``wavelength_nm, K_1_m_per_wt_pct, S_1_m_per_wt_pct`` (Kubelka-Munk K and S over the content,
        diffuse light). A line above the table may declare the content of the measured films,
        ``# measured_at_wt_pct = 8``: other contents then crowd more or less. Without it S counts as given at every content.

    Raises
    ------
    InputError
        If the file cannot be read, a column is missing, or a number is impossible.
    """
    path = Path(path)
    table = find_table(read_text(path), path.name)
    heads = [head.strip().lower() for head in table.header]
    for column in (K_COLUMN, S_COLUMN):
        if column not in heads:
            raise InputError(
                f"{path.name}: columns are {', '.join(heads)}; give wavelength_nm, K_1_m_per_wt_pct and S_1_m_per_wt_pct."
            )
    columns = (wavelength_column(table.header), heads.index(K_COLUMN), heads.index(S_COLUMN))
    numbers = np.array([row for _, row in to_numbers(table, columns)], dtype=np.float64)
    numbers = numbers[np.argsort(numbers[:, 0], kind="stable")]
    content = None
    for line in table.preamble:
        match = _DECLARATION.fullmatch(line.strip())
        if match is not None:
            content = parse_number(match["value"], path.name, "measured_at_wt_pct")
            if not 0.0 <= content < 100.0:
                raise InputError(f"{path.name}: measured_at_wt_pct is {content:g} wt%; it must be 0 to 100.")
    return PigmentOptics(
        numbers[:, 0],
        absorption_from_kubelka_munk(numbers[:, 1]),
        scattering_from_kubelka_munk(numbers[:, 2]),
        (path.name,),
        "measured",
        content,
    )
