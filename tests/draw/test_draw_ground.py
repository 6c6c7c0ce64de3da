"""The ground as a picture: contours hold what they should, the drawing is well-formed and names what is on it."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from linkwright.draw.along import Walk, drawn_walks, height_of
from linkwright.draw.contours import Ring, rings_at
from linkwright.draw.ground import WIDTH_PX, Ground, GroundLine, GroundMark, drawn_ground, shade
from linkwright.draw.ink import INK, PAPER

fields = arrays(np.float64, st.tuples(st.integers(2, 9), st.integers(2, 9)), elements=st.integers(-3, 3).map(float))


def crossings(rings: list[Ring], x: float, y: float) -> int:
    """How many edges of the rings a ray eastwards meets: odd inside (even-odd rule)."""
    count = 0
    for ring in rings:
        for (x1, y1), (x2, y2) in zip(ring, [*ring[1:], ring[0]], strict=True):
            if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
                count += 1
    return count


@settings(max_examples=150)
@given(fields, st.sampled_from([-2.5, -0.5, 0.5, 1.5]))
def test_the_rings_hold_the_points_at_or_over_the_level(z: np.ndarray, level: float) -> None:
    x, y = np.arange(z.shape[1], dtype=float), np.arange(z.shape[0], dtype=float)
    rings = rings_at(x, y, z, level)
    assert all(len(ring) >= 3 for ring in rings)
    for i in range(1, y.size - 1):  # on the rim a point lies on the ring itself
        for j in range(1, x.size - 1):
            assert (crossings(rings, float(x[j]), float(y[i]) + 1e-7) % 2 == 1) == (z[i, j] >= level)


def test_a_cone_has_round_contours() -> None:
    at = np.linspace(-10.0, 10.0, 201)
    distance = np.hypot(*np.meshgrid(at, at))
    (ring,) = rings_at(at, at, -distance, -4.0)
    radius = np.hypot(*np.array(ring).T)
    assert abs(radius - 4.0).max() < 0.01


def test_nothing_above_the_level_has_no_ring_and_everything_has_the_border() -> None:
    at = np.arange(4.0)
    assert rings_at(at, at, np.zeros((4, 4)), 1.0) == []
    (ring,) = rings_at(at, at, np.zeros((4, 4)), -1.0)
    assert (min(p[0] for p in ring), max(p[0] for p in ring)) == (0.0, 3.0)


def ground(**more: object) -> Ground:
    x_m, y_m = np.linspace(-10.0, 60.0, 71), np.linspace(-20.0, 20.0, 41)
    margin = 40.0 - np.hypot(*np.meshgrid(x_m, y_m))
    return Ground("All reach <here>.", "A yard & a gate.", x_m, y_m, margin, **more)  # type: ignore[arg-type]


def test_the_drawing_is_well_formed_and_names_what_is_on_it() -> None:
    svg = drawn_ground(
        ground(
            walls=(GroundLine("brick", ((20.0, -5.0), (20.0, 8.0)), "wall of brick"),),
            routes=(GroundLine("Pilot", ((5.0, 5.0), (50.0, -10.0))), GroundLine("", ((5.0, 5.0),))),
            spots=(GroundMark("Gate <1>", 5.0, 5.0),),
            antennas=(GroundMark("Mast", 0.0, 0.0, 45.0),),
            others=(GroundMark("Radio", 40.0, 10.0),),
            notes=("Estimates.",),
        )
    )
    root = ElementTree.fromstring(svg)
    texts = ["".join(one.itertext()) for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"All reach <here>.", "Pilot", "Gate <1>", "Mast", "Radio", "short", "north"} <= set(texts)
    titles = ["".join(one.itertext()) for one in root.iter("{http://www.w3.org/2000/svg}title")]
    assert "wall of brick" in titles
    sizes = [float(one.attrib["font-size"]) for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert min(sizes) >= 12.0


def test_north_is_up_and_a_metre_is_as_long_both_ways() -> None:
    root = ElementTree.fromstring(
        drawn_ground(ground(spots=(GroundMark("A", 0.0, 0.0), GroundMark("B", 30.0, 10.0))))
    )
    circles = list(root.iter("{http://www.w3.org/2000/svg}circle"))
    (ax, ay), (bx, by) = ((float(c.attrib["cx"]), float(c.attrib["cy"])) for c in circles)
    assert bx > ax
    assert by < ay
    assert abs((bx - ax) / 30.0 - (ay - by) / 10.0) < 0.01


def test_margins_over_time_are_hatched_where_they_do_not_reach() -> None:
    time_s = np.linspace(0.0, 30.0, 50)
    good = Walk("Pilot", time_s, np.full(50, 12.0), ((0.0, "Gate"), (30.0, "Kiln")))
    bad = Walk("Crane driver", time_s, 10.0 - time_s)
    both = ElementTree.fromstring(f"<svg>{drawn_walks([good, bad], WIDTH_PX)}</svg>")
    hatched = [one for one in both.iter("path") if one.attrib.get("fill") == "url(#unreached)"]
    assert len(hatched) == 1
    assert height_of([good, bad]) > height_of([good])


def test_shades_run_from_paper_to_ink() -> None:
    assert (shade(0.0), shade(1.0)) == (PAPER, INK)
