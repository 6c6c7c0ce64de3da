"""The score as SVG: well-formed, accessible, legible, and each thing where its frequency says."""

from __future__ import annotations

import re
import struct
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.draw.axis import Axis, ticks
from linkwright.draw.lanes import Band, Bands, Levels, Pin, Pins, flags
from linkwright.draw.png import png_of
from linkwright.draw.score import LEFT_PX, RIGHT_PX, WIDTH_PX, Score, drawn
from linkwright.draw.svg import wrapped
from linkwright.units import FloatArray

SVG = "{http://www.w3.org/2000/svg}"


def levels(bins: int = 400, holes: tuple[int, int] | None = None) -> Levels:
    left: FloatArray = 470_000.0 + 500.0 * np.arange(bins, dtype=np.float64)
    keep = np.ones(bins, dtype=bool)
    if holes:
        keep[holes[0] : holes[1]] = False
    low = np.full(bins, -110.0)
    high = np.full(bins, -100.0)
    high[bins // 2 : bins // 2 + 1] = -60.0
    return Levels("Measured", left[keep], left[keep] + 500.0, low[keep], high[keep], low[keep] + 3, "dBm")


def score(*lanes: object, says: str = "All is well") -> Score:
    return Score(says, "quay.csv", 470_000, 670_000, tuple(lanes), ("A note.",))  # type: ignore[arg-type]


def tree(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


FULL = (
    levels(holes=(100, 140)),
    Bands(
        "Allowed", (Band(470_000, 606_000, "permit"), Band(608_000, 614_000, "closed", "closed", "radio astronomy"))
    ),
    Bands("TV", (Band(494_000, 502_000, "24", "solid"), Band(518_000, 526_000, "27", "doubt"))),
    Pins("Carriers", (Pin(600_000, 0.5, "600.000"), Pin(640_125, 0.9, "640.125", "thin", 200.0))),
    Pins("Ours", (Pin(571_125, 1.0, "Pilot"), Pin(583_250, 1.0, "Pilot", "fails"))),
)


def test_it_is_one_document_with_a_name_and_a_description() -> None:
    root = tree(drawn(score(*FULL, says='Two <links> & "one" more')))
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    ids = {one.get("id"): one for one in root.iter()}
    named, described = (root.get("aria-labelledby") or "").split()
    assert ids[named].text == 'Two <links> & "one" more'
    assert "A note." in (ids[described].text or "")
    titles = [one.text for one in root.iter(f"{SVG}title")]
    assert "radio astronomy" in titles
    assert "not looked at" in titles


def test_no_text_is_under_14_px_and_all_of_it_is_inside() -> None:
    root = tree(drawn(score(*FULL)))
    height = float(root.get("height") or 0)
    for text in root.iter(f"{SVG}text"):
        assert float(text.get("font-size") or 0) >= 14
        assert 0 < float(text.get("x") or -1) < WIDTH_PX
        assert 0 < float(text.get("y") or -1) < height


def test_only_our_few_inks_and_no_script_or_link() -> None:
    svg = drawn(score(*FULL))
    colours = set(re.findall(r"#[0-9a-fA-F]{6}", svg))
    assert colours <= {"#f7f3ea", "#22201c", "#6b655a", "#d3cbb9", "#a8690f", "#9c2b34"}
    assert "<script" not in svg
    assert "href" not in svg


def test_things_stand_where_their_frequency_says() -> None:
    axis = Axis(470_000, 670_000, LEFT_PX, WIDTH_PX - RIGHT_PX)
    root = tree(drawn(score(*FULL)))
    boxes = {one.find(f"{SVG}title"): one for one in root.iter(f"{SVG}g")}
    box = next(one for title, one in boxes.items() if title is not None and (title.text or "").startswith("24 "))
    rect = box.find(f"{SVG}rect")
    assert rect is not None
    assert float(rect.get("x") or 0) == pytest.approx(axis.x(494_000), abs=0.01)
    assert float(rect.get("width") or 0) == pytest.approx(axis.x(502_000) - axis.x(494_000), abs=0.02)
    heads = [float(one.get("cx") or 0) for one in root.iter(f"{SVG}circle")]
    assert heads == pytest.approx([axis.x(khz) for khz in (600_000, 640_125, 571_125, 583_250)], abs=0.01)


def test_a_column_keeps_the_extremes_of_its_bins() -> None:
    """200 MHz in 20 000 bins on some 1000 pixels: one bin that stands out is not lost."""
    bins = 20_000
    left: FloatArray = 470_000.0 + 10.0 * np.arange(bins, dtype=np.float64)
    high = np.full(bins, -100.0)
    high[12_345] = -20.0
    lane = Levels("Measured", left, left + 10.0, np.full(bins, -110.0), high, None, "dBm")
    columns = re.findall(r"M([\d.]+) ([\d.]+)h1V", lane.draw(Axis(470_000, 670_000, 150, 1172), 100.0))
    tops = np.array([float(top) for _, top in columns])
    assert len(columns) == 1022
    assert float(columns[int(np.argmin(tops))][0]) == pytest.approx(150 + 1022 * 12_345 / bins, abs=1.0)
    assert np.sum(tops < np.median(tops) - 50) in (1, 2)


def test_empty_lanes_and_bands_outside_say_so() -> None:
    svg = drawn(score(Bands("TV", (Band(800_000, 808_000, "62"),)), Pins("Carriers", ()), levels(0)))
    assert svg.count("nothing here") == 2
    assert "nothing was looked at here" in svg
    assert ">62<" not in svg


def test_overlapping_bands_stand_under_one_another() -> None:
    lane = Bands("Allowed", (Band(470_000, 600_000, "a"), Band(500_000, 550_000, "b"), Band(560_000, 610_000, "c")))
    axis = Axis(470_000, 670_000, 150, 1172)
    assert lane.height_px(axis) == 2 * lane.tall_px


@given(st.lists(st.tuples(st.floats(150, 1172), st.sampled_from(["Boom", "Presenter", "Far off"])), max_size=70))
def test_crowded_labels_are_staggered_and_none_is_lost(marks: list[tuple[float, str]]) -> None:
    placed = flags(marks, Axis(470_000, 670_000, 150, 1172))
    assert sorted((one.x, one.label) for one in placed) == sorted(marks)
    for n, one in enumerate(placed):
        assert one.left >= 150
        assert one.left + one.wide <= 1172 + 1e-9
        assert not any(
            one.row == other.row and one.left < other.left + other.wide and other.left < one.left + one.wide
            for other in placed[n + 1 :]
        )


def test_a_crowd_of_pins_keeps_heads_for_those_with_a_name() -> None:
    pins = tuple(Pin(470_000 + 500 * n, 0.2 + 0.5 * (n % 50 == 0), f"{n}") for n in range(400))
    svg = Pins("Carriers", pins).draw(Axis(470_000, 670_000, 150, 1172), 0.0)
    assert 4 <= svg.count("<circle") <= 60
    assert svg.count("<circle") == svg.count("<text") / 2, "each word has a ground of paper under it"


@settings(max_examples=60)
@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4), st.integers(1, 30))
def test_ticks_are_inside_even_and_few(low: float, span: float, most: int) -> None:
    found = ticks(low, low + span, most)
    assert len(found) <= most + 1
    assert all(low - 1e-6 * span <= one <= low + span * (1 + 1e-6) for one in found)
    assert np.allclose(np.diff(found), found[1] - found[0]) if len(found) > 2 else True


@given(st.text(alphabet="ab \n", max_size=80), st.integers(20, 300))
def test_wrapping_loses_no_short_word(text: str, width: int) -> None:
    lines = wrapped(text, width)
    if all(len(word) <= 2 for word in text.split()):
        assert " ".join(lines).split() == text.split()


def test_an_axis_needs_room() -> None:
    with pytest.raises(ValueError, match="no axis"):
        Axis(600.0, 600.0, 0, 10)


def test_png_has_the_size_and_shows_text() -> None:
    data = png_of(drawn(score(*FULL)))
    assert data.startswith(b"\x89PNG")
    width, height = struct.unpack(">II", data[16:24])
    assert width == 2 * WIDTH_PX
    assert height > 800
    bare = re.sub(r"<text.*?</text>", "", drawn(score(*FULL)))
    assert len(data) > len(png_of(bare)) * 1.1, "letters take room"
    assert png_of(drawn(score(*FULL))) == data
    with pytest.raises(ValueError, match="size"):
        png_of("<svg/>")
