"""Decorators of the compiled core.

Numba caches machine code per file and does not notice a change in a *called* function of another file. Only the
outermost function is therefore cached, under a key that holds a digest of every source it may call
(`source_digest`); inner functions carry no cache of their own.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

from .piece_library import faceless, piece_options

Function = TypeVar("Function", bound=Callable[..., object])

_CORE = (
    "compiled",
    "core_arrays",
    "core_heat",
    "core_light",
    "core_rates",
    "core_rows",
    "core_step",
    "core_totals",
    "heat",
    "kinetics",
    "layout",
    "optics",
    "oxygen",
    "photochemistry",
    "piece_library",
    "stepper",
    "tissue",
    "vector_math",
)


# Multiply-adds may be fused; nothing else about the order of arithmetic may change (the exponentials rely on it).
_FUSED = {"contract"}
# Sums may be taken in another order, so that they too become vector instructions; the order is the same in every run.
_SUMS = {"contract", "reassoc", "nsz"}


# The glue that lets Python call a compiled function takes as long to compile as the function; the pieces of the core have none.
_FACELESS: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
_INNER, _STRINGS = _FACELESS | piece_options(strings=False), _FACELESS | piece_options(strings=True)


def compiled(function: Function) -> Function:
    """Compile a function of the core; callable from Python and from other compiled functions."""
    return cast(Function, numba.njit(nogil=True, error_model="numpy", fastmath=_FUSED)(function))


def compiled_piece(function: Function) -> Function:
    """Compile a piece of the core that only compiled functions call; from Python, call its `py_func` or compile a caller."""
    decorate = numba.njit(nogil=True, error_model="numpy", fastmath=_FUSED, **_INNER)
    return cast(Function, faceless(decorate(function)))


def compiled_string(function: Function) -> Function:
    """Compile a piece that strings others together and does little by itself: it is optimised within its caller alone.

    Not for a piece with a loop over cells that calls `compiled_inside`: optimised elsewhere, its last digits may change.
    """
    decorate = numba.njit(nogil=True, error_model="numpy", fastmath=_FUSED, **_STRINGS)
    return cast(Function, faceless(decorate(function)))


def compiled_inside(function: Function) -> Function:
    """Compile a small function whose text goes into every caller: a call would keep a loop from becoming vector instructions."""
    decorate = numba.njit(nogil=True, error_model="numpy", fastmath=_FUSED, forceinline=True, **_STRINGS)
    return cast(Function, faceless(decorate(function)))


def compiled_sums(function: Function) -> Function:
    """Compile a piece that adds up over cells, with sums in any order."""
    decorate = numba.njit(nogil=True, error_model="numpy", fastmath=_SUMS, **_INNER)
    return cast(Function, faceless(decorate(function)))


def compiled_entry(function: Function) -> Function:
    """Compile the outermost function and keep its machine code between processes."""
    return cast(Function, numba.njit(nogil=True, error_model="numpy", fastmath=_FUSED, cache=True)(function))


def _digest() -> str:
    digest = hashlib.sha256(numba.__version__.encode())
    for name in _CORE:
        path = Path(__file__).with_name(f"{name}.py")
        if path.exists():
            digest.update(path.read_bytes())
    return digest.hexdigest()


# Taken at import, when the sources on disk are those being loaded: read later, they might have been edited meanwhile and old
# machine code would be filed under the new digest.
_DIGEST = _digest()


def source_digest() -> str:
    """Digest of every source file that the compiled core is made from."""
    return _DIGEST
