"""When an episode begins, against an outside reference for change points (ruptures, PELT)."""

from __future__ import annotations

import numpy as np
import pytest
import ruptures
from tests.watch.second import BEGIN_NS

from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.record import Batch


@pytest.mark.parametrize("cause", ["body", "switched-off", "antenna"])
@pytest.mark.parametrize("seed", [1, 2])
def test_the_begin_is_where_the_reference_sees_the_level_change(cause: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    count, begin, end = 360, int(rng.integers(120, 160)), 240
    levels = -70.0 + rng.normal(0.0, 2.0, (2, count))
    drop = {"body": 20.0, "switched-off": 42.0, "antenna": 28.0}[cause]
    levels[: 1 if cause == "antenna" else 2, begin : end if cause == "body" else count] -= drop
    level = levels[0]
    quality = np.where(levels.max(axis=0) > -88.0, 1.0, 0.0)
    values = np.stack([*levels, np.full(count, -30.0), quality, np.full(count, 0.8), 1.0 - quality], axis=1)
    times = BEGIN_NS + np.arange(count, dtype=np.int64) * 100_000_000
    watcher = Watcher()
    watcher.add(Batch(("A",), np.zeros(count, np.int32), times, values.astype(np.float32)))
    watcher.finish()
    reference = ruptures.Pelt(model="l2", min_size=10, jump=1).fit(level).predict(pen=4.0 * 4.0 * np.log(count))
    nearest = min(reference, key=lambda at: abs(at - begin))
    assert abs(nearest - begin) <= 1
    episode = watcher.all_episodes()[0]
    assert cause in [name for name, _ in episode.causes[:2]], episode.causes
    assert (episode.from_ns - BEGIN_NS) / 1e9 == pytest.approx(nearest / 10.0, abs=1.0)
