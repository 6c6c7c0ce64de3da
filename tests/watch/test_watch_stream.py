"""Live and afterwards agree: however readings are cut into batches, the episodes are the same."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.watch.courses import courses
from tests.watch.scoring import batch_of, expected_of
from tests.watch.second import BEGIN_NS, play

from linkwright.watch.diagnose.logs import diagnose
from linkwright.watch.diagnose.watcher import Episode, Watcher
from linkwright.watch.log.record import FIELDS, SECOND_NS, Batch, Log
from linkwright.watch.log.writing import csv_lines
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults
from linkwright.watch.play.replay import paced
from linkwright.watch.play.simulate import simulate

PLAYED = play(51, links=3, minutes=12.0, step_s=0.2)
WHOLE = batch_of(PLAYED)


def said(episodes: tuple[Episode, ...]) -> list[str]:
    return [json.dumps(episode.document()) for episode in episodes]


def watch(parts: list[Batch]) -> list[str]:
    watcher = Watcher(expected_of(PLAYED))
    for part in parts:
        watcher.add(part)
    watcher.finish()
    return said(watcher.episodes())


ALL = watch([WHOLE])


@settings(max_examples=12)
@given(st.lists(st.integers(1, len(WHOLE)), max_size=12))
def test_any_batches_give_the_same_episodes(cuts: list[int]) -> None:
    edges = [0, *sorted(set(cuts)), len(WHOLE)]
    assert watch([WHOLE.part(a, b) for a, b in itertools.pairwise(edges)]) == ALL
    assert len(ALL) > 5


def test_reading_by_reading_is_the_same_too() -> None:
    part = WHOLE.part(0, 3000)
    ones = [part.part(n, n + 1) for n in range(len(part))]
    assert watch(ones) == watch([part])


def test_a_log_file_says_what_the_live_watch_said(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("".join(csv_lines([WHOLE])), "utf-8")
    found = diagnose([(path, "log.csv")], expected_of(PLAYED))
    assert [(episode.link, episode.cause, episode.track) for episode in found.episodes] == [
        (json.loads(line)["link"], json.loads(line)["cause"], one.track)
        for line, one in zip(ALL, found.episodes, strict=True)
    ]


def test_a_shuffled_log_is_put_in_order_and_said_so(tmp_path: Path) -> None:
    order = np.random.default_rng(1).permutation(len(WHOLE))
    shuffled = Batch(WHOLE.names, WHOLE.link[order], WHOLE.time_ns[order], WHOLE.values[order])
    for name, batch in (("sorted.csv", WHOLE), ("shuffled.csv", shuffled)):
        (tmp_path / name).write_text("".join(csv_lines([batch])), "utf-8")
    straight = diagnose([(tmp_path / "sorted.csv", "a")], expected_of(PLAYED))
    again = diagnose([(tmp_path / "shuffled.csv", "b")], expected_of(PLAYED))
    assert [(e.link, e.from_ns, e.cause) for e in again.episodes] == [
        (e.link, e.from_ns, e.cause) for e in straight.episodes
    ]
    assert any("out of order" in told for told in again.told)


def test_a_gap_is_a_gap_and_no_silence() -> None:
    batch = batch_of(play(52, links=1, minutes=4.0, faults=False))
    mine = batch.link == 0
    away = (batch.time_ns > BEGIN_NS + 60 * SECOND_NS) & (batch.time_ns < BEGIN_NS + 90 * SECOND_NS)
    keep = mine & ~away
    part = Batch(batch.names, batch.link[keep], batch.time_ns[keep], batch.values[keep])
    watcher = Watcher()
    watcher.add(part)
    watcher.finish()
    seen = watcher.seen()[0]
    assert (seen.gaps, round(seen.gap_s)) == (1, 30)
    assert watcher.episodes() == ()
    (gap,) = Log.of([part]).tracks[0].gaps()
    assert (gap.to_ns - gap.from_ns) / SECOND_NS == pytest.approx(30.0, abs=0.3)


def test_a_moment_twice_counts_once_and_late_ones_are_counted() -> None:
    part = WHOLE.part(0, 2000)
    watcher = Watcher()
    watcher.add(part)
    watcher.add(part.part(1990, 2000))
    watcher.add(part.part(0, 10))
    assert sum(one.twice for one in watcher.seen()) > 0
    assert sum(one.late for one in watcher.seen()) > 0
    assert sum(one.readings for one in watcher.seen()) == 2000


@given(st.lists(st.tuples(*[st.one_of(st.none(), st.floats(-200, 50)) for _ in range(6)]), min_size=1, max_size=60))
@settings(max_examples=40)
def test_any_values_at_all_are_taken(rows: list[tuple[float | None, ...]]) -> None:
    values = np.array([[np.nan if v is None else v for v in row] for row in rows], dtype=np.float32)
    times = BEGIN_NS + np.arange(len(rows), dtype=np.int64) * SECOND_NS // 10
    watcher = Watcher()
    watcher.add(Batch(("A",), np.zeros(len(rows), np.int32), times, values.reshape(-1, len(FIELDS))))
    watcher.finish()
    for episode in watcher.episodes():
        json.dumps(episode.document(), allow_nan=False)
        assert 0.0 <= episode.probability <= 1.0
        assert episode.from_ns <= episode.to_ns


def test_probabilities_add_up_and_the_words_are_there() -> None:
    watcher = Watcher(expected_of(PLAYED))
    watcher.add(WHOLE)
    watcher.finish()
    for episode in watcher.episodes():
        assert sum(share for _, share in episode.causes) <= 1.0 + 1e-9
        assert episode.because.endswith(".")
        assert episode.do.endswith((".", "?"))
        assert "nan" not in episode.because


def test_nothing_is_judged_while_the_plan_has_a_link_off() -> None:
    guests = [json.loads(line) for line in ALL if json.loads(line)["link"] in ("Guest", "Host")]
    assert all(guest["cause"] != "switched-off" for guest in guests)


def test_many_links_do_not_mix_up_their_states() -> None:
    many, rows = 200, 50
    link = np.tile(np.arange(many, dtype=np.int32), rows)
    times = BEGIN_NS + np.repeat(np.arange(rows, dtype=np.int64), many) * SECOND_NS // 10
    values = np.full((many * rows, len(FIELDS)), np.nan, dtype=np.float32)
    values[:, 0], values[:, 3] = -60.0, 1.0
    values[(link == 77) & (times > BEGIN_NS + 2 * SECOND_NS), 3] = 0.0
    watcher = Watcher()
    watcher.add(Batch(tuple(f"L{n}" for n in range(many)), link, times, values))
    assert {episode.link for episode in watcher.episodes()} == {"L77"}


def test_the_simulator_is_the_same_for_a_seed_and_another_for_another() -> None:
    made = courses(2, 10.0)
    faults = draw_faults(made, CAUSES, seed=1)
    one, two, other = (
        np.concatenate([batch.values for batch in simulate(made, faults, seed=seed)]) for seed in (1, 1, 2)
    )
    assert np.array_equal(one, two, equal_nan=True)
    assert not np.array_equal(one, other, equal_nan=True)
    assert draw_faults(made, CAUSES, seed=1) == faults


def test_a_replay_hands_out_everything_in_its_time() -> None:
    now = [0.0]
    waited: list[float] = []

    def sleep(seconds: float) -> None:
        waited.append(seconds)
        now[0] += seconds

    part = WHOLE.part(0, 5000)
    parts = list(paced([part], 10.0, clock=lambda: now[0], sleep=sleep))
    assert sum(len(one) for one in parts) == len(part)
    length_s = (part.time_ns[-1] - part.time_ns[0]) / SECOND_NS
    assert now[0] == pytest.approx(length_s / 10.0, abs=0.15)
    assert watch(parts) == watch([part])
