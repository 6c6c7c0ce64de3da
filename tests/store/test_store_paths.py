"""Paths as text, and places between places."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.shoot.shoots import documents

from linkwright.store.draft import Draft
from linkwright.store.paths import beneath, path_of, place_between, places, pointer
from linkwright.store.rows import rows_of, tree_of
from linkwright.store.schema import typed
from linkwright.store.values import plain, same

keys = st.lists(st.text(st.characters(), max_size=8), max_size=5).map(tuple)


@given(keys)
def test_a_path_comes_back(path: tuple[str, ...]) -> None:
    assert path_of(pointer(path)) == path
    assert pointer(path).isascii()
    assert "\0" not in pointer(path)


@given(keys, keys)
def test_what_is_beneath_a_path_lies_in_its_range(one: tuple[str, ...], other: tuple[str, ...]) -> None:
    first, beyond = beneath(pointer(one))
    inside = len(other) > len(one) and other[: len(one)] == one
    assert (first <= pointer(other) < beyond) == inside


@given(st.lists(st.tuples(st.integers(0, 10**6), st.booleans()), max_size=60))
def test_there_is_a_place_between_any_two(steps: list[tuple[int, bool]]) -> None:
    order = places(2)
    for number, narrow in steps:
        at = 1 if narrow else number % (len(order) + 1)
        order.insert(at, place_between(order[at - 1] if at else None, order[at] if at < len(order) else None))
    assert order == sorted(set(order))


def test_places_stay_short_when_one_after_the_other_is_added() -> None:
    last = None
    for _ in range(1000):
        last = place_between(last, None)
    assert last == "50000999"
    with pytest.raises(ValueError, match="no place"):
        place_between("50000001", "50000001")


@given(documents())
def test_every_shoot_comes_back_from_its_rows(document: dict[str, Any]) -> None:
    count = iter(range(10**9))
    rows = []
    for key, value in plain(document).items():
        rows += rows_of((key,), value, f"{next(count):08d}", lambda: f"i{next(count)}")
    tree = tree_of(rows)
    assert typed(tree.value) == document
    assert Draft(tree.value, tree.ids, 1).problems() == []


values = st.recursive(
    st.booleans() | st.integers(-3, 3) | st.floats(-3, 3) | st.text("ab", max_size=2),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("ab", max_size=1), inner, max_size=3),
)


@given(values, values)
@example({"a": 1}, {"a": True})
@example([1], [True])
@example(1, {"a": 1})
@example({"a": 1}, 1)
def test_same_is_what_json_tells_apart(one: Any, other: Any) -> None:
    def as_a_browser_writes(value: Any) -> Any:
        if isinstance(value, bool):
            return ("bool", value)
        if isinstance(value, int | float):
            return ("number", float(value))
        if isinstance(value, list):
            return [as_a_browser_writes(inner) for inner in value]
        if isinstance(value, dict):
            return {key: as_a_browser_writes(inner) for key, inner in value.items()}
        return value

    assert same(one, one)
    assert same(one, other) == (as_a_browser_writes(one) == as_a_browser_writes(other))
