"""Suspects: bursts, regular clicks, repeats digitised again, and what a second track says to them."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from tests.sound.two_tracks import later, talk
from tests.sound.voices import RATE, UNSEEN, faults_of, speech

from linkwright.sound.cross_check import seconded
from linkwright.sound.fault import Fault, apart, regular_clicks
from linkwright.sound.listen import Heard, listen
from linkwright.sound.pairs import compare
from linkwright.sound.recordings import open_recording
from linkwright.sound.report import listen_document

Ints = NDArray[np.int16]
WIDE = 48_000


def at_48_khz(name: str) -> NDArray[np.float64]:
    from scipy.signal import resample_poly

    return np.asarray(resample_poly(speech(name).astype(float), 3, 1))


def found_at(x: NDArray[np.float64], rate: int, kind: str) -> list[Fault]:
    told = faults_of(np.clip(np.round(x), -32768, 32767).astype(np.int16), rate)
    return [one for one in told if one.kind == kind and not one.certain]


def counted(found: list[Fault], places: list[tuple[int, int]]) -> tuple[int, int]:
    """How many places were found, and how much was told elsewhere."""
    hit = [any(f.at < b + 96 and f.at + f.length > a - 96 for f in found) for a, b in places]
    wrong = sum(not any(f.at < b + 96 and f.at + f.length > a - 96 for a, b in places) for f in found)
    return sum(hit), wrong


def test_bursts_of_noise_at_the_level_of_the_voice() -> None:
    right = wrong = number = 0
    for seed, name in enumerate(UNSEEN):
        rng = np.random.default_rng([11, seed])
        x, places = at_48_khz(name), []
        for begin in range(WIDE // 2, x.size - WIDE // 2, WIDE // 2):
            end = begin + int(rng.uniform(0.003, 0.05) * WIDE)
            level = float(x[begin - 480 : end].std())
            if level >= 300.0:
                x[begin:end] = rng.normal(0.0, level, end - begin)
                places.append((begin, end))
        hit, false = counted(found_at(x, WIDE, "burst"), places)
        right, wrong, number = right + hit, wrong + false, number + len(places)
    assert number > 20
    assert right >= 0.9 * number
    assert wrong <= 1


def in_pieces(kind: str, rng: np.random.Generator) -> NDArray[np.float64]:
    """Two seconds of a plug that crackles, a hand that knocks, cloth that rubs; 16 bits at 48 kHz."""
    x = np.zeros(2 * WIDE)
    if kind == "crackle":
        for at in rng.integers(0, x.size - 8, 40):
            x[at : at + 8] += rng.choice([-1.0, 1.0]) * rng.uniform(1000.0, 3000.0) * 0.5 ** np.arange(8)
    elif kind == "handling":
        n = WIDE // 10
        for at in range(0, x.size - n, WIDE // 4):
            x[at : at + n] = 16_000.0 * np.hanning(n) * np.sin(np.arange(n) / WIDE * 250.0)
    else:
        hertz = np.fft.rfftfreq(x.size, 1.0 / WIDE)
        spectrum = np.fft.rfft(rng.standard_normal(x.size)) / np.sqrt(np.maximum(hertz, 200.0))
        x = np.fft.irfft(spectrum, x.size) * np.interp(np.arange(x.size), np.arange(0, x.size + 1, x.size // 16),
                                                       rng.uniform(0.2, 1.0, 17))  # fmt: skip
        x *= 600.0 / x.std()
    return x


@pytest.mark.parametrize("kind", ["crackle", "handling", "rustle"])
def test_a_plug_a_hand_and_cloth_are_one_finding_with_what_to_do(kind: str) -> None:
    pause = np.random.default_rng(14).normal(0.0, 4.0, 4 * WIDE)
    for seed, name in enumerate(UNSEEN[:3]):
        rng = np.random.default_rng([13, seed])
        voice = at_48_khz(name)
        x = np.concatenate((voice, pause, voice))
        assert found_at(x, WIDE, kind) == [], "a voice alone"
        begins = voice.size + WIDE
        x[begins : begins + 2 * WIDE] += in_pieces(kind, rng)
        (one,) = found_at(x, WIDE, kind)
        assert abs(one.at - begins) < 0.25 * WIDE
        assert 1.4 * WIDE < one.length < 2.4 * WIDE


def test_repeats_that_were_digitised_again() -> None:
    """Repeats of 8 to 30 ms, then moved by 0.37 samples, 2 dB quieter and with noise of 1.5 steps of 16 bits."""
    right = wrong = number = 0
    for seed, name in enumerate(UNSEEN):
        rng = np.random.default_rng([12, seed])
        x, places = at_48_khz(name), []
        for begin in range(WIDE // 2, x.size - WIDE // 2, WIDE // 2):
            length = int(rng.uniform(0.008, 0.03) * WIDE)
            if x[begin - length : begin + length].std() >= 300.0:
                x[begin : begin + length] = x[begin - length : begin]
                places.append((begin, begin + length))
        moved = np.fft.irfft(np.fft.rfft(x) * np.exp(2j * np.pi * np.fft.rfftfreq(x.size) * 0.37), x.size)
        hit, false = counted(found_at(0.8 * moved + rng.normal(0.0, 1.5, x.size), WIDE, "repeat"), places)
        right, wrong, number = right + hit, wrong + false, number + len(places)
    assert number > 20
    assert right >= 0.8 * number
    assert wrong <= 1


@pytest.mark.parametrize("name", UNSEEN)
def test_clean_speech_has_few_of_them(name: str) -> None:
    assert found_at(at_48_khz(name), WIDE, "burst") == []
    assert len(found_at(at_48_khz(name), WIDE, "repeat")) <= 1


@given(
    st.floats(0.1, 20.0),
    st.integers(10, 40),
    st.integers(0, 2**32 - 1),
    st.floats(0.0, 0.2),
)
def test_regular_clicks_are_one(period: float, count: int, seed: int, missing: float) -> None:
    rng = np.random.default_rng(seed)
    kept = rng.random(count) >= missing
    kept[::2] = kept[:8] = True  # no gap of more than one
    at = np.round((1.0 + period * np.arange(count) + rng.uniform(-5e-4, 5e-4, count))[kept] * WIDE).astype(int)
    found = regular_clicks([Fault(int(i), 24, "click", False) for i in at], WIDE)
    series = [one for one in found if one.every_s is not None]
    assert len(series) == 1
    assert series[0].every_s == pytest.approx(period, abs=2e-3)
    assert series[0].at == at[0]


def test_clicks_by_chance_stay_single() -> None:
    rng = np.random.default_rng(13)
    clicks = [Fault(int(i), 24, "click", False) for i in np.sort(rng.integers(0, 600 * WIDE, 30))]
    assert all(regular_click.every_s is None for regular_click in regular_clicks(clicks, WIDE))


def test_a_clock_that_slips_is_one_finding() -> None:
    """A step in the signal every two seconds: not ten clicks but one line with the period."""
    rng = np.random.default_rng(14)
    x = 300.0 * np.sin(2.0 * np.pi * 200.0 * np.arange(24 * WIDE) / WIDE) + rng.normal(0.0, 3.0, 24 * WIDE)
    for k in range(11):
        x[(2 * k + 1) * WIDE] += 5000.0
    found = found_at(x, WIDE, "click")
    assert [one.every_s is not None for one in found] == [True]
    assert found[0].every_s == pytest.approx(2.0, abs=1e-3)


@given(st.lists(st.tuples(st.integers(0, 100_000), st.integers(1, 3_000)), max_size=40))
def test_faults_kept_apart_do_not_overlap(spans: list[tuple[int, int]]) -> None:
    kinds = ("mute", "hole", "click", "burst")
    kept = apart([Fault(a, n, kinds[a % 4], False) for a, n in spans])
    for one, two in pairwise(kept):
        assert one.at + one.length <= two.at


def both(folder: Path, a: NDArray[np.float64], b: NDArray[np.float64]) -> Heard:
    path = folder / "two.wav"
    soundfile.write(str(path), np.stack((a, b), axis=1), RATE, subtype="PCM_24")
    recording = open_recording(path)
    return seconded([listen(recording)], compare([recording]))[0]


@pytest.mark.parametrize("off_zero", [0.0, 0.03])
def test_a_second_track_speaks_for_a_suspect(off_zero: float, tmp_path: Path) -> None:
    """Also where it has a fault of its own all the time, as DC is."""
    a, b = talk().copy(), later(talk(), 40.3) + off_zero
    b += np.random.default_rng(15).normal(0.0, 1e-4, b.size)
    a += np.random.default_rng(16).normal(0.0, 1e-4, b.size)
    loud = [i for i in range(RATE, 20 * RATE, RATE) if b[i + 40 : i + 360].std() > 0.02][:3]
    ramp = np.linspace(1.0, 0.0, 160) ** 4
    faded = np.concatenate((ramp, np.zeros(320), ramp[::-1]))
    for at in loud:
        a[at - 160 : at + 480] *= faded  # an edit, but the other track goes on
    heard = both(tmp_path, a, b)
    told = [fault for fault in heard.tracks[0].faults if fault.other is not None and fault.kind == "mute"]
    assert len(told) == len(loud) >= 2
    assert all(not one.certain and one.other == (0, 1) for one in told)
    document = listen_document([heard])
    assert [f["other_track"] for f in document["tracks"][0]["faults"] if f["kind"] == "mute"] == [
        f"{tmp_path / 'two.wav'}:2"
    ] * len(told)


def test_silence_on_both_tracks_stays_an_edit(tmp_path: Path) -> None:
    a = talk().copy()
    at = next(i for i in range(RATE, 20 * RATE, RATE) if a[i : i + 320].std() > 0.02)
    a[at - 160 : at + 1760] *= np.concatenate(
        (np.linspace(1.0, 0.0, 160), np.zeros(1600), np.linspace(0.0, 1.0, 160))
    )
    heard = both(tmp_path, a, later(a, 40.3))
    assert not [fault for fault in heard.tracks[0].faults if fault.kind == "mute"]
