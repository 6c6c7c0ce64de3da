"""The day as a calendar: calls, breaks, setting up, and changes of cells with a reminder; iCalendar, RFC 5545."""

from __future__ import annotations

import datetime
import hashlib
from typing import TYPE_CHECKING, Final

from linkwright import __version__
from linkwright.day.schedule import TimedCall, schedule
from linkwright.plan.model import Plan
from linkwright.shoot.models import Shoot

if TYPE_CHECKING:
    from icalendar import Alarm, Event

#: How long a change of cells is set down for, and how long before it a reminder comes [min].
CHANGE_MIN: Final = 5.0
REMINDER_MIN: Final = 10.0


def calendar_bytes(shoot: Shoot, plan: Plan) -> bytes:
    """The calendar. Times are in UTC, which every reader shows in its own zone; the same plan, the same bytes."""
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", f"-//Linkwright//{__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("name", shoot.shoot.title)
    for timed in schedule(shoot):
        for event in _of_call(shoot, timed):
            calendar.add_component(event)
    for battery in plan.batteries:
        at = datetime.datetime.fromisoformat(battery.change_at)
        end = at + datetime.timedelta(minutes=CHANGE_MIN)
        event = _event(shoot, f"Cells: {battery.who}", at, end, f"{battery.left_h:.1f} h would be left.")
        event.add_component(_reminder(f"Cells: {battery.who}"))
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _of_call(shoot: Shoot, timed: TimedCall) -> list[Event]:
    if timed.span is None or timed.sets_up is None:
        return []
    live = timed.live
    names = ", ".join(link.name for link in live.links)
    place = live.site.name
    events: list[Event] = []
    if timed.set_up_min > 0.0:
        what = "; ".join(f"{part.what} {part.minutes:.0f} min" for part in timed.parts)
        events.append(_event(shoot, f"Set up: {live.name}", timed.sets_up, timed.span[0], what, place))
    events.append(_event(shoot, live.name, *timed.span, f"Links: {names}", place))
    events += [_event(shoot, f"Break: {live.name}", *pause, "", place) for pause in timed.breaks]
    return events


def _event(
    shoot: Shoot, name: str, starts: datetime.datetime, ends: datetime.datetime, about: str, place: str = ""
) -> Event:
    from icalendar import Event

    event = Event()
    begin, end = starts.astimezone(datetime.UTC), ends.astimezone(datetime.UTC)
    mark = hashlib.sha256(f"{shoot.shoot.title}|{name}|{begin.isoformat()}|{place}".encode()).hexdigest()[:24]
    event.add("uid", f"{mark}@linkwright.invalid")
    # A stamp of the making would change the bytes with every call; the day's own midnight says as much.
    event.add("dtstamp", datetime.datetime.combine(shoot.shoot.date, datetime.time(), datetime.UTC))
    event.add("dtstart", begin)
    event.add("dtend", end)
    event.add("summary", name)
    if about:
        event.add("description", about)
    if place:
        event.add("location", place)
    return event


def _reminder(name: str) -> Alarm:
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", name)
    alarm.add("trigger", datetime.timedelta(minutes=-REMINDER_MIN))
    return alarm
