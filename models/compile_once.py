"""The compiled loop is always read from the file it is kept in, also by the run that has it compiled.

A process that compiles the loop holds each piece of the core twice: by itself and inside the loop, made for it with other
instructions. There the loop calls the first kind, where it was read from the file the second. Both are right, but last
digits differ, and with them the way of a search. So another process compiles, and this one reads.
"""

from __future__ import annotations

import gc
import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba

from .compiled import source_digest
from .stepper import cure_loop

Loop = Callable[..., int]

COMPILING = "GELWRIGHT_COMPILING"  # set in the process that compiles, which must not start a further one
FIRST_USE = "First use: the solver is being compiled, once for this version; about half a minute."
ROOMS = str(Path(__file__).resolve().parents[1])
PROGRAM = f"""
import sys, types
package = types.ModuleType("gelwright")
package.__path__ = [{ROOMS!r}]
sys.modules["gelwright"] = package
from gelwright.models.compile_once import compile_given
compile_given()
"""
_LOCK = threading.Lock()


def ready(loop: Loop, arguments: tuple[Any, ...]) -> Loop:
    """The loop, compiled for the types of these arguments if it is for none yet.

    Where no process can be started, or its work cannot be kept, the loop is compiled here: last digits then differ from later runs.
    """
    entry: Any = loop
    if not getattr(entry, "signatures", True):  # none yet; a plain function where numba is switched off
        with _LOCK:
            if not entry.signatures:
                type_of: Any = numba.typeof
                types = tuple(type_of(each) for each in arguments)
                if not is_kept(entry, types):
                    _compile_elsewhere(types)
                entry.compile(types)
    return loop


def is_kept(entry: Any, types: tuple[Any, ...]) -> bool:
    """Whether numba's file of kept machine code has the loop for these types; numba does not tell without compiling it."""
    try:
        key = entry._cache._index_key(types, entry.targetctx.codegen())
        return key in entry._cache._cache_file._load_index()
    except AttributeError:  # another numba, with other insides
        return True


def _compile_elsewhere(types: tuple[Any, ...]) -> None:
    if COMPILING in os.environ or not sys.executable or getattr(sys, "frozen", False):
        return
    print(FIRST_USE, file=sys.stderr, flush=True)
    subprocess.run(
        [sys.executable, "-c", PROGRAM],
        input=pickle.dumps(types),
        env={**os.environ, COMPILING: "1"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    )


def compile_given() -> None:
    """What the other process does: compile the loop for the types on standard input, which keeps it."""
    gc.disable()  # a twelfth of the time; this process does nothing else and ends
    entry: Any = cure_loop(source_digest())
    entry.compile(pickle.load(sys.stdin.buffer))
