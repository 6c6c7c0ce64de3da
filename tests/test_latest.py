"""An answer is kept for the very same question, and for no other."""

from __future__ import annotations

from linkwright.latest import latest


def test_only_the_very_same_is_answered_from_memory() -> None:
    asked: list[tuple[object, int]] = []

    @latest
    def length(values: list[int], more: int) -> int:
        asked.append((values, more))
        return len(values) + more

    numbers, like = [1, 2], [1, 2]
    assert [length(numbers, 1), length(numbers, 1), length(like, 1), length(numbers, 1), length(numbers, 2)] == [
        3,
        3,
        3,
        3,
        4,
    ]
    assert len(asked) == 4
