"""Other crews' lists at the desk: taken in as others, held against what the same crew sent before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from linkwright.desk.editing import Field
from linkwright.desk.snapshot import Snapshot
from linkwright.plan.other_crews import hits, hits_sentence
from linkwright.shoot.carrier_list import neighbours_of
from linkwright.shoot.errors import InputError
from linkwright.shoot.list_changes import ListChange, differences
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Other
from linkwright.store import Draft, LoggedChange, Store

#: The kind of attachment that a list of another crew is, under the name of where it came from.
LIST: Final = "carrier-list"
#: Largest list that is kept [bytes].
MOST_BYTES: Final = 8 * 1024 * 1024
#: So many differences are told one by one.
MOST_TOLD: Final = 12


@dataclass(frozen=True, slots=True)
class TakenList:
    """What came of a list: the change of the job, if any, and sentences."""

    change: LoggedChange | None
    says: tuple[str, ...]


def take_list(store: Store, snapshot: Snapshot, source: str, text: str, who: str) -> TakenList:
    """Take in a list of another crew: what is new comes, what is gone goes, what is changed changes, in one change
    that can be taken back; what of it somebody changed here by hand stays. Raises InputError."""
    alone = snapshot.whole_shoot().model_copy(update={"other": ()})
    listed = neighbours_of(text, source, alone)
    says = [f"{source}: {line}." for line in listed.told]
    before = earlier(store, source, alone)
    changes = differences(before or (), listed.others)
    if snapshot.made is not None and listed.others:
        hit = hits(
            snapshot.made.scene,
            snapshot.made.plan,
            [differing.now for differing in changes if differing.now is not None],
        )
        says.insert(0, hits_sentence(hit, len(listed.others)))
    if before is not None:
        says.append(said_of(source, changes))
    elif not listed.others:
        says.append(f"{source} holds no carrier that is on here.")
    fields, left = _fields(snapshot.document.draft, changes)
    says += [f"{name} was changed here by hand, and stays." for name in left]
    change = store.set_fields(fields, who) if fields else None
    _keep(store, source, text, who)
    return TakenList(change, tuple(says))


def earlier(store: Store, source: str, alone: Shoot) -> tuple[Other, ...] | None:
    """What came from there before, as others of the shoot as it is; None where nothing did."""
    kept = [
        attachment
        for attachment in store.attachment_list()
        if attachment.kind == LIST and attachment.name == source
    ]
    if not kept:
        return None
    try:
        return neighbours_of(store.attachment(kept[-1].id).decode(), source, alone).others
    except (InputError, UnicodeDecodeError):
        return None  # it was kept for another job, or is damaged: all of it counts as new


def said_of(source: str, changes: Sequence[ListChange]) -> str:
    """What changed since the list before, a sentence."""
    if not changes:
        return f"{source}: nothing is another than before."
    counts = (f"{sum(change.what == what for change in changes)} {what}" for what in ("new", "gone", "changed"))
    told = "; ".join(change.says for change in changes[:MOST_TOLD])
    more = f"; and {len(changes) - MOST_TOLD} more" if len(changes) > MOST_TOLD else ""
    return f"{source}, since the list before: {', '.join(counts)}. {told}{more}."


def _fields(draft: Draft, changes: Sequence[ListChange]) -> tuple[list[Field], list[str]]:
    """The edits that a list asks for, and who was changed here by hand meanwhile."""
    entries = draft.entries("other")
    taken = {str(entry.get("name")) for _, entry in entries}
    fields: list[Field] = []
    left = []
    for change in changes:
        there = None if change.before is None else _entry(entries, change.before)
        if change.before is not None and there is None:
            if any(entry.get("name") == change.name for _, entry in entries):
                left.append(change.name)
                continue
            if change.now is None:
                continue
        new = None if change.now is None else _stored(change.now)
        if there is not None:
            id_, entry = there
            fields.append((("other", id_), entry, None if new is None else {**new, "name": entry["name"]}))
        elif new is not None:
            new["name"] = _free(change.name, taken)
            taken.add(new["name"])
            fields.append((("other",), None, new))
    return fields, left


def _entry(entries: Sequence[tuple[str, dict[str, Any]]], before: Other) -> tuple[str, dict[str, Any]] | None:
    """The entry that a list before made, as it was made; its name may have got a number."""
    stored = _stored(before)
    for id_, entry in entries:
        name = str(entry.get("name"))
        if (name == before.name or name.startswith(f"{before.name} ")) and {**entry, "name": before.name} == stored:
            return id_, entry
    return None


def _stored(other: Other) -> dict[str, Any]:
    return other.model_dump(mode="json", by_alias=True, exclude_none=True, exclude_defaults=True)


def _free(name: str, taken: set[str]) -> str:
    free, number = name, 2
    while free in taken:
        free, number = f"{name} {number}", number + 1
    return free


def _keep(store: Store, source: str, text: str, who: str) -> None:
    """The newest list of a source is kept, in place of the one before."""
    before = [
        attachment.id
        for attachment in store.attachment_list()
        if attachment.kind == LIST and attachment.name == source
    ]
    store.attach(source, text.encode(), who, most_bytes=MOST_BYTES, kind=LIST)
    for id_ in before:
        store.detach(id_, who)
