"""Compiled helper functions called from Python without compiling them: a process that reads a few figures off a profile would
spend more than a second on machine code that saves it milliseconds."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

from . import core_arrays, core_totals, kinetics

Function = TypeVar("Function", bound=Callable[..., object])


def plain(function: Function) -> Function:
    """The Python text behind a compiled function; the function itself where it is not compiled."""
    return cast(Function, getattr(function, "py_func", function))


bottom_value = plain(core_totals.bottom_value)
surface_mean = plain(core_totals.surface_mean)
depth_reaching = plain(core_totals.depth_reaching)
face_temperature = plain(core_totals.face_temperature)
copy_state = plain(core_arrays.copy_state)
vitrification_conversion = plain(kinetics.vitrification_conversion)
