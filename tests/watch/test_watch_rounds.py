"""The diagnosis on logs of a player whose author had not read its rules, and that troubles it most."""

from __future__ import annotations

import functools

import numpy as np
from tests.watch import rounds
from tests.watch.independent import Recorded
from tests.watch.test_watch_independent import assert_told_and_named

#: Seeds that nothing was learnt from or set by.
SEEDS = (951, 953, 955, 957)


@functools.cache
def play(seed: int) -> Recorded:
    return rounds.play(seed)


def test_what_broke_the_audio_is_told_and_more_than_half_of_it_named() -> None:
    assert_told_and_named(map(play, SEEDS), 40, named=0.45, missed=0.08)


def test_the_same_seed_is_the_same_day_at_any_rate() -> None:
    often, seldom = play(951), rounds.play(951, rate_hz=5.0)
    assert often.links == seldom.links
    at = {(n, round(t, 3)): row for n, t, row in zip(often.link, often.time_s, often.values, strict=True)}
    rows = [
        (row, at.get((n, round(t, 3)))) for n, t, row in zip(seldom.link, seldom.time_s, seldom.values, strict=True)
    ]
    both = [(row, same) for row, same in rows if same is not None]
    assert len(both) > 0.1 * len(rows), "the others lie between"
    np.testing.assert_array_equal([row for row, _ in both], [same for _, same in both])
