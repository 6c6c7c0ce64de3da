"""Two tracks against each other: real speech, later by known amounts; the numbers stand in docs/sound.md."""

from __future__ import annotations

import re
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from tests.sound.two_tracks import PLACES, RATE, Floats, in_a_room, later, noisy, paired, talk, without

from linkwright.sound.findings import told
from linkwright.sound.pairs import Side, compare
from linkwright.sound.recordings import open_recording
from linkwright.sound.report import pair_document

#: Errors allowed: delay [samples at 16 kHz], drift [ppm].
ALLOWED = {
    "dry": (0.03, 0.2),
    "noise 10 dB under": (0.06, 0.5),
    "room, one near and one far": (0.15, 0.3),
    "room and noise": (0.15, 0.5),
}


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("samples", [0.0, 0.37, -12.5, 80.25, -1234.75, 4000.5])
def test_delay_and_polarity(place: str, samples: float, tmp_path: Path) -> None:
    rng = np.random.default_rng([1, abs(round(100 * samples))])
    sign = -1.0 if samples < 0.0 else 1.0
    a, b = PLACES[place].heard(talk(), sign * later(talk(), samples), rng)
    found = paired(tmp_path, a, 0.4 * b)
    assert found.delay_ms is not None
    assert abs(found.delay_ms * RATE / 1000.0 - samples) < ALLOWED[place][0]
    assert found.inverted is (sign < 0.0)
    assert found.jumps == ()
    assert found.level_db is not None
    assert found.drift_ppm == pytest.approx(0.0, abs=ALLOWED[place][1])


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("ppm", [-100.0, -7.0, 2.0, 10.0, 50.0])
def test_drift(place: str, ppm: float, tmp_path: Path) -> None:
    rng = np.random.default_rng([2, abs(round(ppm))])
    found = paired(tmp_path, *PLACES[place].heard(talk(), later(talk(), 35.0, ppm), rng))
    assert found.drift_ppm == pytest.approx(ppm, abs=ALLOWED[place][1] + 0.003 * abs(ppm))
    assert None not in (found.drift_ppm, found.drift_low_ppm, found.drift_high_ppm)
    assert (found.drift_low_ppm or 0.0) <= (found.drift_ppm or 0.0) <= (found.drift_high_ppm or 0.0)
    assert found.jumps == ()


def cut_twice(rng: np.random.Generator) -> tuple[Floats, Floats, list[tuple[float, int, str]]]:
    """Speech that lost samples in either track, once in its first and once in its second half."""
    a, b = talk(), later(talk(), float(rng.uniform(-60.0, 60.0)), float(rng.choice([0.0, 5.0])))
    truth = []
    for half in (0, 1):
        seconds = float(rng.uniform(4.0, talk().size / RATE / 2.0 - 3.0)) + half * talk().size / RATE / 2.0
        lost, which = int(10.0 ** rng.uniform(0.0, 3.0)), str(rng.choice(["a", "b"]))
        if which == "a":
            a = without(a, round(seconds * RATE), lost)
        else:
            b = without(b, round(seconds * RATE), lost)
        truth.append((seconds, lost, which))
    return a, b, truth


@pytest.mark.parametrize("place", PLACES)
def test_lost_samples(place: str, tmp_path: Path) -> None:
    told = right = 0
    apart_s = []
    for seed in range(12):
        rng = np.random.default_rng([3, seed])
        a, b, truth = cut_twice(rng)
        found = paired(tmp_path, *PLACES[place].heard(a, b, rng)).jumps or ()
        told += len(found)
        for at, lost, which in truth:
            mine = [abs(j.at_s - at) for j in found if (j.lost, j.samples) == (which, lost)]
            right += bool(mine) and min(mine) < 1.5
            apart_s += [min(mine)] if mine else []
    assert right >= 23  # of 24
    assert right >= told - 1
    assert np.median(apart_s) < 0.02  # in a pause there is nothing to place it by


def test_no_common_sound(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    other = np.roll(talk(), talk().size // 2)
    for a, b in ((talk(), other), (talk(), rng.standard_normal(talk().size) * 0.05)):
        found = paired(tmp_path, a, b)
        assert (found.delay_ms, found.inverted, found.drift_ppm, found.jumps) == (None, None, None, None)
        assert found.why == "no common sound"
    assert paired(tmp_path, talk(), 0.0 * talk()).why == "one of them is silent"


def test_two_talkers_at_two_microphones_are_no_jumps(tmp_path: Path) -> None:
    """Who speaks changes every four seconds, and with it which microphone is nearer."""
    x = talk()
    mask = np.arange(x.size) // (4 * RATE) % 2 == 0
    found = paired(tmp_path, x * mask + later(x * ~mask, 50.0), later(x * mask, 50.0) + x * ~mask)
    assert found.jumps is None
    assert "back and forth" in found.why


def test_at_48_khz_with_a_narrow_second_track(tmp_path: Path) -> None:
    from scipy.signal import butter, resample_poly, sosfilt

    x = resample_poly(talk(), 3, 1)
    narrow = sosfilt(butter(4, 3400.0, fs=48_000, output="sos"), np.roll(x, 480))
    found = paired(tmp_path, noisy(x, 20.0, np.random.default_rng(5)), narrow, 48_000)
    assert found.delay_ms == pytest.approx(10.0, abs=0.15)  # the filter itself is 0.1 ms late at low frequencies
    assert found.inverted is False


def stamped(path: Path, x: Floats, begins: int) -> None:
    """A broadcast wave that begins so many samples after midnight (EBU Tech 3285)."""
    soundfile.write(str(path), 0.3 * x, RATE, format="WAV", subtype="PCM_24")
    body = path.read_bytes()
    extra = bytes(320) + b"2031-05-0309:00:00" + struct.pack("<Q", begins) + bytes(256)
    chunks = b"bext" + struct.pack("<I", len(extra)) + extra + body[12:]
    path.write_bytes(b"RIFF" + struct.pack("<I", len(chunks) + 4) + b"WAVE" + chunks)


@pytest.mark.parametrize("begins", [0, 5 * RATE])
def test_files_laid_side_by_side_by_their_stamps(begins: int, tmp_path: Path) -> None:
    """The second recorder started five seconds later, and its clock is 2.5 ms out."""
    a, b = tmp_path / "a.wav", tmp_path / "b.wav"
    late = later(talk(), 40.0)[5 * RATE :]
    stamped(a, talk(), 9 * 3600 * RATE)
    if begins:
        stamped(b, late, 9 * 3600 * RATE + begins)
    else:
        soundfile.write(str(b), 0.3 * late, RATE, subtype="PCM_24")
    found = compare([open_recording(a), open_recording(b)])[0]
    assert found.delay_ms == pytest.approx(2.5 if begins else 2.5 - 5000.0, abs=0.01)
    assert found.begins_s == pytest.approx(5.0, abs=0.01)


def test_files_that_do_not_go_together(tmp_path: Path) -> None:
    a, b, c = (tmp_path / f"{name}.wav" for name in "abc")
    stamped(a, talk(), 0)
    stamped(b, talk()[::-1], 3600 * RATE)
    soundfile.write(str(c), talk(), 48_000)
    first, second = open_recording(a), open_recording(b)
    assert compare([first, second])[0].why == "they do not overlap in time"
    assert compare([first, open_recording(c)])[0].why == "the rates differ (16000 and 48000 Hz)"
    assert compare([first]) == []
    stamped(b, talk(), 3600 * RATE)  # the same after all, and a clock that is an hour wrong
    found = compare([first, open_recording(b)])[0]
    assert found.delay_ms == pytest.approx(3_600_000.0, abs=0.01)


def test_many_tracks_are_each_held_against_one(tmp_path: Path) -> None:
    x = talk()[: 10 * RATE]
    path = tmp_path / "many.wav"
    tracks = [0.0 * x, *(later(x, 3.0 * k) for k in range(9))]
    soundfile.write(str(path), 0.3 * np.stack(tracks, axis=1), RATE, subtype="PCM_24")
    found = compare([open_recording(path)])
    assert len(found) == 9
    assert {pair.a for pair in found if pair.delay_ms is not None} == {Side(0, 1)}
    for k in range(1, 9):
        pair = next(one for one in found if one.b == Side(0, k + 1))
        assert pair.delay_ms == pytest.approx(3.0 * k / 16.0, abs=0.003)
    eight = tmp_path / "eight.wav"
    soundfile.write(str(eight), np.stack(tracks[1:9], axis=1), RATE)
    assert len(compare([open_recording(eight)])) == 28


def two_files(folder: Path, a: Floats, b: Floats) -> list[dict[str, Any]]:
    """What is told of two files of one or more tracks, (n,) or (n, tracks)."""
    paths = [folder / "field.wav", folder / "camera.wav"]
    for path, x in zip(paths, (a, b), strict=True):
        soundfile.write(str(path), 0.3 * x, RATE, subtype="PCM_24")
    recordings = [open_recording(path, path.name) for path in paths]
    pairs = [pair_document(recordings, pair) for pair in compare(recordings)]
    files = [
        {"path": recording.name, "length_s": recording.length_s, "torn_s": None, "rate_hz": recording.rate_hz}
        for recording in recordings
    ]
    return told({"files": files, "tracks": [], "pairs": pairs})


def long_talk(rng: np.random.Generator) -> Floats:
    """Two minutes and a half of which no word is said twice alike: the same talkers, faster and slower."""
    from scipy.signal import resample_poly

    return np.concatenate([resample_poly(talk(), int(up), 97) for up in rng.choice(np.arange(80, 120), 7, False)])


@pytest.mark.parametrize("seed", range(3))
def test_a_file_is_found_in_another_however_far_apart_their_clocks_are(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng([7, seed])
    whole = long_talk(rng)
    begins = int(rng.uniform(40.0, 110.0) * RATE)
    there = whole[begins : begins + 25 * RATE]
    a, b = noisy(in_a_room(whole, 6.0, rng), 20.0, rng), noisy(in_a_room(there, -3.0, rng), 10.0, rng)
    (says,) = [two_file["says"] for two_file in two_files(tmp_path, a, b) if two_file["kind"] == "apart"]
    after_s, where = re.search(r"comes ([0-9.]+) s (.*) than", says).groups()  # type: ignore[union-attr]
    assert float(after_s) == pytest.approx(begins / RATE, abs=0.003)  # a millisecond is a third of a metre
    assert where == "earlier in camera.wav"
    of_another_day = noisy(in_a_room(long_talk(rng)[: 40 * RATE], 3.0, rng), 20.0, rng)
    assert two_files(tmp_path, a, of_another_day) == []


def test_tracks_that_lie_the_other_way_round_are_told(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    one, two = long_talk(rng)[: 40 * RATE], long_talk(rng)[: 40 * RATE]
    bleed = 0.1  # -20 dB of the other talker in each microphone
    field = np.stack((one + bleed * two, two + bleed * one), axis=1)
    (swapped,) = two_files(tmp_path, field, field[:, ::-1])
    assert (swapped["kind"], swapped["says"]) == (
        "swapped", "Tracks 1 and 2 of field.wav are tracks 2 and 1 of camera.wav.",
    )  # fmt: skip
    assert two_files(tmp_path, field, field) == []
    alike = np.stack((one + 0.9 * two, 0.9 * one + two), axis=1)  # two microphones at one place
    assert two_files(tmp_path, alike, alike[:, ::-1]) == []
