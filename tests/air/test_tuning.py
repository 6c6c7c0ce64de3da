"""Samples become lines of a sweep: tones where and as strong as they were put, noise as theory has it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from tests.air.recorded_band import Band

from linkwright.air.passes import Passes
from linkwright.air.sweep import Sweep
from linkwright.air.tuning.recorded import RecordedTuner, recorded
from linkwright.air.tuning.spectrum import Samples, levels_db
from linkwright.air.tuning.sweeping import Sweeping, SweepWanted
from linkwright.air.tuning.tuner import TunerGone
from linkwright.shoot.errors import InputError

#: Every hole in the middle of a look lies in another look.
CENTRES = [600e6 + 300e3 * n for n in range(8)]
TONES = [(599.9042e6, -35.0), (600.3e6, -20.0), (600.6015e6, -50.0), (601.2341e6, -41.5), (602.0777e6, -30.0)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Band(TONES, noise_db=-60.0, spike_db=-12.0).record(tmp_path_factory.mktemp("band"), CENTRES, 0.1)


def sweeps(sweeping: Sweeping, count: int | None = None) -> list[Sweep]:
    passes = Passes("band", sweeping.options)
    lines: Iterator[bytes] = islice(sweeping.lines(), count)
    found = [sweep for line in lines for sweep in passes.feed(line)]
    assert not passes.refused, passes.says
    return found


def power_db(sweep: Sweep, hz: float) -> float:
    """The power of a tone: the bins about it, less what the window spreads."""
    near = np.abs(sweep.frequencies_khz - hz / 1e3) <= 3.0 * sweep.step_khz
    power = float(np.sum(10.0 ** (sweep.levels_db[0, near] / 10.0)))
    return 10.0 * math.log10(power * sweep.step_khz / sweep.resolution_khz)


@pytest.mark.parametrize("offset_db", [None, -31.5])
def test_tones_come_out_where_and_as_strong_as_they_were_put(folder: Path, offset_db: float | None) -> None:
    for sweep in sweeps(Sweeping(recorded(str(folder)), SweepWanted(offset_db=offset_db))):
        assert sweep.unit == ("dB" if offset_db is None else "dBm")
        for hz, level_db in TONES:
            near = np.flatnonzero(np.abs(sweep.frequencies_khz - hz / 1e3) < 50.0)
            peak = near[np.argmax(sweep.levels_db[0, near])]
            assert abs(sweep.frequencies_khz[peak] - hz / 1e3) < sweep.step_khz
            assert power_db(sweep, hz) == pytest.approx(level_db + (offset_db or 0.0), abs=0.5)


def test_neither_the_line_in_the_middle_nor_the_edges_are_used(folder: Path) -> None:
    """The line of -12 dB stands in the middle of every look, and in no bin; every bin is looked at."""
    (first, *_) = sweeps(Sweeping(recorded(str(folder)), SweepWanted()))
    level = first.levels_db[0]
    tones = np.any([np.abs(first.frequencies_khz - hz / 1e3) < 80.0 for hz, _ in TONES], axis=0)
    assert np.nanmax(level[~tones]) < -75.0
    assert np.nanmax(level[np.abs(first.frequencies_khz - 600_900.0) < 40.0]) < -75.0
    reach = math.floor(0.375 * 128) * first.step_khz
    assert first.frequencies_khz[0] == pytest.approx(600_000.0 - reach)
    assert first.frequencies_khz[-1] == pytest.approx(602_100.0 + reach, abs=first.step_khz)
    assert np.isfinite(level).all()


def test_the_band_that_is_asked_for_and_finer_bins(folder: Path) -> None:
    sweeping = Sweeping(recorded(str(folder)), SweepWanted(600_200.0, 601_000.0, resolution_khz=3.0))
    (first, *_) = sweeps(sweeping)
    assert first.frequencies_khz[0] == pytest.approx(600_200.0, abs=first.step_khz)
    assert first.frequencies_khz[-1] == pytest.approx(601_000.0, abs=first.step_khz)
    assert first.resolution_khz <= 3.0
    assert power_db(first, 600.6015e6) == pytest.approx(-50.0, abs=0.5)


def test_ours_are_looked_at_in_every_round_and_all_within_the_time(folder: Path) -> None:
    said: list[str] = []
    wanted = SweepWanted(ours=((601_200.0, 601_300.0),), within_s=0.4, look_s=0.01)
    sweeping = Sweeping(RecordedTuner("band", recorded(str(folder)).recordings, loops=True), wanted, said.append)
    found = sweeps(sweeping, 40)
    assert sweeping.plan is not None
    # Three of the eight recordings hold some of ours; the others come one a round.
    assert said == ["band: our carriers and spares are looked at every 0.04 s, all of the band every 0.20 s."]
    seen = np.array([np.isfinite(sweep.levels_db[0]) for sweep in found])
    assert seen[0].all()
    mine = np.abs(found[0].frequencies_khz - 601_250.0) < 50.0
    assert seen[:, mine].all()
    rounds = len(sweeping.plan.rounds)
    assert rounds > 1
    for start in range(1, 40 - rounds):
        assert seen[start : start + rounds].any(axis=0).all()
    assert sweeping.plan.all_every * 0.01 <= 0.4
    assert seen[1:].mean() < 0.9


def test_a_recording_that_ends_leaves_its_last_round(folder: Path) -> None:
    sweeping = Sweeping(recorded(str(folder)), SweepWanted(look_s=0.03))
    assert len(sweeps(sweeping)) == 3  # 0.1 s of each hold three looks
    assert sweeping.rest() == b""
    tuner = recorded(str(folder))
    tuner.look(CENTRES[4], 90_000)
    sweeping = Sweeping(tuner, SweepWanted(look_s=0.03))
    assert sweeps(sweeping) == []
    (last,) = Passes("band", sweeping.options).feed(sweeping.rest())
    assert 0.3 < np.isfinite(last.levels_db).mean() < 0.8
    assert sweeping.rest() == b""


@pytest.mark.parametrize(("count", "size"), [(20_000, 128), (4_097, 256), (512, 512)])
def test_levels_are_those_of_a_reference_library(count: int, size: int) -> None:
    from scipy.signal import welch

    samples = Band(TONES).samples(600.35e6, count)
    _, power = welch(
        samples, 1.0, "hann", size, size // 2, detrend=False, scaling="spectrum", return_onesided=False
    )
    np.testing.assert_allclose(levels_db(samples, size), 10.0 * np.log10(np.fft.fftshift(power)), atol=0.01)


class Faulty:
    """A receiver of the band that loses samples, is overdriven, or goes, at looks of these numbers."""

    def __init__(self, lost_at: set[int], loud_at: set[int], gone_at: int, off_hz: float = 0.0) -> None:
        self.name, self.rate_hz, self.lost, self.looks = "faulty", 1e6, 0, 0
        self.lost_at, self.loud_at, self.gone_at, self.off_hz = lost_at, loud_at, gone_at, off_hz
        self.band, self.a_look_s, self.clock_s = Band(TONES), 0.02, 0.0

    def places_hz(self) -> None:
        return

    def look(self, centre_hz: float, count: int) -> tuple[float, Samples] | None:
        self.looks += 1
        self.clock_s += self.a_look_s
        if self.looks == self.gone_at:
            raise TunerGone("faulty gave no samples; is it still plugged in?")
        if self.looks in self.lost_at:
            return None
        samples = self.band.samples(centre_hz + self.off_hz, count)
        if self.looks in self.loud_at:
            parts = np.clip(100.0 * samples.view(np.float32), -1.0, 1.0)
            samples = parts.view(np.complex64)
        return centre_hz + self.off_hz, samples

    def now_s(self) -> float:
        return self.clock_s

    def close(self) -> None:
        pass


def test_lost_and_overdriven_looks_are_left_out_and_told_and_the_rest_goes_on() -> None:
    said: list[str] = []
    sweeping = Sweeping(Faulty({3}, {2, 9}, 0), SweepWanted(599_800.0, 602_200.0), said.append)
    first, *more = sweeps(sweeping, 4)
    assert 0.4 < np.isfinite(first.levels_db).mean() < 1.0
    assert np.isfinite(more[-1].levels_db).all()
    assert (sweeping.lost, sweeping.overdriven) == (1, 2)
    assert [text for text in said if "overdriven at 600" in text and "less gain" in text]
    assert [text for text in said if "samples were lost" in text]
    assert np.nanmax(first.levels_db) < -15.0


def test_a_receiver_that_goes_says_so_and_what_was_seen_is_kept() -> None:
    sweeping = Sweeping(Faulty(set(), set(), 13), SweepWanted(599_800.0, 602_200.0))
    with pytest.raises(TunerGone, match="still plugged in"):
        sweeps(sweeping)
    assert sweeping.rest()


def test_frequencies_are_those_where_the_receiver_is_tuned_indeed() -> None:
    """Its steps are coarse: it stands 30 kHz off what was asked for, and says so."""
    sweeping = Sweeping(Faulty(set(), set(), 0, off_hz=30e3), SweepWanted(599_800.0, 602_200.0))
    (first, *_) = sweeps(sweeping, 1)
    for hz, level_db in TONES:
        if np.isfinite(first.levels_db[0, np.abs(first.frequencies_khz - hz / 1e3) < 30.0]).all():
            assert power_db(first, hz) == pytest.approx(level_db, abs=0.5)
    assert np.isfinite(first.levels_db).mean() > 0.9


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        (SweepWanted(), "give --from-mhz and --to-mhz"),
        (SweepWanted(600_000.0, 600_000.0), "has 1 bins"),
        (SweepWanted(1e5, 3e6), "expected 2 to 250000"),
        (SweepWanted(6e5, 601e3, resolution_khz=0.001), "too fine"),
        (SweepWanted(6e5, 601e3, resolution_khz=900.0), "leave nothing"),
    ],
)
def test_what_cannot_be_is_one_sentence(wanted: SweepWanted, says: str) -> None:
    with pytest.raises(InputError, match=says):
        Sweeping(Faulty(set(), set(), 0), wanted)


def test_less_time_than_a_pass_takes_is_refused_when_that_is_known() -> None:
    sweeping = Sweeping(Faulty(set(), set(), 0), SweepWanted(599_800.0, 602_200.0, within_s=0.05))
    with pytest.raises(InputError, match=r"all of the band takes 0\.\d\d s, found 0\.05 s"):
        sweeps(sweeping)


def test_recordings_that_are_not_of_one_kind(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="found no recording"):
        recorded(str(tmp_path / "nowhere"))
    with pytest.raises(InputError, match="found 0 recordings"):
        recorded(str(tmp_path))
    Band(rate_hz=2e6).record(tmp_path, [600e6], 0.01)
    Band(rate_hz=1e6).record(tmp_path, [601e6], 0.01)
    with pytest.raises(InputError, match="expected 2000000 complex ones"):
        recorded(str(tmp_path))
    with pytest.raises(InputError, match="no recording lies in the band"):
        sweeps(Sweeping(recorded(str(folder)), SweepWanted(7e5, 701e3)))


def test_other_carriers_are_followed_from_the_end_of_the_rounds_on(folder: Path) -> None:
    tuner = RecordedTuner("band", recorded(str(folder)).recordings, loops=True)
    said: list[str] = []
    sweeping = Sweeping(tuner, SweepWanted(within_s=0.4, look_s=0.01), said.append)
    lines = sweeping.lines()
    passes = Passes("band", sweeping.options)
    for _ in range(2):
        next(lines)
    sweeping.follow(((600_420.0, 600_520.0),))
    seen = [np.isfinite(sweep.levels_db[0]) for line in islice(lines, 12) for sweep in passes.feed(line)]
    mine = np.abs(np.arange(seen[0].size) * sweeping.step_khz + sweeping.from_khz - 600_470.0) < 50.0
    assert all(each[mine].all() for each in seen)
    assert not all(each.all() for each in seen)
    assert np.any(seen[-8:], axis=0).all()
    assert [text.count("our carriers") for text in said] == [0, 1]


def test_a_machine_that_becomes_slow_plans_anew_so_that_all_is_seen_in_time() -> None:
    said: list[str] = []
    tuner = Faulty(set(), set(), 0)
    ours = ((600_420.0, 600_520.0),)
    sweeping = Sweeping(tuner, SweepWanted(599_800.0, 604_000.0, ours, within_s=0.3), said.append)
    lines = sweeping.lines()
    next(lines)
    next(lines)
    assert sweeping.plan is not None
    before = sweeping.plan
    assert before.all_every * 0.02 <= 0.3
    for slower, most in ((0.03, 0.3 + 1e-9), (0.5, 5.0)):
        tuner.a_look_s = slower
        for _ in range(2 * len(before.rounds) + 1):
            next(lines)
        assert sweeping.plan.all_every * slower <= most
    assert sweeping.plan.ours == 0, "a pass takes longer than all may take: it is one after another"
    assert len(said) == 3
