"""Faults: recall and precision on real speech, edits told from mutes, clipping, hum, and what is no fault."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.sound.voices import EDITED, RATE, UNSEEN, clip, faults_of, injected, speech

from linkwright.sound.fault import Fault
from linkwright.sound.kinds import GRAVE

KINDS = ("mute", "hold", "repeat", "ramped hole", "noise-filled hole")


def grave(faults: list[Fault]) -> list[Fault]:
    return [fault for fault in faults if fault.certain and fault.kind in GRAVE]


def meets(fault: Fault, place: tuple[int, int]) -> bool:
    return fault.at < place[1] + 32 and fault.at + fault.length > place[0] - 32


@pytest.mark.parametrize("kind", KINDS)
def test_certain_faults_on_speech_that_no_threshold_was_tuned_on(kind: str) -> None:
    right = missed = wrong = 0
    for number, name in enumerate(UNSEEN):
        for seed in range(4):
            rng = np.random.default_rng([seed, number, KINDS.index(kind)])
            samples, places = injected(speech(name), kind, rng)
            found = grave(faults_of(samples, RATE))
            hit = [any(meets(one, place) for one in found) for place in places]
            right, missed = right + sum(hit), missed + len(hit) - sum(hit)
            wrong += sum(not any(meets(one, place) for place in places) for one in found)
    assert right > 80
    assert right / (right + missed) >= 0.98
    assert right / (right + wrong) >= 0.98


@pytest.mark.parametrize("name", UNSEEN)
def test_clean_speech_has_no_certain_fault(name: str) -> None:
    assert grave(faults_of(speech(name), RATE)) == []


def test_edits_are_told_from_mutes() -> None:
    """Clean voices with digital silence between the words: zeros there are edits, until one is cut in."""
    if not EDITED.is_dir():
        pytest.skip("no edited speech: install Debian's alsa-utils")
    edits = 0
    for path in sorted(EDITED.glob("*.wav")):
        samples, rate = clip(path)
        found = faults_of(samples, rate)
        assert grave(found) == [], path.name
        edits += sum(one.kind == "edit" for one in found)
        loudest = int(np.argmax(np.abs(samples)))
        samples[loudest : loudest + rate // 100] = 0
        kinds = [one.kind for one in grave(faults_of(samples, rate)) if abs(one.at - loudest) < 10]
        assert kinds == ["mute"], path.name
    assert edits > 10


def noisy(length_s: float, rate: int, seed: int, rms: float = 300.0) -> NDArray[np.int16]:
    return np.round(np.random.default_rng(seed).normal(0.0, rms, round(length_s * rate))).astype(np.int16)


@pytest.mark.parametrize("block_s", [0.1, 0.7, 5.0])
@pytest.mark.parametrize("at", [48_000, 95_000, 96_010])
def test_a_fault_is_told_once_and_in_its_place_whatever_the_blocks(block_s: float, at: int) -> None:
    samples = noisy(6.0, 48_000, 1)
    samples[at : at + 480] = 0
    found = grave(faults_of(samples, 48_000, block_s))
    assert [(one.kind, one.at, one.length) for one in found] == [("mute", at, 480)]


def test_a_long_mute_over_many_blocks() -> None:
    samples = noisy(6.0, 48_000, 2)
    samples[48_000:120_000] = 0
    found = grave(faults_of(samples, 48_000, 0.3))
    assert [(one.kind, one.at, one.length) for one in found] == [("mute", 48_000, 72_000)]


def test_zeros_at_both_ends_are_edits() -> None:
    samples = noisy(3.0, 48_000, 3)
    samples[:9_600] = 0
    samples[-9_600:] = 0
    found = [(one.kind, one.at, one.length) for one in faults_of(samples, 48_000) if one.kind != "click"]
    assert found == [("edit", 0, 9_600), ("edit", 144_000 - 9_600, 9_600)]


@pytest.mark.parametrize("hertz", [60.0, 997.0, 1000.0, 8000.0])
def test_a_steady_tone_is_no_repeat(hertz: float) -> None:
    n = np.arange(48_000 * 4)
    samples = np.round(3000.0 * np.sin(2.0 * np.pi * hertz * n / 48_000)).astype(np.int16)
    assert grave(faults_of(samples, 48_000)) == []


@pytest.mark.parametrize("rms", [0.3, 1.0, 3.0, 3000.0])
def test_noise_has_no_certain_fault(rms: float) -> None:
    """But that there is nothing else on the track, where it is the noise of a converter."""
    assert {one.kind for one in grave(faults_of(noisy(10.0, 48_000, 4, rms), 48_000))} <= {"dead"}
    assert rms < 10.0 or not grave(faults_of(noisy(10.0, 48_000, 4, rms), 48_000))


def test_flat_tops_are_clipping() -> None:
    samples = speech(UNSEEN[1])
    loud = np.clip(samples * 8.0, -32768, 32767).astype(np.int16)
    assert {one.kind for one in grave(faults_of(loud, RATE))} == {"clip"}


def test_clipping_shows_after_a_fade_and_a_rate_conversion() -> None:
    from scipy.signal import resample_poly

    samples = speech(UNSEEN[1])
    clipped = np.clip(samples * 8.0, -32768, 32767)
    for up, down in ((147, 160), (3, 1)):
        converted = np.round(0.5 * resample_poly(clipped, up, down)).astype(np.int16)
        assert "clip" in {one.kind for one in faults_of(converted, RATE * up // down)}
        clean = np.round(0.5 * resample_poly(samples.astype(float), up, down)).astype(np.int16)
        assert "clip" not in {one.kind for one in faults_of(clean, RATE * up // down)}


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_hum_is_heard_in_room_tone(mains: float) -> None:
    n = np.arange(10 * 48_000)
    hum = sum(40.0 / k * np.sin(2.0 * np.pi * mains * k * n / 48_000) for k in (1, 2, 3, 4))
    quiet = noisy(10.0, 48_000, 5, 30.0)
    assert "hum" not in {one.kind for one in faults_of(quiet, 48_000)}
    assert "hum" in {one.kind for one in faults_of(np.round(quiet + hum).astype(np.int16), 48_000)}
