"""The pictures of an event: what a reader, a pointer and a bounded page need of them."""

from __future__ import annotations

import datetime
import itertools
import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.draw.event_band import (
    MOST_ROWS,
    MOST_STRETCHES,
    BandState,
    BandStretch,
    drawn_band,
    parts_of,
    rows_of,
)
from linkwright.draw.event_days import DayField, days_at_once, drawn_days
from linkwright.draw.event_map import MapSite, drawn_map

SVG = "{http://www.w3.org/2000/svg}"
HOUR_MS = 3_600_000
STATES: tuple[BandState, ...] = ("planned", "set", "heard", "leaving")
SIZES = (362.0, 1200.0)
MONDAY = datetime.date(2027, 7, 5)


def stretch(khz: int, begins_h: int, hours: int, state: BandState = "planned") -> BandStretch:
    return BandStretch(khz, begins_h * HOUR_MS, (begins_h + hours) * HOUR_MS, f"L{khz}", state, f"{khz} {begins_h}")


stretches = st.lists(
    st.builds(
        stretch, st.integers(470_000, 470_020), st.integers(0, 30), st.integers(1, 9), st.sampled_from(STATES)
    ),
    min_size=1,
    max_size=60,
)


@given(stretches)
def test_every_stretch_has_a_place_of_its_own(given: list[BandStretch]) -> None:
    rows = rows_of(given)
    assert sorted(one.says for row in rows for one in row) == sorted(one.says for one in given)
    assert [row[0].khz for row in rows] == sorted((row[0].khz for row in rows), reverse=True)
    for row in rows:
        assert len({one.khz for one in row}) == 1
        assert all(before.to_ms <= after.from_ms for before, after in itertools.pairwise(row))


@pytest.mark.parametrize("width_px", SIZES)
def test_a_wide_band_comes_in_parts_that_are_bounded(width_px: float) -> None:
    every = [stretch(470_000 + 350 * n, 3 * k, 2, STATES[k]) for n in range(600) for k in range(4)]
    parts = parts_of(rows_of(every))
    assert sum(len(row) for part in parts for row in part) == len(every)
    for part in parts:
        assert len(part) <= MOST_ROWS
        assert sum(map(len, part)) <= MOST_STRETCHES
        assert len(drawn_band(part, datetime.UTC, "x", width_px)) < 400_000


@pytest.mark.parametrize("width_px", SIZES)
def test_a_band_says_of_every_stretch_whose_it_is_and_one_is_reached_by_tab(width_px: float) -> None:
    rows = rows_of([stretch(500_000 + 1000 * n, 9, 3, state) for n, state in enumerate(STATES)])
    root = ET.fromstring(drawn_band(rows, datetime.UTC, "Carriers & all", width_px, 10 * HOUR_MS))
    marks = root.findall(f".//{SVG}g[@class='stretch']")
    assert [mark.get("aria-label") for mark in marks] == [
        f"{khz} 9" for khz in (503_000, 502_000, 501_000, 500_000)
    ]
    assert [mark.get("tabindex") for mark in marks] == ["0", "-1", "-1", "-1"]
    assert root.get("aria-label") == "Carriers & all"
    texts = [text.text for text in root.iter(f"{SVG}text")]
    for told in ("nothing planned", "planned", "set at both ends", "heard, clean", "not left yet", "now"):
        assert told in texts


def test_states_differ_without_colour() -> None:
    """Each by its shapes alone: colours are taken out of what is drawn."""

    def shapes(state: BandState) -> str:
        svg = drawn_band([[stretch(500_000, 9, 3, state)]], datetime.UTC, "x", 1200.0)
        mark = svg[svg.index('<g class="stretch"') :]
        mark = re.sub(r"<text.*?</text>", "", mark[: mark.index("</g>")])
        return re.sub(r'stroke="#[^"]*"', "", mark)

    assert len({shapes(state) for state in STATES}) == len(STATES)


def test_the_time_line_has_a_link_a_field_and_one_stop() -> None:
    days = [MONDAY + datetime.timedelta(days=n) for n in range(4)]
    fields = {
        ("Quay", days[0]): DayField(12, "holds", "/a?site=1&day=2", "Quay, Monday: 12 links, all hold"),
        ("Hall", days[1]): DayField(3, "fails", "/b", "Hall: 3 links", here=True),
    }
    svg = drawn_days(["Quay", "Hall"], days, fields, 12, "Links", 362.0)
    links = ET.fromstring(svg).findall(f".//{SVG}a")
    assert [(link.get("href"), link.get("tabindex")) for link in links] == [("/a?site=1&day=2", "-1"), ("/b", "0")]
    assert [link.get("aria-current") for link in links] == [None, "true"]
    # darker where more: the share of ink over the paper
    shares = [float(share) for share in re.findall(r'fill-opacity="([\d.]+)"', svg)][1:]
    assert shares[0] > shares[1]


def test_as_many_days_as_have_room_are_a_picture_of_bounded_size() -> None:
    for width_px in (*SIZES, 2000.0):
        days = [MONDAY + datetime.timedelta(days=n) for n in range(days_at_once(width_px))]
        sites = [f"Venue {n}" for n in range(36)]
        fields = {
            (site, day): DayField(51, "thin", f"/crews/event?site=i{n}&day={day}", f"{site}, {day}: 51 links")
            for n, site in enumerate(sites)
            for day in days
        }
        assert len(drawn_days(sites, days, fields, 51, "Links", width_px)) < 1_200_000 * width_px / 2000


@pytest.mark.parametrize("width_px", SIZES)
def test_a_map_has_north_up_a_true_scale_and_every_name(width_px: float) -> None:
    sites = [MapSite("South", 0.0, 0.0, 5), MapSite("North", 0.0, 3000.0, 0), MapSite("East", 4000.0, 0.0, 20)]
    svg = drawn_map(sites, [(0, 1)], "Sites", width_px)
    root = ET.fromstring(svg)
    spots = {
        group.find(f"{SVG}title").text: group.find(f"{SVG}circle")  # type: ignore[union-attr]
        for group in root.findall(f".//{SVG}g")
    }
    at = {name: (float(c.get("cx", 0)), float(c.get("cy", 0)), float(c.get("r", 0))) for name, c in spots.items()}  # type: ignore[union-attr]
    south, north, east = at["South: 5"], at["North"], at["East: 20"]
    assert north[1] < south[1]
    assert east[0] > south[0]
    assert (east[0] - south[0]) / 4000.0 == pytest.approx((south[1] - north[1]) / 3000.0, rel=1e-3)
    assert (east[2] / south[2]) ** 2 == pytest.approx(4.0, rel=0.02), "its area goes with its links"
    bar = re.search(r'd="M([\d.]+) [\d.]+v6H([\d.]+)v-6"', svg)
    told = next(text.text or "" for text in root.iter(f"{SVG}text") if re.fullmatch(r"\d+ k?m", text.text or ""))
    metres = float(told.split()[0]) * (1000.0 if told.endswith("km") else 1.0)
    assert bar is not None
    drawn_px = float(bar[2]) - float(bar[1])
    assert drawn_px / metres == pytest.approx((east[0] - south[0]) / 4000.0, rel=0.01)


@given(st.lists(st.tuples(st.floats(0, 9000), st.floats(0, 9000)), min_size=1, max_size=36), st.sampled_from(SIZES))
def test_a_map_drops_no_name(places: list[tuple[float, float]], width_px: float) -> None:
    sites = [MapSite(f"Venue {n}", x, y, n) for n, (x, y) in enumerate(places)]
    svg = drawn_map(sites, [], "Sites", width_px)
    for site in sites:
        assert svg.count(f">{site.label}</text>") == 1
    boxes = [
        (float(x), float(y), float(x) + 7.0 * len(text))
        for x, y, text in re.findall(
            r'<text x="([-\d.]+)" y="([-\d.]+)"[^>]*text-anchor="start"[^>]*>(Venue[^<]*)<', svg
        )
    ]
    assert len(boxes) == len(sites)
    for one, other in itertools.combinations(boxes, 2):
        apart = abs(one[1] - other[1]) >= 19.9 or one[2] <= other[0] or other[2] <= one[0]
        assert apart, "two names cover each other"
    assert all(box[0] >= 0 and box[2] <= width_px for box in boxes)
    assert len(svg) < 60_000
