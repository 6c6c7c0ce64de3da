"""The drawn time line: gaps stay gaps, shapes tell causes, words keep clear, any text is safe."""

from __future__ import annotations

import re
import zoneinfo
from xml.etree import ElementTree

import numpy as np
import pytest
from tests.watch.made_readings import NINE_MS, part, readings

from linkwright.draw.bars import BarSpan
from linkwright.draw.timeline import LinkLane, MomentFlag, Timeline, drawn_timeline
from linkwright.watch.diagnose.causes import CAUSES
from linkwright.watch.diagnose.episodes import DiagnosedEpisode
from linkwright.watch.figures.outline import Outline
from linkwright.watch.figures.statistics import FiguresTally

LONDON = zoneinfo.ZoneInfo("Europe/London")
SVG = "{http://www.w3.org/2000/svg}"


def drawn(
    width: float = 1200.0, link: str = "Boom", to_ms: int = NINE_MS + 60_000, **more: object
) -> ElementTree.Element:
    made = readings((link,), seconds=60.0)
    keep = np.ones(600, dtype=np.bool_)
    keep[200:400] = False
    made = part(made, keep)
    outline, tally = Outline(step_ms=100), FiguresTally()
    outline.add(made)
    tally.add(made)
    cause = str(more.pop("cause", "body"))
    episode = DiagnosedEpisode(
        link, NINE_MS + 10_000, NINE_MS + 12_000, cause, 0.8, "because", "do", bool(more.pop("heard", True))
    )
    lane = LinkLane(link, outline.of(link, NINE_MS, to_ms, 1000), tally.figures()[0].gaps, (episode,), -97.0)
    timeline = Timeline(
        NINE_MS, to_ms, LONDON, (BarSpan("Morning", NINE_MS, NINE_MS + 50_000),), (lane,),
        (MomentFlag(NINE_MS + 5000, "take", "Take 1"), MomentFlag(NINE_MS + 5100, "note", "<wind> & rain")),
        (BarSpan("roll 1.wav", NINE_MS + 1000, NINE_MS + 40_000, (NINE_MS + 11_000,)),),
    )  # fmt: skip
    return ElementTree.fromstring(drawn_timeline(timeline, "what it shows", width))


def texts(svg: ElementTree.Element) -> list[str]:
    return [one.text or "" for one in svg.iter(f"{SVG}text")]


def test_a_gap_is_hatched_and_never_bridged() -> None:
    svg = drawn()
    hatched = [one for one in svg.iter(f"{SVG}rect") if one.get("fill") == "url(#no-readings)"]
    assert len(hatched) == 1
    left, right = float(svg.attrib["data-left"]), float(svg.attrib["data-right"])
    begin = float(hatched[0].attrib["x"])
    end = begin + float(hatched[0].attrib["width"])
    assert begin == pytest.approx(left + (right - left) * 19.9 / 60, abs=0.1)
    assert end == pytest.approx(left + (right - left) * 40.0 / 60, abs=0.1)
    levels = [one.attrib["d"] for one in svg.iter(f"{SVG}path") if one.get("fill-opacity") == "0.72"]
    assert len(levels) == 2, "one piece before the gap, one after it"
    for path in levels:
        xs = [float(x) for x in re.findall(r"[ML](-?[\d.]+) ", path)]
        assert max(xs) <= begin + 3.0 or min(xs) >= end - 3.0


@pytest.mark.parametrize("cause", [*CAUSES, "something new"])
def test_each_cause_has_a_mark_and_its_word(cause: str) -> None:
    svg = drawn(cause=cause)
    assert cause.replace("-", " ") in texts(svg)
    assert any("scale(8)" in one.get("transform", "") for one in svg.iter(f"{SVG}path"))


def test_no_two_causes_look_the_same() -> None:
    assert len({(cause.mark, cause.filled) for cause in CAUSES.values()}) == len(CAUSES)


@pytest.mark.parametrize("width", [300.0, 390.0, 1280.0, 2000.0])
def test_words_are_16_px_and_stay_inside(width: float) -> None:
    svg = drawn(width)
    assert svg.attrib["width"] == f"{width:g}"
    for one in svg.iter(f"{SVG}text"):
        assert float(one.attrib["font-size"]) >= 16
        assert 0 <= float(one.attrib["x"]) <= width
    assert {"Boom", "Morning", "roll 1.wav"} <= set(texts(svg))
    assert "09:00" in " ".join(texts(svg))


def test_any_name_is_text() -> None:
    name = "<script>&'\"]]>"
    assert name in texts(drawn(link=name))


def test_what_nobody_heard_is_a_tick_over_a_long_time_and_a_mark_close_by() -> None:
    long = drawn(to_ms=NINE_MS + 4 * 3_600_000, heard=False)
    assert not any("scale(8)" in one.get("transform", "") for one in long.iter(f"{SVG}path"))
    assert any((one.text or "").endswith("body in the way, not heard") for one in long.iter(f"{SVG}title"))
    assert any("scale(8)" in one.get("transform", "") for one in drawn(heard=False).iter(f"{SVG}path"))


@pytest.mark.parametrize(("span_ms", "label"), [(400, "09:00:00.1"), (15_000, "09:00:02"), (3_600_000, "09:05")])
def test_the_axis_has_round_times_for_any_stretch(span_ms: int, label: str) -> None:
    assert label in texts(drawn(to_ms=NINE_MS + span_ms))


def test_nothing_at_all_can_be_drawn() -> None:
    svg = ElementTree.fromstring(drawn_timeline(Timeline(NINE_MS, NINE_MS + 1000, LONDON), "empty", 390.0))
    assert any("No readings." in text for text in texts(svg))
