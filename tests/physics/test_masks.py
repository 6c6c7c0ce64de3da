"""Rejection against a numerical integral, and what must hold of masks, filters and blocking."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.physics.masks import (
    DEFAULT_MASK,
    DEFAULT_SELECTIVITY,
    Shape,
    blocking_dbm,
    default_mask,
    default_selectivity,
    interference_over_noise_db,
    off_channel_share,
    rejection_db,
)
from linkwright.units import NOTHING_DBM, sum_dbm


@st.composite
def shapes(draw: st.DrawFn) -> Shape:
    """Breakpoints a few tens of kHz apart, anything between 0 and -90 dB."""
    count = draw(st.integers(2, 6))
    steps = draw(st.lists(st.integers(1, 80), min_size=count, max_size=count))
    levels = draw(st.lists(st.integers(-90, 0), min_size=count, max_size=count))
    offsets = draw(st.integers(-150, 0)) + np.cumsum(steps)
    return Shape(tuple(map(float, offsets)), tuple(map(float, levels)))


def mirrored(shape: Shape) -> Shape:
    return Shape(tuple(-offset for offset in reversed(shape.offsets_khz)), tuple(reversed(shape.relative_db)))


def integrated_db(mask: Shape, selectivity: Shape, offset_khz: float) -> float:
    """The definition by the midpoint rule on 200 000 steps."""
    low, high = mask.offsets_khz[0], mask.offsets_khz[-1]
    f = low + (np.arange(200_000) + 0.5) * (high - low) / 200_000
    sent = 10.0 ** (np.interp(f, mask.offsets_khz, mask.relative_db) / 10.0)
    heard = 10.0 ** (np.interp(f + offset_khz, selectivity.offsets_khz, selectivity.relative_db) / 10.0)
    return float(10.0 * np.log10(sent.sum() / (sent * heard).sum()))


@given(shapes(), shapes(), st.floats(-400.0, 400.0))
def test_rejection_is_the_integral(mask: Shape, selectivity: Shape, offset_khz: float) -> None:
    expected = integrated_db(mask, selectivity, offset_khz)
    assert float(rejection_db(mask, selectivity, offset_khz)) == pytest.approx(expected, abs=1e-4)


@given(shapes(), shapes(), st.lists(st.floats(-400.0, 400.0), min_size=4, max_size=4))
def test_many_offsets_are_each_alone(mask: Shape, selectivity: Shape, offsets: list[float]) -> None:
    together = rejection_db(mask, selectivity, np.reshape(offsets, (2, 2)))
    assert together.shape == (2, 2)
    alone = [float(rejection_db(mask, selectivity, offset)) for offset in offsets]
    assert together.ravel() == pytest.approx(alone, abs=1e-9)


@given(shapes(), shapes(), st.floats(-400.0, 400.0), st.floats(0.1, 10.0), st.integers(0, 30))
def test_scale_gain_and_mirror(mask: Shape, selectivity: Shape, offset: float, factor: float, down: int) -> None:
    rejected = float(rejection_db(mask, selectivity, offset))
    scaled = rejection_db(mask.scaled(factor), selectivity.scaled(factor), factor * offset)
    assert float(scaled) == pytest.approx(rejected, abs=1e-6)
    lower = Shape(selectivity.offsets_khz, tuple(level - down for level in selectivity.relative_db))
    assert float(rejection_db(mask, lower, offset)) == pytest.approx(rejected + down, abs=1e-6)
    quieter = Shape(mask.offsets_khz, tuple(level - down for level in mask.relative_db))
    assert float(rejection_db(quieter, selectivity, offset)) == pytest.approx(rejected, abs=1e-6)
    back = float(rejection_db(mirrored(mask), mirrored(selectivity), -offset))
    assert back == pytest.approx(rejected, abs=1e-6)


@given(shapes(), shapes(), st.floats(-400.0, 400.0))
def test_rejection_lies_between_the_filters_extremes(mask: Shape, selectivity: Shape, offset: float) -> None:
    rejected = float(rejection_db(mask, selectivity, offset))
    assert -max(selectivity.relative_db) - 1e-9 <= rejected <= -min(selectivity.relative_db) + 1e-9


def test_far_beyond_its_ends_a_filter_keeps_its_last_gain() -> None:
    far = rejection_db(DEFAULT_MASK, DEFAULT_SELECTIVITY, [-20_000.0, 20_000.0])
    assert far == pytest.approx([90.0, 90.0], abs=1e-9)


def test_the_default_shapes_reject_more_the_farther() -> None:
    rejected = rejection_db(DEFAULT_MASK, DEFAULT_SELECTIVITY, np.arange(0.0, 3000.0, 5.0))
    assert np.all(np.diff(rejected) > 0.0)
    assert 0.0 < rejected[0] < 0.01


def test_the_default_shapes_are_told_to_be_assumed() -> None:
    for shape in (DEFAULT_MASK, DEFAULT_SELECTIVITY, default_mask(25.0), default_selectivity(400.0)):
        assert shape.evidence == "assumed"
        assert shape.source


def test_default_shapes_for_other_bandwidths() -> None:
    share = off_channel_share([0.0, 350.0, 700.0], 200.0, 200.0)
    assert off_channel_share([0.0, 700.0, 1400.0], 400.0, 400.0) == pytest.approx(share, rel=1e-9)
    assert -10.0 * np.log10(share) == pytest.approx(
        rejection_db(DEFAULT_MASK, DEFAULT_SELECTIVITY, [0.0, 350.0, 700.0]), abs=1e-9
    )
    # A narrow receiver on the carrier takes about the ratio of the widths; its filter is not a box.
    assert float(off_channel_share(0.0, 200.0, 25.0)) == pytest.approx(25.0 / 200.0, rel=0.2)


def test_a_shape_from_one_side() -> None:
    shape = Shape.symmetric([(0.0, 0.0), (50.0, -10.0)], "measured", "bench")
    assert shape == Shape((-50.0, 0.0, 50.0), (-10.0, 0.0, -10.0), "measured", "bench")
    assert shape.at_db(np.array([-70.0, -25.0, 25.0, 70.0])).tolist() == [-10.0, -5.0, -5.0, -10.0]
    assert Shape.symmetric([(20.0, 0.0), (50.0, -10.0)]).offsets_khz == (-50.0, -20.0, 20.0, 50.0)


@pytest.mark.parametrize(("offsets", "levels", "says"), [
    ((0.0,), (0.0,), "two or more"),
    ((0.0, 1.0), (0.0,), "two or more"),
    ((0.0, 0.0), (0.0, -3.0), "ascending"),
    ((1.0, 0.0), (0.0, -3.0), "ascending"),
    ((0.0, 1.0), (0.0, float("-inf")), "finite"),
])  # fmt: skip
def test_breakpoints_that_are_none(offsets: tuple[float, ...], levels: tuple[float, ...], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Shape(offsets, levels)


@given(st.floats(-60.0, 0.0), st.floats(-125.0, -90.0), st.floats(0.1, 6.0))
def test_a_signal_at_its_blocking_level_raises_the_noise_as_stated(
    level_dbm: float, noise_dbm: float, rise_db: float
) -> None:
    blocked = blocking_dbm([level_dbm], noise_dbm, level_dbm, rise_db)
    assert sum_dbm([noise_dbm, blocked]) == pytest.approx(noise_dbm + rise_db, abs=1e-9)


def test_blocking_signals_add_up() -> None:
    noise_dbm = -115.0
    one, other = (blocking_dbm([level], noise_dbm, -25.0) for level in (-30.0, -22.0))
    assert blocking_dbm([-30.0, -22.0], noise_dbm, -25.0) == pytest.approx(sum_dbm([one, other]), abs=1e-9)
    assert blocking_dbm([-25.0], noise_dbm, -25.0) == pytest.approx(noise_dbm - 5.868, abs=1e-3)
    assert blocking_dbm([], noise_dbm, -25.0) == NOTHING_DBM


@pytest.mark.parametrize("rise_db", [0.0, -1.0])
def test_interference_raises_the_noise(rise_db: float) -> None:
    with pytest.raises(ValueError, match="more than nothing"):
        interference_over_noise_db(rise_db)
