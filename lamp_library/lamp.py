"""Lamp: spectra at named positions, output over time, programmes and provenance; its files.

A lamp on disk is a folder with ``lamp.toml`` and ``spectra.csv`` (wavelength_nm, one column per
position, W/m2/nm). The packaged lamps are invented demonstration data.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from .course import CONSTANT_OUTPUT, STEADY, AirTemperature, OutputCourse, Programme
from .errors import InputError, UnknownNameError, unknown_name
from .spectrum import Spectrum, mean_spectrum

if TYPE_CHECKING:
    import pandas as pd

LAMPS_FOLDER = Path(__file__).parent / "lamps"
DEFAULT_AIR = AirTemperature(start_k=298.15, rise_k=0.0, time_constant_s=1.0)

_LAMP_ID = re.compile(r"[a-z0-9][a-z0-9_]*")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lamp:
    """A measured (or demonstration) curing lamp.

    Parameters
    ----------
    lamp_id : str
        Short name of lower-case letters, digits and underscores; also the folder's name.
    name : str
        Plain description.
    spectra : mapping of str to Spectrum
        Position label to spectrum, in order, all on one wavelength grid.
    course : OutputCourse
        Output after switch-on relative to the spectra.
    air : AirTemperature
        Air temperature inside the lamp after switch-on.
    programmes : mapping of str to Programme
        Programmes by name; ``"steady"`` is added when missing.
    provenance : mapping of str to str
        How, when and with what the lamp was measured.
    electrical_power_w : float or None
        Rated electrical power [W]; None when not known.
    is_demonstration : bool
        True for invented demonstration data.
    notes : tuple of str
        Sentences the reader wants seen: noise, coarse grid, assumptions.

    Raises
    ------
    InputError
        If there is no position, the grids differ, a position gives no light, or a value is out
        of its range.
    """

    lamp_id: str
    name: str
    spectra: Mapping[str, Spectrum]
    course: OutputCourse = CONSTANT_OUTPUT
    air: AirTemperature = DEFAULT_AIR
    programmes: Mapping[str, Programme] = field(default_factory=dict)
    provenance: Mapping[str, str] = field(default_factory=dict)
    electrical_power_w: float | None = None
    is_demonstration: bool = False
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Lock the mappings and check what belongs together."""
        object.__setattr__(self, "spectra", MappingProxyType(dict(self.spectra)))
        object.__setattr__(
            self, "programmes", MappingProxyType({STEADY.name: STEADY, **dict(self.programmes)})
        )
        object.__setattr__(self, "provenance", MappingProxyType(dict(self.provenance)))
        object.__setattr__(self, "notes", tuple(self.notes))
        if not _LAMP_ID.fullmatch(self.lamp_id):
            raise InputError(
                f"lamp id is '{self.lamp_id}'; use lower-case letters, digits and underscores only."
            )
        self._check_spectra()
        power = self.electrical_power_w
        if power is not None and not 0.0 < power < 1e4:
            raise InputError(f"lamp {self.lamp_id}: electrical power is {power:g} W; it must be 0-10000 W.")

    def _check_spectra(self) -> None:
        if not self.spectra:
            raise InputError(f"lamp {self.lamp_id} has no position; give at least one spectrum.")
        grid = next(iter(self.spectra.values())).wavelength_nm
        for position, spectrum in self.spectra.items():
            if not np.array_equal(spectrum.wavelength_nm, grid):
                raise InputError(
                    f"lamp {self.lamp_id}: position '{position}' has another wavelength grid than the first; "
                    "measure or resample all positions on one grid."
                )
            if spectrum.irradiance_w_m2() <= 0.0:
                raise InputError(
                    f"lamp {self.lamp_id}: position '{position}' gives no light ({spectrum.irradiance_w_m2():g} "
                    "W/m2); measure it again or leave it out."
                )

    def __reduce__(self) -> tuple[Callable[..., Lamp], tuple[dict[str, Any]]]:
        """Rebuild through the constructor; the locked mappings cannot be pickled themselves."""
        fields = {name: getattr(self, name) for name in self.__slots__}
        for name in ("spectra", "programmes", "provenance"):
            fields[name] = dict(fields[name])
        return (_rebuild, (fields,))

    @property
    def positions(self) -> tuple[str, ...]:
        """Position labels, in the order of the file."""
        return tuple(self.spectra)

    def spectrum(self, position: str) -> Spectrum:
        """Spectrum at a position; an unknown label raises `UnknownNameError`."""
        if position not in self.spectra:
            raise unknown_name(f"position of lamp {self.lamp_id}", position, self.spectra)
        return self.spectra[position]

    def mean_spectrum(self) -> Spectrum:
        """Arithmetic mean over the positions."""
        return mean_spectrum(tuple(self.spectra.values()))

    @property
    def weakest(self) -> str:
        """Position with the least irradiance over the whole measured range: judge cure there."""
        return min(self.spectra, key=lambda position: self.spectra[position].irradiance_w_m2())

    @property
    def strongest(self) -> str:
        """Position with the most irradiance over the whole measured range: judge heat there."""
        return max(self.spectra, key=lambda position: self.spectra[position].irradiance_w_m2())

    @property
    def uniformity_ratio(self) -> float:
        """Irradiance at the weakest position over the mean of all positions [-]."""
        return self.spectra[self.weakest].irradiance_w_m2() / self.mean_spectrum().irradiance_w_m2()

    def to_frame(self) -> pd.DataFrame:
        """The spectra as a tidy table: one row per position and wavelength."""
        import pandas as pd

        return pd.concat(
            [
                pd.DataFrame(
                    {
                        "position": position,
                        "wavelength_nm": spectrum.wavelength_nm,
                        "spectral_irradiance_w_m2_nm": spectrum.spectral_irradiance_w_m2_nm,
                    }
                )
                for position, spectrum in self.spectra.items()
            ],
            ignore_index=True,
        )

    def programme(self, name: str) -> Programme:
        """Programme by name; an unknown one raises `UnknownNameError`."""
        if name not in self.programmes:
            raise unknown_name(f"programme of lamp {self.lamp_id}", name, self.programmes)
        return self.programmes[name]

    def with_output(self, factor: float) -> Lamp:
        """Return the same lamp with all output multiplied by `factor` [-], e.g. 0.7 for an aged one."""
        spectra = {position: spectrum.scaled(factor) for position, spectrum in self.spectra.items()}
        return replace(self, spectra=spectra)

    def with_level(self, level_ratio: float, note: str) -> Lamp:
        """Return the same lamp giving `level_ratio` [-], > 0, of the output it gave when measured.

        The spectra stay as measured; the ratio goes into the output course, and `note`, a
        sentence saying why, joins the notes. See `ageing` for worn lamps and batteries.
        """
        course = replace(self.course, level_ratio=self.course.level_ratio * level_ratio)
        return replace(self, course=course, notes=(*self.notes, note))


def _rebuild(fields: dict[str, Any]) -> Lamp:
    return Lamp(**fields)


def text_sha256(text: str) -> str:
    """SHA-256 of a text with its line ends made equal, so that a checkout may change them."""
    return hashlib.sha256("\n".join(text.splitlines()).encode("utf-8")).hexdigest()


def list_lamps() -> tuple[str, ...]:
    """Ids of the packaged demonstration lamps."""
    return tuple(sorted(path.parent.name for path in LAMPS_FOLDER.glob("*/lamp.toml")))


def load_lamp(name_or_path: str | Path) -> Lamp:
    """Load a packaged lamp by its id, or a lamp folder (or its ``lamp.toml``) by its path.

    A bare id means a packaged lamp; a `Path`, or text with a path separator or ending in
    ``.toml``, means a file; a bare word that is an existing folder means that folder. A word that
    is both a packaged id and a folder here is refused rather than guessed.

    Parameters
    ----------
    name_or_path : str or Path
        E.g. ``"demo_arch_365_405"`` or ``"lamps/client_a"``.

    Raises
    ------
    InputError
        If the file is missing, breaks a rule, or the word is ambiguous.
    UnknownNameError
        If no packaged lamp has this id.
    """
    from .lamp_files import read_lamp

    if isinstance(name_or_path, Path):
        return read_lamp(name_or_path)
    text = name_or_path
    if "/" in text or "\\" in text or text.endswith(".toml"):
        return read_lamp(Path(text))
    packaged = text in list_lamps()
    if Path(text).is_dir():
        if packaged:
            raise InputError(
                f"'{text}' is a packaged lamp and also a folder here; write ./{text} for the folder, or rename it."
            )
        return read_lamp(Path(text))
    if not packaged:
        error = unknown_name("lamp", text, list_lamps())
        raise UnknownNameError(f"{error} A lamp of your own is a folder: give its path.")
    return read_lamp(LAMPS_FOLDER / text)


def save_lamp(lamp: Lamp, folder: str | Path, *, overwrite: bool = False) -> Path:
    """Write ``lamp.toml`` and ``spectra.csv`` into a folder, made if needed.

    Parameters
    ----------
    lamp : Lamp
        What to write.
    folder : str or Path
        Where to; existing lamp files there are replaced only when `overwrite` is set.

    Returns
    -------
    Path
        The ``lamp.toml`` written.

    Raises
    ------
    InputError
        If the folder already holds a lamp, or is a file.
    """
    from .lamp_files import write_lamp

    return write_lamp(lamp, Path(folder), overwrite=overwrite)
