"""The drawings of sound: well-formed, legible at both sizes, and each thing where its number says."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from linkwright.draw.arrivals import SoundPath, drawn_arrivals
from linkwright.draw.chain import LEFT_PX as CHAIN_LEFT_PX
from linkwright.draw.chain import GainChain, drawn_chain
from linkwright.draw.link_sound import chain_of, low_cut_curves
from linkwright.draw.response import Curve, ResponseCurves, drawn_curves
from linkwright.draw.wave import FaultMark, Wave, drawn_wave
from linkwright.shoot.models import Link
from linkwright.shoot.reading import parse_shoot
from linkwright.sound.settings import SoundSettings, settings_by_link

SVG = "{http://www.w3.org/2000/svg}"
TEXT = """
[shoot]
title = "T"
region = "GB"
date = 2027-05-14
[[link]]
name = "A & B"
transmitter = "uhf-body-worn"
receiver = "uhf-camera-slot"
microphone = "lapel"
recorder = "camera-input"
voice = "loud"
"""


def one() -> tuple[Link, SoundSettings]:
    shoot = parse_shoot(TEXT, "t.toml")
    return shoot.link[0], settings_by_link(shoot)["A & B"]


def pictures(width: float) -> list[str]:
    link, settings = one()
    low, high = np.linspace(-0.5, -0.1, 300), np.linspace(0.1, 0.5, 300)
    marks = (FaultMark(3.0, 0.01, "mute", True), FaultMark(3.01, 0.2, "click", False))
    return [
        drawn_chain(chain_of(link, settings), width),
        drawn_curves(low_cut_curves(link, settings), width),
        drawn_arrivals("When", [SoundPath("A & B", (("air", 0.6), ("transmitter", 2.0)), 1.5)], width),
        drawn_wave(Wave("Track 1 <of> it", low, high, 0.0, 10.0, marks), width),
    ]


def test_bars_of_latency_have_a_key() -> None:
    for width in (340.0, 720.0):
        text = drawn_arrivals("When", [SoundPath("Boom", (("air", 0.6), ("transmitter", 2.0)), 1.5)], width)
        for word in ("air", "transmitter", "delay to set"):
            assert f">{word}<" in text


@pytest.mark.parametrize("width", [358.0, 720.0])
def test_well_formed_named_legible_and_in_our_few_inks(width: float) -> None:
    for svg in pictures(width):
        root = ElementTree.fromstring(svg)
        assert root.get("role") == "img"
        title = root.find(f"{SVG}title")
        assert title is not None
        assert title.text
        _, _, wide, tall = (float(part) for part in (root.get("viewBox") or "").split())
        for text in root.iter(f"{SVG}text"):
            assert float(text.get("font-size") or 0) >= 12
            assert 0 <= float(text.get("x") or -1) <= wide
            assert 0 < float(text.get("y") or -1) <= tall
        colours = set(re.findall(r"#[0-9a-fA-F]{6}", svg))
        assert colours <= {"#f7f3ea", "#22201c", "#6b655a", "#d3cbb9", "#a8690f", "#9c2b34"}


def test_the_chain_goes_down_by_the_attenuation_that_is_set() -> None:
    link, settings = one()
    chain = chain_of(link, settings)
    voice, capsule, after, digital, recorder = chain.stages
    assert capsule.peak_db - after.peak_db == pytest.approx(settings.at.attenuation_db)
    assert digital.peak_db == pytest.approx(settings.at.peak_dbfs)
    assert recorder.noise_db == pytest.approx(settings.at.noise_dbfs)
    assert voice.ceiling_db is not None
    assert voice.ceiling_db - voice.peak_db == pytest.approx(settings.gain.microphone_headroom_db)
    assert recorder.voice_db - recorder.noise_db == pytest.approx(settings.at.voice_over_noise_db)
    assert all(stage.noise_db < stage.voice_db < stage.peak_db for stage in chain.stages)


def test_no_stage_is_no_diagram() -> None:
    with pytest.raises(ValueError, match="no stage"):
        drawn_chain(GainChain("nothing", (), -10.0))


def test_a_diagram_s_higher_level_stands_higher() -> None:
    link, settings = one()
    root = ElementTree.fromstring(drawn_chain(chain_of(link, settings)))
    lines = [path for path in root.iter(f"{SVG}path") if path.get("fill") == "none"]
    tops = [float((path.get("d") or "").split("L")[0].split()[1]) for path in lines]
    noise, voice, peak = tops
    assert peak < voice < noise
    assert all((path.get("d") or "").startswith(f"M{CHAIN_LEFT_PX:g} ") for path in lines)


def test_octaves_are_equally_wide() -> None:
    curve = Curve("c", "chosen", np.array([100.0, 200.0, 400.0]), np.zeros(3))
    root = ElementTree.fromstring(drawn_curves(ResponseCurves("s", (curve,), (), (50.0, 800.0), (-10.0, 10.0))))
    path = next(one for one in root.iter(f"{SVG}path") if one.get("stroke-width") == "3")
    a, b, c = (float(point.split()[0]) for point in (path.get("d") or "M")[1:].split("L"))
    assert b - a == pytest.approx(c - b, abs=0.02)


def test_a_fault_of_a_millisecond_in_an_hour_is_still_seen() -> None:
    flat = np.zeros(500)
    svg = drawn_wave(Wave("w", flat, flat, 0.0, 3600.0, (FaultMark(1800.0, 0.001, "mute", True),)))
    rects = [one for one in ElementTree.fromstring(svg).iter(f"{SVG}rect") if one.find(f"{SVG}title") is not None]
    assert float(rects[0].get("width") or 0) >= 2.0
    assert float(rects[0].get("x") or 0) == pytest.approx(360.0, abs=0.1)
