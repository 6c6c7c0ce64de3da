"""Compiled inner loops: one way to declare them, and a list of all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Final, TypeVar, cast

import numba

from linkwright.turns import in_turn

F = TypeVar("F", bound=Callable[..., Any])

#: Every compiled function of the modules that were imported so far.
KERNELS: Final[list[Any]] = []


_PLAIN: Final[ContextVar[bool]] = ContextVar("plain", default=False)


@contextmanager
def plainly() -> Iterator[None]:
    """What is declared meanwhile stays plain Python: slow, and there at once."""
    token = _PLAIN.set(True)
    try:
        yield
    finally:
        _PLAIN.reset(token)


def kernel(function: F) -> F:
    """Compile a function of numbers and arrays on first use; the machine code is kept for later processes."""
    return function if _PLAIN.get() else cast(F, _listed(numba.njit(cache=True, nogil=True)(function)))


def quick_kernel(function: F) -> F:
    """The same for largest values: the compiler may take it that nothing is NaN, and so use the wide registers."""
    return cast(F, _listed(numba.njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})(function)))


def _listed(compiled: Any) -> Any:
    KERNELS.append(compiled)
    kept = getattr(getattr(compiled, "_cache", None), "_cache_file", None)  # none where numba is switched off
    if kept is not None:
        # It names the file of new code by what the index says. Two processes that save at once may both get one
        # file, and who loads it later would run the code of other kinds of values.
        lock = f"{kept._index_path}.lock"
        kept.save, kept.load = in_turn(lock, kept.save), in_turn(lock, kept.load, shared=True)
    return compiled
