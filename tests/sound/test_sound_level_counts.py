"""What is kept of a track does not grow with it, and says the same as all of it would."""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.physics.loudness import integrated_lufs, loudness_range_lu
from linkwright.sound.faults_compiled import amplitudes
from linkwright.sound.level_counts import MOST_STEPS, Powers, Tops
from linkwright.sound.listen import TrackListener
from linkwright.sound.meter import FLOOR_DB, LOUDNESS_DB


def size_of(thing: Any, seen: set[int] | None = None) -> int:
    """Bytes of an object and all that it holds."""
    seen = set() if seen is None else seen
    if id(thing) in seen:
        return 0
    seen.add(id(thing))
    if isinstance(thing, np.ndarray):
        return thing.nbytes + (size_of(thing.base, seen) if thing.base is not None else 0)
    inside = list(getattr(thing, "__dict__", {}).values())
    if isinstance(thing, dict):
        inside += [*thing.keys(), *thing.values()]
    elif isinstance(thing, list | tuple | set):
        inside += list(thing)
    return sys.getsizeof(thing) + sum(size_of(one, seen) for one in inside)


def test_a_listener_stays_as_large_as_it_is() -> None:
    """Eight kHz, so that hours pass quickly; bursts of level, so that something is found all the time."""
    listener = TrackListener(8_000)
    rng = np.random.default_rng(1)
    sizes = []
    for minutes in range(1, 241):
        x = rng.normal(0.0, 0.01, 60 * 8_000).astype(np.float32)
        x[:: 8_000 + minutes] = 0.9
        listener.add(x)
        if minutes in (120, 240):
            sizes.append(size_of(listener))
    assert sizes[1] < 3_500_000
    assert sizes[1] < 1.15 * sizes[0]  # faults of a kind up to 2000, tops up to 65536 steps


@given(st.lists(st.floats(-90.0, 20.0), min_size=1, max_size=300))
def test_counted_loudness_is_that_of_every_block(levels_db: list[float]) -> None:
    powers = 10.0 ** (np.array(levels_db) / 10.0)
    kept = Powers(*LOUDNESS_DB)
    gated = powers[powers > 10.0 ** (LOUDNESS_DB[0] / 10.0)]
    kept.add(gated)
    plain, counted = integrated_lufs(gated), integrated_lufs(*kept.counted())
    assert (plain is None) == (counted is None)
    if plain is not None:
        # a bin may fall to the other side of the gate: 10 LU under the mean, so many blocks weigh little
        assert counted == pytest.approx(plain, abs=0.5)
        assert loudness_range_lu(*kept.counted()) is not None


def test_counted_levels_of_an_hour() -> None:
    rng = np.random.default_rng(2)
    powers = 10.0 ** (np.convolve(rng.normal(0.0, 30.0, 36_000), np.ones(50) / 50.0, "same") / 10.0 - 2.5)
    kept, floor = Powers(*LOUDNESS_DB), Powers(*FLOOR_DB)
    kept.add(powers)
    floor.add(powers)
    assert integrated_lufs(*kept.counted()) == pytest.approx(integrated_lufs(powers), abs=0.002)
    assert loudness_range_lu(*kept.counted()) == pytest.approx(loudness_range_lu(powers), abs=0.03)
    assert 10.0 * np.log10(floor.quantile(0.05) / np.quantile(powers, 0.05)) == pytest.approx(0.0, abs=0.05)


@given(st.lists(st.integers(1, 40_000), min_size=1, max_size=8), st.integers(0, 100))
def test_tops_fold_and_lose_none(pieces: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.random(sum(pieces), np.float32)
    tops = Tops()
    for piece in np.split(x, np.cumsum(pieces)[:-1]):
        tops.add(piece)
    found = tops.all()
    assert found.size <= MOST_STEPS + 1
    expected = [x[i : i + tops.folded].max() for i in range(0, x.size, tops.folded)]
    assert found.tolist() == expected


@pytest.mark.parametrize("wild", [1e18, -3e38, float("inf"), float("nan")])
def test_a_sample_that_is_no_audio_counts_as_full(wild: float) -> None:
    """A float recording may hold anything; one such sample wrote before the array and killed the program."""
    x = np.array([0.1, wild, 0.1, 0.999], dtype=np.float32)
    counts, out = np.zeros(11, dtype=np.int64), np.zeros((4, 2), dtype=np.int64)
    amplitudes(x, 0.98, 0, counts, out)
    assert counts.sum() == 4
    assert (counts[10], counts[1]) == (1, 2)
