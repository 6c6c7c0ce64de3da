"""The clocks of a log and of a recording: found where mutes and faults agree, refused where they may not."""

from __future__ import annotations

import datetime
import zoneinfo

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from linkwright.watch.align.breaks import Breaks, LinkBreaks
from linkwright.watch.align.clocks import Aligned, NotAligned, align
from linkwright.watch.align.recordings import TrackFaults, clock_words, lay, stamped_ns
from linkwright.watch.align.weighing import spans_of, weighed
from linkwright.watch.diagnose.watcher import Episode, Watcher
from linkwright.watch.log.record import FIELDS, Batch, LinkReadings, Log


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


BASE_NS = 1_810_000_000_000_000_000


def breaking(at: dict[str, list[float]], minutes: float = 10.0) -> tuple[Batch, tuple[LinkBreaks, ...]]:
    """Steady readings of links, ten a second, each muted for 0.8 s from each of its times [s]; and their breaks."""
    count = round(600 * minutes)
    tracks = []
    for link, begins in at.items():
        values = np.full((count, len(FIELDS)), np.nan, dtype=np.float32)
        values[:, 0], values[:, 3], values[:, 5] = -60.0, 1.0, 0.0
        for first in np.ceil(np.multiply(begins, 10.0)).astype(int).tolist():
            values[first : first + 8, 3] = 0.0
            values[first : first + 8, 5] = 1.0
        tracks.append(LinkReadings(link, BASE_NS + np.arange(count, dtype=np.int64) * 100_000_000, values))
    (batch,) = Log(tuple(tracks)).in_time()
    breaks = Breaks()
    breaks.add(batch)
    return batch, breaks.links()


def times(seed: int, many: int = 12) -> list[float]:
    rng = np.random.default_rng(seed)
    begins = np.sort(rng.choice(np.arange(20, 590, 12), many, replace=False)) + rng.uniform(0, 5, many)
    return [float(at) for at in begins]


def watched(batch: Batch) -> tuple[Episode, ...]:
    watcher = Watcher()
    watcher.add(batch)
    watcher.finish()
    return watcher.episodes()


def losses(begins: list[float], late: float, kind: str = "mute") -> tuple[tuple[float, float, str], ...]:
    return tuple((at - late, 0.8, kind) for at in begins if at > late)


def test_a_recording_is_laid_along_its_link_and_its_faults_are_told() -> None:
    begins = times(4)
    batch, breaks = breaking({"Potter": begins, "Cook": []})
    episodes = watched(batch)
    track = TrackFaults("scene.wav", 2, (*losses(begins, 7.25), (400.0, 0.2, "hole")))
    (laid,), told = lay(breaks, [track], spans_of(episodes))
    assert told == ()
    assert laid.link == "Potter"
    assert (laid.time_ns(0.0) - BASE_NS) / 1e9 == pytest.approx(7.25, abs=0.15)
    assert [kind for _, _, kind in laid.alone] == ["hole"]
    said = weighed(episodes, [laid], breaks)
    assert sum("scene.wav, track 2, has" in one.because for one in said) >= 10


def test_the_clock_is_told_with_its_sign() -> None:
    """The recording began 7.25 s after the log; its clock said 2.3 s more than that."""
    begins = times(4)
    _, breaks = breaking({"Potter": begins})
    track = TrackFaults("scene.wav", 1, losses(begins, 7.25), (), 590.0, BASE_NS + 9_550_000_000)
    (laid,), _ = lay(breaks, [track], {})
    assert laid.ahead_s == pytest.approx(2.3, abs=0.1)
    assert laid.drift_told_ppm is None, "a few minutes cannot tell none from some"
    assert "clock was 2.3 s ahead of the receiver's, by 1" in clock_words(laid)
    late = TrackFaults("scene.wav", 1, losses(begins, 7.25), (), 590.0, BASE_NS - 3_600_000_000_000)
    assert "1 h 0 min 7 s behind the receiver's" in clock_words(lay(breaks, [late], {})[0][0])
    without = TrackFaults("scene.wav", 1, losses(begins, 7.25), (), 590.0)
    assert "has no time of its own" in clock_words(lay(breaks, [without], {})[0][0])


@pytest.mark.parametrize(("ppm", "way"), [(150.0, "slow"), (-150.0, "fast")])
def test_a_drift_that_stands_out_is_told_with_its_sign(ppm: float, way: str) -> None:
    begins = [at for n in range(6) for at in np.add(times(n), 600.0 * n).tolist()]
    _, breaks = breaking({"Potter": begins}, 61.0)
    faults = tuple((at / (1.0 + ppm * 1e-6), 0.8, "mute") for at in begins)
    (laid,), _ = lay(breaks, [TrackFaults("scene.wav", 1, faults, (), 3650.0)], {})
    assert laid.drift_told_ppm == pytest.approx(ppm, abs=30.0)
    assert f"ppm {way}" in clock_words(laid)


def test_rival_offsets_are_decided_by_the_time_stamp_and_by_nothing_else() -> None:
    """Two takes of the same breaks in one log, ten minutes apart: only the stamp knows which one it is."""
    begins = times(5, 8)
    both = [*begins, *(at + 600.0 for at in begins)]
    _, breaks = breaking({"Potter": both}, 20.0)
    since, heard = breaks[0].since(BASE_NS).tolist(), [at - 7.0 for at in begins]
    assert isinstance(align(since, heard), NotAligned)
    for offset in (7.0, 607.0):
        found = align(since, heard, stamp_s=offset + 30.0)
        assert isinstance(found, Aligned)
        assert found.offset_s == pytest.approx(offset, abs=0.1)
    assert isinstance(align(since, heard, stamp_s=300.0), NotAligned), "a stamp near neither decides nothing"
    row = [10.0 * n for n in range(30)]
    assert isinstance(align(row, row[3:20], stamp_s=30.0), NotAligned), "rivals near the stamp stay rivals"


def test_a_stamp_that_is_wrong_moves_nothing() -> None:
    begins = times(4)
    _, breaks = breaking({"Potter": begins})
    since, heard = breaks[0].since(BASE_NS).tolist(), [at - 7.0 for at in begins if at > 7.0]
    assert align(since, heard, stamp_s=3607.0) == align(since, heard)


def test_tracks_of_one_recording_share_its_clock() -> None:
    """Two losses would be too few; by the clock that the other track tells they are enough."""
    begins, other = times(4), [101.3, 333.7]
    _, breaks = breaking({"Potter": begins, "Cook": other, "Maid": [50.0, 222.0]})
    tracks = [TrackFaults("a.wav", 1, losses(begins, 7.0)), TrackFaults("a.wav", 2, losses(other, 7.0))]
    laid, told = lay(breaks, tracks, {})
    assert [(one.track.channel, one.link) for one in laid] == [(1, "Potter"), (2, "Cook")]
    assert told == ()
    alone = [TrackFaults("b.wav", 1, losses(begins, 7.0)), TrackFaults("a.wav", 2, losses(other, 7.0))]
    laid, (not_laid,) = lay(breaks, alone, {})
    assert [one.link for one in laid] == ["Potter"]
    assert "2 certain losses, and 3 are needed" in not_laid.says


def test_links_that_break_together_are_both_named() -> None:
    begins = times(4)
    _, breaks = breaking({"Potter": begins, "Cook": begins})
    (laid,), _ = lay(breaks, [TrackFaults("a.wav", 1, losses(begins, 7.0))], {})
    assert {laid.link, *laid.also} == {"Potter", "Cook"}


@pytest.mark.parametrize(
    ("starts", "date", "day", "is_ns"),
    [
        # 14 May 2027, 10:00 in London is 09:00 UTC: 20,952 days and 9 hours
        (36_000.0, "2027-05-14", None, (20_952 * 24 + 9) * 3_600_000_000_000),
        (36_000.25, "", datetime.date(2027, 5, 14), (20_952 * 24 + 9) * 3_600_000_000_000 + 250_000_000),
        (36_000.0, "0000-00-00", None, None),
        (None, "2027-05-14", None, None),
        (1e12, "2027-05-14", None, None),
    ],
)
def test_a_time_stamp_is_read_on_the_clock_of_the_shoot(
    starts: float | None, date: str, day: datetime.date | None, is_ns: int | None
) -> None:
    assert stamped_ns(starts, date, day, zoneinfo.ZoneInfo("Europe/London")) == is_ns
