"""The verifier against plain loops, and against faults planted one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.assign.plain import Stand
from tests.assign.plain import faults as plain_faults

from linkwright.assign.verify import Placed, faults

#: Clean with guards of 50 and 25 kHz, spares and moves to the first spare included (checked below by loops).
ALLOWED = np.arange(600_000, 640_001, 25)
RIGHT = [
    Placed("A", 600_000, (603_000, 604_000), 350, ALLOWED),
    Placed("B", 601_000, (607_525,), 350, ALLOWED),
    Placed("C", 604_575, (615_025, 616_400), 400, ALLOWED),
    Placed("D", 611_200, (), 350, ALLOWED),
]


def stand(link: Placed) -> Stand:
    return Stand(
        link.name, link.carrier_khz, link.spares_khz, link.spacing_khz, frozenset(link.allowed_khz.tolist())
    )


def count_by_kind(sentences: list[str]) -> tuple[int, int, int, int]:
    off = sum("none of its slots" in s for s in sentences)
    near = sum("nearer than their spacing" in s for s in sentences)
    after = sum(s.startswith("after ") for s in sentences)
    return off, near, len(sentences) - off - near - after, after


carriers = st.integers(0, 60)


@st.composite
def calls(draw: st.DrawFn) -> list[Placed]:
    count = draw(st.integers(0, 5))
    return [
        Placed(
            f"link {n}",
            draw(carriers),
            tuple(draw(st.lists(carriers, max_size=3))),
            draw(st.sampled_from([0, 1, 3, 8])),
            np.array(sorted(draw(st.sets(carriers, min_size=50)))),
        )
        for n in range(count)
    ]


@given(calls(), st.booleans(), st.integers(0, 4), st.integers(0, 4))
def test_as_many_faults_of_each_kind_as_plain_loops_count(
    links: list[Placed], clean: bool, guard_two: int, guard_three: int
) -> None:
    expected = plain_faults([stand(link) for link in links], clean, guard_two, guard_three)
    found = count_by_kind(list(faults(links, clean, guard_two, guard_three)))
    assert found == (expected.off, expected.near, expected.hit, expected.hit_after_a_move)


def test_a_call_that_is_right_has_no_fault() -> None:
    assert plain_faults([stand(link) for link in RIGHT], True, 50, 25).count == 0
    assert list(faults(RIGHT, True, 50, 25)) == []


def planted(index: int, **change: object) -> list[str]:
    """What the verifier says of the right call after one change to one link."""
    links = list(RIGHT)
    links[index] = replace(links[index], **change)  # type: ignore[arg-type]
    return list(faults(links, True, 50, 25))


@pytest.mark.parametrize(
    ("index", "change", "says"),
    [
        (3, {"carrier_khz": 611_210}, "D stands on 611210 kHz, which is none of its slots"),
        (3, {"allowed_khz": ALLOWED[ALLOWED != 611_200]}, "D stands on 611200 kHz, which is none of its slots"),
        (1, {"spares_khz": (607_526,)}, "B stands on 607526 kHz, which is none of its slots"),
        (3, {"carrier_khz": 604_925}, "C on 604575 kHz and D on 604925 kHz are nearer than their spacing"),
        (3, {"spacing_khz": 6_650}, "C on 604575 kHz and D on 611200 kHz are nearer than their spacing"),
        (3, {"spares_khz": (611_500,)}, "D on 611200 kHz and D on 611500 kHz are nearer than their spacing"),
        (1, {"spares_khz": (603_325,)}, "A on 603000 kHz and B on 603325 kHz are nearer than their spacing"),
        (3, {"carrier_khz": 602_000}, "2A-B of B and A falls on D"),
        (3, {"carrier_khz": 602_025}, "2A-B of B and A falls on D"),
        (3, {"carrier_khz": 605_575}, "A+B-C of B, C and A falls on D"),
        (3, {"spares_khz": (602_000,)}, "2A-B of B and A falls on spare of D"),
        (3, {"spares_khz": (619_000, 602_000, 619_500)}, "2A-B of B and A falls on spare of D"),
        (3, {"spares_khz": (602_000, 619_000)}, "2A-B of B and A falls on spare of D"),
        (3, {"spares_khz": (605_575,)}, "A+B-C of B, C and A falls on spare of D"),
        (1, {"spares_khz": (607_900,)}, "after B moves to its first spare: 2A-B of B and C falls on D"),
    ],
)
def test_a_planted_fault_is_named(index: int, change: dict[str, object], says: str) -> None:
    assert any(sentence.startswith(says) for sentence in planted(index, **change))


@pytest.mark.parametrize(
    ("index", "change"),
    [
        (3, {"carrier_khz": 602_050}),  # exactly the guard of 2A-B away from 2B-A
        (3, {"carrier_khz": 604_975}),  # exactly the larger spacing away from C
        (3, {"carrier_khz": 605_600}),  # exactly the guard of A+B-C away from B+C-A
    ],
)
def test_exactly_at_the_distance_is_no_fault(index: int, change: dict[str, object]) -> None:
    about = [says for says in planted(index, **change) if not says.startswith("after ")]
    assert [says for says in about if "falls on D" in says or "spacing" in says] == []


def test_products_do_not_matter_where_the_plan_is_by_power() -> None:
    links = [*RIGHT[:3], replace(RIGHT[3], carrier_khz=602_000)]
    assert list(faults(links, False, 50, 25)) == []
    assert list(faults(links, True, 50, 25)) != []
