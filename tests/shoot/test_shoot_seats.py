"""Receivers' channels, given out one a link."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from tests.plan.shoots import HEADER, links, pocket, shoot

from linkwright.plan.pipeline import make_plan
from linkwright.shoot.equipment import Receiver
from linkwright.shoot.models import Link
from linkwright.shoot.seats import seatings

names = st.sampled_from(["A", "B", "C", "D", "E", "F"])
spots = st.sampled_from([None, "Cart", "Camera"])


def receiver(channels: int, count: int | None) -> Receiver:
    return Receiver(tunes_mhz=((518.0, 542.0),), channels=channels, count=count)


@given(
    st.lists(st.lists(names, min_size=1, unique=True), min_size=1, max_size=4),
    st.dictionaries(names, spots),
    st.integers(1, 3),
    st.none() | st.integers(1, 3),
)
def test_no_channel_is_given_twice_and_units_do_not_move(
    calls: list[list[str]], at: dict[str, str | None], channels: int, count: int | None
) -> None:
    of = {n: Link(name=n, transmitter="t", receiver="rx", at=at.get(n)) for n in "ABCDEF"}
    before: dict[str, object] = {}
    for call, seating in zip(
        calls,
        seatings([([of[n] for n in call], "Cart") for call in calls], {"rx": receiver(channels, count)}),
        strict=True,
    ):
        places = [(of[name].at or "Cart", seat.unit, seat.channel) for name, seat in seating.seats.items()]
        assert len(set(places)) == len(places)
        assert {*seating.seats, *seating.unseated} == set(call)
        assert all(1 <= seat.channel <= channels for seat in seating.seats.values())
        units = {(where, unit) for where, unit, _ in places}
        if count is None:
            assert not seating.unseated
        else:
            assert len(units) <= count
            assert not seating.unseated or len(units) == count
        before |= seating.seats


def test_a_link_keeps_its_channel_from_call_to_call() -> None:
    a, b, c = (Link(name=n, transmitter="t", receiver="rx") for n in "ABC")
    first, second = seatings([([a, b], ""), ([c, b], "")], {"rx": receiver(2, None)})
    assert first.seats["B"] == second.seats["B"]
    assert second.seats["C"] == first.seats["A"]


FIVE = pocket("[[518.0, 566.0]]") + '[receiver.rx]\nuse = "uhf-camera-slot"\n' + links(5, receiver="rx")


def test_five_links_on_a_two_channel_receiver_need_three_of_them() -> None:
    plan = make_plan(shoot(FIVE, HEADER), {})
    (told,) = [finding for finding in plan.findings if finding.code == "receiver-channels"]
    assert told.says == 'Five links want rx in call "Whole shoot"; it has 2 channels, so three of it are needed.'
    assert sorted((x.receiver_unit, x.receiver_channel) for x in plan.calls[0].links) == [
        (1, 1), (1, 2), (2, 1), (2, 2), (3, 1),
    ]  # fmt: skip


def test_where_the_units_are_counted_the_others_have_no_place() -> None:
    plan = make_plan(shoot(FIVE.replace("[receiver.rx]", "[receiver.rx]\ncount = 1"), HEADER), {})
    assert [link.link for link in plan.calls[0].links] == ["L1", "L2"]
    assert not plan.all_hold
    gone = plan.calls[0].unplaced
    assert [link.link for link in gone] == ["L3", "L4", "L5"]
    assert gone[0].because == "no receiver channel is left: rx has 2 in each of 1 unit"


EARS = """
[[site]]
name = "Stage"
spots = [{ name = "Rack", x_m = 0, y_m = 0 }, { name = "Riser", x_m = 9, y_m = 0 }]
[receiver.ear]
use = "uhf-camera-slot"
channels = 1
count = COUNT
"""
HEARD = """
[[link]]
name = "NAME"
serves = "in-ear"
transmit = { kit = "uhf-handheld", at = "Rack", worn = "mounted" }
receive = [{ name = "Bo", kit = "ear", at = "Riser" }, { name = "Cy", kit = "ear", route = ["Riser"] }]
"""


def test_everyone_who_listens_wants_a_receiver() -> None:
    two = HEARD.replace("NAME", "Left") + HEARD.replace("NAME", "Right")
    enough = make_plan(shoot(EARS.replace("COUNT", "4") + two), {}, effort=0.0).calls[0]
    assert {link.link for link in enough.links} == {"Left", "Right"}
    short = make_plan(shoot(EARS.replace("COUNT", "3") + two), {}, effort=0.0).calls[0]
    assert [link.link for link in short.links] == ["Left"]
    assert "no receiver channel is left" in short.unplaced[0].because
