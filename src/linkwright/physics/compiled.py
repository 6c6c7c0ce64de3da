"""Compiled inner loops: one way to declare them, and a list of all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Final, TypeVar, cast

import numba

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
    return compiled
