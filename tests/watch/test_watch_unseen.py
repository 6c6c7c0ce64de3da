"""The diagnosis on logs of players whose authors had read neither its rules nor another player."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from tests.watch import airtime, premises
from tests.watch.test_watch_independent import assert_told_and_named

#: Seeds that nothing was learnt from or set by.
SEEDS = (51, 53, 55, 57)


@pytest.mark.parametrize(("player", "named"), [(premises, 0.4), (airtime, 0.4)])
def test_what_broke_the_audio_is_told_and_much_of_it_named(player: ModuleType, named: float) -> None:
    assert_told_and_named(map(player.play, SEEDS), 40, named=named, missed=0.12)


@pytest.mark.parametrize("player", [premises, airtime])
def test_the_same_seed_is_the_same_day_at_any_rate(player: ModuleType) -> None:
    often, seldom = player.play(51), player.play(51, rate_hz=1.0)
    assert often.links == seldom.links
    assert [f.cause for f in often.faults] == [f.cause for f in seldom.faults]
    at = {(n, round(t, 3)): row for n, t, row in zip(often.link, often.time_s, often.values, strict=True)}
    rows = [(row, at[n, round(t, 3)]) for n, t, row in zip(seldom.link, seldom.time_s, seldom.values, strict=True)]
    assert len(rows) > 0.05 * len(at)
    np.testing.assert_array_equal([row for row, _ in rows], [same for _, same in rows])
