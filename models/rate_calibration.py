"""Rate parameters of a gel found from trials, with their covariance, as they stand in the gel's file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.toml_text import TomlValue

Array = NDArray[np.float64]

_KEYS = ("parameters", "values", "covariance", "kept_at_prior", "trials", "resin_parts", "covered")
_SAME_SHARE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RateCalibration:
    """Calibrated parameters of one resin base.

    Parameters
    ----------
    parameters : tuple of str
        Names (see `rate_parameters`).
    values : array_like, shape (n,)
        Natural logarithms of the parameters in SI units.
    covariance : array_like, shape (n, n)
        Of these logarithms, data and priors together.
    kept_at_prior : tuple of str
        Parameters that the data did not determine.
    trials : tuple of str
        What it rests on.
    resin_parts : mapping of str to float
        The resin base it belongs to, parts by weight.
    covered : mapping of str to (float, float)
        Range of the data, low and high; names end in the unit.

    Raises
    ------
    InputError
        If shapes do not match, a value is not finite, or the covariance is not one.
    """

    parameters: tuple[str, ...]
    values: ArrayLike
    covariance: ArrayLike
    kept_at_prior: tuple[str, ...] = ()
    trials: tuple[str, ...] = ()
    resin_parts: Mapping[str, float]
    covered: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Lock the arrays and check them."""
        count = len(self.parameters)
        for label in ("values", "covariance"):
            array = np.array(getattr(self, label), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, label, array)
        if len(set(self.parameters)) != count or not count:
            raise InputError("calibration: name at least one parameter, and each once.")
        if self.log_values.shape != (count,) or self.log_covariance.shape != (count, count):
            raise InputError(
                f"calibration: {count} parameters, but values of shape {self.log_values.shape} and a covariance of shape "
                f"{self.log_covariance.shape}; give one value each and a square table."
            )
        if not (np.isfinite(self.log_values).all() and np.isfinite(self.log_covariance).all()):
            raise InputError("calibration: a value or covariance is not a finite number; fit again.")
        if not _is_covariance(self.log_covariance):
            raise InputError(
                "calibration: the covariance is not symmetric with positive variances; do not edit it, fit again."
            )
        object.__setattr__(self, "resin_parts", MappingProxyType(dict(self.resin_parts)))
        object.__setattr__(
            self,
            "covered",
            MappingProxyType({key: (float(low), float(high)) for key, (low, high) in self.covered.items()}),
        )

    def __reduce__(self) -> tuple[Any, tuple[Any, ...]]:
        """Rebuild through the constructor: locked mappings do not pickle by themselves."""
        fields = {name: getattr(self, name) for name in self.__slots__}
        return (_rebuilt, (fields | {"resin_parts": dict(self.resin_parts), "covered": dict(self.covered)},))

    def __eq__(self, other: object) -> bool:
        """Equal when the file would be equal."""
        return isinstance(other, RateCalibration) and calibration_table(self) == calibration_table(other)

    def __hash__(self) -> int:
        """Hash that agrees with equality."""
        return hash((self.parameters, self.trials))

    @property
    def log_values(self) -> Array:
        """Logarithms of the parameters, shape (n,)."""
        return np.asarray(self.values)

    @property
    def log_covariance(self) -> Array:
        """Covariance of the logarithms, shape (n, n)."""
        return np.asarray(self.covariance)

    @property
    def log_error(self) -> Array:
        """Standard errors of the logarithms, shape (n,)."""
        return np.asarray(np.sqrt(np.diag(self.log_covariance)))

    def with_values(self, log_values: ArrayLike) -> RateCalibration:
        """The same calibration at other values: one draw of its doubt."""
        return replace(self, values=np.asarray(log_values))

    def draw(self, standard_normals: ArrayLike) -> Array:
        """Draws of the logarithms from independent standard normals, both of shape (n_draw, n)."""
        strength, vectors = np.linalg.eigh(self.log_covariance)
        root = vectors * np.sqrt(np.maximum(strength, 0.0))
        return np.asarray(self.log_values + np.asarray(standard_normals, dtype=np.float64) @ root.T)

    def belongs_to(self, resin_parts: Mapping[str, float]) -> bool:
        """Whether a resin base is the calibrated one, whatever the total of its parts."""
        return _shares(self.resin_parts) == _shares(resin_parts)


def _rebuilt(fields: dict[str, Any]) -> RateCalibration:
    return RateCalibration(**fields)


def _is_covariance(table: Array) -> bool:
    if not np.allclose(table, table.T, rtol=1e-9, atol=1e-15) or np.any(np.diag(table) < 0.0):
        return False
    return bool(np.linalg.eigvalsh(table)[0] >= -1e-9 * max(float(np.trace(table)), 1e-12))


def _shares(parts: Mapping[str, float]) -> dict[str, int]:
    total = math.fsum(parts.values())
    return {key: round(value / total / _SAME_SHARE) for key, value in sorted(parts.items()) if value > 0.0}


def calibration_table(calibration: RateCalibration) -> dict[str, TomlValue]:
    """A calibration as the table of a gel file."""
    table: dict[str, TomlValue] = {
        "parameters": list(calibration.parameters),
        "values": [float(each) for each in calibration.log_values],
        "covariance": [[float(each) for each in row] for row in calibration.log_covariance],
        "kept_at_prior": list(calibration.kept_at_prior),
        "trials": list(calibration.trials),
        "resin_parts": dict(calibration.resin_parts),
    }
    if calibration.covered:
        table["covered"] = {key: list(pair) for key, pair in calibration.covered.items()}
    return table


def read_calibration(table: Mapping[str, Any]) -> RateCalibration:
    """A calibration from the table of a gel file.

    Parameters
    ----------
    table : mapping
        The table as TOML gives it.

    Raises
    ------
    InputError
        If a key is missing, unknown, or of the wrong kind.
    """
    unknown = [key for key in table if key not in _KEYS]
    if unknown:
        raise InputError(f"calibration has no key '{unknown[0]}'; known: {', '.join(_KEYS)}.")
    missing = [key for key in ("parameters", "values", "covariance", "resin_parts") if key not in table]
    if missing:
        raise InputError(f"calibration lacks {missing[0]}; write it with gelwright fit.")
    try:
        return RateCalibration(
            parameters=tuple(str(each) for each in table["parameters"]),
            values=table["values"],
            covariance=table["covariance"],
            kept_at_prior=tuple(str(each) for each in table.get("kept_at_prior", ())),
            trials=tuple(str(each) for each in table.get("trials", ())),
            resin_parts={str(key): float(value) for key, value in table["resin_parts"].items()},
            covered={str(key): (pair[0], pair[1]) for key, pair in table.get("covered", {}).items()},
        )
    except InputError:
        raise
    except (TypeError, ValueError, AttributeError, IndexError) as error:
        raise InputError(f"calibration is not readable ({error}); write it with gelwright fit.") from error
