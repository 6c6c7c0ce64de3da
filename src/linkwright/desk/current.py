"""Which call is on, and at which site."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from linkwright.desk.snapshot import Snapshot
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import LiveCall, live_calls


def calls_at(calls: Sequence[LiveCall], time_ns: int) -> list[LiveCall]:
    """The calls of some that are on at a time, at several sites perhaps; else those that begin first after it, else
    the last."""
    at = datetime.datetime.fromtimestamp(time_ns / 1e9, datetime.UTC)
    timed = [(call.starts, call.ends, call) for call in calls if call.starts is not None and call.ends is not None]
    on = [call for starts, ends, call in timed if starts <= at < ends]
    first = min((starts for starts, _, _ in timed if starts > at), default=None)
    later = [call for starts, _, call in timed if starts == first]
    return on or later or [call for _, _, call in timed[-1:]] or list(calls[:1])


def live_calls_at(shoot: Shoot, time_ns: int) -> list[LiveCall]:
    """The same of the calls of a shoot."""
    return calls_at(live_calls(shoot), time_ns)


def live_call_at(shoot: Shoot, time_ns: int, link: str = "") -> LiveCall:
    """Of the calls that are on at a time that of a link, else the first."""
    calls = live_calls_at(shoot, time_ns)
    return next((call for call in calls if link in (there.name for there in call.links)), calls[0])


def site_now(snapshot: Snapshot, time_ns: int, names: Sequence[str]) -> str:
    """The site of the call that is on at a time, or of the next, where it is among these; else the first."""
    shoot = snapshot.shoot
    now = "" if shoot is None or not shoot.link else live_call_at(shoot, time_ns).site.name
    return now if now in names else names[0] if names else ""
