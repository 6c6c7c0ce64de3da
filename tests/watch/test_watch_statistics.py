"""Figures of a day: exact for readings made by hand, and the same however the readings come in."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.watch.made_readings import NINE_MS, part, readings

from linkwright.watch.figures.outline import Outline
from linkwright.watch.figures.statistics import NEEDED_DBM, FiguresTally, LinkFigures
from linkwright.watch.log.kept import Stretch
from linkwright.watch.log.stretches import batch_of, between, stretch_of


def figures(*stretches: Stretch, needed: float = NEEDED_DBM) -> LinkFigures:
    tally = FiguresTally({"Boom": needed})
    for stretch in stretches:
        tally.add(stretch)
    return tally.figures()[0]


def test_steady_readings() -> None:
    one = figures(readings(seconds=60.0))
    # 600 readings a tenth of a second apart cover 59.9 s
    assert (one.readings, one.read_s, one.on_air_s, one.lost_s, one.dropouts) == (600, 59.9, 59.9, 0.0, 0)
    assert (one.a.lowest_dbm, one.a.median_dbm) == (-60.0, -60.0)
    assert (one.b.lowest_dbm, one.b.median_dbm) == (-65.0, -65.0)
    assert one.both_usable == 1.0
    assert one.gaps == ()


def test_a_drop_out_lasts_to_the_next_good_reading_and_counts_as_on_the_air() -> None:
    made = readings(seconds=60.0)
    made.rf_a_dbm[100:140] = -110.0
    made.rf_b_dbm[100:140] = -112.0
    one = figures(made)
    assert (one.dropouts, one.lost_s, one.longest_s, one.on_air_s) == (1, 4.0, 4.0, 59.9)
    assert (one.listed[0].from_ms, one.listed[0].to_ms) == (NINE_MS + 10_000, NINE_MS + 14_000)
    assert one.both_usable == pytest.approx(55.9 / 59.9)
    assert one.a.lowest_dbm == -60.0, "levels are those on the air"


def test_one_branch_alone_is_no_drop_out() -> None:
    made = readings(seconds=60.0)
    made.rf_b_dbm[:300] = -110.0
    one = figures(made)
    assert one.dropouts == 0
    assert one.both_usable == pytest.approx(29.9 / 59.9)


def test_muted_is_lost_whatever_the_level() -> None:
    made = readings(seconds=60.0)
    made.muted[10:20] = 1
    assert figures(made).lost_s == 1.0


def test_gone_for_more_than_a_minute_is_off_the_air() -> None:
    made = readings(seconds=300.0)
    made.rf_a_dbm[1000:2000] = -115.0
    made.rf_b_dbm[1000:2000] = -115.0
    one = figures(made)
    assert (one.dropouts, one.lost_s) == (0, 0.0)
    assert [span.length_s for span in one.off] == [100.0]
    assert one.on_air_s == pytest.approx(199.9)


def test_a_gap_is_neither_on_the_air_nor_lost_and_ends_a_drop_out() -> None:
    made = readings(seconds=60.0)
    made.rf_a_dbm[190:400] = -110.0
    made.rf_b_dbm[190:400] = -110.0
    keep = np.ones(600, dtype=np.bool_)
    keep[200:390] = False
    one = figures(part(made, keep))
    # bad 19.0 to 19.9 s, nothing until 39.0 s, bad again until 40.0 s
    assert [(span.from_ms - NINE_MS, span.to_ms - NINE_MS) for span in one.gaps] == [(19_900, 39_000)]
    assert [span.length_s for span in one.listed] == [0.9, 1.0]
    assert one.read_s == pytest.approx(59.9 - 19.1)


def test_readings_once_a_minute_are_no_gaps() -> None:
    one = figures(readings(seconds=3600.0, every_ms=60_000))
    assert one.gaps == ()
    assert one.read_s == 3540.0


def test_what_comes_late_is_counted_and_left_out() -> None:
    made = readings(seconds=10.0)
    one = figures(made, made)
    assert (one.readings, one.late, one.read_s) == (100, 100, 9.9)


def test_a_median_of_many_levels_is_the_lower_one() -> None:
    made = readings(seconds=0.4)
    made.rf_a_dbm[:] = [-90.0, -80.0, -70.0, -60.0]
    assert figures(made).a.median_dbm == -80.0


def test_the_gauge_at_the_begin_and_at_the_end() -> None:
    made = readings(seconds=10.0)
    made.battery[:] = np.nan
    made.battery[5], made.battery[50] = 0.9, 0.4
    one = figures(made)
    assert one.battery_first is not None
    assert one.battery_last is not None
    assert [one.battery_first[0], one.battery_last[0]] == [NINE_MS + 500, NINE_MS + 5000]
    assert [one.battery_first[1], one.battery_last[1]] == pytest.approx([0.9, 0.4])


def test_a_link_without_levels_is_judged_by_its_muting() -> None:
    made = readings(seconds=10.0, a_dbm=float("nan"), b_dbm=None)
    made.muted[20:30] = 1
    one = figures(made)
    assert (one.a.median_dbm, one.both_usable, one.lost_s) == (None, None, 1.0)


@given(
    st.lists(st.sampled_from([-60.0, -96.0, -110.0, float("nan")]), min_size=2, max_size=120),
    st.lists(st.integers(1, 119), max_size=6), st.lists(st.integers(1, 119), max_size=4),
)  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_it_does_not_matter_how_readings_are_cut(levels: list[float], cuts: list[int], gaps: list[int]) -> None:
    """One stretch or many: the same figures, but for the period, which needs two readings to be known."""
    times = np.cumsum([100 if n not in gaps else 5000 for n in range(len(levels))])
    made = readings(seconds=0.1 * len(levels))
    made.time_ms[:] = NINE_MS + times
    made.rf_a_dbm[:] = levels
    made.rf_b_dbm[:] = np.nan
    whole = figures(made)
    edges = sorted({0, len(levels), *(cut for cut in cuts if 2 <= cut <= len(levels))})
    pieces = [part(made, np.arange(a, b)) for a, b in itertools.pairwise(edges)]
    if float(np.median(np.diff(made.time_ms[: max(2, pieces[0].size)]))) == 100.0 and pieces[0].size > 2:
        assert figures(*pieces) == whole
    lasted = whole.read_s + sum(gap.length_s for gap in whole.gaps)
    assert lasted == pytest.approx((times[-1] - times[0]) / 1000.0)
    assert whole.lost_s <= whole.read_s + 1e-9


@given(st.integers(1, 400), st.integers(1, 50), st.integers(0, 2**31))
@settings(max_examples=60, deadline=None)
def test_an_envelope_holds_every_level_and_no_other(size: int, columns: int, seed: int) -> None:
    draws = np.random.default_rng(seed)
    made = readings(seconds=0.1 * size)
    made.rf_a_dbm[:] = draws.normal(-70, 10, size)
    made.rf_b_dbm[draws.random(size) < 0.5] = np.nan
    outline = Outline(step_ms=250)
    cut = int(draws.integers(0, size + 1))
    outline.add(part(made, np.arange(cut)))
    outline.add(part(made, np.arange(cut, size)))
    found = outline.of("Boom", NINE_MS, NINE_MS + 100 * size, columns)
    at = np.searchsorted(found.at_ms, made.time_ms, side="right") - 1
    for n in range(found.at_ms.size):
        mine = made.rf_a_dbm[at == n]
        assert found.levels[n, 0] == pytest.approx(mine.min())
        assert found.levels[n, 1] == pytest.approx(mine.max())
        b = made.rf_b_dbm[at == n]
        assert np.isnan(found.levels[n, 2]) == np.isnan(b).all()
    assert found.at_ms.size <= columns + 1


def test_bins_grow_longer_so_that_a_long_day_stays_small() -> None:
    outline = Outline(step_ms=100, most_bins=500)
    for n in range(20):
        outline.add(readings(seconds=60.0, from_ms=NINE_MS + 60_000 * n))
    assert outline.step_ms > 100
    found = outline.of("Boom", NINE_MS, NINE_MS + 1_200_000, 10_000)
    assert found.at_ms.size <= 500
    assert np.nanmin(found.levels) == -65.0
    assert np.nanmax(found.levels) == -60.0


def test_a_stretch_is_a_batch_and_back() -> None:
    made = readings(("Boom", "Pilot"), seconds=3.0)
    made.battery[3] = np.nan
    made.muted[4], made.muted[5] = -1, 1
    again = stretch_of(batch_of(made))
    for name in ("time_ms", "link", "rf_a_dbm", "rf_b_dbm", "audio_dbfs", "quality", "battery", "muted"):
        np.testing.assert_array_equal(getattr(again, name), getattr(made, name))
    assert again.links == made.links


def test_between_two_times() -> None:
    made = readings(seconds=10.0)
    assert between(made, NINE_MS, NINE_MS + 10_000) is made
    assert between(made, NINE_MS + 1000, NINE_MS + 2000).time_ms.tolist() == [
        NINE_MS + 1000 + 100 * n for n in range(10)
    ]
    assert between(made, 0, NINE_MS).size == 0
