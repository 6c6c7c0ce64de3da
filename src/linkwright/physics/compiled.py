"""Compiled inner loops: one way to declare them, and a list of all."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from types import ModuleType
from typing import Any, Final, TypeVar, cast

import numba
import numpy as np

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


#: Constants of these kinds are written into machine code.
CONSTANTS: Final = (bool, int, float, str, tuple, np.ndarray)


def _compiled_in(function: Callable[..., Any]) -> str:
    """A digest of what the machine code of a function holds of elsewhere: constants, those of modules that it knows
    included, the order of fields, and the loops of others. By its file alone it would outlive them."""
    package = function.__module__.partition(".")[0]
    constants: dict[str, object] = {}
    for name, value in function.__globals__.items():
        if isinstance(value, ModuleType) and value.__name__.partition(".")[0] == package:
            constants |= {
                f"{name}.{key}": _held(held) for key, held in vars(value).items() if _is_constant(key, held)
            }
        elif _is_constant(name, value):
            constants[name] = _held(value)
        elif isinstance(value, type) and issubclass(value, tuple):
            constants[name] = getattr(value, "_fields", ())
        elif (other := getattr(getattr(value, "_cache", None), "_cache_file", None)) is not None:
            constants[name] = other._source_stamp
    return hashlib.sha256(repr(sorted(constants.items())).encode()).hexdigest()


def _held(value: object) -> object:
    return value.tobytes() if isinstance(value, np.ndarray) else value


def _is_constant(name: str, value: object) -> bool:
    return name.isupper() and isinstance(value, CONSTANTS)


def _listed(compiled: Any) -> Any:
    KERNELS.append(compiled)
    kept = getattr(getattr(compiled, "_cache", None), "_cache_file", None)  # none where numba is switched off
    if kept is not None:
        # It names the file of new code by what the index says. Two processes that save at once may both get one
        # file, and who loads it later would run the code of other kinds of values.
        kept._source_stamp = (kept._source_stamp, _compiled_in(compiled.py_func))
        lock = f"{kept._index_path}.lock"
        kept.save, kept.load = in_turn(lock, kept.save), in_turn(lock, kept.load, shared=True)
    return compiled
