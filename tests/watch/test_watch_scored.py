"""The diagnosis is scored: on a second simulator that shares no code with the first, on the first with severities
beyond those it was made with, on clean logs, and by how soon it tells."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from tests.watch.courses import BEGIN_NS, courses
from tests.watch.scoring import batch_of, confusion, expected_of, false_alarms, interval, table
from tests.watch.second import Played, Truth, play

from linkwright.watch.diagnose.watcher import Episode, Watcher
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults
from linkwright.watch.play.simulate import Meter, simulate

#: Seeds that nothing was set by.
SEEDS = (21, 22, 23, 24, 25, 26)


def watched(played: Played, plan: bool = True) -> tuple[Episode, ...]:
    watcher = Watcher(expected_of(played) if plan else ())
    watcher.add(batch_of(played))
    watcher.finish()
    return watcher.all_episodes()


@pytest.mark.parametrize("plan", [True, False])
def test_the_second_simulator_with_2_db_of_meter_noise(plan: bool) -> None:
    played = [play(seed, meter_db=2.0) for seed in SEEDS]
    episodes = [watched(one, plan) for one in played]
    found = confusion(list(zip(played, episodes, strict=True)))
    hits, of = sum(many for (cause, told), many in found.items() if cause == told), found.total()
    assert of >= 300
    assert hits / of >= 0.93, table(found)
    assert interval(hits, of)[0] > 0.9, table(found)
    for cause in CAUSES:
        mine = sum(many for (one, _), many in found.items() if one == cause)
        assert found[(cause, cause)] >= 0.5 * mine, table(found)
    hours = 6 * 0.5 * len(SEEDS)
    assert sum(false_alarms(one, told) for one, told in zip(played, episodes, strict=True)) < hours


def test_a_clean_log_of_the_second_simulator_has_no_more_than_one_false_alarm_an_hour() -> None:
    played = play(31, faults=False)
    for plan in (True, False):
        alarms = [one for one in watched(played, plan) if one.link not in played.on]
        assert len(alarms) < 6 * 0.5, [alarm.because for alarm in alarms]


@pytest.mark.parametrize("wider", [0.0, 0.3])
def test_the_first_simulator_also_with_severities_beyond_its_own(wider: float) -> None:
    made = courses()
    faults = draw_faults(made, CAUSES, seed=5, each_h=20.0, wider=wider)
    watcher = Watcher([one.expected for one in made])
    for batch in simulate(made, faults, seed=6, meter=Meter(2.0)):
        watcher.add(batch)
    watcher.finish()
    truth = [
        Truth(f.link, f.cause, (f.from_ns - BEGIN_NS) / 1e9, (f.to_ns - BEGIN_NS) / 1e9)
        for f in faults
        if f.cause != "body"  # a body in the way that the plan allows for breaks nothing, and is not told
    ]
    none = np.zeros(0)
    played = Played([], none, none, none, truth)
    found = confusion([(played, watcher.episodes())])
    hits, of = sum(many for (cause, told), many in found.items() if cause == told), found.total()
    assert of >= 20
    assert interval(hits, of)[0] > 0.75, table(found)


def test_a_clean_log_of_the_first_simulator() -> None:
    made = courses(minutes=60.0)
    watcher = Watcher([one.expected for one in made])
    for batch in simulate(made, (), seed=8, meter=Meter(2.0)):
        watcher.add(batch)
    watcher.finish()
    assert len(watcher.episodes()) < 4


def test_it_tells_within_a_second_of_what_comes_at_once() -> None:
    played = play(41, links=6, minutes=30.0)
    watcher = Watcher(expected_of(played))
    batch = batch_of(played)
    opened: dict[tuple[str, str], list[float]] = {}
    for start in range(0, len(batch), 800):
        for change in watcher.add(batch.part(start, start + 800)):
            if change.kind == "opened":
                seen = change.episode
                opened.setdefault((seen.link, seen.track), []).append(
                    (seen.to_ns - 1_810_000_000_000_000_000) / 1e9
                )
    late: Counter[str] = Counter()
    for truth in played.truth:
        if truth.cause in ("battery", "switched-off", "interference", "intermodulation", "audio-path"):
            track = "audio" if truth.cause == "audio-path" else "signal"
            after = [at - truth.start_s for at in opened[(truth.link, track)] if at >= truth.start_s - 0.2]
            if min(after) > 1.0:
                late[truth.cause] += 1
    assert not late
