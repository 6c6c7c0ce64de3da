"""Calls and others on the time line: days, midnight, and who is on while a call runs."""

from __future__ import annotations

import datetime
import zoneinfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Other
from linkwright.shoot.reading import parse_shoot
from linkwright.shoot.view import LiveCall, live_calls, others_by_site, others_during

LONDON = zoneinfo.ZoneInfo("Europe/London")


def on_site(shoot: Shoot, call: LiveCall) -> tuple[Other, ...]:
    """The others that may be on while a call runs."""
    return others_during(others_by_site(shoot)[call.site.name], call)


def shoot_of(calls: str, others: str = "") -> Shoot:
    text = (
        '[shoot]\ntitle = "x"\nregion = "GB"\ndate = 2027-05-14\ntimezone = "Europe/London"\n'
        '[[site]]\nname = "Quay"\n[[site]]\nname = "Ship"\n'
        '[[link]]\nname = "A"\ntransmitter = "uhf-body-worn"\nreceiver = "uhf-cart-rack"\n'
        '[[link]]\nname = "B"\ntransmitter = "uhf-handheld"\nreceiver = "uhf-cart-rack"\n'
    )
    return parse_shoot(text + calls + others, "times.toml")


def call_of(times: str) -> str:
    return f'[[call]]\nname = "Take"\n{times}\n'


def other_of(times: str = "", name: str = "Base", site: str = "") -> str:
    at = f'site = "{site}"\n' if site else ""
    return (
        f'[[other]]\nname = "{name}"\ncarrier_mhz = 606.3\nradiated_mw = 1\n'
        f"at = {{ x_m = 0, y_m = 0 }}\n{at}{times}\n"
    )


def moment(day: int, hour: int, minute: int = 0) -> datetime.datetime:
    return datetime.datetime(2027, 5, day, hour, minute, tzinfo=LONDON)


@pytest.mark.parametrize(
    ("times", "starts", "ends"),
    [
        ("", None, None),
        ("from = 08:30:00\nto = 10:15:00", moment(14, 8, 30), moment(14, 10, 15)),
        ("from = 22:00:00\nto = 02:00:00\nnext_day = true", moment(14, 22), moment(15, 2)),
        ("from = 08:00:00\nto = 10:00:00\nnext_day = true", moment(14, 8), moment(15, 10)),
        ("from = 08:00:00\nto = 10:00:00\ndate = 2027-05-20", moment(20, 8), moment(20, 10)),
        ("from = 23:00:00\nto = 01:00:00\ndate = 2027-05-20\nnext_day = true", moment(20, 23), moment(21, 1)),
    ],
)
def test_when_a_call_is(times: str, starts: datetime.datetime | None, ends: datetime.datetime | None) -> None:
    (call,) = live_calls(shoot_of(call_of(times)))
    assert (call.starts, call.ends) == (starts, ends)


def test_times_are_of_the_zone_of_the_shoot() -> None:
    (call,) = live_calls(shoot_of(call_of("from = 08:30:00\nto = 10:15:00")))
    assert call.starts is not None
    assert call.starts.isoformat() == "2027-05-14T08:30:00+01:00"


def test_links_and_sites_of_calls() -> None:
    shoot = shoot_of(
        '[[call]]\nname = "One"\nlinks = ["B"]\n[[call]]\nname = "Two"\nsite = "Ship"\n'
        '[[call]]\nname = "Three"\nlinks = ["B", "A"]\n'
    )
    found = [(call.name, call.site.name, [link.name for link in call.links]) for call in live_calls(shoot)]
    assert found == [("One", "Quay", ["B"]), ("Two", "Ship", ["A", "B"]), ("Three", "Quay", ["B", "A"])]


#: (the call, the other's time, is it on while the call runs?)
OVERLAPS = [
    ("from = 08:00:00\nto = 10:00:00", "", True),
    ("", "from = 12:00:00\nto = 13:00:00", True),
    ("from = 08:00:00\nto = 10:00:00", "from = 09:00:00\nto = 18:00:00", True),
    ("from = 08:00:00\nto = 10:00:00", "from = 07:00:00\nto = 08:00:01", True),
    ("from = 08:00:00\nto = 10:00:00", "from = 07:00:00\nto = 08:00:00", False),
    ("from = 08:00:00\nto = 10:00:00", "from = 10:00:00\nto = 11:00:00", False),
    ("from = 08:00:00\nto = 10:00:00", "from = 08:30:00\nto = 08:31:00", True),
    ("from = 08:00:00\nto = 10:00:00", "from = 22:00:00\nto = 06:00:00", False),
    ("from = 08:00:00\nto = 10:00:00", "from = 22:00:00\nto = 08:30:00", True),
    ("from = 08:00:00\nto = 10:00:00", "from = 09:30:00\nto = 09:00:00", True),
    ("from = 22:00:00\nto = 02:00:00\nnext_day = true", "from = 01:00:00\nto = 05:00:00", True),
    ("from = 22:00:00\nto = 02:00:00\nnext_day = true", "from = 02:00:00\nto = 21:00:00", False),
    ("from = 22:00:00\nto = 02:00:00\nnext_day = true", "from = 23:00:00\nto = 23:30:00", True),
    ("from = 22:00:00\nto = 02:00:00\nnext_day = true", "from = 20:00:00\nto = 00:00:00", True),
    ("from = 08:00:00\nto = 10:00:00\nnext_day = true", "from = 06:00:00\nto = 07:00:00", True),
    ("from = 00:30:00\nto = 01:00:00", "from = 23:00:00\nto = 00:45:00", True),
    ("from = 08:00:00\nto = 10:00:00", "from = 12:00:00\nto = 12:00:00", True),  # on all day round
]


@pytest.mark.parametrize(("call", "other", "is_on"), OVERLAPS)
def test_who_is_on_while_a_call_runs(call: str, other: str, is_on: bool) -> None:
    shoot = shoot_of(call_of(call), other_of(other))
    (live,) = live_calls(shoot)
    assert [found.name for found in on_site(shoot, live)] == (["Base"] if is_on else [])


minutes = st.integers(0, 24 * 60 - 1)


@given(minutes, st.integers(1, 40 * 60), minutes, minutes)
def test_who_is_on_minute_by_minute(starts: int, length: int, on: int, off: int) -> None:
    """Counted minute by minute, on a clock that goes round."""
    ends = starts + length
    days_later, next_day = divmod(ends, 24 * 60)[0], "true"
    if days_later > 1 or (days_later == 1 and ends == 2 * 24 * 60):
        return
    if days_later == 0:
        next_day = "false"
    shoot = shoot_of(
        call_of(f"from = {clock(starts)}\nto = {clock(ends)}\nnext_day = {next_day}"),
        other_of(f"from = {clock(on)}\nto = {clock(off)}"),
    )
    lit = {(on + minute) % (24 * 60) for minute in range((off - on) % (24 * 60) or 24 * 60)}
    expected = any(minute % (24 * 60) in lit for minute in range(starts, ends))
    (live,) = live_calls(shoot)
    assert bool(on_site(shoot, live)) == expected


def clock(minute: int) -> str:
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}:00"


def test_others_stay_on_their_site() -> None:
    shoot = shoot_of(
        '[[call]]\nname = "Ashore"\n[[call]]\nname = "Aboard"\nsite = "Ship"\n',
        other_of(name="Anywhere") + other_of(name="On the ship", site="Ship"),
    )
    ashore, aboard = live_calls(shoot)
    assert [other.name for other in on_site(shoot, ashore)] == ["Anywhere"]
    assert [other.name for other in on_site(shoot, aboard)] == ["On the ship"]


def test_the_first_and_the_last_day_are_days_like_others() -> None:
    for day in ("2000-01-01", "2199-12-31"):
        shoot = shoot_of(
            call_of(f"from = 22:00:00\nto = 02:00:00\nnext_day = true\ndate = {day}"),
            other_of("from = 23:00:00\nto = 01:00:00"),
        )
        (live,) = live_calls(shoot)
        assert len(on_site(shoot, live)) == 1
