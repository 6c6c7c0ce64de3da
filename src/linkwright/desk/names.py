"""What the entries of a shoot are called, were called, and by which lasting id the job knows them.

Inside the job a link, a site, a spot, a call goes by its id; a name is what people and receivers say. A receiver
that still says the old name of a link is understood, unless another link is called so now.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from linkwright.store import Draft, LoggedChange

#: Lists whose entries have names.
NAMED: Final = ("link", "site", "call", "other", "crew")


@dataclass(frozen=True, slots=True)
class Names:
    """Names and ids at one moment.

    now : by (kind, name) the id of the entry that is called so, the first of several. ever : by (kind, name) the id
    of the last entry that was ever called so. called : by id the newest name, of entries that are gone too.
    The kinds are those of `NAMED`, and "spot SITE" with the id of its site.
    """

    now: Mapping[tuple[str, str], str] = field(default_factory=dict)
    ever: Mapping[tuple[str, str], str] = field(default_factory=dict)
    called: Mapping[str, str] = field(default_factory=dict)

    def id_of(self, kind: str, name: str) -> str:
        """The id of what is called so, or was; the name itself where nothing ever was."""
        return self.now.get((kind, name)) or self.ever.get((kind, name)) or name

    def name_of(self, id_: str) -> str:
        """What it is called, or was called last; the text itself where it is no id."""
        return self.called.get(id_, id_)

    def former(self, kind: str, id_: str) -> frozenset[str]:
        """The names that an entry has or had, and that no other has now."""
        mine = {name for (of, name), whose in self.ever.items() if of == kind and whose == id_}
        return frozenset(name for name in mine if self.now.get((kind, name), id_) == id_)


def kind_and_id(path: tuple[str, ...]) -> tuple[str, str] | None:
    """Kind and id of the entry whose name stands at a path; None where no name does."""
    if not path or path[-1] != "name":
        return None
    if len(path) == 3 and path[0] in NAMED:
        return path[0], path[1]
    if len(path) == 5 and path[0] == "site" and path[2] == "spots":
        return f"spot {path[1]}", path[3]
    return None


def names_of(draft: Draft, changes: Iterable[LoggedChange], before: Names | None = None) -> Names:
    """The names of a draft, with those that its log tells; `before` : what an earlier part of the log told."""
    ever = dict(before.ever) if before is not None else {}
    called = dict(before.called) if before is not None else {}
    for change in changes:
        for row in change.rows_after() or () if change.what != "move" else ():
            known = kind_and_id(row.keys)
            if known is not None and row.kind == "v":
                _given(known, json.loads(row.value), ever, called)
    now: dict[tuple[str, str], str] = {}
    for kind, id_, name in _names_in(draft):
        _given((kind, id_), name, ever, called)
        if isinstance(name, str):
            now.setdefault((kind, name), id_)
    return Names(now, {**ever, **now}, called)


def _given(known: tuple[str, str], name: object, ever: dict[tuple[str, str], str], called: dict[str, str]) -> None:
    """Write down that an entry was given a name."""
    kind, id_ = known
    if isinstance(name, str) and name:
        ever[kind, name] = id_
        called[id_] = name


def _names_in(draft: Draft) -> Iterable[tuple[str, str, object]]:
    for kind in NAMED:
        for id_, entry in draft.entries(kind):
            yield kind, id_, entry.get("name")
            if kind == "site":
                for spot_id, spot in draft.entries("site", id_, "spots"):
                    yield f"spot {id_}", spot_id, spot.get("name") if isinstance(spot, dict) else None


def named_in(file: str, links: Sequence[str]) -> str:
    """The link whose name a file has in its own, the longest such name; else the first; "" for none."""
    said = "".join(letter for letter in file.casefold() if letter.isalnum())
    named = [link for link in links if "".join(filter(str.isalnum, link.casefold())) in said]
    return max(named, key=len, default=links[0] if links else "")
