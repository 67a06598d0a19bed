"""How numba keeps the pieces of the core: as text for their callers, never as machine code of their own.

By itself numba optimises every function and emits its machine code, and does both again inside each caller, although nothing but
the outermost function is ever called. Here a piece is not emitted, and one that only strings others together is not optimised
before it stands in its caller. What LLVM makes of the loops, and so every result, stays the same to the last bit.

numba has no public way to say so; the few inner names used are those of the versions in `TRIED_VERSIONS`. In any other version
pieces are compiled the ordinary way, which takes longer and gives the same.
"""

from __future__ import annotations

from typing import Any

import numba
from numba.core import codegen, compiler
from numba.core.registry import CPUDispatcher

_Library: Any = codegen.JITCodeLibrary  # Any: numba's own annotations are incomplete
_Compiler: Any = compiler.Compiler
TRIED_VERSIONS = ((0, 68),)
_USED = ("_optimize_final_module", "_finalize_final_module", "_finalize_dynamic_globals")


class _NoEnvironment:
    """Takes the environment of a function that has no address to put it at; only functions that Python calls need one."""

    def set_env(self, _name: str, _environment: Any) -> None:
        """Do nothing."""


class _PieceLibrary(_Library):  # type: ignore[misc]
    """The text of one piece, optimised, for its callers to take in."""

    @property
    def codegen(self) -> Any:
        """Where numba wants to leave the environment of the piece."""
        return _NoEnvironment()

    def get_pointer_to_function(self, _name: str) -> int:
        """Address for Python: there is none."""
        self._ensure_finalized()
        return 0

    def _finalize_final_module(self) -> None:
        self._finalize_dynamic_globals()
        self._finalized = True


class _StringLibrary(_PieceLibrary):
    """The text of a piece that strings others together; its caller optimises it."""

    def _optimize_final_module(self) -> None:
        pass


class _PieceCompiler(_Compiler):  # type: ignore[misc]
    _library = _PieceLibrary

    def define_pipelines(self) -> Any:
        """numba's own pipeline, into a library of ours."""
        state = self.state
        if state.library is None:
            state.library = self._library(state.targetctx.codegen(), state.func_id.func_qualname)
        return super().define_pipelines()


class _StringCompiler(_PieceCompiler):
    _library = _StringLibrary


class _Faceless(CPUDispatcher):
    """A compiled function that Python must not call: there is nothing at its address."""

    def __call__(self, *_: Any, **__: Any) -> Any:
        """Refuse."""
        name = self.py_func.__name__
        raise TypeError(
            f"{name}: a piece of the compiled core. From Python call {name}.py_func, or compile a caller."
        )


def faceless(function: Any) -> Any:
    """The same compiled function, refusing calls from Python, which would end the process.

    Raises
    ------
    TypeError
        When Python calls it.
    """
    if type(function) is CPUDispatcher:  # a plain function where numba is switched off
        function.__class__ = _Faceless
    return function


def piece_options(strings: bool) -> dict[str, Any]:
    """Options of `numba.njit` for a piece, or for one that only strings others together; none in a version not tried."""
    known = all(hasattr(_Library, name) for name in _USED)
    if numba.version_info.short not in TRIED_VERSIONS or not known:
        return {}
    return {"pipeline_class": _StringCompiler if strings else _PieceCompiler}
