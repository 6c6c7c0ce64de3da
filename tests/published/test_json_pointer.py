"""Paths of the store against the examples of RFC 6901."""

from __future__ import annotations

import pytest

from linkwright.store.paths import pointer


@pytest.mark.published("RFC 6901, section 5")
@pytest.mark.parametrize(
    ("path", "text"), [((), ""), (("foo",), "/foo"), (("",), "/"), (("a/b",), "/a~1b"), (("m~n",), "/m~0n")]
)
def test_paths_are_json_pointers(path: tuple[str, ...], text: str) -> None:
    assert pointer(path) == text
