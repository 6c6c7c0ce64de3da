"""What a sweep showed counts when the watch asks for a cause."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.watch.courses import BEGIN_NS

from linkwright.watch.diagnose.expected import Expected, Swept
from linkwright.watch.diagnose.watcher import Episode, Watcher
from linkwright.watch.log.record import Batch

PLAN = Expected("Potter", "Call", (), 570_000, -70.0, -112.0, 20.0)


def disturbed(swept: Swept | None, level_dbm: float = -76.0) -> Episode:
    """A link that breaks for 4 s at a steady level, 16 dB over its need."""
    times = np.arange(0.0, 40.0, 0.1)
    broken = (times >= 20.0) & (times < 24.0)
    values = np.empty((times.size, 6), dtype=np.float32)
    values[:, 0], values[:, 1] = level_dbm, level_dbm - 1.0
    values[:, 2], values[:, 4] = -25.0, 0.8
    values[:, 3], values[:, 5] = np.where(broken, 0.1, 1.0), broken
    link = np.zeros(times.size, dtype=np.int32)
    watcher = Watcher([replace(PLAN, swept=swept)])
    watcher.add(Batch(("Potter",), link, BEGIN_NS + np.round(times * 1e9).astype(np.int64), values))
    watcher.finish()
    (found,) = watcher.all_episodes()
    return found


def share(episode: Episode) -> float:
    return dict(episode.causes)["interference"]


def test_a_sweep_that_showed_somebody_makes_interference_likelier_and_an_empty_one_less() -> None:
    none, shown, empty = disturbed(None), disturbed(Swept(-90.0, 0.8)), disturbed(Swept(None, 0.0))
    half_missed = disturbed(Swept(None, 0.5))
    assert share(shown) > share(none) > share(half_missed) > share(empty)
    assert "the sweep showed -90 dBm of somebody on this carrier" in shown.because
    assert "the sweep showed nobody there, and misses 50 % of those who come and go" in half_missed.because
    assert "no sweep looked at this carrier" in none.because


def test_somebody_too_weak_to_break_the_link_counts_less() -> None:
    assert share(disturbed(Swept(-90.0, 0.8))) > share(disturbed(Swept(-125.0, 0.8)))


def test_an_empty_sweep_weighs_what_bayes_says() -> None:
    """By hand: an empty sweep with somebody who comes and goes, half of them later: (1 + missed) / 2."""
    none, empty = disturbed(None), disturbed(Swept(None, 0.5))
    rival = next(cause for cause, _ in none.causes if cause not in ("interference", "intermodulation"))

    def odds(one: Episode) -> float:
        shares = dict(one.causes)
        return shares["interference"] / shares[rival]

    assert odds(empty) / odds(none) == pytest.approx(0.75, rel=1e-6)
