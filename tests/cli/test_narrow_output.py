"""On a narrow terminal no number is cut in two, and no line ends in blanks."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.cli.calling import call
from tests.plan.shoots import QUAY

from linkwright.cli.columns import fitting, laid_out


@pytest.mark.parametrize("columns", [40, 60, 80])
@pytest.mark.parametrize(
    "words", [["plan", str(QUAY)], ["why", str(QUAY), "Pilot"], ["fit", str(QUAY)], ["day", str(QUAY)]]
)
def test_numbers_stay_whole(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, columns: int, words: list[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    wide = call(capsys, *words).out
    monkeypatch.setenv("COLUMNS", str(columns))
    narrow = call(capsys, *words).out
    assert not [line for line in narrow.splitlines() if line != line.rstrip()]
    numbers = set(re.findall(r"[-+]?\d+(?:\.\d+)?", wide))
    assert set(re.findall(r"[-+]?\d+(?:\.\d+)?", narrow)) <= numbers
    assert max(map(len, narrow.splitlines())) <= columns + 1  # a point may stand in the margin


cells = st.text("abc 0123456789.", min_size=0, max_size=30)


@given(st.lists(st.lists(cells, min_size=4, max_size=4), min_size=1, max_size=4), st.integers(20, 90))
def test_nothing_of_a_row_is_lost_and_words_stay_whole(rows: list[list[str]], width: int) -> None:
    columns = ["name", "level", "what", "why"]
    head, lines = laid_out(width, columns, rows, ("level",))
    for row, said in zip(rows, lines, strict=True):
        assert all(line == line.rstrip() for line in said[1:])
        words = [word for cell in row for word in cell.split()]
        told = "\n".join(said).replace(";", " ").split()
        assert all(told.count(word) >= words.count(word) for word in words if head or len(word) < width - 2)


def test_columns_are_left_out_in_the_order_that_is_stated() -> None:
    columns, row = ["a", "b", "c"], ["1" * 10, "2" * 10, "3" * 10]
    assert fitting(40, columns, [row], (), ("c", "b")) == ()
    assert fitting(25, columns, [row], (), ("c", "b")) == ("c",)
    assert fitting(12, columns, [row], (), ("c", "b")) == ("c", "b")
    assert fitting(5, columns, [row], (), ("c", "b")) == ()
