"""Readings that are kept: what goes in comes out, as finely as is promised; damaged bytes are refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.watch.log.kept import Stretch, packed, unpacked

LEVEL = st.one_of(st.just(float("nan")), st.floats(-200, 50, width=32))
SHARE = st.one_of(st.just(float("nan")), st.floats(0, 1, width=32))
MUTED = st.sampled_from((-1, 0, 1))
ROW = st.tuples(st.integers(0, 60_000), st.integers(0, 2), LEVEL, LEVEL, LEVEL, SHARE, SHARE, MUTED)
Row = tuple[int, int, float, float, float, float, float, int]
STEPS = {"rf_a_dbm": 0.1, "rf_b_dbm": 0.1, "audio_dbfs": 0.1, "quality": 0.005, "battery": 0.005}


def stretch(rows: list[Row], begins_ms: int) -> Stretch:
    columns = [np.array([row[n] for row in rows]) for n in range(8)]
    rf_a, rf_b, audio, quality, battery = (column.astype(np.float32) for column in columns[2:7])
    time_ms = begins_ms + np.cumsum(columns[0]).astype(np.int64)
    link, muted = columns[1].astype(np.int32), columns[7].astype(np.int8)
    return Stretch(("A", "Zoë =1", "C"), time_ms, link, rf_a, rf_b, audio, quality, battery, muted)


@settings(max_examples=80)
@given(st.lists(ROW, max_size=50), st.integers(0, 4_000_000_000_000))
def test_what_goes_in_comes_out(rows: list[Row], begins: int) -> None:
    one = stretch(rows, begins)
    again = unpacked(packed(one))
    assert again.links == one.links
    assert np.array_equal(again.time_ms, one.time_ms)
    assert np.array_equal(again.link, one.link)
    assert np.array_equal(again.muted, one.muted)
    for name, step in STEPS.items():
        before, after = getattr(one, name), getattr(again, name)
        assert np.array_equal(np.isnan(before), np.isnan(after))
        assert np.nanmax(np.abs(before - after), initial=0.0) <= 0.51 * step


@settings(max_examples=200)
@given(st.binary(max_size=60), st.integers(0, 200))
def test_damage_is_told_or_changes_nothing_of_the_shape(noise: bytes, at: int) -> None:
    data = packed(stretch([(10, 1, -60.0, -70.0, -20.0, 1.0, 0.5, 0)] * 40, 1_000))
    for broken in (noise, data[:at], data[:at] + noise + data[at:]):
        try:
            assert unpacked(broken).size <= 40 + len(noise)
        except ValueError as error:
            assert str(error).startswith("is ")  # noqa: PT017


def test_a_minute_of_a_thousand_readings_a_second_is_small() -> None:
    rng = np.random.default_rng(1)
    n = 60_000
    level = (-60 + rng.normal(0, 3, n)).astype(np.float32)
    one = Stretch(
        tuple(f"L{k}" for k in range(100)), np.arange(n, dtype=np.int64), (np.arange(n) % 100).astype(np.int32),
        level, level - 2, level * 0 - 20, level * 0 + 1, level * 0 + 0.8, np.zeros(n, np.int8),
    )  # fmt: skip
    assert len(packed(one)) < 4 * n


def test_too_much_is_refused() -> None:
    many = replace(stretch([], 0), links=tuple(str(n) for n in range(70_000)))
    with pytest.raises(ValueError, match="more than one stretch holds"):
        packed(many)
