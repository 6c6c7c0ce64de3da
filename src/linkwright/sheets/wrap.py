"""What happened, on paper: the wrap report's values and its tables."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any, Final

from linkwright.lengths import duration
from linkwright.sheets.tables import Value, csv_text
from linkwright.watch.diagnose.episodes import DiagnosedEpisode, iso, lost_by_cause, moment
from linkwright.watch.figures.day_figures import RecordingFigures, ToldEpisode, WrapUp
from linkwright.watch.figures.statistics import LinkFigures

MINUS: Final = "\N{MINUS SIGN}"
#: Episodes that the report and the page list, the longest; the tables have all.
MOST_TOLD: Final = 200
#: Episodes on the report.
MOST_ON_PAPER: Final = 30
#: Losses of a recording that are named of those that the readings do not show; the table has all.
MOST_ALONE: Final = 3


EVENT_HEAD: Final = (
    "from", "to", "what", "about", "says", "cause", "probability", "because", "do", "done", "heard",
)  # fmt: skip


def wrap_csv(wrap: WrapUp) -> str:
    """Everything on the time line as one table in the order of time; times are ISO 8601 with their offset."""
    rows: list[tuple[int, Sequence[Value]]] = []

    def add(from_ms: int, to_ms: int | None, *cells: Value) -> None:
        end = None if to_ms is None else iso(to_ms, wrap.zone)
        rows.append((from_ms, (iso(from_ms, wrap.zone), end, *cells, *[None] * (9 - len(cells)))))

    for name, begin, end in wrap.calls:
        add(begin, end, "call", name)
    for told in wrap.episodes:
        episode = told.episode
        done = "; ".join(event.text for event in told.done)
        told_of = (
            episode.cause,
            round(episode.probability, 3),
            episode.because,
            episode.do,
            done,
            int(episode.heard),
        )
        add(episode.from_ms, episode.to_ms, "episode", episode.link, duration(episode.length_s), *told_of)
    for figures in wrap.figures:
        for gap in figures.gaps:
            add(gap.from_ms, gap.to_ms, "no readings", figures.link)
        for off in figures.off:
            add(off.from_ms, off.to_ms, "off the air", figures.link)
    for event in wrap.events:
        add(event.at_ms, None, event.kind, event.about, event.text)
    for heard in wrap.recordings:
        if heard.begins_ms is not None:
            add(heard.begins_ms, heard.at_ms(heard.length_s), "recording", heard.name, heard.says)
            for kind, at_s in heard.faults:
                alone = "the readings show nothing wrong then" if (kind, at_s) in heard.alone else None
                add(heard.at_ms(at_s), None, "fault", heard.name, kind, None, None, alone)
    return csv_text(EVENT_HEAD, [row for _, row in sorted(rows, key=lambda pair: pair[0])])


LINKS_HEAD: Final = (
    "link", "readings", "first", "last", "read_s", "on_air_s", "needed_dbm", "planned_dbm", "a_lowest_dbm",
    "a_median_dbm", "b_lowest_dbm", "b_median_dbm", "both_usable", "dropouts", "longest_s", "lost_s",
    "lost_by_cause", "battery_first", "battery_last", "gaps", "gaps_s",
)  # fmt: skip


def figures_csv(wrap: WrapUp) -> str:
    """The statistics, a row for each link."""
    episodes = [told.episode for told in wrap.episodes]
    rows = []
    for figure in wrap.figures:
        causes = " ".join(f"{cause}={lost:.1f}" for cause, lost in lost_by_cause(episodes, figure.link).items())
        rows.append((
            figure.link, figure.readings, iso(figure.first_ms, wrap.zone), iso(figure.last_ms, wrap.zone),
            round(figure.read_s, 1), round(figure.on_air_s, 1), figure.needed_dbm,
            wrap.planned_dbm.get(figure.link),
            figure.a.lowest_dbm, figure.a.median_dbm, figure.b.lowest_dbm, figure.b.median_dbm,
            None if figure.both_usable is None else round(figure.both_usable, 4), figure.dropouts,
            figure.longest_s, round(figure.lost_s, 3), causes, *(None if at is None else at[1] for at in
            (figure.battery_first, figure.battery_last)), len(figure.gaps),
            round(sum(gap.length_s for gap in figure.gaps), 1),
        ))  # fmt: skip
    return csv_text(LINKS_HEAD, rows)


def wrap_sheet(wrap: WrapUp) -> dict[str, Any]:
    """The report's values, as text."""
    longest = weightiest(wrap.episodes)[:MOST_ON_PAPER]
    return {
        "answer": wrap.answer,
        "svg": wrap.svg,
        "episodes": [shown(told, wrap.zone) for told in sorted(longest, key=lambda told: told.episode.from_ms)],
        "left_out": len(wrap.episodes) - len(longest),
        "links": link_rows(wrap),
        "events": [
            {"at": f"{moment(event.at_ms, wrap.zone):%H:%M:%S}", "kind": event.kind, "text": event.text}
            for event in wrap.events
        ][:MOST_TOLD],
        "recordings": [recording_row(recording, wrap.zone) for recording in wrap.recordings],
        "learnt": list(wrap.learnt),
    }


def weightiest(episodes: Sequence[ToldEpisode]) -> list[ToldEpisode]:
    """Those that were heard first, the longest first."""
    return sorted(episodes, key=lambda told: (not told.episode.heard, -told.episode.length_s))


def shown(told: ToldEpisode, zone: datetime.tzinfo) -> dict[str, str]:
    """An episode in words."""
    episode = told.episode
    return {
        "at": f"{moment(episode.from_ms, zone):%H:%M:%S}",
        "lasted": duration(episode.length_s),
        "link": episode.link,
        "cause": episode.cause.replace("-", " "),
        "heard": "" if episode.heard else "not heard",
        "words": episode.cause_words,
        "sure": f"{100 * episode.probability:.0f} %",
        "because": episode.because,
        "do": episode.do,
        "done": "; ".join(f"{moment(event.at_ms, zone):%H:%M:%S} {event.text}" for event in told.done),
    }


def link_rows(wrap: WrapUp) -> list[dict[str, str]]:
    """Every link's statistics in words."""
    episodes = [told.episode for told in wrap.episodes]
    return [_link_row(figure, episodes, wrap.planned_dbm.get(figure.link)) for figure in wrap.figures]


def _link_row(link: LinkFigures, episodes: Sequence[DiagnosedEpisode], planned_dbm: float | None) -> dict[str, str]:
    """A link's statistics in words."""
    causes = lost_by_cause(episodes, link.link)
    return {
        "planned": "" if planned_dbm is None else f"{planned_dbm:.0f}".replace("-", MINUS),
        "link": link.link,
        "on_air": duration(link.on_air_s),
        "a": _levels(link.a.lowest_dbm, link.a.median_dbm),
        "b": _levels(link.b.lowest_dbm, link.b.median_dbm),
        "both": "" if link.both_usable is None else f"{100 * link.both_usable:.1f} %",
        "dropouts": str(link.dropouts),
        "longest": duration(link.longest_s) if link.dropouts else "",
        "lost": duration(link.lost_s) if link.dropouts else "",
        "causes": ", ".join(f"{cause.replace('-', ' ')} {duration(lost)}" for cause, lost in causes.items()),
        "battery": _battery(link),
        "gaps": f"{len(link.gaps)}, {duration(sum(gap.length_s for gap in link.gaps))}" if link.gaps else "none",
    }


def recording_row(recording: RecordingFigures, zone: datetime.tzinfo) -> dict[str, str]:
    """A recording in words."""
    kinds: dict[str, int] = {}
    for kind, _ in recording.faults:
        kinds[kind] = kinds.get(kind, 0) + 1
    return {
        "name": recording.name,
        "begins": "" if recording.begins_ms is None else f"{moment(recording.begins_ms, zone):%H:%M:%S}",
        "length": duration(recording.length_s),
        "faults": ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())) or "none",
        "says": recording.says + _alone(recording, zone),
    }


def _alone(recording: RecordingFigures, zone: datetime.tzinfo) -> str:
    """The losses that the readings do not show, as a sentence after another; "" without any."""
    if not recording.alone or recording.begins_ms is None:
        return ""
    first = ", ".join(
        f"{kind} at {moment(recording.at_ms(at_s), zone):%H:%M:%S}" for kind, at_s in recording.alone[:MOST_ALONE]
    )
    more = f" and {len(recording.alone) - MOST_ALONE} more" if len(recording.alone) > MOST_ALONE else ""
    many = "One loss lies" if len(recording.alone) == 1 else f"{len(recording.alone)} losses lie"
    return f" {many} in no episode, the readings show nothing wrong then: {first}{more}."


def _levels(lowest: float | None, median: float | None) -> str:
    if lowest is None or median is None:
        return "not read"
    return f"{lowest:.0f} / {median:.0f}".replace("-", MINUS)


def _battery(link: LinkFigures) -> str:
    if link.battery_first is None or link.battery_last is None:
        return "not told"
    return f"{100 * link.battery_first[1]:.0f} to {100 * link.battery_last[1]:.0f} %"
