"""What happened, put together: calls, episodes with what was done, figures, notes, recordings, the time line."""

from __future__ import annotations

import datetime
import json
from typing import Any, Final

from linkwright.day.schedule import schedule, zone_of
from linkwright.draw.timeline import Flag, Lane, Span, Timeline, drawn_timeline
from linkwright.sheets.tables import csv_text
from linkwright.sheets.wrap import Event, Heard, WrapUp, with_done
from linkwright.shoot.models import Shoot
from linkwright.store import Happening
from linkwright.watch.episodes import Episode, answer, duration, moment
from linkwright.watch.statistics import OFF_MS, Between, Figures
from linkwright.web.job import Job
from linkwright.web.listening import Listening
from linkwright.web.wrapping import Gone, Wrapping

#: Widths of the picture on the report [px].
REPORT_PX: Final = 1000.0
#: So many lanes are drawn at most; links that failed come first.
MOST_LANES: Final = 60
#: Kinds of faults in a recording that are none.
QUIET_KINDS: Final = ("edit", "hum")


def wrap_up(job: Job, wrapping: Wrapping, listening: Listening, learnt: tuple[str, ...] = ()) -> WrapUp:
    """Everything that is told of the day, as far as it is known now; without the picture."""
    shoot = job.document().shoot
    zone: datetime.tzinfo = datetime.UTC if shoot is None else zone_of(shoot)
    gone, happened = wrapping.gone, events(job)
    return WrapUp(
        sentence(gone, happened, zone, busy=wrapping.busy), zone, calls_of(shoot),
        with_done(gone.episodes, happened), gone.figures, happened, recordings(job, listening, zone), learnt,
    )  # fmt: skip


def sentence(gone: Gone, happened: tuple[Event, ...], zone: datetime.tzinfo, *, busy: bool) -> str:
    """The answer of the page."""
    span = gone.span_ms
    if span is None:
        if busy:
            return "The readings are being gone through."
        noted = f"{len(happened)} notes and changes are kept" if happened else "nothing was noted either"
        return f"No readings were kept, so nothing is known of the links; {noted}."
    return answer(gone.episodes, (span[1] - span[0]) / 1000.0, zone)


def calls_of(shoot: Shoot | None) -> tuple[tuple[str, int, int], ...]:
    """The calls that have times."""
    if shoot is None:
        return ()
    return tuple(
        (call.live.name, _ms(call.span[0]), _ms(call.span[1])) for call in schedule(shoot) if call.span is not None
    )


def events(job: Job) -> tuple[Event, ...]:
    """Everything that was told or noted, in the order of time."""
    found = [Event(_ms(one.when), one.kind, one.about, told_of(one)) for one in job.store.happenings()]
    found += [Event(_ms(one.when), "note", "", one.text) for one in job.store.entries()]
    return tuple(sorted(found, key=lambda one: one.at_ms))


def happenings_csv(job: Job, zone: datetime.tzinfo) -> str:
    """Everything that was told, as it is kept, in the order of time."""
    rows = [
        (
            one.when.astimezone(zone).isoformat(),
            one.kind,
            one.about,
            json.dumps(one.data, ensure_ascii=False),
            one.who,
        )
        for one in job.store.happenings()
    ]
    rows += [(one.when.astimezone(zone).isoformat(), "entry", "", one.text, one.who) for one in job.store.entries()]
    return csv_text(("time", "kind", "about", "data", "who"), sorted(rows))


def told_of(one: Happening) -> str:
    """A happening in words."""
    data = one.data
    text = next(
        (data[key] for key in ("text", "says", "note", "name", "take") if data.get(key) not in (None, "")), ""
    )
    if one.kind == "changed":
        return f"{one.about}: cells changed{', the old ones were empty' if data.get('empty') else ''}"
    if one.kind == "switched":
        what = str(data.get("what") or "carrier").replace("-", " ").replace("_", " ")
        now = "as planned" if data.get("is") is None else f"{data['is']}"
        was = "" if data.get("was") is None else f" (was {data['was']})"
        return (
            f"{one.about}: {what} set to {now}{was}" if "is" in data else f"{one.about}: switched {text}".rstrip()
        )
    if one.kind == "acknowledged":
        return f"{one.about}: seen{f', {text}' if text else ''}"
    if one.kind == "take":
        words = text or one.about
        return words if words.casefold().startswith("take") else f"Take {words}".rstrip()
    words = f"{text}" or one.kind
    return f"{one.about}: {words}" if one.about and one.kind != "note" else words


def recordings(job: Job, listening: Listening, zone: datetime.tzinfo) -> tuple[Heard, ...]:
    """The recordings that were listened to, with where they lie in time if their header says it."""
    shoot = job.document().shoot
    found = []
    for one in listening.recordings():
        heard = listening.heard(one)
        if heard is None or heard.document is None:
            found.append(Heard(one.name, None, 0.0, ()))
            continue
        file = heard.document["files"][0]
        faults = tuple(
            (str(fault["kind"]), float(fault["at_s"]))
            for track in heard.document["tracks"]
            for fault in track["faults"]
            if fault["certain"] and fault["kind"] not in QUIET_KINDS
        )
        day = _date(file.get("date")) or (None if shoot is None else shoot.shoot.date)
        found.append(Heard(one.name, _begins(file["starts_at_s"], day, zone), float(file["length_s"]), faults))
    return tuple(found)


def _begins(starts_at_s: float | None, day: datetime.date | None, zone: datetime.tzinfo) -> int | None:
    """When a recording began, by its time of day on the clock of the shoot."""
    if starts_at_s is None or day is None:
        return None
    begin = datetime.datetime.combine(day, datetime.time(), zone) + datetime.timedelta(seconds=starts_at_s)
    return _ms(begin)


def _date(text: Any) -> datetime.date | None:
    digits = "".join(c for c in str(text or "") if c.isdigit())
    try:
        return datetime.date(int(digits[:4]), int(digits[4:6]), int(digits[6:8]))
    except ValueError:
        return None


def _ms(when: datetime.datetime) -> int:
    return round(when.timestamp() * 1000.0)


def bounds(wrap: WrapUp, gone: Gone) -> tuple[int, int]:
    """From where to where the whole time line goes [ms]."""
    spans = [span for span in (gone.span_ms,) if span is not None]
    spans += [(event.at_ms, event.at_ms) for event in wrap.events]
    near = [(begin, end) for _, begin, end in wrap.calls]
    if not spans:
        spans = near or [(0, 3_600_000)]
    first, last = min(one[0] for one in spans), max(one[1] for one in spans)
    for begin, end in near:
        if begin < last and end > first:
            first, last = min(first, begin), max(last, end)
    room = max(1000, (last - first) // 100)
    return first - room, last + room


def unread(one: Figures, gone: Gone) -> tuple[Between, ...]:
    """When others were read and a link was not."""
    first, last = gone.span_ms or (one.first_ms, one.last_ms)
    before = (Between(first, one.first_ms),) if one.first_ms - first > OFF_MS else ()
    after = (Between(one.last_ms, last),) if last - one.last_ms > OFF_MS else ()
    return (*before, *one.gaps, *after)


def picture(
    wrap: WrapUp,
    wrapping: Wrapping,
    width_px: float,
    between: tuple[int, int] | None = None,
) -> str:
    """The time line as SVG: the whole, or between two times [ms]."""
    gone = wrapping.gone
    from_ms, to_ms = between or bounds(wrap, gone)
    columns = max(100, int(width_px))
    outline = wrapping.outline(from_ms, to_ms, columns)
    episodes: dict[str, list[Episode]] = {}
    for told in wrap.episodes:
        episodes.setdefault(told.episode.link, []).append(told.episode)
    failed_first = sorted(gone.figures, key=lambda one: one.link not in episodes)
    kept = {one.link for one in failed_first[:MOST_LANES]}
    lanes = tuple(
        Lane(one.link, outline.of(one.link, from_ms, to_ms, columns), unread(one, gone),
             tuple(episodes.get(one.link, ())), one.needed_dbm)
        for one in gone.figures if one.link in kept
    )  # fmt: skip
    flags = tuple(Flag(event.at_ms, event.kind, event.text) for event in wrap.events)
    bars = tuple(
        Span(one.name, one.begins_ms, one.begins_ms + round(1000 * one.length_s),
             tuple(one.begins_ms + round(1000 * at_s) for _, at_s in one.faults))
        for one in wrap.recordings if one.begins_ms is not None
    )  # fmt: skip
    calls = tuple(Span(*call) for call in wrap.calls)
    left_out = len(gone.figures) - len(lanes)
    more = f"; {left_out} further links are in the table" if left_out else ""
    says = f"Time line, {moment(from_ms, wrap.zone):%H:%M:%S} to {moment(to_ms, wrap.zone):%H:%M:%S}, " + (
        f"{duration((to_ms - from_ms) / 1000.0)}: {len(lanes)} links, {len(flags)} notes and changes{more}"
    )
    return drawn_timeline(Timeline(from_ms, to_ms, wrap.zone, calls, lanes, flags, bars), says, width_px)
