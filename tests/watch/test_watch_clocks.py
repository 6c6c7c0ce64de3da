"""The clocks of a log and of a recording: found where mutes and faults agree, refused where they may not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from linkwright.watch.clocks import Aligned, NotAligned, align
from linkwright.watch.record import FIELDS, Log, Track
from linkwright.watch.recordings import TrackFaults, lay
from linkwright.watch.watcher import Watcher


@given(st.integers(0, 10_000), st.floats(-4000.0, 4000.0), st.floats(-80.0, 80.0), st.integers(6, 40))
def test_offset_and_drift_are_found(seed: int, offset_s: float, ppm: float, many: int) -> None:
    rng = np.random.default_rng(seed)
    true = np.sort(rng.uniform(0.0, 3600.0, many))
    heard = true[rng.random(many) < 0.9]
    assume(heard.size >= 6)
    logged = offset_s + (1.0 + ppm * 1e-6) * true[rng.random(many) < 0.9] + 0.0
    logged = np.concatenate([logged + rng.uniform(-0.04, 0.04, logged.size), offset_s + rng.uniform(0, 3600, 3)])
    found = align(logged.tolist(), heard.tolist())
    if isinstance(found, NotAligned):
        assert many < 10
        return
    assert found.log_s(1800.0) == pytest.approx(offset_s + (1.0 + ppm * 1e-6) * 1800.0, abs=0.12)
    assert found.confidence > 0.99


@given(st.integers(0, 10_000), st.integers(0, 30), st.integers(0, 30))
def test_what_does_not_belong_together_is_not_laid_together(seed: int, a: int, b: int) -> None:
    rng = np.random.default_rng(seed)
    found = align(rng.uniform(0, 3600, a).tolist(), rng.uniform(0, 3600, b).tolist())
    assert isinstance(found, NotAligned), found


def test_an_even_row_fits_everywhere_and_is_refused() -> None:
    row = [10.0 * n for n in range(30)]
    assert isinstance(align(row, row[3:20]), NotAligned)


def test_a_recording_is_laid_along_its_link_and_its_faults_are_told() -> None:
    rng = np.random.default_rng(4)
    count, base = 6000, 1_810_000_000_000_000_000
    begins = np.sort(rng.choice(np.arange(20, 590, 12), 12, replace=False)) + rng.uniform(0, 5, 12)
    tracks = []
    for link in ("Potter", "Cook"):
        values = np.full((count, len(FIELDS)), np.nan, dtype=np.float32)
        values[:, 0], values[:, 3], values[:, 5] = -60.0, 1.0, 0.0
        if link == "Potter":
            for begin in begins:
                values[int(begin * 10) : int(begin * 10) + 8, 3] = 0.0
                values[int(begin * 10) : int(begin * 10) + 8, 5] = 1.0
        times = base + np.arange(count, dtype=np.int64) * 100_000_000
        tracks.append(Track(link, times, values))
    log = Log(tuple(tracks))
    watcher = Watcher()
    for batch in log.in_time():
        watcher.add(batch)
    watcher.finish()
    late = 7.25
    faults = (*((float(at) - late, 0.8, "mute") for at in begins if at > late), (400.0, 0.2, "hole"))
    episodes, (laid,), told = lay(log, [TrackFaults("scene.wav", 2, faults)], watcher.episodes())
    assert told == ()
    assert laid.link == "Potter"
    assert isinstance(laid.aligned, Aligned)
    assert (laid.time_ns(0.0) - base) / 1e9 == pytest.approx(late, abs=0.15)
    assert [kind for _, _, kind in laid.alone] == ["hole"]
    assert sum("scene.wav, track 2, has" in one.because for one in episodes) >= 10
