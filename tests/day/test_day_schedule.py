"""A whole day: setting up, breaks, midnight, changes of clocks, batteries across calls, what to pack."""

from __future__ import annotations

import datetime
import itertools
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from tests.shoot.shoots import shoots

from linkwright.day.batteries import Day, day_of, packing
from linkwright.day.report import answer, document, savings
from linkwright.day.schedule import later, minutes_between, schedule
from linkwright.draw.day import drawn_day, tall_px
from linkwright.lengths import hours
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import parse_shoot

#: A kit whose set lasts about five hours: 2 x 1.2 V, 2.5 Ah at 0.2 C, 1200 mW, no reserve, no setting up.
HEADER = """
[shoot]
title = "x"
region = "GB"
date = {date}
timezone = "Europe/London"
cell_reserve = 0
set_up = {{ sweep_min = 0, pair_min = 0, settings_min = 0, walk_min = 0 }}
[transmitter.kit]
use = "uhf-body-worn"
cells = {{ type = "AA", chemistry = "nimh", count = 2 }}
drain_mw = {{ base = 1200 }}
powers_mw = [10]
[[link]]
name = "A"
transmitter = "kit"
receiver = "uhf-cart-rack"
"""


def shoot_of(calls: str, date: str = "2027-05-14", more: str = "") -> Shoot:
    return parse_shoot(HEADER.format(date=date) + more + calls, "day.toml")


def day(shoot: Shoot) -> Day:
    return day_of(shoot, schedule(shoot), None)


def call(name: str, times: str, more: str = "") -> str:
    return f'[[call]]\nname = "{name}"\n{times}\n{more}\n'


def changes(shoot: Shoot) -> list[tuple[str, str, str]]:
    return [(change.link, change.at.isoformat(), change.when) for change in day(shoot).changes]


LONG = "from = 08:00:00\nto = 14:00:00"


def test_the_kit_of_these_tests_lasts_five_hours() -> None:
    (link,) = day(shoot_of(call("One", LONG))).links
    assert link.run_h == pytest.approx(5.0, abs=0.01)


def test_a_change_comes_in_the_last_break_that_is_reached() -> None:
    breaks = (
        "breaks = [{ from = 09:00:00, to = 09:10:00 }, { from = 12:00:00, to = 12:10:00 }, "
        "{ from = 13:30:00, to = 13:40:00 }]"
    )
    assert changes(shoot_of(call("One", LONG, breaks))) == [("A", "2027-05-14T12:00:00+01:00", "break")]
    (change,) = day(shoot_of(call("One", LONG, breaks))).changes
    assert change.left_h == pytest.approx(1.0, abs=0.01)


def test_a_break_that_is_too_short_is_no_chance_and_a_take_without_one_says_so() -> None:
    short = "breaks = [{ from = 12:00:00, to = 12:01:00 }]"
    ((link, at, when),) = changes(shoot_of(call("One", LONG, short)))
    assert (link, when) == ("A", "take")
    assert at.startswith(("2027-05-14T12:59", "2027-05-14T13:00"))
    assert "runs out in a take" in answer(day(shoot_of(call("One", LONG, short))))


def test_between_calls_is_a_chance_and_switched_off_costs_nothing() -> None:
    two = call("One", "from = 08:00:00\nto = 12:00:00") + call("Two", "from = 16:00:00\nto = 19:00:00")
    assert changes(shoot_of(two)) == [("A", "2027-05-14T16:00:00+01:00", "before")]
    again = call("One", "from = 08:00:00\nto = 10:00:00") + call("Two", "from = 16:00:00\nto = 18:30:00")
    assert changes(shoot_of(again)) == []


def test_the_next_set_is_in_before_setting_up() -> None:
    times = "set_up_min = 45\nfrom = 16:00:00\nto = 19:00:00"
    two = call("One", "from = 08:00:00\nto = 12:00:00") + call("Two", times)
    assert changes(shoot_of(two)) == [("A", "2027-05-14T15:15:00+01:00", "before")]


def test_past_midnight() -> None:
    night = call(
        "Night", "from = 21:00:00\nto = 03:00:00\nnext_day = true",
        "breaks = [{ from = 01:00:00, to = 01:20:00 }]",
    )  # fmt: skip
    assert changes(shoot_of(night)) == [("A", "2027-05-15T01:00:00+01:00", "break")]
    (timed,) = schedule(shoot_of(night))
    assert minutes_between(*timed.span) == 360.0  # type: ignore[misc]


@pytest.mark.parametrize(
    ("date", "hours_on", "offset"),
    [("2027-03-27", 5.0, "+01:00"), ("2027-10-30", 7.0, "+00:00"), ("2027-06-12", 6.0, "+01:00")],
    ids=["clocks go forward", "clocks go back", "neither"],
)
def test_a_night_on_which_clocks_are_changed_has_its_real_length(date: str, hours_on: float, offset: str) -> None:
    """The European Union's Directive 2000/84/EC: the last Sundays of March and October, at 01:00 UTC."""
    night = shoot_of(call("Night", "from = 22:00:00\nto = 04:00:00\nnext_day = true"), date)
    (timed,) = schedule(night)
    assert timed.span is not None
    assert minutes_between(*timed.span) == 60.0 * hours_on
    assert timed.span[1].isoformat().endswith(f"04:00:00{offset}")
    assert len(day(night).changes) == (1 if hours_on > 5.0 else 0)


def test_a_time_that_the_clocks_leave_out_is_moved_on() -> None:
    gone = shoot_of(call("Early", "from = 01:30:00\nto = 02:10:00"), "2027-03-28")
    (timed,) = schedule(gone)
    assert timed.span is not None
    assert timed.span[0].isoformat() == "2027-03-28T02:30:00+01:00"
    assert minutes_between(*timed.span) >= 0.0
    assert day(gone).changes == []


def test_travel_and_setting_up_that_do_not_fit_are_told() -> None:
    two = call("One", "from = 08:00:00\nto = 12:00:00") + call(
        "Two", "travel_min = 30\nset_up_min = 20\nfrom = 12:40:00\nto = 13:00:00"
    )
    _, second = schedule(shoot_of(two))
    assert (second.short_min, second.after) == (10.0, "One")
    assert second.leaves is not None
    assert second.leaves.isoformat() == "2027-05-14T11:50:00+01:00"


def test_setting_up_takes_what_the_kit_takes() -> None:
    """A pass of 8961 slots of 0.2 s; 1 min to pair and 1 min for settings; 2 x 70 m at 1.4 m/s."""
    text = HEADER.format(date="2027-05-14").replace(
        "set_up = { sweep_min = 0, pair_min = 0, settings_min = 0, walk_min = 0 }", ""
    )
    site = (
        '[[site]]\nname = "S"\nspots = [{ name = "R", x_m = 0, y_m = 0, z_m = 1 }, '
        '{ name = "T", x_m = 70, y_m = 0, z_m = 1 }]\n'
    )
    first, second = schedule(
        parse_shoot(text + site + call("One", LONG) + call("Two", "from = 15:00:00\nto = 16:00:00"), "x")
    )
    parts = {part.what: part.minutes for part in first.parts}
    assert parts["sweep"] == pytest.approx(8961 * 0.2 / 60.0)
    assert (parts["pair"], parts["settings"]) == (1.0, 1.0)
    assert parts["walk"] == pytest.approx(140.0 / 1.4 / 60.0)
    assert {part.what for part in second.parts} == {"settings"}, "swept, paired and walked there already"


def test_one_link_in_two_calls_at_once_is_told() -> None:
    two = call("One", LONG) + call("Two", "from = 13:00:00\nto = 15:00:00")
    found = day(shoot_of(two))
    assert found.twice == (("A", "One", "Two"),)
    on = found.links[0].stretches
    assert all(a.ends.timestamp() <= b.starts.timestamp() for a, b in itertools.pairwise(on))


def test_resting_and_a_lower_step_are_weighed() -> None:
    kit = "resting_mw = 12\n"
    text = HEADER.replace("powers_mw = [10]", "powers_mw = [10, 50]\n" + kit).replace(
        "{{ base = 1200 }}", "{{ base = 800, per_radiated_mw = 8 }}"
    )
    breaks = "breaks = [{ from = 10:00:00, to = 11:50:00 }, { from = 12:00:00, to = 12:10:00 }]"
    shoot = parse_shoot(text.format(date="2027-05-14") + call("One", LONG, breaks), "x")
    (link,) = day(shoot).links
    assert (link.power_mw, link.lower_mw, len(link.changes)) == (50.0, 10.0, 1)
    assert (link.changes_saving, link.changes_lower) == (0, 0)
    assert link.saved_h == pytest.approx(2.0 * 0.99, abs=0.03)
    assert any("1 change fewer" in line for line in savings(day(shoot)))


def test_cells_are_packed_with_spares() -> None:
    (packed,) = packing(day(shoot_of(call("One", LONG))))
    assert (packed.kind, packed.used, packed.spare, packed.rechargeable) == ("AA nimh", 4, 2, True)
    near = call("One", "from = 08:00:00\nto = 12:30:00")
    (packed,) = packing(day(shoot_of(near)))
    assert (packed.used, packed.spare) == (2, 4), "it may not last: one set more, and one spare set"


def test_logged_runs_move_the_change() -> None:
    breaks = "breaks = [{ from = 10:00:00, to = 10:10:00 }, { from = 12:00:00, to = 12:10:00 }]"
    run = '[[run]]\ntransmitter = "kit"\nran_h = 3.0\npower_mw = 10\n'
    shoot = shoot_of(call("One", "from = 08:00:00\nto = 12:30:00", breaks), more=run * 3)
    assert changes(shoot) == [("A", "2027-05-14T10:00:00+01:00", "break")]
    (link,) = day(shoot).links
    assert link.kit.evidence == "measured"
    assert link.run_h == pytest.approx(3.0, rel=0.06)


def test_a_shoot_without_times_tells_run_times_only() -> None:
    found = day(shoot_of(""))
    assert found.changes == []
    assert answer(found) == "The calls have no times; a fresh set lasts 5 h 00 at least, in A."
    assert document(found)["links"][0]["end_left_h"] is None


def test_cold_shortens_the_day() -> None:
    site = '[[site]]\nname = "S"\ntemperature_c = {}\n'
    warm, cold = (day(shoot_of(call("One", LONG), more=site.format(t))).links[0].run_h for t in (20, -10))
    assert cold < 0.85 * warm


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "0 min"), (0.5, "30 min"), (1.999, "2 h 00"), (-0.25, "−15 min")]
)
def test_lengths_of_time_in_words(value: float, said: str) -> None:
    assert hours(value) == said


@settings(max_examples=150, deadline=None)
@given(shoots())
def test_any_shoot_has_a_day(shoot: Shoot) -> None:
    """Whatever the shoot: sentences, a document, a picture; changes in order, at the chances."""
    found = day(shoot)
    told = document(found)
    assert answer(found).endswith(".")
    assert drawn_day(found).startswith("<svg")
    for width_px in (362.0, 1200.0):  # a page keeps the room that it takes
        tall = ET.fromstring(drawn_day(found, width_px, titled=False)).get("height", "")
        assert float(tall) == pytest.approx(tall_px(found, width_px))
    assert [one["change_at"] for one in told["batteries"]] == [change.at.isoformat() for change in found.changes]
    for link in found.links:
        on = link.stretches
        assert all(a.ends.timestamp() <= b.starts.timestamp() + 1e-6 for a, b in itertools.pairwise(on))
        for change in link.changes:
            assert change.left_h >= -1e-6
            if change.when != "take":
                assert any(one.chance == change.when and one.starts == change.at for one in on)


def test_later_counts_real_minutes() -> None:
    import zoneinfo

    zone = zoneinfo.ZoneInfo("Europe/London")
    before = datetime.datetime(2027, 3, 28, 0, 30, tzinfo=zone)
    assert later(before, 60.0).isoformat() == "2027-03-28T02:30:00+01:00"
    assert minutes_between(before, later(before, 90.0)) == 90.0
