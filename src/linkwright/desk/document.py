"""What was typed so far, and how much of it can be worked with: one bad field spoils nothing else.

An entry that is not whole (a new link without its transmitter, a name that is too long) is taken as it was when it
was whole last, or left out where it never was; everything else stands as it was typed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from linkwright.shoot.models import Shoot
from linkwright.store import Draft, DraftProblem

#: Lists of entries that can be left out, and tables of types by name.
LISTS: Final = ("crew", "site", "link", "other", "call", "permit", "contact", "run")
TYPES: Final = ("transmitter", "receiver", "microphone", "recorder")
#: What is left out may make something else faulty: so often it is looked again.
ROUNDS: Final = 8


@dataclass(frozen=True, slots=True)
class LeftAside:
    """An entry that is not as it was typed: its place, what it is called, and why, a sentence; `left_out` or as it
    was when it was whole last."""

    place: tuple[str, str]
    name: str
    left_out: bool
    why: str

    @property
    def says(self) -> str:
        """The sentence for the pages."""
        how = "is left out until it is complete" if self.left_out else "is taken as it was before"
        return f"{self.name} {how}: {self.why}"


@dataclass(frozen=True, slots=True)
class Document:
    """What was typed so far; what keeps it from being a shoot, by path; the shoot that can be worked with, if any,
    and what of it is not as it was typed."""

    draft: Draft
    problems: tuple[DraftProblem, ...]
    shoot: Shoot | None
    used: Draft
    aside: tuple[LeftAside, ...] = ()

    @property
    def revision(self) -> int:
        """The change that it stands at."""
        return self.draft.revision

    @property
    def whole(self) -> bool:
        """Whether it is a shoot as it was typed."""
        return not self.problems

    def said_of(self, path: tuple[str, ...]) -> tuple[str, ...]:
        """What is wrong with the value at a path (with ids for entries)."""
        return tuple(problem.says for problem in self.problems if tuple(map(str, problem.path)) == path)


def document_of(draft: Draft, good: Draft | None = None) -> Document:
    """A draft with what can be worked with; `good` : the last that was whole, if any."""
    problems = tuple(draft.problems())
    if not problems:
        return Document(draft, (), draft.shoot(), draft)
    used, aside = draft.copied(), dict[tuple[str, str], LeftAside]()
    left: Sequence[DraftProblem] = problems
    for _ in range(ROUNDS):
        places = dict.fromkeys(place for problem in left if (place := _place(problem.path)) is not None)
        if not places:
            break
        for place in places:
            why = next(problem.says for problem in left if _place(problem.path) == place)
            why = aside[place].why if place in aside else why
            used, aside[place] = _without(used, draft, None if place in aside else good, place, why)
        left = used.problems()
        if not left:
            return Document(draft, problems, used.shoot(), used, tuple(aside.values()))
    return Document(draft, problems, None, used, tuple(aside.values()))


def _place(path: Sequence[Any]) -> tuple[str, str] | None:
    """The entry, the type of equipment or the header that a problem is about; None where it is about all."""
    if path and path[0] == "shoot":
        return "shoot", ""
    if len(path) > 1 and path[0] in (*LISTS, *TYPES):
        return str(path[0]), str(path[1])
    return None


def _without(
    used: Draft, draft: Draft, good: Draft | None, place: tuple[str, str], why: str
) -> tuple[Draft, LeftAside]:
    """The draft with an entry as it was in `good`; without it where it is not there."""
    what, which = place
    path = (what,) if what == "shoot" else place
    before = None if good is None else good.at(*path)
    typed = draft.at(*path)
    name = "The job" if what == "shoot" else _called(what, which, typed if isinstance(typed, dict) else before)
    document, ids = used.document, dict(used.ids)
    if what == "shoot" or what in TYPES:
        table = document if what == "shoot" else document[what]
        key = what if what == "shoot" else which
        if before is None:
            table.pop(key, None)
        else:
            table[key] = before
        return Draft(document, ids, used.revision), LeftAside(place, name, before is None, why)
    entries, own = list(document[what]), list(ids[what,])
    number = own.index(which)
    for deeper in [path for path in ids if path[:2] == place]:
        del ids[deeper]
    if before is None:
        del entries[number], own[number]
    else:
        entries[number] = before
        assert good is not None
        ids |= {path: inner for path, inner in good.ids.items() if path[:2] == place}
    document[what], ids[what,] = entries, tuple(own)
    return Draft(document, ids, used.revision), LeftAside(place, name, before is None, why)


def _called(what: str, which: str, value: Any) -> str:
    """What a person calls an entry."""
    name = value.get("name") if isinstance(value, dict) else None
    shown = name if isinstance(name, str) and name else ""
    shown = shown if len(shown) <= 40 else f"{shown[:37]}..."
    return shown or (f"{what} {which}" if what in TYPES else f"The new {what}")
