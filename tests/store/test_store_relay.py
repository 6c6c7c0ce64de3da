"""What processes hand each other comes whole, or not at all."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.store.relay import PART, Handed, words_of

WHOLES = st.lists(st.tuples(st.sampled_from(["readings", "sweep"]), st.binary(max_size=3 * PART)), max_size=4)


@settings(deadline=None)
@given(WHOLES, st.data())
def test_what_is_handed_over_comes_whole_in_its_order(wholes: list[tuple[str, bytes]], data: st.DataObject) -> None:
    words = [word for who in ("a", "b") for whole in wholes for word in words_of(who, *whole)]
    assert all(" " not in word and len(word) < 7_900 for word in words)
    assert heard(words) == 2 * wholes
    # Of what is missed as the line was lost nothing comes in part, and what comes keeps its order.
    missed = [word for word in words if data.draw(st.booleans())]
    rest = iter(2 * wholes)
    assert all(whole in rest for whole in heard(missed))
    assert not any(Handed("a").hear(word) for whole in wholes for word in words_of("a", *whole)), "one's own"


def heard(words: list[str]) -> list[tuple[str, bytes]]:
    """What words come to."""
    handed = Handed("c")
    return [whole for word in words if (whole := handed.hear(word)) is not None]


def test_what_is_no_part_of_anything_is_passed_over() -> None:
    handed = Handed("c")
    for word in ("", "plan:1", "relay", "relay:a", "relay:a:sweep:x:", "relay:a:sweep:0:~", "relay:a:sweep:7:abc"):
        assert handed.hear(word) is None
