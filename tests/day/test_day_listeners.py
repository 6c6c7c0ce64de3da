"""The cells of those who listen are planned like those who send: at the last chance, on the low side."""

from __future__ import annotations

import datetime
import itertools
import math

import pytest
from tests.plan.ends import HEADER, two_ends

from linkwright.day.batteries import NINE_OF_TEN, Day, LinkDay, day_of, packing
from linkwright.day.report import document
from linkwright.day.schedule import schedule
from linkwright.physics.battery import CELLS, run_time_h
from linkwright.plan.batteries import day_with
from linkwright.plan.pipeline import make_plan
from linkwright.shoot.models import Shoot

OWN = """
[receiver.hop]
use = "uhf-camera-slot"
cells = { type = "AA", chemistry = "nimh", count = 2 }
draws_mw = 900
[transmitter.base]
use = "uhf-in-ear-base"
tunes_mhz = [[518.0, 566.0]]
"""
BODY = """
[[link]]
name = "Band"
serves = "in-ear"
transmit = { kit = "base", at = "Rack" }
receive = [
  { name = "Singer", kit = "uhf-in-ear-pack", route = ["Left", "Right"] },
  { name = "Wedge", kit = "uhf-camera-slot", at = "Left" },
]
[[link]]
name = "Hop"
serves = "camera-hop"
transmit = { kit = "pocket", at = "Left" }
receive = [{ kit = "hop", route = ["Left", "Right"] }]
[[call]]
name = "Show"
site = "Stage"
from = 09:00:00
to = 20:00:00
breaks = [{ from = 12:00:00, to = 12:30:00 }, { from = 16:00:00, to = 16:30:00 }]
"""


def stage(more: str = "") -> Shoot:
    return two_ends(OWN + BODY + more, HEADER)


def the_day(shoot: Shoot) -> Day:
    return day_of(shoot, schedule(shoot), None)


def of(day: Day, who: str) -> LinkDay:
    return next(link for link in day.links if link.who == who)


def test_each_listener_with_cells_has_a_row_and_mains_have_none() -> None:
    day = the_day(stage())
    assert [link.who for link in day.links] == ["Singer of Band", "Hop", "receiver of Hop"]
    assert day.unknown == ()


def test_a_receiver_lasts_as_its_cells_do_at_what_it_draws() -> None:
    hop = of(the_day(stage()), "receiver of Hop")
    assert hop.run_h == pytest.approx(run_time_h(CELLS["AA", "nimh"], 2, 900.0))


def test_its_changes_keep_to_the_low_side_and_to_the_breaks() -> None:
    hop = of(the_day(stage()), "receiver of Hop")
    assert [(f"{change.at:%H:%M}", change.when) for change in hop.changes] == [
        ("12:00", "break"),
        ("16:00", "break"),
    ]
    low_h = hop.run_h * math.exp(-NINE_OF_TEN * hop.spread)
    assert hop.run_h - hop.changes[0].left_h < low_h < 11.0
    moments = [hop.stretches[0].starts, *(change.at for change in hop.changes), hop.stretches[-1].ends]
    for a, b in itertools.pairwise(moments):
        assert (b - a).total_seconds() / 3600.0 <= low_h


def test_they_stand_in_the_plan_in_the_document_and_among_what_is_packed() -> None:
    shoot = stage()
    plan = make_plan(shoot, {})
    told = [(battery.who, battery.listener) for battery in plan.batteries]
    assert ("receiver of Hop", "receiver") in told
    assert {battery.link for battery in plan.batteries} == {"Hop"}
    rows = {(row["link"], row.get("listener")) for row in document(the_day(shoot))["links"]}
    assert ("Band", "Singer") in rows
    nimh = next(one for one in packing(the_day(shoot)) if one.kind == "AA nimh")
    assert nimh.used == 6


def test_a_pack_that_finds_its_carriers_by_itself_runs_on_cells_too() -> None:
    crew = """[[link]]
name = "Crew"
serves = "intercom"
transmit = { kit = "intercom pack, 1880-1900 MHz", route = ["Left"] }
receive = [{ kit = "intercom base, 1880-1900 MHz", at = "Rack" }]
[[call]]"""
    shoot = two_ends(OWN + BODY.replace("[[call]]", crew), HEADER)
    day = day_with(shoot, make_plan(shoot, {}))
    assert of(day, "Crew").run_h == pytest.approx(run_time_h(CELLS["AA", "nimh"], 3, 600.0))


def test_who_listens_with_a_pack_whose_cells_nobody_knows_is_told() -> None:
    shoot = stage().model_copy(deep=True)
    text = OWN + BODY.replace('"uhf-in-ear-pack", route', '"uhf-camera-slot", route')
    assert the_day(two_ends(text, HEADER)).unknown == ("Singer of Band",)
    assert the_day(shoot).unknown == ()


def test_a_measured_run_time_of_a_receiver_counts() -> None:
    measured = f"""measured = [{{ what = "run time", value = 4.0, unit = "h", when = {datetime.date(2027, 5, 1)}, \
how = "a day" }}]
draws_mw = 900"""
    hop = of(
        the_day(two_ends((OWN + BODY).replace("draws_mw = 900", measured.replace("\\\n", ""), 1), HEADER)),
        "receiver of Hop",
    )
    assert abs(hop.run_h - 4.0) < 1.0
    assert hop.kit.evidence == "measured"
