"""Processes that use the same files take turns."""

from __future__ import annotations

import contextlib
import fcntl
import functools
from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


def in_turn(lock: str, call: Callable[P, T], *, shared: bool = False) -> Callable[P, T]:
    """The same call, made while no other process holds the file `lock`; `shared`: while none changes anything."""

    @functools.wraps(call)
    def locked(*given: P.args, **named: P.kwargs) -> T:
        with contextlib.ExitStack() as held:
            with contextlib.suppress(OSError):  # where nothing can be written there is nothing to take turns for
                fcntl.flock(held.enter_context(Path(lock).open("ab")), fcntl.LOCK_SH if shared else fcntl.LOCK_EX)
            return call(*given, **named)

    return locked
