"""Breaks gathered batch by batch are those of the whole log, however it was cut; what is kept is bounded."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.watch.align import breaks as module
from linkwright.watch.align.breaks import Breaks
from linkwright.watch.align.clocks import breaks_of
from linkwright.watch.log.record import FIELDS, MUTED, QUALITY, Batch, Log
from linkwright.watch.log.stretches import batch_of, stretch_of

BASE_NS = 1_810_000_000_000_000_000


@st.composite
def batches(draw: st.DrawFn) -> Batch:
    """Readings of up to three links with gaps, moments told twice, and quality and mute that come and go."""
    links = draw(st.integers(1, 3))
    count = draw(st.integers(1, 60))
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    steps = rng.choice([0, 1, 100, 100, 250, 5000], count)
    values = np.full((count, len(FIELDS)), np.nan, dtype=np.float32)
    values[:, QUALITY] = rng.choice([np.nan, 0.0, 0.495, 0.5, 1.0], count)
    values[:, MUTED] = rng.choice([np.nan, 0.0, 1.0], count)
    names = tuple(f"Link {n}" for n in range(links))
    times = BASE_NS + np.cumsum(steps).astype(np.int64) * 1_000_000
    return Batch(names, rng.integers(0, links, count).astype(np.int32), times, values)


@given(batches(), st.lists(st.integers(0, 60), max_size=6))
def test_the_same_as_of_the_whole_log(batch: Batch, cuts: list[int]) -> None:
    gathered, edges = Breaks(), [0, *sorted(cuts), len(batch)]
    for start, stop in itertools.pairwise(edges):
        gathered.add(batch.part(start, max(start, stop)))
    assert gathered.late == 0
    found = {link.link: link for link in gathered.links()}
    for track in Log.of([batch]).tracks:
        one = found[track.link]
        assert one.since(BASE_NS).tolist() == breaks_of(track, BASE_NS).tolist()
        assert (one.first_ns, one.last_ns) == (int(track.time_ns[0]), int(track.time_ns[-1]))
        unsaid = np.isnan(track.values[:, QUALITY]) & np.isnan(track.values[:, MUTED])
        for at, nothing in zip(track.time_ns.tolist(), unsaid.tolist(), strict=True):
            assert one.says_nothing(at, at) == nothing


@given(batches())
def test_readings_as_they_are_kept_say_the_same(batch: Batch) -> None:
    """A share is kept to half a percent: one just under a half becomes a half, so such ones are left out."""
    batch.values[batch.values[:, QUALITY] == np.float32(0.495), QUALITY] = 0.0
    one, other = Breaks(), Breaks()
    one.add(batch)
    other.add(batch_of(stretch_of(batch)))
    for a, b in zip(one.links(), other.links(), strict=True):
        assert (a.link, a.at_ns.tolist(), a.step_s.tolist()) == (b.link, b.at_ns.tolist(), b.step_s.tolist())


def test_late_readings_are_counted_and_left_out() -> None:
    values = np.full((4, len(FIELDS)), np.nan, dtype=np.float32)
    values[:, MUTED] = [0, 1, 1, 0]
    at = BASE_NS + np.array([0, 100, 50, 200], dtype=np.int64) * 1_000_000
    gathered = Breaks()
    gathered.add(Batch(("A",), np.zeros(4, dtype=np.int32), at, values))
    assert gathered.late == 1
    assert gathered.links()[0].at_ns.tolist() == [BASE_NS + 100_000_000]


def test_no_more_is_kept_than_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_KEPT", 5)
    values = np.full((100, len(FIELDS)), np.nan, dtype=np.float32)
    values[::2, MUTED] = 1.0
    gathered = Breaks()
    for n in range(3):
        at = BASE_NS + (np.arange(100, dtype=np.int64) + 100 * n) * 100_000_000
        gathered.add(Batch(("A",), np.zeros(100, dtype=np.int32), at, values))
    (one,) = gathered.links()
    assert (one.at_ns.size, one.left_out, one.unsaid.shape[0]) == (5, 145, 6)
