"""What was changed in the job, in words: when, who, what, from, to, and whether it still stands."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from linkwright.desk.form.fields import shown
from linkwright.desk.form.sections import field_at
from linkwright.desk.names import Names
from linkwright.store import LoggedChange
from linkwright.store.hunts import HUNT
from linkwright.store.requests import REQUEST, step_of

#: Longest value that is told [characters].
MOST: Final = 60
NOTHING: Final = "nothing"
#: What one entry of a list is called.
ONE: Final = {
    "link": "link", "site": "site", "call": "call", "other": "other transmitter", "run": "run time",
    "permit": "permit", "crew": "crew",
    "contact": "contact", "spots": "spot", "walls": "wall", "floors": "floor", "materials": "material",
    "antennas": "antenna", "breaks": "break",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One change: its revision, when and by whom, what it is of, the values before and after, in words.

    way : "do", "undo", "redo". stands : it was not taken back. more : further values of the same change. back : it
    can be taken back from here; what became of a request or a hunt is on the page Crews.
    """

    revision: int
    when: datetime.datetime
    who: str
    what: str
    before: str
    after: str
    way: str
    stands: bool
    more: int
    back: bool = True


def lines(changes: Sequence[LoggedChange], names: Names) -> list[HistoryLine]:
    """Changes in words, in their order; those that were taken back among them are told so."""
    reversed_since = {change.of for change in changes if change.of is not None}
    return [_line(change, names, stands=change.revision not in reversed_since) for change in changes]


def _line(change: LoggedChange, names: Names, *, stands: bool) -> HistoryLine:
    if change.area == REQUEST:
        (before, _), (after, _) = step_of(change.stored_before), step_of(change.stored_after)
        what = f"request of {names.name_of(str(change.path[0]))}"
        return HistoryLine(change.revision, change.when, change.who, what, before, after, "do", True, 0, back=False)
    if change.area == HUNT:
        return HistoryLine(
            change.revision, change.when, change.who, "a hunt", "", change.what, "do", True, 0, back=False
        )
    paths = change.paths()
    first = change.part(paths[0]) if len(paths) > 1 else change
    what, before, after = _told(first, names)
    return HistoryLine(
        change.revision, change.when, change.who, what, before, after, change.way, stands, len(paths) - 1
    )


def told_of_change(change: LoggedChange, names: Names) -> str:
    """A change as one sentence, named before and after."""
    line = _line(change, names, stands=True)
    how = {"undo": "Taken back: ", "redo": "Done again: "}.get(line.way, "")
    more = f", and {line.more} more with it" if line.more else ""
    if line.before == line.after == "":
        return f"{how}{line.what}{more}."
    return f"{how}{line.what}: {line.after or NOTHING}, was {line.before or NOTHING}{more}."


def _told(change: LoggedChange, names: Names) -> tuple[str, str, str]:
    """What a change is of, and the values before and after; both empty where the whole is the news."""
    path = tuple(map(str, change.path))
    if not path:
        return "the whole shoot", "", ""
    called = _called(path, names)
    if change.what == "move":
        return f"{called} moved in its list", "", ""
    known = field_at(path)
    if known is not None and len(path) > 1:
        return (
            f"{known.label.lower()} of {called}",
            _short(shown(known, change.before)),
            _short(shown(known, change.after)),
        )
    news = "added" if change.before is None else "removed" if change.after is None else "changed"
    name = _name(change.after) or _name(change.before)
    return f"{_one(path)} {name or called} {news}", "", ""


def _one(path: tuple[str, ...]) -> str:
    key = path[-2] if len(path) in (2, 4) else path[-1]
    return ONE.get(key, key)


def _name(value: Any) -> str:
    name = value.get("name") if isinstance(value, dict) else None
    return _short(name) if isinstance(name, str) else ""


def _called(path: tuple[str, ...], names: Names) -> str:
    """What stands at a path, or whose field it is, by what people call it."""
    if path[0] == "shoot":
        return "the job"
    ids = [names.name_of(key) for key in path[1::2][:2] if key in names.called]
    if ids:
        return " at ".join(reversed(ids))
    return f"{ONE.get(path[0], path[0])} {path[1]}" if len(path) > 1 and path[0] not in ONE else f"a {_one(path)}"


def _short(text: str) -> str:
    return text if len(text) <= MOST else f"{text[: MOST - 3]}..."
