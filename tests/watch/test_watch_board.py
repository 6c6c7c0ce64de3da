"""The newest of every link: what was said last stands, what was not said stays unsaid, and nothing grows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.watch.figures.board import LOOKS, MOST_LINKS, Board
from linkwright.watch.log.record import Batch

NAN = float("nan")
Row = tuple[float, float, float, float, float, float]


def batch(name: str, rows: list[Row], begins_ns: int = 1_000) -> Batch:
    times = begins_ns + np.arange(len(rows), dtype=np.int64)
    return Batch((name,), np.zeros(len(rows), np.int32), times, np.array(rows, np.float32).reshape(-1, 6))


def test_a_look_holds_the_lowest_and_highest_since_the_last_one() -> None:
    board = Board()
    board.add(batch("A", [(-60, -70, -20, 1, 0.9, 0), (-80, -65, -20, 1, 0.9, 0)]), 0.0)
    assert board.look()[0].tolist() == [-80, -60, -70, -65]
    assert np.isnan(board.look()[0]).all()


@pytest.mark.parametrize(
    ("row", "state"),
    [
        ((-60, -70, -20, 1.0, 0.9, 0), "holds"),
        ((-60, -70, -20, 0.8, 0.9, 0), "thin"),
        ((-88, -95, -20, 1.0, 0.9, 0), "thin"),
        ((-60, -70, -20, 0.2, 0.9, 0), "fails"),
        ((-60, -70, -20, 1.0, 0.9, 1), "fails"),
        ((-60, NAN, NAN, NAN, NAN, NAN), "holds"),
    ],
)
def test_how_a_link_stands(row: Row, state: str) -> None:
    board = Board({"A": -93.0}, {"A": 6.0})
    board.add(batch("A", [row]), 10.0)
    board.look()
    assert board.state(0, 10.5) == state
    assert board.state(0, 14.0) == "no readings"
    board.off = frozenset({"A"})
    assert board.state(0, 14.0) == "not on now"


def test_in_hand_is_the_better_branch_over_need_and_fading_evened_out_over_ten_seconds() -> None:
    board = Board({"A": -93.0}, {"A": 20.0})
    board.know(["A", "B"])
    for level in [-30.0] * 30 + [-60.0] * 21 + [-90.0] * 19:  # a short fade does not decide, nor what was long ago
        board.add(batch("A", [(level, level - 9.0, -20, 1, 1, 0)]), 0.0)
        board.look()
    assert board.in_hand_db(0) == pytest.approx(-60.0 + 93.0 - 20.0)
    assert board.in_hand_db(1) is None
    assert board.row(0, board.last_look, 0.0)[8] == 13.0
    board.fading_db["A"] = 33.5
    assert board.state(0, 0.0) == "thin"


def test_what_was_not_said_keeps_what_was_said_before() -> None:
    board = Board()
    board.add(batch("A", [(-60, -70, -20, 1, 0.5, 0)]), 0.0)
    board.add(batch("A", [(-61, NAN, NAN, NAN, NAN, NAN)], 2_000), 1.0)
    assert board.last(0).tolist() == [-61, -70, -20, 1, 0.5, 0]
    assert board.row(0, board.look(), 1.0)[:5] == ["holds", -61, -60, -70, -70]


def test_a_late_reading_does_not_replace_a_newer_one_of_its_batch() -> None:
    board = Board()
    rows = batch("A", [(-50, -50, 0, 1, 1, 0), (-70, -70, 0, 1, 1, 0)])
    board.add(Batch(rows.names, rows.link, rows.time_ns[::-1].copy(), rows.values), 0.0)
    assert board.last(0)[0] == -50
    assert board.time_ns(0) == 1_001


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(st.integers(-110, -20), min_size=1, max_size=5), max_size=12))
def test_looks_are_what_came_between_them(looks: list[list[int]]) -> None:
    board = Board()
    board.know(["A"])
    for levels in looks:
        board.add(batch("A", [(v, v - 3, -20, 1, 1, 0) for v in levels]), 0.0)
        board.look()
    kept = board.looks(0)
    assert kept.shape == (LOOKS, 4)
    for levels, row in zip(looks, kept[LOOKS - len(looks) :], strict=True):
        assert row.tolist() == [min(levels), max(levels), min(levels) - 3, max(levels) - 3]


def test_names_without_end_are_refused_and_counted() -> None:
    board = Board()
    names = tuple(f"L{n}" for n in range(MOST_LINKS + 5))
    values = np.full((len(names), 6), -60.0, np.float32)
    board.add(Batch(names, np.arange(len(names), dtype=np.int32), np.full(len(names), 1_000), values), 0.0)
    assert len(board.names) == MOST_LINKS
    assert board.refused == 5
