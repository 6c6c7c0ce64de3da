"""The diagnosis on logs of a player whose author had not read its rules, and that troubles it most."""

from __future__ import annotations

from collections import Counter

from tests.watch.rounds import play
from tests.watch.scoring import interval, table, told_of
from tests.watch.second import Truth
from tests.watch.test_watch_independent import watched

#: Seeds that nothing was learnt from or set by.
SEEDS = (951, 953, 955, 957)


def test_what_broke_the_audio_is_told_and_more_than_half_of_it_named() -> None:
    found: Counter[tuple[str, str]] = Counter()
    for seed in SEEDS:
        played = play(seed)
        episodes = watched(played)
        for fault in played.faults:
            if fault.breaks_at_s is not None:
                truth = Truth(fault.link, fault.cause, fault.start_s, fault.end_s)
                found[(fault.cause, told_of(truth, episodes))] += 1
    hits, of = sum(many for (cause, told), many in found.items() if cause == told), found.total()
    assert of >= 40
    assert interval(hits, of)[0] > 0.5, table(found)
    assert sum(many for (_, told), many in found.items() if told == "none") <= 0.08 * of, table(found)


def test_the_same_seed_is_the_same_day_at_any_rate() -> None:
    one, other = play(951, rate_hz=5.0), play(951, rate_hz=5.0)
    assert (one.time_s == other.time_s).all()
    slow = play(951, rate_hz=1.0)
    assert slow.links == one.links
    assert abs(slow.time_s[-1] - one.time_s[-1]) < 1.0
