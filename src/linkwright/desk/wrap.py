"""What happened, put together: calls, episodes with what was done, figures, notes, recordings, the time line."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from linkwright.desk.answers import answers_of
from linkwright.desk.day import scheduled
from linkwright.desk.desk import Desk
from linkwright.desk.diagnosing import told_of as episode_of
from linkwright.desk.laying import SHORT_S, LaidRecordings
from linkwright.desk.listening import Listening
from linkwright.desk.names import Names
from linkwright.desk.places import Learning, learnings
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.wrap_run import Gone, Wrapping, planned_levels
from linkwright.draw.bars import BarSpan
from linkwright.draw.timeline import LinkLane, MomentFlag, Timeline, drawn_timeline
from linkwright.lengths import duration
from linkwright.sheets.tables import csv_text
from linkwright.shoot.end import whose
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.sound.kinds import KINDS, RADIO
from linkwright.store import Happening
from linkwright.units import counted
from linkwright.watch.align.recordings import Laid, NotLaid, TrackFaults, clock_words, stamped_ns
from linkwright.watch.diagnose.answers import Answer, answered
from linkwright.watch.diagnose.episodes import DiagnosedEpisode, answer, moment
from linkwright.watch.figures.day_figures import Event, LaidTrack, RecordingFigures, WrapUp, with_done
from linkwright.watch.figures.statistics import OFF_MS, Between, LinkFigures

#: Widths of the picture on the report [px].
REPORT_PX: Final = 1000.0
#: What lies farther apart than half a day belongs to another day [ms].
APART_MS: Final = 12 * 3_600_000
#: So many lanes are drawn at most; links that failed come first.
MOST_LANES: Final = 60


def learnt_of(desk: Desk, snapshot: Snapshot) -> list[Learning]:
    """What was learnt of each site; nothing where the shoot cannot be worked with."""
    try:
        return learnings(desk.store, snapshot, desk.wrapping.gone.by_site)
    except InputError:
        return []


def wrapped(desk: Desk, snapshot: Snapshot, wait_s: float = SHORT_S) -> WrapUp:
    """Everything that is told of the day with what was learnt, as far as it is known now; without the picture."""
    return wrap_up(desk, snapshot, learnt_of(desk, snapshot), wait_s)


def wrap_up(desk: Desk, snapshot: Snapshot, lessons: Sequence[Learning], wait_s: float = SHORT_S) -> WrapUp:
    """Everything that is told of the day, as far as it is known now; without the picture.

    wait_s : how long recordings that are being laid along the readings are waited for.
    """
    wrapping, listening, zone = desk.wrapping, desk.listening, snapshot.zone
    learnt = tuple(line for lesson in lessons for line in lesson.says)
    gone, happened = wrapping.gone, events(desk, snapshot)
    tracks = tracks_of(snapshot, listening)
    every = [track for group in tracks.values() for track in group]
    laid = wrapping.laying.of(gone.breaks, gone.episodes, every, wait_s)
    answers = by_name(answers_of(desk.store), snapshot.names)
    seen = (gone if laid is None else laid).episodes
    episodes = tuple(episode_of(answered(episode, answers)) for episode in seen)
    heard = recordings(listening, tracks, laid, read=bool(gone.figures))
    return WrapUp(
        sentence(gone, episodes, happened, zone, busy=wrapping.busy), zone, calls_of(snapshot.shoot),
        with_done(episodes, happened), gone.figures, happened, heard, learnt, planned_dbm=planned_levels(snapshot),
    )  # fmt: skip


def sentence(
    gone: Gone,
    episodes: tuple[DiagnosedEpisode, ...],
    happened: tuple[Event, ...],
    zone: datetime.tzinfo,
    *,
    busy: bool,
) -> str:
    """The answer of the page."""
    span = gone.span_ms
    if span is None:
        if busy:
            return "The readings are being gone through."
        noted = f"{len(happened)} notes and changes are kept" if happened else "nothing was noted either"
        return f"No readings were kept, so nothing is known of the links; {noted}."
    return answer(episodes, (span[1] - span[0]) / 1000.0, zone)


def calls_of(shoot: Shoot | None) -> tuple[tuple[str, int, int], ...]:
    """The calls that have times."""
    if shoot is None:
        return ()
    return tuple(
        (call.live.name, _ms(call.span[0]), _ms(call.span[1])) for call in scheduled(shoot) if call.span is not None
    )


def events(desk: Desk, snapshot: Snapshot) -> tuple[Event, ...]:
    """Everything that was told or noted, in the order of time, by what links and calls are called now."""
    told = []
    for happening in desk.store.happenings():
        about = about_of(happening, snapshot.names)
        told.append(Event(_ms(happening.when), happening.kind, about, told_of(replace(happening, about=about))))
    told += [Event(_ms(entry.when), "note", "", entry.text) for entry in desk.store.entries()]
    return tuple(sorted(told, key=lambda event: event.at_ms))


def by_name(answers: Sequence[Answer], names: Names) -> list[Answer]:
    """Answers by what their links are called now, as the readings of the day are."""
    return [replace(given, link=names.name_of(given.link)) for given in answers]


def about_of(happening: Happening, names: Names) -> str:
    """The link that a happening is about, by what it is called now."""
    return names.name_of(names.id_of("link", happening.about))


def happenings_csv(desk: Desk, snapshot: Snapshot) -> str:
    """Everything that was told, as it is kept, in the order of time."""
    zone = snapshot.zone
    rows = [
        (
            happening.when.astimezone(zone).isoformat(),
            happening.kind,
            about_of(happening, snapshot.names),
            json.dumps(happening.data, ensure_ascii=False),
            happening.who,
        )
        for happening in desk.store.happenings()
    ]
    rows += [
        (entry.when.astimezone(zone).isoformat(), "entry", "", entry.text, entry.who)
        for entry in desk.store.entries()
    ]
    return csv_text(("time", "kind", "about", "data", "who"), sorted(rows))


def told_of(happening: Happening) -> str:
    """A happening in words."""
    data = happening.data
    text = next(
        (data[key] for key in ("text", "says", "note", "name", "take") if data.get(key) not in (None, "")), ""
    )
    if happening.kind == "changed":
        empty = ", the old ones were empty" if data.get("empty") else ""
        return f"{whose(happening.about, data.get('listener', ''))}: cells changed{empty}"
    if happening.kind == "switched":
        what = str(data.get("what") or "carrier").replace("-", " ").replace("_", " ")
        now = "as planned" if data.get("is") is None else f"{data['is']}"
        was = "" if data.get("was") is None else f" (was {data['was']})"
        return (
            f"{happening.about}: {what} set to {now}{was}"
            if "is" in data
            else f"{happening.about}: switched {text}".rstrip()
        )
    if happening.kind == "acknowledged":
        return f"{happening.about}: seen{f', {text}' if text else ''}"
    if happening.kind == "take":
        words = text or happening.about
        return words if words.casefold().startswith("take") else f"Take {words}".rstrip()
    words = f"{text}" or happening.kind
    return f"{happening.about}: {words}" if happening.about and happening.kind != "note" else words


def tracks_of(snapshot: Snapshot, listening: Listening) -> dict[str, list[TrackFaults]]:
    """The faults of every track of the recordings that were listened to, by the attachment's id."""
    day, zone = None if snapshot.shoot is None else snapshot.shoot.shoot.date, snapshot.zone
    tracks: dict[str, list[TrackFaults]] = {}
    for recording in listening.recordings():
        heard = listening.heard(recording)
        if heard is None or heard.document is None:
            continue
        file = heard.document["files"][0]
        begins_ns = stamped_ns(file["starts_at_s"], file.get("date"), day, zone)
        for track in heard.document["tracks"]:
            faults = [
                (float(fault["at_s"]), float(fault["length_s"]), str(fault["kind"]), bool(fault["certain"]))
                for fault in track["faults"]
            ]
            certain = tuple(fault[:3] for fault in faults if fault[3] and KINDS[fault[2]].of == "moment")
            suspects = tuple(fault[0] for fault in faults if not fault[3] and fault[2] in RADIO)
            length_s = float(file["length_s"])
            tracks.setdefault(recording.id, []).append(
                TrackFaults(
                    recording.name, int(track["channel"]), certain, suspects, length_s, begins_ns, recording.id
                )
            )
    return tracks


def recordings(
    listening: Listening,
    tracks: dict[str, list[TrackFaults]],
    laid_recordings: LaidRecordings | None,
    *,
    read: bool,
) -> tuple[RecordingFigures, ...]:
    """The recordings with where they lie in time: laid along the readings, else by their own time stamp."""
    rows = []
    for recording in listening.recordings():
        if recording.id not in tracks:
            rows.append(
                RecordingFigures(
                    recording.name, None, 0.0, (), says="Nobody has listened to it yet, or it cannot be read."
                )
            )
            continue
        mine = tracks[recording.id]
        laid = (
            []
            if laid_recordings is None
            else [way for way in laid_recordings.laid if way.track.file == recording.id]
        )
        why = (
            []
            if laid_recordings is None
            else [way for way in laid_recordings.not_laid if way.track.file == recording.id]
        )
        rows.append(
            _laid(mine, laid) if laid else _by_stamp(mine, why, read=read, known=laid_recordings is not None)
        )
    return tuple(rows)


def _certain(tracks: list[TrackFaults]) -> tuple[tuple[str, float], ...]:
    """The certain faults of all tracks of a recording, by kind."""
    return tuple((kind, at) for track in tracks for at, _, kind in track.faults if KINDS[kind].fault)


def _laid(tracks: list[TrackFaults], laid: list[Laid]) -> RecordingFigures:
    """A recording that lies along links: by the track that tells its clock best."""
    best = max(laid, key=lambda way: (way.aligned.matched, way.aligned.confidence))
    along = [
        f"track {way.track.channel} is {way.link}" + "".join(f" or {other}" for other in way.also) for way in laid
    ]
    others = [track.channel for track in tracks if track not in [way.track for way in laid]]
    if others and laid:
        named = ", ".join(f"{channel}" for channel in others)
        along.append(f"of track{'s' if len(others) > 1 else ''} {named} the link is not known")
    said = "; ".join(along)
    return RecordingFigures(
        tracks[0].name, best.time_ns(0.0) // 1_000_000, tracks[0].length_s or 0.0, _certain(tracks),
        tuple(LaidTrack(way.track.channel, way.link, tuple(at for at, _, _ in way.track.losses)) for way in laid),
        1.0 + best.aligned.drift_ppm * 1e-6, f"{said[:1].upper()}{said[1:]}. {clock_words(best)}",
        tuple((kind, at) for way in laid for at, _, kind in way.alone),
    )  # fmt: skip


def _by_stamp(tracks: list[TrackFaults], why: list[NotLaid], *, read: bool, known: bool) -> RecordingFigures:
    """A recording that lies where its own time stamp says, if it has one, and why."""
    begins_ns = tracks[0].begins_ns
    if not read:
        says = "There are no readings to lay it along"
    elif not known:
        says = "It is being laid along the readings"
    else:
        most = max(why, key=lambda way: len(way.track.losses), default=None)
        says = "It could not be laid along any link" + ("" if most is None else f": {most.why}")
    where = (
        "it lies by its own time stamp" if begins_ns is not None else "its header has no time, so it is not drawn"
    )
    return RecordingFigures(
        tracks[0].name, None if begins_ns is None else begins_ns // 1_000_000, tracks[0].length_s or 0.0,
        _certain(tracks), says=f"{says}; {where}.",
    )  # fmt: skip


def _ms(when: datetime.datetime) -> int:
    return round(when.timestamp() * 1000.0)


def read_together(gone: Gone) -> tuple[int, int] | None:
    """The longest time with readings and no half day between them [ms]: those of another date are another day."""
    stretches: list[tuple[int, int]] = []
    for figure in gone.figures:
        begins = (figure.first_ms, *(gap.to_ms for gap in figure.gaps))
        ends = (*(gap.from_ms for gap in figure.gaps), figure.last_ms)
        stretches += zip(begins, ends, strict=True)
    stretches.sort()
    days: list[tuple[int, int]] = []
    for begin, end in stretches:
        if days and begin - days[-1][1] < APART_MS:
            days[-1] = days[-1][0], max(days[-1][1], end)
        else:
            days.append((begin, end))
    return max(days, key=lambda day: day[1] - day[0], default=None)


def elsewhere(wrap: WrapUp, gone: Gone) -> str:
    """That readings of other days are kept as well, which the picture leaves out; "" where there are none."""
    here, every = read_together(gone), gone.span_ms
    if here is None or every is None or every == here:
        return ""
    first, last = (f"{moment(at, wrap.zone):%-d %B %Y}" for at in every)
    return f"Readings from {first} to {last} are kept; the picture shows the longest day of them."


def bounds(wrap: WrapUp, gone: Gone) -> tuple[int, int]:
    """From where to where the whole time line goes [ms]: what was read together, and what was noted about then."""
    here = read_together(gone)
    spans = [] if here is None else [here]
    spans += [
        (event.at_ms, event.at_ms)
        for event in wrap.events
        if here is None or here[0] - APART_MS <= event.at_ms <= here[1] + APART_MS
    ]
    near = [(begin, end) for _, begin, end in wrap.calls]
    if not spans:
        spans = near or [(0, 3_600_000)]
    first, last = min(span[0] for span in spans), max(span[1] for span in spans)
    most = max(last - first, 600_000)  # a call of hours does not squeeze minutes of readings
    before, after = first - most, last + most
    for begin, end in near:
        if begin < last and end > first:
            first, last = min(first, max(begin, before)), max(last, min(end, after))
    room = max(1000, (last - first) // 100)
    return first - room, last + room


def unread(figures: LinkFigures, gone: Gone) -> tuple[Between, ...]:
    """When others were read and a link was not."""
    first, last = gone.span_ms or (figures.first_ms, figures.last_ms)
    before = (Between(first, figures.first_ms),) if figures.first_ms - first > OFF_MS else ()
    after = (Between(figures.last_ms, last),) if last - figures.last_ms > OFF_MS else ()
    return (*before, *figures.gaps, *after)


def _tracks(wrap: WrapUp, link: str) -> tuple[BarSpan, ...]:
    """The recorded tracks of a link."""
    spans = []
    for recording in wrap.recordings:
        if recording.begins_ms is None:
            continue
        ends_ms = recording.at_ms(recording.length_s)
        for track in (track for track in recording.laid if track.link == link):
            losses = tuple(recording.at_ms(at_s) for at_s in track.losses)
            spans.append(BarSpan(f"{recording.name}, track {track.channel}", recording.begins_ms, ends_ms, losses))
    return tuple(spans)


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
    episodes: dict[str, list[DiagnosedEpisode]] = {}
    for told in wrap.episodes:
        episodes.setdefault(told.episode.link, []).append(told.episode)
    failed_first = sorted(gone.figures, key=lambda figures: figures.link not in episodes)
    kept = {figures.link for figures in failed_first[:MOST_LANES]}
    lanes = tuple(
        LinkLane(figure.link, outline.of(figure.link, from_ms, to_ms, columns), unread(figure, gone),
             tuple(episodes.get(figure.link, ())), figure.needed_dbm, _tracks(wrap, figure.link))
        for figure in gone.figures if figure.link in kept
    )  # fmt: skip
    flags = tuple(MomentFlag(event.at_ms, event.kind, event.text) for event in wrap.events)
    bars = tuple(
        BarSpan(
            recording.name,
            recording.begins_ms,
            recording.at_ms(recording.length_s),
            tuple(recording.at_ms(at_s) for _, at_s in recording.faults),
            sure=bool(recording.laid),
        )
        for recording in wrap.recordings
        if recording.begins_ms is not None
    )
    calls = tuple(BarSpan(*call) for call in wrap.calls)
    left_out = len(gone.figures) - len(lanes)
    more = f"; {left_out} further links are in the table" if left_out else ""
    says = f"Time line, {moment(from_ms, wrap.zone):%H:%M:%S} to {moment(to_ms, wrap.zone):%H:%M:%S}, " + (
        f"{duration((to_ms - from_ms) / 1000.0)}: {counted(len(lanes), 'link')}, "
        f"{len(flags)} notes and changes{more}"
    )
    return drawn_timeline(Timeline(from_ms, to_ms, wrap.zone, calls, lanes, flags, bars), says, width_px)
