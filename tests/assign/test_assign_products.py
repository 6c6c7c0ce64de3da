"""Which products count: the enumeration against plain loops."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.assign import plain

from linkwright.assign.products import is_clean, products_near

carriers = st.lists(st.integers(0, 80).map(lambda n: 600_000 + 25 * n), min_size=1, max_size=6, unique=True)
others = st.lists(st.integers(-200, 2_200).map(lambda n: 600_000 + n), max_size=4, unique=True)


@settings(max_examples=150)
@given(carriers, others, st.sampled_from([1, 50, 100]), st.sampled_from([1, 25, 50]))
def test_as_many_products_as_loops_count(own: list[int], theirs: list[int], two: int, three: int) -> None:
    makers = [*own, *theirs]
    told = products_near(makers, own, two, three)
    for number, victim in enumerate(own):
        assert sum(near.victim == number for near in told) == plain.hits(makers, victim, two, three)
    for near in told:
        at = (
            makers[near.a] + makers[near.b] - makers[near.c] if near.c >= 0 else 2 * makers[near.a] - makers[near.b]
        )
        assert at - own[near.victim] == near.off_khz


@settings(max_examples=150)
@given(carriers, st.data(), others)
def test_clean_is_what_loops_call_clean(own: list[int], data: st.DataObject, theirs: list[int]) -> None:
    spares = [tuple(data.draw(st.lists(st.sampled_from(range(600_000, 602_000, 25)), max_size=2))) for _ in own]
    stands = [
        plain.Stand(f"link {n}", khz, mine, 0, frozenset((khz, *mine)))
        for n, (khz, mine) in enumerate(zip(own, spares, strict=True))
    ]
    by_loops = plain.faults(stands, True, 100, 50, theirs)
    assert is_clean(own, spares, theirs, 100, 50) == (by_loops.hit + by_loops.hit_after_a_move == 0)
