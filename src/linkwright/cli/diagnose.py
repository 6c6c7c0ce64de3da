"""`linkwright diagnose`: what went wrong, when and why, from receivers' logs."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

UTC = datetime.UTC

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from linkwright.progress import Tell
    from linkwright.shoot.models import Shoot
    from linkwright.watch.align.breaks import LinkBreaks
    from linkwright.watch.align.recordings import Laid, TrackFaults
    from linkwright.watch.diagnose.expected import Expected
    from linkwright.watch.diagnose.logs import Diagnosis
    from linkwright.watch.diagnose.watcher import Episode
    from linkwright.watch.log.mapping import Mapping


def run(
    logs: Annotated[list[str], typer.Argument(help="receivers' logs, CSV or Parquet, in the order of time")],
    shoot: Annotated[str | None, typer.Option(help="the shoot: who transmits what, when")] = None,
    plan: Annotated[str | None, typer.Option(help="with --shoot: its plan; default: plan anew")] = None,
    mapping: Annotated[str | None, typer.Option(help="how other columns, units and clocks are read, TOML")] = None,
    audio: Annotated[
        list[str] | None, typer.Option(help="a recording of it, WAV or FLAC; as often as needed")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """What went wrong, when and why: episodes with their cause, how probable it is, the evidence, and what to do.

    Exit status: 0 nothing did, 1 something did, 2 bad input.
    """
    from linkwright.cli.output import console, print_json, progress, tell_unread
    from linkwright.desk.loading import load_shoot
    from linkwright.shoot.clock import zone_of
    from linkwright.shoot.errors import InputError
    from linkwright.watch.diagnose.logs import diagnose
    from linkwright.work.compiling import ready

    if plan is not None and shoot is None:
        raise InputError("--plan needs the shoot that it plans: --shoot FILE")
    how = mapping_in(mapping)
    laid: Sequence[Laid] = ()
    with progress() as tell:
        ready(tell)
        of = None if shoot is None else load_shoot(shoot)
        if of is not None:
            how = how.model_copy(update={"else_zone": str(zone_of(of))})
        expected = () if of is None or shoot is None else _expected(of, shoot, plan, tell)
        diagnosis = diagnose([(Path(log), log) for log in logs], expected, how, tell)
        if audio:
            diagnosis, laid = _with_audio(diagnosis, logs, how, _faults(audio, of, tell), tell)
    zone = UTC if of is None else zone_of(of)
    if json:
        print_json(document(diagnosis, laid))
    else:
        print_diagnosis(console(), diagnosis, laid, zone)
    tell_unread(diagnosis.unread)
    raise typer.Exit(2 if diagnosis.unread else 1 if diagnosis.episodes else 0)


def mapping_in(path: str | None) -> Mapping:
    from linkwright.shoot.reading import read_text
    from linkwright.watch.log.mapping import MOST_BYTES, TIDY, parse_mapping

    return TIDY if path is None else parse_mapping(read_text(Path(path), path, MOST_BYTES), path)


def _expected(of: Shoot, shoot: str, plan: str | None, tell: Tell) -> Sequence[Expected]:
    """What the plan says of the links. Raises InputError."""
    from linkwright.desk.expecting import expected_of
    from linkwright.desk.planned import planned_scene

    planned = planned_scene(of, shoot, plan, tell)
    return expected_of(planned.scene, planned.plan)


def _faults(files: Sequence[str], of: Shoot | None, tell: Tell) -> list[TrackFaults]:
    """The faults of every track of the recordings. Raises InputError.

    of : the shoot, on whose clock a time stamp is read; without one no time stamp is.
    """
    from linkwright.shoot.clock import zone_of
    from linkwright.sound.kinds import KINDS, RADIO
    from linkwright.sound.listen import listen
    from linkwright.sound.recordings import open_recording
    from linkwright.watch.align.recordings import TrackFaults, stamped_ns

    tracks = []
    for name in files:
        heard = listen(open_recording(Path(name), name), tell)
        recording, rate = heard.recording, heard.recording.rate_hz
        begins_ns = None
        if of is not None and recording.stamp is not None:
            begins_ns = stamped_ns(recording.starts_at_s, recording.stamp.date, of.shoot.date, zone_of(of))
        for track in heard.tracks:
            moments = [f for f in track.faults if KINDS[f.kind].of == "moment"]
            certain = tuple((f.at / rate, f.length / rate, f.kind) for f in moments if f.certain)
            suspects = tuple(f.at / rate for f in moments if not f.certain and f.kind in RADIO)
            tracks.append(TrackFaults(name, track.channel, certain, suspects, heard.frames / rate, begins_ns))
    return tracks


def _with_audio(
    diagnosis: Diagnosis, logs: Sequence[str], how: Mapping, tracks: Sequence[TrackFaults], tell: Tell
) -> tuple[Diagnosis, Sequence[Laid]]:
    """The diagnosis with what the recordings add. Raises InputError."""
    from dataclasses import replace

    from linkwright.watch.align.recordings import lay
    from linkwright.watch.align.weighing import spans_of, weighed

    breaks = _breaks(logs, how, tell)
    laid, not_laid = lay(breaks, tracks, spans_of(diagnosis.all))
    told = (*diagnosis.told, *(track.says for track in not_laid))
    return replace(diagnosis, all=weighed(diagnosis.all, laid, breaks), told=told), laid


def _breaks(logs: Sequence[str], how: Mapping, tell: Tell) -> tuple[LinkBreaks, ...]:
    """When each link's audio broke: the logs gone through once more. Raises InputError."""
    from linkwright.watch.align.breaks import Breaks
    from linkwright.watch.log.reading import read_batches
    from linkwright.watch.log.record import Log

    breaks = Breaks()
    for log in logs:
        for batch in read_batches(Path(log), log, how, tell=tell):
            breaks.add(batch)
    if breaks.late:
        # out of order: the diagnosis has sorted it already, so it is no longer than that takes in
        breaks = Breaks()
        for batch in Log.of(
            read_batch for log in logs for read_batch in read_batches(Path(log), log, how, tell=tell)
        ).in_time():
            breaks.add(batch)
    return breaks.links()


def document(diagnosis: Diagnosis, laid: Sequence[Laid]) -> dict[str, Any]:
    """What --json prints; times in UTC, with their offset."""
    from linkwright.watch.log.record import iso_of

    return {
        "says": answer(diagnosis),
        "from": iso_of(diagnosis.from_ns),
        "to": iso_of(diagnosis.to_ns),
        "episodes": [episode.document() for episode in diagnosis.episodes],
        "marks": [mark.document() for mark in diagnosis.marks],
        "links": [
            {"link": s.link, "readings": s.readings, "gaps": s.gaps, "gap_s": round(s.gap_s, 3)}
            for s in diagnosis.seen
        ],
        "recordings": [track.document() for track in laid],
        "told": list(diagnosis.told),
        "unread": [str(error) for error in diagnosis.unread],
    }


def answer(diagnosis: Diagnosis) -> str:
    """One sentence: what went wrong, and worst where."""
    from collections import Counter

    from linkwright.lengths import hours

    links = len(diagnosis.seen)
    of = "one link" if links == 1 else f"{links} links"
    length = hours((diagnosis.to_ns - diagnosis.from_ns) / 3.6e12)
    if not diagnosis.episodes:
        return f"Nothing went wrong in {length} of {of}."
    heard = sum(episode.heard for episode in diagnosis.episodes)
    cause, many = Counter(episode.cause for episode in diagnosis.episodes).most_common(1)[0]
    link, worst = Counter(episode.link for episode in diagnosis.episodes).most_common(1)[0]
    count = (
        "Once something went wrong"
        if len(diagnosis.episodes) == 1
        else f"{len(diagnosis.episodes)} things went wrong"
    )
    broke = "the audio held" if not heard else f"the audio broke in {heard}"
    most = f"; most often {cause} ({many}), and most at {link} ({worst})" if len(diagnosis.episodes) > 2 else ""
    return f"{count} in {length} of {of}; {broke}{most}."


def _print_episodes(out: Console, episodes: Sequence[Episode], zone: datetime.tzinfo) -> None:
    from linkwright.cli.output import print_table
    from linkwright.lengths import seconds

    if not episodes:
        return
    out.print()
    rows = [
        (
            f"{n}", _clock(episode.from_ns, zone), seconds((episode.to_ns - episode.from_ns) / 1e9), episode.link,
            episode.cause, f"{100 * episode.probability:.0f} %", "broke" if episode.heard else "held",
        )
        for n, episode in enumerate(episodes, 1)
    ]  # fmt: skip
    columns = ("no", f"from ({zone})", "for", "link", "cause", "probable", "audio")
    print_table(out, columns, rows, right=("no", "for", "probable"))
    out.print()
    for n, episode in enumerate(episodes, 1):
        rest = [(c, share) for c, share in episode.causes if c not in (episode.cause, "unknown") and share >= 0.1]
        others = ", ".join(f"{cause} {100 * share:.0f} %" for cause, share in rest[:2])
        out.print(f"{n}. {episode.link}: {episode.because}" + (f" Or else: {others}." if others else ""))
        out.print(f"   {episode.do}")


def print_diagnosis(out: Console, diagnosis: Diagnosis, laid: Sequence[Laid], zone: datetime.tzinfo = UTC) -> None:
    """The answer, a table, each episode in words, and what was put right; times on the clock of the shoot."""
    from collections import Counter

    from linkwright.lengths import seconds
    from linkwright.watch.align.recordings import alone_words, clock_words
    from linkwright.watch.diagnose.causes import words_of

    out.print(answer(diagnosis), style="bold")
    _print_episodes(out, diagnosis.episodes, zone)
    if diagnosis.marks:
        marks = Counter((mark.link, words_of(mark.cause)) for mark in diagnosis.marks).most_common(6)
        said = ", ".join(f"{link} {cause} ({many})" for (link, cause), many in marks)
        out.print(f"Worth knowing, and heard by nobody: {said}.")
    gaps = [(s.link, s.gaps, s.gap_s) for s in diagnosis.seen if s.gaps]
    for link, many, length in gaps:
        gap = "a gap" if many == 1 else f"{many} gaps"
        out.print(f"{link} has {gap} without readings, {seconds(length)} together.")
    for way in laid:
        also = f" (or {' or '.join(way.also)}: their breaks fit as well)" if way.also else ""
        begins = _clock(way.time_ns(0.0), zone)
        out.print(
            f"{way.track.name}, track {way.track.channel}, is {way.link}{also} from {begins}. "
            f"{clock_words(way)}{alone_words(way)}"
        )
    for says in diagnosis.told:
        out.print(says)


def _clock(time_ns: int, zone: datetime.tzinfo) -> str:
    from linkwright.watch.log.record import iso_of

    return iso_of(time_ns, zone)[11:21]
