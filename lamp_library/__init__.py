"""The bottom room: light as measured. It imports nothing of the other rooms.

The names below load on first use, so that importing the room for its errors stays quick.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .ageing import aged, ageing_factor, on_battery
    from .course import AirTemperature, OutputCourse, Programme, Segment
    from .errors import GelwrightError, InputError, SolverError, UnknownNameError
    from .lamp import Lamp, list_lamps, load_lamp, save_lamp
    from .reader import read_export
    from .spectrum import Peak, Spectrum

_HOMES = {
    "aged": "ageing",
    "ageing_factor": "ageing",
    "on_battery": "ageing",
    "AirTemperature": "course",
    "OutputCourse": "course",
    "Programme": "course",
    "Segment": "course",
    "GelwrightError": "errors",
    "InputError": "errors",
    "SolverError": "errors",
    "UnknownNameError": "errors",
    "Lamp": "lamp",
    "list_lamps": "lamp",
    "load_lamp": "lamp",
    "save_lamp": "lamp",
    "read_export": "reader",
    "Peak": "spectrum",
    "Spectrum": "spectrum",
}

__all__ = [
    "AirTemperature",
    "GelwrightError",
    "InputError",
    "Lamp",
    "OutputCourse",
    "Peak",
    "Programme",
    "Segment",
    "SolverError",
    "Spectrum",
    "UnknownNameError",
    "aged",
    "ageing_factor",
    "list_lamps",
    "load_lamp",
    "on_battery",
    "read_export",
    "save_lamp",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module '{__name__}' has no attribute '{name}'")
    return getattr(import_module(f".{_HOMES[name]}", __name__), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
