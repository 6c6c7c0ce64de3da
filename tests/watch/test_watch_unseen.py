"""The diagnosis on logs of players whose authors had read neither its rules nor another player."""

from __future__ import annotations

import functools
from types import ModuleType

import numpy as np
import pytest
from tests.watch import airtime, premises, rounds
from tests.watch.independent import Recorded
from tests.watch.test_watch_independent import assert_told_and_named

#: The first of three odd seeds of each that nothing was learnt from or set by.
PLAYERS = ((rounds, 951), (premises, 51), (airtime, 51))


@functools.cache
def play(player: ModuleType, seed: int) -> Recorded:
    return player.play(seed)  # type: ignore[no-any-return]


@pytest.mark.parametrize(("player", "first"), PLAYERS)
def test_what_broke_the_audio_is_told_and_about_half_of_it_named(player: ModuleType, first: int) -> None:
    days = (play(player, seed) for seed in range(first, first + 6, 2))
    assert_told_and_named(days, 30, named=0.35, missed=0.15)


@pytest.mark.parametrize(("player", "seed"), PLAYERS)
def test_the_same_seed_is_the_same_day_at_any_rate(player: ModuleType, seed: int) -> None:
    often, seldom = play(player, seed), player.play(seed, rate_hz=5.0)
    assert often.links == seldom.links
    assert [fault.cause for fault in often.faults] == [fault.cause for fault in seldom.faults]
    at = {(n, round(t, 3)): row for n, t, row in zip(often.link, often.time_s, often.values, strict=True)}
    rows = [
        (row, at.get((n, round(t, 3)))) for n, t, row in zip(seldom.link, seldom.time_s, seldom.values, strict=True)
    ]
    both = [(row, same) for row, same in rows if same is not None]
    assert len(both) > 0.1 * len(rows), "of rounds the others lie between"
    np.testing.assert_array_equal([row for row, _ in both], [same for _, same in both])
