"""The page Sound from outside: settings that follow the shoot, recordings that are listened to, moments to play."""

from __future__ import annotations

import io
import time

import numpy as np
import pytest
import soundfile
from fastapi.testclient import TestClient
from tests.web.conftest import desk_of_client, planned

RATE = 16_000


def voice(seconds: float = 8.0) -> np.ndarray:
    """A buzz of 120 Hz with its harmonics that comes and goes over quiet noise."""
    rng = np.random.default_rng(5)
    t = np.arange(round(seconds * RATE)) / RATE
    turns = np.cumsum(120.0 * (1.0 + 0.03 * np.sin(2 * np.pi * 2.3 * t) + 0.01 * rng.normal(size=t.size))) / RATE
    buzz = sum(np.sin(2 * np.pi * k * turns) / k for k in range(1, 12))
    return np.asarray(0.1 * buzz * (np.sin(2 * np.pi * 0.8 * t) > 0.0) + rng.normal(0, 1e-3, t.size))


def wav(tracks: list[np.ndarray], rate: int = RATE) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, np.stack(tracks, axis=1), rate, format="WAV", subtype="PCM_24")
    return out.getvalue()


def sent(client: TestClient, data: bytes, name: str = "take.wav") -> None:
    answered = client.post("/sound/recordings", files={"file": (name, data, "audio/wav")})
    assert answered.status_code == 200, answered.text


def heard(client: TestClient) -> str:
    """The recordings as the page shows them once all have been listened to."""
    for _ in range(400):
        text = client.get("/sound/recordings").text
        if "Not listened to yet" not in text and 'id="listen-what"' not in text:
            return text
        time.sleep(0.05)
    raise AssertionError(text)


@pytest.fixture
def with_take(demo: TestClient) -> TestClient:
    a = voice()
    b = -0.5 * np.roll(a, 48)  # 3 ms later, upside down
    a = a.copy()
    a[30_000:30_160] = 0.0
    sent(demo, wav([a, b]))
    return demo


def recording_id(text: str) -> str:
    return text.partition('id="rec-')[2].partition('"')[0]


def test_the_settings_of_every_link_and_its_chain(demo: TestClient) -> None:
    text = demo.get("/sound").text
    assert "every voice peaks under" in text
    for name in ("Presenter", "Boom", "Packer"):
        assert f"Chain of {name}" in text
    part = demo.get("/sound/link", params={"link": "Boom", "width": 358})
    assert part.status_code == 200
    assert part.text.count("<svg") == 2
    assert "Phantom power" in part.text
    assert "off before plugging" in part.text
    assert demo.get("/sound/link", params={"link": "Nobody"}).status_code == 400


def test_how_far_the_speech_stands_over_the_rest(demo: TestClient) -> None:
    sent(demo, wav([voice(), np.random.default_rng(6).normal(0.0, 0.01, 8 * RATE)]))
    text = heard(demo)
    assert "<p>Track 1: Speech stands over the rest: 0." in text
    assert text.count("is not told: no voice stands 6 dB over what else is there.") == 1


def test_what_is_set_by_hand_shows_at_once(demo: TestClient) -> None:
    entries = desk_of_client(demo).snapshot().document.draft.entries("link")
    of = next(id_ for id_, value in entries if value["name"] == "Stoker")
    answered = demo.post("/api/field", json={"path": ["link", of, "attenuation_db"], "seen": "null", "text": "0"})
    assert answered.status_code == 200
    planned(demo)
    text = demo.get("/sound/body").text
    assert "Stoker peaks at" in text
    assert "hot" in text
    assert "<strong>warn</strong> Stoker: peaks of" in text


def test_csv_and_arrivals(demo: TestClient) -> None:
    rows = demo.get("/sound.csv").text.splitlines()
    assert rows[0].startswith("link,voice,mouth_m,attenuation_db")
    assert len(rows) == 1 + 8, "seven talents and a crew that speaks; what goes to ears has no gain"
    assert "<svg" in demo.get("/sound/arrivals", params={"call": "Raking"}).text
    assert demo.get("/sound/arrivals", params={"call": "None"}).status_code == 400


def test_a_recording_is_listened_to_and_its_faults_are_told(with_take: TestClient) -> None:
    text = heard(with_take)
    assert "1 certain fault in one recording" in text
    assert "mute, 10.0 ms, certain" in text
    assert "+3.00" in text
    assert "inverted" in text
    assert "first notch" in text


def test_any_moment_can_be_played_and_seen(with_take: TestClient) -> None:
    of = recording_id(heard(with_take))
    played = with_take.get("/sound/excerpt.wav", params={"of": of, "track": 1, "at": 1.875, "length": 0.01})
    assert played.headers["content-type"] == "audio/wav"
    samples, rate = soundfile.read(io.BytesIO(played.content))
    assert rate == RATE
    assert samples.size == round(1.51 * RATE)
    assert not samples[12_000:12_160].any()  # the mute, three quarters of a second in
    whole = with_take.get("/sound/wave", params={"of": of, "track": 1}).text
    near = with_take.get("/sound/wave", params={"of": of, "track": 1, "begin": 1.5, "end": 2.2, "width": 358}).text
    assert "mute at 1.875 s" in whole
    assert "mute at 1.875 s" in near
    assert "<svg" in with_take.get("/sound/comb", params={"delay_ms": 3.0}).text
    for track, name, at in ((9, of, 0), (1, "x", 0), (1, of, 99)):
        wrong: dict[str, str | int] = {"of": name, "track": track, "at": at}
        assert with_take.get("/sound/excerpt.wav", params=wrong).status_code == 400


def test_what_a_recording_taught_is_set_on_the_link(with_take: TestClient) -> None:
    of = recording_id(heard(with_take))
    assert "<svg" in with_take.get("/sound/voice", params={"of": of, "track": 1}).text
    answered = with_take.post("/sound/take", json={"link": "Presenter", "of": of, "channel": 1})
    assert answered.status_code == 200, answered.text
    shoot = desk_of_client(with_take).snapshot().whole_shoot()
    link = next(one for one in shoot.link if one.name == "Presenter")
    assert link.voice_f0_hz == pytest.approx(0.97 * 120.0, abs=2.0)  # a vibrato of 3 %
    assert link.low_cut_hz in (0, 60, 80)  # 0.798 of 120 Hz is 96 Hz
    assert with_take.post("/sound/take", json={"link": "No", "of": of, "channel": 1}).status_code == 400


def test_what_a_low_cut_takes_is_heard_before_and_after(demo: TestClient) -> None:
    """30 Hz at 0.3 beside the voice: a third-order low cut of 80 Hz leaves 20 log10 |H| = -25.6 dB of it."""
    t = np.arange(8 * RATE) / RATE
    sent(demo, wav([voice() + 0.3 * np.sin(2 * np.pi * 30.0 * t)]))
    of = recording_id(heard(demo))
    part = demo.get("/sound/voice", params={"of": of, "track": 1}).text
    assert "Before, from 0:00:0" in part
    assert "After 80 Hz" in part or "After 60 Hz" in part
    level = {}
    for hz in (0.0, 80.0):
        asked: dict[str, str | float] = {"of": of, "track": 1, "at": 2.0, "length": 4.0, "low_cut_hz": hz}
        x, _ = soundfile.read(io.BytesIO(demo.get("/sound/excerpt.wav", params=asked).content))
        x = x[RATE:]
        tone = np.exp(-2j * np.pi * 30.0 * np.arange(x.size // RATE * RATE) / RATE)
        level[hz] = 20.0 * np.log10(abs((x[: tone.size] * tone).mean()))
    assert level[80.0] - level[0.0] == pytest.approx(-25.6, abs=0.3)


def test_the_gain_is_proposed_and_set_with_a_tap(with_take: TestClient) -> None:
    """The take peaks at some -12 dBFS; with what is set it would need less or more, and that is what is set."""
    of = recording_id(heard(with_take))
    assert "What does it need?" in with_take.get("/sound/recordings").text
    asked: dict[str, str | int] = {"of": of, "track": 1, "link": "Presenter"}
    part = with_take.get("/sound/gain", params=asked).text
    assert "its loudest minute peaks at \N{MINUS SIGN}" in part
    step = part.partition("<button>Set ")[2].partition(" dB on Presenter")[0]
    before = desk_of_client(with_take).snapshot().whole_shoot()
    assert next(one for one in before.link if one.name == "Presenter").attenuation_db is None, "not yet tapped"
    answered = with_take.post("/sound/gain", json={"link": "Presenter", "of": of, "channel": 1})
    assert answered.status_code == 200, answered.text
    assert f"Presenter: {step} dB of attenuation." in answered.json()["says"][0]
    after = desk_of_client(with_take).snapshot().whole_shoot()
    assert next(one for one in after.link if one.name == "Presenter").attenuation_db == float(step)
    wrongs: tuple[dict[str, str | int], ...] = ({"link": "Nobody"}, {"of": "none"}, {"track": 9})
    for wrong in wrongs:
        assert with_take.get("/sound/gain", params=asked | wrong).status_code == 400


def test_two_recordings_stand_to_each_other_and_one_may_go(with_take: TestClient) -> None:
    heard(with_take)
    sent(with_take, wav([np.roll(voice(), 160)]), "camera.wav")
    text = heard(with_take)
    for _ in range(200):
        if "Recordings against each other" in text:
            break
        time.sleep(0.05)
        text = heard(with_take)
    assert "take.wav:1 and camera.wav:1" in text
    assert "+10.00" in text
    of = recording_id(text)
    assert with_take.post("/sound/recordings/remove", json={"of": of}).status_code == 200
    assert "take.wav" not in with_take.get("/sound/recordings").text
    assert with_take.post("/sound/recordings/remove", json={"of": of}).status_code == 400


@pytest.mark.parametrize("data", [b"", b"not a sound", b"RIFF\x00\x00\x00\x00WAVE", wav([np.zeros(10)])[:44]])
def test_what_is_no_recording_is_refused_in_a_sentence_and_not_kept(demo: TestClient, data: bytes) -> None:
    answered = demo.post("/sound/recordings", files={"file": ("x.wav", data, "audio/wav")})
    assert answered.status_code == 400
    assert "x.wav" in answered.json()["says"][0]
    assert desk_of_client(demo).listening.recordings() == []


def test_listening_can_be_stopped(demo: TestClient) -> None:
    assert demo.post("/sound/stop").json()["says"] == ["Stopped listening."]
