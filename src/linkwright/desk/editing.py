"""Changing the job: references follow a rename, a removal takes them along; each is one change, undone as one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from linkwright.desk.names import Names, kind_and_id
from linkwright.store import Draft, LoggedChange, Store

Path = tuple[str, ...]
Field = tuple[Path, Any, Any]

#: Where a shoot names its entries: the kind that is named, and the path, "*" for any entry. A list of names or one.
REFERENCES: Final[tuple[tuple[str, Path], ...]] = (
    ("link", ("call", "*", "links")),
    ("link", ("run", "*", "link")),
    ("link", ("permit", "*", "for")),
    ("link", ("site", "*", "learnt", "link")),
    ("link", ("site", "*", "measured_level", "*", "link")),
    ("site", ("call", "*", "site")),
    ("site", ("other", "*", "site")),
    ("site", ("site", "*", "learnt", "site")),
    ("crew", ("link", "*", "crew")),
    ("crew", ("call", "*", "crew")),
    ("spot", ("link", "*", "at")),
    ("spot", ("link", "*", "route")),
    ("spot", ("link", "*", "transmit", "at")),
    ("spot", ("link", "*", "transmit", "route")),
    ("spot", ("link", "*", "receive", "*", "at")),
    ("spot", ("link", "*", "receive", "*", "route")),
    ("spot", ("site", "*", "antennas", "*", "at")),
    ("spot", ("site", "*", "measured_level", "*", "spot")),
)
#: Lists whose entries stand or fall with the site that they name.
ON_A_SITE: Final = ("call", "other")
#: Lists whose entries stand or fall with the link, or the spot of their site, that they name.
OF_ONE: Final = {"run": "measured run time", "measured_level": "measured level"}


def put(store: Store, names: Names, path: Path, seen: Any, value: Any, who: str) -> LoggedChange | None:
    """Put a value where the person saw something; a new name goes to all that name the entry, in the same change.

    Raises Conflict, InputError as the store does.
    """
    known = kind_and_id(path)
    if known is None or not isinstance(value, str) or not value:
        return store.set_field(path, seen, value, who)
    draft = store.document()
    kind, id_ = known
    taken = names.now.get((kind, value), id_) != id_
    follow = [] if taken else references_renamed(draft, names, kind, id_, value)
    return store.set_fields([(path, seen, value), *follow], who)


def references_renamed(draft: Draft, names: Names, kind: str, id_: str, name: str) -> list[Field]:
    """The references to an entry under any name that it had, as they are under its new one."""
    old = names.former(kind, id_) - {name}
    fields: list[Field] = []
    spot_of = kind.partition(" ")[2]
    for path in references(draft, "spot" if spot_of else kind):
        there = draft.at(*path)
        inside = path[0] == "site"  # what is inside a site means its own spots, a link those of any
        if spot_of and inside and path[1] != spot_of:
            continue
        elsewhere = _elsewhere(draft, kind) if spot_of and not inside else frozenset()
        if isinstance(there, list) and old & set(map(str, there)):
            new = [each for listed_name in there for each in _under(listed_name, old, name, elsewhere)]
            fields.append((path, there, list(dict.fromkeys(new)) if path[-1] == "links" else new))
        elif isinstance(there, str) and there in old - elsewhere:
            fields.append((path, there, name))
    return fields


def _under(listed: Any, old: frozenset[str], name: str, elsewhere: frozenset[str]) -> Iterable[Any]:
    """A reference under the new name; under both where something else is still called by the old one."""
    if listed not in old:
        return (listed,)
    return (listed, name) if listed in elsewhere else (name,)


def _elsewhere(draft: Draft, kind: str) -> frozenset[str]:
    """The names of spots of other sites: a route may mean those too."""
    own = kind.partition(" ")[2]
    return frozenset(
        str(spot.get("name"))
        for site, _ in draft.entries("site")
        if site != own
        for _, spot in draft.entries("site", site, "spots")
    )


def references(draft: Draft, kind: str) -> Iterator[Path]:
    """The paths at which a draft names entries of a kind."""
    for of, pattern in REFERENCES:
        if of == kind:
            yield from _each(draft, pattern)


def _each(draft: Draft, pattern: Path) -> Iterator[Path]:
    """The paths that a pattern stands for: "*" is every entry of the list before it."""
    if "*" not in pattern:
        yield pattern
        return
    at = pattern.index("*")
    for id_, _ in draft.entries(*pattern[:at]):
        yield from _each(draft, (*pattern[:at], id_, *pattern[at + 1 :]))


@dataclass(frozen=True, slots=True)
class Removal:
    """What removing something takes along: in words, and the whole change."""

    says: tuple[str, ...]
    fields: tuple[Field, ...]


def removal(draft: Draft, path: Path) -> Removal:
    """What goes with the entry, type or field at a path."""
    value = draft.at(*path)
    name = value.get("name") if isinstance(value, dict) else None
    fields: list[Field] = [(path, value, None)]
    says: list[str] = _inside(value)
    if len(path) == 2 and path[0] == "site":
        for kind in ON_A_SITE:
            gone = [(id_, entry) for id_, entry in draft.entries(kind) if _is_on(draft, entry, name, path[1])]
            fields += [((kind, id_), entry, None) for id_, entry in gone]
            says += _counted(len(gone), "call" if kind == "call" else "other transmitter")
    if len(path) == 2 and path[0] == "link":
        fields += _without(draft, "link", name, ("call",))
        calls = sum(field[0][0] == "call" for field in fields)
        says += [f"its place in {_count(calls, 'call')}"] if calls else []
        fields, says = _with_its_own(draft, "link", name, (), fields, says)
    if len(path) == 2 and path[0] == "crew":  # its links and calls stay, as the event's own
        fields += _without(draft, "crew", name, ("link", "call"))
    if len(path) == 4 and path[2] == "spots":
        elsewhere = _elsewhere(draft, f"spot {path[1]}")
        left = [] if name in elsewhere else _without(draft, "spot", name, ("link",))
        fields += left
        says += [f"its place in {_count(len(left), 'route')}"] if left else []
        fields, says = _with_its_own(draft, "spot", name, path[:2], fields, says)
    return Removal(tuple(says), tuple(fields))


def _is_on(draft: Draft, entry: dict[str, Any], site: Any, id_: str) -> bool:
    """Whether a call or another's transmitter is on a site that is removed."""
    there = entry.get("site")
    first = next((key for key, _ in draft.entries("site")), None)
    return bool(there == site) if there is not None else id_ == first


def _with_its_own(
    draft: Draft, kind: str, name: Any, under: Path, fields: list[Field], says: list[str]
) -> tuple[list[Field], list[str]]:
    """The change and its words with the entries beneath a path that are about nothing else than what goes."""
    gone = [
        path[:-1]
        for path in references(draft, kind)
        if len(path) > 2 and path[-3] in OF_ONE and path[: len(under)] == under
        and name is not None and draft.at(*path) == name
    ]  # fmt: skip
    counted = [
        count for key, word in OF_ONE.items() for count in _counted(sum(path[-2] == key for path in gone), word)
    ]
    return [*fields, *((path, draft.at(*path), None) for path in gone)], [*says, *counted]


def _without(draft: Draft, kind: str, name: Any, where: Sequence[str]) -> list[Field]:
    """The references to an entry that goes, as they are without it; a call of that link alone goes too."""
    fields: list[Field] = []
    for path in references(draft, kind):
        there = draft.at(*path)
        if path[0] not in where:
            continue
        if isinstance(there, list) and name in there:
            left = [other for other in there if other != name]
            whole = (path[:2], draft.at(*path[:2]), None)
            fields.append(whole if not left and path[-1] == "links" else (path, there, left or None))
        elif there == name and name is not None:
            fields.append((path, there, None))
    return fields


def _inside(value: Any) -> list[str]:
    """What a table holds that is lost with it, in words."""
    if not isinstance(value, dict):
        return []
    lists = ("spots", "spot"), ("walls", "wall"), ("sweeps", "sweep"), ("breaks", "break")
    return [count for key, word in lists for count in _counted(len(value.get(key) or ()), word)]


def _counted(count: int, word: str) -> list[str]:
    return [_count(count, word)] if count else []


def _count(count: int, word: str) -> str:
    return f"one {word}" if count == 1 else f"{count} {word}s"
