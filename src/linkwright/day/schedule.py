"""The calls of the day on the time line: breaks, travel, and how long setting up takes with this kit."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import (
    LiveCall,
    distance_m,
    live_calls,
    receiver_of,
    transmitter_named,
    walked_points,
)

Span = tuple[datetime.datetime, datetime.datetime]
#: How fast people walk where nothing says it [m/s] (common practice, no source).
WALKED_M_S: Final = 1.4
What = Literal["sweep", "pair", "settings", "walk", "as said"]


@dataclass(frozen=True, slots=True)
class SetUpPart:
    """A part of setting up, and how long it takes [min]."""

    what: What
    minutes: float


@dataclass(frozen=True, slots=True)
class TimedCall:
    """A call on the time line; `span` is None where it has no times.

    breaks : merged, in order, inside the call. parts : of setting up. short_min : how much too short the time since
    the call before (`after`) is for travel and setting up [min]; 0 where it is enough or nobody knows.
    """

    live: LiveCall
    span: Span | None
    breaks: tuple[Span, ...]
    parts: tuple[SetUpPart, ...]
    short_min: float = 0.0
    after: str = ""

    @property
    def set_up_min(self) -> float:
        """Setting up, all in all, in whole minutes."""
        return float(math.ceil(sum(part.minutes for part in self.parts)))

    @property
    def on_min(self) -> float:
        """How long before the call transmitters are on: all of setting up but the sweep, in whole minutes."""
        return float(math.ceil(sum(part.minutes for part in self.parts if part.what != "sweep")))

    @property
    def sets_up(self) -> datetime.datetime | None:
        """When setting up begins."""
        return None if self.span is None else later(self.span[0], -self.set_up_min)

    @property
    def leaves(self) -> datetime.datetime | None:
        """When the crew sets out for it."""
        return None if self.span is None else later(self.span[0], -self.set_up_min - self.live.travel_min)


def later(moment: datetime.datetime, minutes: float) -> datetime.datetime:
    """A moment so many real minutes later, in the same time zone: clocks may have been changed in between."""
    return (moment.astimezone(datetime.UTC) + datetime.timedelta(minutes=minutes)).astimezone(moment.tzinfo)


def minutes_between(start: datetime.datetime, end: datetime.datetime) -> float:
    """Real minutes from one moment to another; negative where the other is earlier."""
    return (end.astimezone(datetime.UTC) - start.astimezone(datetime.UTC)).total_seconds() / 60.0


def schedule(shoot: Shoot, live_ones: Sequence[LiveCall] | None = None) -> tuple[TimedCall, ...]:
    """The calls of a shoot (`live_ones`, where they are known): those with times as they follow each other, then
    those without."""
    calls = sorted(live_calls(shoot) if live_ones is None else live_ones, key=_order)
    timed: list[TimedCall] = []
    swept: set[str] = set()
    paired: set[str] = set()
    walked: set[tuple[str, str]] = set()
    for live in calls:
        span = _span(live)
        breaks = _breaks(live, span) if span is not None else ()
        parts = _parts(shoot, live, swept, paired, walked)
        timed.append(TimedCall(live, span, breaks, parts))
    return tuple(_short(timed))


def _order(live: LiveCall) -> float:
    return float("inf") if live.starts is None else live.starts.timestamp()


def _span(live: LiveCall) -> Span | None:
    """From when to when, as clocks will show it: a time that a change of clocks leaves out is moved on."""
    if live.starts is None or live.ends is None:
        return None
    return later(live.starts, 0.0), max(
        later(live.starts, 0.0), later(live.ends, 0.0), key=datetime.datetime.timestamp
    )


def _breaks(live: LiveCall, span: Span) -> tuple[Span, ...]:
    """The breaks inside a call, those that touch made one."""
    spans: list[Span] = []
    stamp = datetime.datetime.timestamp
    for start, end in sorted(live.breaks, key=lambda pause: pause[0].timestamp()):
        start, end = max(later(start, 0.0), span[0], key=stamp), min(later(end, 0.0), span[1], key=stamp)
        if stamp(end) <= stamp(start):
            continue
        if spans and stamp(start) <= stamp(spans[-1][1]):
            spans[-1] = spans[-1][0], max(spans[-1][1], end, key=stamp)
        else:
            spans.append((start, end))
    return tuple(spans)


def _parts(
    shoot: Shoot, live: LiveCall, swept: set[str], paired: set[str], walked: set[tuple[str, str]]
) -> tuple[SetUpPart, ...]:
    """What setting up for a call takes: the site is swept once, a link is paired once and walks once on a site."""
    times = shoot.shoot.set_up
    site = live.site.name
    new_to_pair = [link for link in live.links if link.name not in paired]
    new_to_walk = [link for link in live.links if (link.name, site) not in walked]
    sweep = 0.0
    if site not in swept:
        sweep = sweep_min(shoot, live.links) if times.sweep_min is None else times.sweep_min
    walks = [walk_min(live, link) if times.walk_min is None else times.walk_min for link in new_to_walk]
    swept.add(site)
    paired.update(link.name for link in live.links)
    walked.update((link.name, site) for link in live.links)
    if live.set_up_min is not None:
        return (SetUpPart("as said", live.set_up_min),)
    parts = (
        SetUpPart("sweep", sweep),
        SetUpPart("pair", times.pair_min * len(new_to_pair)),
        SetUpPart("settings", times.settings_min * len(live.links)),
        SetUpPart("walk", sum(walks)),
    )
    return tuple(part for part in parts if part.minutes > 0.0)


def sweep_min(shoot: Shoot, links: Sequence[Link]) -> float:
    """One pass of the receivers over the slots of these links, all at once, each with its own time a slot [min]."""
    kinds = {(link.sends.kit, link.hears[0].kit): link for link in links}
    return max((_pass_s(shoot, link) for link in kinds.values()), default=0.0) / 60.0


def _pass_s(shoot: Shoot, link: Link) -> float:
    transmitter, receiver = transmitter_named(shoot, link.sends.kit), receiver_of(shoot, link)
    slots = 0
    for low, high in transmitter.tunes_khz:
        for least, most in receiver.tunes_khz:
            wide = min(high, most) - max(low, least)
            slots += wide // transmitter.raster_khz + 1 if wide >= 0 else 0
    return slots * receiver.look_s


def walk_min(live: LiveCall, link: Link) -> float:
    """Along a link's route from where its other end stands and back, at the pace of whoever goes [min]."""
    stands, goes = walked_points(live.site, link)
    points = [stands, *goes]
    one_way_m = sum(distance_m(a, b) for a, b in itertools.pairwise(points))
    return 2.0 * one_way_m / (link.speed_m_s or WALKED_M_S) / 60.0


def _short(calls: Sequence[TimedCall]) -> list[TimedCall]:
    """The calls, each with what it lacks since the one before it.

    One crew goes from call to call; where calls overlap there are several, and only calls that share a link follow
    each other.
    """
    spans = [call.span for call in calls if call.span is not None]
    several = any(minutes_between(end, start) < 0.0 for (_, end), (start, _) in itertools.pairwise(spans))
    timed_calls: list[TimedCall] = []
    last_of: dict[str | None, tuple[float, int, TimedCall]] = {}  # by link; None: of all
    for number, call in enumerate(calls):
        who: list[str | None] = [link.name for link in call.live.links] if several else [None]
        before = [last_of[name] for name in who if name in last_of]
        if call.span is None or not before:
            timed_calls.append(call)
            _note(last_of, who, number, call)
            continue
        last = max(before, key=lambda entry: (entry[0], -entry[1]))[2]
        assert last.span is not None
        room = minutes_between(last.span[1], call.span[0])
        lacks = call.live.travel_min + call.set_up_min - room
        if room >= 0.0 and lacks > 0.0:
            call = TimedCall(call.live, call.span, call.breaks, call.parts, lacks, last.live.name)
        timed_calls.append(call)
        _note(last_of, who, number, call)
    return timed_calls


def _note(
    last_of: dict[str | None, tuple[float, int, TimedCall]], who: Sequence[str | None], number: int, call: TimedCall
) -> None:
    """Keep for each of some links the call that ends last, of those that end together the first."""
    if call.span is not None:
        ends = call.span[1].timestamp()
        for name in who:
            if name not in last_of or ends > last_of[name][0]:
                last_of[name] = ends, number, call
