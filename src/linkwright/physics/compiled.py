"""Compiled inner loops: one way to declare them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def kernel(function: F) -> F:
    """Compile a function of numbers and arrays on first use; the machine code stays beside its module."""
    return cast(F, numba.njit(cache=True, nogil=True)(function))


def quick_kernel(function: F) -> F:
    """The same for largest values: the compiler may take it that nothing is NaN, and so use the wide registers."""
    return cast(F, numba.njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})(function))
