"""What a store should hold, kept as plain tables and lists; it shares no code with the store.

A list of tables is a list of pairs [id, table]; everything else is as in the document.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any

LISTS = {"link", "site", "spots", "call"}
Path = tuple[str, ...]


@dataclass
class Done:
    """A change as the person who made it would take it back."""

    path: Path
    before: Any
    after: Any
    made: int
    moved: bool
    revision: int
    order: list[str] | None = None


class Oracle:
    """The document, what each person may undo and redo, and who touched what."""

    def __init__(self) -> None:
        self.top: dict[str, Any] = {}
        self.undo: dict[str, list[Done]] = {}
        self.redo: dict[str, list[Done]] = {}
        self.touched: list[tuple[int, str, Path, bool]] = []

    def get(self, path: Path) -> Any:
        """What stands at a path; None for nothing."""
        value: Any = self.top
        for key in path:
            if isinstance(value, dict):
                value = value.get(key)
            elif isinstance(value, list):
                value = next((table for name, table in value if name == key), None)
            else:
                return None
        return value

    def entry_is_gone(self, path: Path) -> bool:
        """Whether an entry on the way is no longer there."""
        return any(
            path[depth - 1] in LISTS and self.get(path[: depth + 1]) is None for depth in range(1, len(path) - 1)
        )

    def put(self, path: Path, value: Any) -> int:
        """Put a value, or nothing (None), at a path; how many tables and lists had to be made."""
        if not path:
            self.top = copy.deepcopy(value)
            return 0
        if value is None and self.get(path[:-1]) is None:
            return 0
        made, here = 0, self.top
        for depth, key in enumerate(path[:-1]):
            inner = self.get(path[: depth + 1])
            if inner is None:
                inner = [] if key in LISTS else {}
                here[key] = inner
                made += 1
            here = inner
        if isinstance(here, list):
            self._put_entry(here, path[-1], value)
        elif value is None:
            here.pop(path[-1], None)
        else:
            here[path[-1]] = copy.deepcopy(value)
        return made

    @staticmethod
    def _put_entry(entries: list[Any], name: str, value: Any) -> None:
        at = next((n for n, (there, _) in enumerate(entries) if there == name), None)
        if value is None:
            if at is not None:
                del entries[at]
        elif at is None:
            entries.append([name, copy.deepcopy(value)])
        else:
            entries[at][1] = copy.deepcopy(value)

    def order(self, path: Path) -> list[str]:
        """The ids of a list's entries."""
        return [name for name, _ in self.get(path) or []]

    def reorder(self, path: Path, order: list[str]) -> None:
        """Put a list in order."""
        self.get(path).sort(key=lambda pair: order.index(pair[0]))

    def touched_since(self, path: Path, revision: int, not_by: str, moved: bool = False) -> bool:
        """Whether somebody else changed what stands at a path, or put it elsewhere, after a revision."""
        for at, who, where, was_move in self.touched:
            if at <= revision or who == not_by:
                continue
            if moved and was_move and where == path:
                return True
            if not moved and (where[: len(path)] == path or path[: len(where)] == where):
                if was_move and len(where) <= len(path):
                    continue
                return True
        return False

    def did(self, who: str, done: Done) -> None:
        """A new change: it can be undone, and nothing done again any more."""
        self.undo.setdefault(who, []).append(done)
        self.redo[who] = []
        self.touched.append((done.revision, who, done.path, done.moved))

    def plain(self, value: Any = None) -> Any:
        """The document without ids."""
        value = self.top if value is None else value
        if isinstance(value, dict):
            return {key: self.plain(inner) for key, inner in value.items()}
        if isinstance(value, list) and value and isinstance(value[0], list):
            return [self.plain(table) for _, table in value]
        return value
