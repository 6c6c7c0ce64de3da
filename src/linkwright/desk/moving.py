"""A call or a break at other times, in the document: dates and midnight follow, breaks stay inside."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Any

from linkwright.shoot.errors import InputError
from linkwright.store import Draft

Path = tuple[str, ...]


def moved_entry(draft: Draft, path: Path, minutes: int, longer: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """The entry at `path` as it stands, and as it is `minutes` later and `longer` minutes longer.

    Raises InputError where there is no call or break with times, or where it would end before it begins.
    """
    there = draft.at(*path) if path[0] == "call" and len(path) in (2, 4) else None
    if not isinstance(there, dict) or not there.get("from") or not there.get("to"):
        raise InputError("that is no call and no break with times; load the page again")
    if len(path) == 4:
        if path[2] != "breaks":
            raise InputError("that is no call and no break with times; load the page again")
        return there, _moved_break(draft.at(*path[:2]), there, minutes, longer)
    return there, _moved_call(draft, there, minutes, longer)


def late(draft: Draft, minutes: int, now: datetime.datetime) -> list[tuple[Path, Any, Any]]:
    """What is left of the day, later: path, as it stands, as it will be, for each call that has not ended.

    now : on the clock of the shoot, without a zone. A call under way ends later, and its breaks that have not begun
    begin later; one that has not begun moves with its breaks.
    """
    moved: list[tuple[Path, Any, Any]] = []
    for id_, call in draft.entries("call"):
        if not call.get("from") or not call.get("to"):
            continue
        day = _date(call.get("date") or draft.at("shoot", "date"))
        begin = datetime.datetime.combine(day, _time(call["from"]))
        end = datetime.datetime.combine(
            day + datetime.timedelta(days=bool(call.get("next_day"))), _time(call["to"])
        )
        if begin > now:
            moved.append((("call", id_), call, _moved_call(draft, call, minutes, 0)))
        elif end > now:
            left = [
                _later(pause, minutes)
                if begin + datetime.timedelta(minutes=(_minute(pause["from"]) - _minute(call["from"])) % 1440) > now
                else pause
                for pause in call.get("breaks") or ()
            ]
            new = _moved_call(draft, call, 0, minutes) | ({"breaks": left} if left else {})
            moved.append((("call", id_), call, new))
    return moved


def moved_draft(draft: Draft, path: Path, minutes: int, longer: int) -> Draft:
    """The document with that entry moved. Raises InputError as `moved_entry` does."""
    copied = draft.copied()
    there, new = moved_entry(copied, path, minutes, longer)
    there.clear()
    there.update(new)
    return replace(copied, document=copied.document)


def _moved_call(draft: Draft, call: dict[str, Any], minutes: int, longer: int) -> dict[str, Any]:
    """A call with its breaks later; on another day where it begins there."""
    header = draft.at("shoot", "date")
    day = _date(call.get("date") or header)
    starts, ends = _time(call["from"]), _time(call["to"])
    begin = datetime.datetime.combine(day, starts)
    end = datetime.datetime.combine(day + datetime.timedelta(days=1 if call.get("next_day") else 0), ends)
    begin, end = begin + datetime.timedelta(minutes=minutes), end + datetime.timedelta(minutes=minutes + longer)
    if end <= begin:
        raise InputError("the call would end before it begins")
    if (end.date() - begin.date()).days > 1:
        raise InputError("the call would run past a second midnight; make two of it")
    new = {**call, "from": begin.time().isoformat(), "to": end.time().isoformat()}
    if end.date() != begin.date():
        new["next_day"] = True
    elif "next_day" in new:
        new["next_day"] = False
    if begin.date() != day or "date" in call:
        new["date"] = begin.date().isoformat()
    if isinstance(call.get("breaks"), list):
        new["breaks"] = [_later(pause, minutes) for pause in call["breaks"]]
    return new


def _later(pause: Any, minutes: int) -> Any:
    if not isinstance(pause, dict) or not pause.get("from") or not pause.get("to"):
        return pause
    return {**pause, "from": _shifted(pause["from"], minutes), "to": _shifted(pause["to"], minutes)}


def _moved_break(call: Any, pause: dict[str, Any], minutes: int, longer: int) -> dict[str, Any]:
    """A break later, but not out of its call."""
    if not isinstance(call, dict) or not call.get("from") or not call.get("to"):
        raise InputError("the break's call has no times")
    begin = _minute(call["from"])
    room = (_minute(call["to"]) - begin) + (1440 if call.get("next_day") else 0)
    start = (_minute(pause["from"]) - begin) % 1440
    length = (_minute(pause["to"]) - _minute(pause["from"])) % 1440 + longer
    if length <= 0 or length > room:
        raise InputError("the break would end before it begins, or be longer than its call")
    start = min(max(0.0, start + minutes), room - length)
    at = _shifted(call["from"], start)
    return {**pause, "from": at, "to": _shifted(at, length)}


def _minute(text: str) -> float:
    time = _time(text)
    return time.hour * 60 + time.minute + time.second / 60.0


def _shifted(text: str, minutes: float) -> str:
    moment = datetime.datetime.combine(datetime.date(2000, 1, 2), _time(text))
    return (moment + datetime.timedelta(seconds=round(60 * minutes))).time().isoformat()


def _time(text: Any) -> datetime.time:
    try:
        return datetime.time.fromisoformat(text)
    except (TypeError, ValueError):
        raise InputError(f"{str(text)[:40]} is no time of day; the page Shoot says what was expected") from None


def _date(text: Any) -> datetime.date:
    try:
        return datetime.date.fromisoformat(text)
    except (TypeError, ValueError):
        raise InputError(f"{str(text)[:40]} is no date; the page Shoot says what was expected") from None
