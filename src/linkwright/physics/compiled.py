"""Compiled inner loops: one way to declare them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def kernel(function: F) -> F:
    """Compile a function of numbers and arrays on first use; the machine code stays beside its module."""
    return cast(F, numba.njit(cache=True, nogil=True)(function))
