"""Reading ahead: the same items, errors in their place, and no thread left behind."""

from __future__ import annotations

import threading
from collections.abc import Generator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.shoot.errors import InputError
from linkwright.watch.log.ahead import ahead


@given(st.lists(st.integers(), max_size=30), st.integers(1, 5))
def test_the_same_items_in_the_same_order(items: list[int], most: int) -> None:
    assert list(ahead((one for one in items), most)) == items


def test_what_the_fetching_raises_comes_after_the_items_before_it() -> None:
    def broken() -> Generator[int, None, None]:
        yield 1
        yield 2
        raise InputError("is cut short", path="log")

    some = ahead(broken())
    assert [next(some), next(some)] == [1, 2]
    with pytest.raises(InputError, match="is cut short"):
        next(some)


def test_whoever_stops_early_leaves_no_thread_and_no_open_file() -> None:
    closed = threading.Event()

    def endless() -> Generator[int, None, None]:
        n = 0
        try:
            while True:
                yield n
                n += 1
        finally:
            closed.set()

    some = ahead(endless(), 2)
    assert [next(some), next(some)] == [0, 1]
    some.close()
    assert closed.is_set()
    assert not [one for one in threading.enumerate() if one.name == "reading ahead"]
