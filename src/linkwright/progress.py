"""What is told of long work, and how it is stopped."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

#: Said now and then during long work: what is being done, and how far it is (0..1). It may raise to stop.
Tell: TypeAlias = Callable[[str, float], None]


class Stopped(Exception):
    """Somebody stopped the work, or it is no longer wanted."""


def quiet(_what: str, _share: float) -> None:
    """Say nothing."""
