"""Which call is on, and at which site."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from linkwright.desk.snapshot import Snapshot
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import LiveCall, live_calls


def call_at(shoot: Shoot, time_ns: int) -> str:
    """The name of the call that is on at a time; else of the first that follows, else of the last."""
    return live_call_at(shoot, time_ns).name


def live_call_at(shoot: Shoot, time_ns: int) -> LiveCall:
    """The call that is on at a time; else the first that follows, else the last."""
    return call_of(live_calls(shoot), time_ns)


def call_of(calls: Sequence[LiveCall], time_ns: int) -> LiveCall:
    """The call of some that is on at a time; else the first that follows, else the last."""
    at = datetime.datetime.fromtimestamp(time_ns / 1e9, datetime.UTC)
    timed = [(call.starts, call.ends, call) for call in calls if call.starts is not None and call.ends is not None]
    on = [call for starts, ends, call in timed if starts <= at < ends]
    later = [call for starts, _, call in sorted(timed, key=lambda pair: pair[0].timestamp()) if starts > at]
    last = [call for _, _, call in timed[-1:]]
    return (on or later or last or list(calls))[0]


def site_now(snapshot: Snapshot, time_ns: int, names: Sequence[str]) -> str:
    """The site of the call that is on at a time, or of the next, where it is among these; else the first."""
    shoot = snapshot.shoot
    now = "" if shoot is None or not shoot.link else live_call_at(shoot, time_ns).site.name
    return now if now in names else names[0] if names else ""
