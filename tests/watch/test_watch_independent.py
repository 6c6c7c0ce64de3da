"""The diagnosis on logs played by somebody who had not read its rules (tests/watch/independent.py).

Its seeds 300 to 326 were looked at while the rules were mended; those here were not. What breaks no audio and
leaves the level where the plan expects it is not told, and is not scored; what broke the audio is, all of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from tests.watch.independent import Recorded, play
from tests.watch.scoring import AROUND_S, interval, table, told_of
from tests.watch.second import BEGIN_NS, Truth

from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.watcher import Episode, Watcher
from linkwright.watch.log.record import SECOND_NS, Batch

SEEDS = range(500, 506)
CLEAN = range(510, 514)


def expected_of(played: Recorded) -> list[Expected]:
    """What the plan says of everybody, also of visitors whose receivers say nothing."""
    return [
        Expected(
            player.link,
            "Call",
            tuple((ns(a), ns(b)) for a, b in player.spans),
            player.carrier_khz,
            player.worst_dbm,
            player.noise_dbm,
            player.need_dbm - player.noise_dbm,
        )
        for player in played.players
    ]


def ns(time_s: float) -> int:
    return BEGIN_NS + round(time_s * SECOND_NS)


def watched(played: Recorded) -> tuple[Episode, ...]:
    watcher = Watcher(expected_of(played))
    times = BEGIN_NS + (played.time_s * 1000.0).round().astype("int64") * (SECOND_NS // 1000)
    watcher.add(Batch(tuple(played.links), played.link, times, played.values))
    watcher.finish()
    return watcher.episodes()


def assert_told_and_named(days: Iterable[Recorded], least: int, named: float, missed: float) -> None:
    """Of at least so many faults that broke the audio more than one share is named, no more than another missed."""
    counts: Counter[tuple[str, str]] = Counter()
    for played in days:
        episodes = watched(played)
        for fault in played.faults:
            if fault.breaks_at_s is not None:
                truth = Truth(fault.link, fault.cause, fault.start_s, fault.end_s)
                counts[(fault.cause, told_of(truth, episodes))] += 1
    hits, of = sum(many for (cause, told), many in counts.items() if cause == told), counts.total()
    assert of >= least
    assert interval(hits, of)[0] > named, table(counts)
    assert sum(many for (_, told), many in counts.items() if told == "none") <= missed * of, table(counts)


def test_what_broke_the_audio_is_told_and_named() -> None:
    assert_told_and_named(map(play, SEEDS), 90, named=0.75, missed=0.05)


def test_clean_logs_have_less_than_one_alarm_an_hour_that_nobody_heard() -> None:
    """Ordinary fading also breaks the audio of thin links here; that is told, and is no false alarm."""
    hours, quiet, all_of_them = 0.0, 0, 0
    for seed in CLEAN:
        played = play(seed, faults=False)
        episodes = watched(played)
        hours += 0.5 * len(played.links)
        quiet += sum(not episode.heard for episode in episodes)
        all_of_them += len(episodes)
    assert quiet < hours
    assert all_of_them < 2.0 * hours


def test_somebody_whose_receiver_says_nothing_is_known_from_the_plan() -> None:
    played = play(501)
    hits = [one for one in played.faults if one.cause == "intermodulation" and one.breaks_at_s is not None]
    assert hits
    with_plan = watched(played)
    told = [
        one
        for fault in hits
        for one in with_plan
        if one.link == fault.link
        and one.cause == "intermodulation"
        and one.from_ns < ns(fault.end_s + AROUND_S)
        and one.to_ns > ns(fault.start_s - AROUND_S)
    ]
    assert told
    assert any(name.startswith("Visitor") for one in told for name in one.makers)
