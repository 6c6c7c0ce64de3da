"""Who is told of what happens at the desk: the pages, or nobody."""

from __future__ import annotations

from typing import Any, Protocol


class Listeners(Protocol):
    """Whoever looks at the job now; may be told from any thread."""

    @property
    def open(self) -> int:
        """How many look."""
        ...

    def tell(self, event: str, data: Any) -> None:
        """Tell all of them that something happened."""
        ...


class Nobody:
    """Nobody looks."""

    open = 0

    def tell(self, event: str, data: Any) -> None:
        """Tell nobody."""
