"""One answer kept: that to what was asked last."""

from __future__ import annotations

import functools
import operator
from collections.abc import Callable
from typing import TypeVar, TypeVarTuple

T = TypeVar("T")
Asked = TypeVarTuple("Asked")


def latest(function: Callable[[*Asked], T]) -> Callable[[*Asked], T]:
    """A function of values that do not change, which answers from memory where it is asked for the very same again:
    what several parts of a page need is worked out once."""
    kept: tuple[tuple[object, ...], T] | None = None

    @functools.wraps(function)
    def answered(*asked: *Asked) -> T:
        nonlocal kept
        known = kept
        if known is None or len(known[0]) != len(asked) or not all(map(operator.is_, known[0], asked)):
            known = kept = asked, function(*asked)
        return known[1]

    return answered
