"""The document as it was at one revision: perhaps half-finished, never refused."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any

import tomli_w

from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import judge, shoot_from
from linkwright.store.paths import Path
from linkwright.store.schema import is_list, typed


@dataclass(frozen=True, slots=True)
class DraftProblem:
    """Something that keeps a draft from being a shoot: where (ids for entries of lists), and one sentence."""

    path: tuple[str | int, ...]
    says: str


@dataclass(frozen=True, slots=True)
class Draft:
    """What was typed so far.

    document : tables, lists, text, numbers; dates and times as ISO text.
    ids : the ids of the entries of every list of tables, in order, by the list's path (`("link",)`).
    revision : the change that it stands at.
    """

    document: dict[str, Any]
    ids: dict[Path, tuple[str, ...]]
    revision: int

    def copied(self) -> Draft:
        """One of its own, which the caller may change."""
        return Draft(copy.deepcopy(self.document), dict(self.ids), self.revision)

    def entries(self, *path: str) -> list[tuple[str, dict[str, Any]]]:
        """Id and table of every entry of a list; none where there is no such list."""
        return list(zip(self.ids.get(path, ()), self.at(*path) or (), strict=False))

    def id_of(self, what: str, name: str) -> str | None:
        """The id of the entry of a list that has a name, the first of several; None where there is none."""
        return next((id_ for id_, value in self.entries(what) if value.get("name") == name), None)

    def at(self, *path: str) -> Any:
        """The value at a path with ids; None where nothing stands there."""
        value: Any = self.document
        for depth, key in enumerate(path):
            if path[:depth] in self.ids:
                ids = self.ids[path[:depth]]
                value = value[ids.index(key)] if key in ids else None
            elif isinstance(value, dict):
                value = value.get(key)
            else:
                return None
        return value

    def problems(self) -> list[DraftProblem]:
        """All that keeps it from being a shoot; none where it is one."""
        return [DraftProblem(self._with_ids(p.loc), p.says) for p in judge(typed(self.document))[1]]

    def shoot(self, name: str = "the shoot") -> Shoot:
        """The shoot. Raises InputError(s), which call it `name`, where it is not one yet."""
        return shoot_from(typed(self.document), "", name)

    def toml(self) -> str:
        """The draft as the text of a shoot.toml, finished or not. Raises InputError where TOML cannot hold it."""
        try:
            return tomli_w.dumps(typed(self.document))
        except (TypeError, ValueError) as error:
            raise InputError(f"the draft cannot be written as TOML: {error}") from None

    def _with_ids(self, loc: tuple[str | int, ...]) -> tuple[str | int, ...]:
        path: tuple[str | int, ...] = ()
        for key in loc:
            ids = self.ids.get(tuple(str(k) for k in path), ()) if isinstance(key, int) and is_list(path) else ()
            path = (*path, ids[key] if isinstance(key, int) and key < len(ids) else key)
        return path


def problems(document: dict[str, Any]) -> list[DraftProblem]:
    """All that keeps a plain document from being a shoot, by its path with numbers in lists."""
    return [DraftProblem(p.loc, p.says) for p in judge(typed(document))[1]]
