"""Everybody who listens to one transmitter is judged by the plan's own figures for them, and told by name."""

from __future__ import annotations

import datetime
import functools

import numpy as np
from tests.day.test_day_listeners import BODY, OWN
from tests.plan.ends import two_ends

from linkwright.desk.expecting import expected_of
from linkwright.plan.chain import scene_of
from linkwright.plan.pipeline import make_plan
from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.record import SECOND_NS, Batch, Reading, reading_from

START = datetime.datetime(2027, 5, 14, 8, 0, tzinfo=datetime.UTC)


@functools.cache
def expected() -> dict[str, Expected]:
    shoot = two_ends(OWN + BODY)
    return {one.link: one for one in expected_of(scene_of(shoot, {}), make_plan(shoot, {}))}


def test_each_listener_is_expected_at_its_own_level_and_the_link_at_the_worst() -> None:
    known = expected()
    assert set(known) == {"Band", "Hop", "Singer of Band", "Wedge of Band"}
    each = [known["Singer of Band"].wanted_dbm, known["Wedge of Band"].wanted_dbm]
    assert known["Band"].wanted_dbm in each
    assert each[0] != each[1]
    assert len({known[name].carrier_khz for name in ("Band", "Singer of Band", "Wedge of Band")}) == 1


def test_a_reading_names_its_listener() -> None:
    told = {"time": "2027-05-14T10:00:00+01:00", "link": "Band", "rf_a_dbm": -60, "listener": "Singer"}
    assert Batch.of([reading_from(told)]).names == ("Singer of Band",)
    assert Batch.of([reading_from({**told, "listener": None})]).names == ("Band",)


def readings(seconds: float, rate: int = 10) -> list[Reading]:
    """Singer and Wedge in good reception, but Singer's antenna comes off for half a minute."""
    found = []
    rng = np.random.default_rng(1)
    for n in range(round(seconds * rate)):
        at = START + datetime.timedelta(seconds=n / rate)
        gone = 60.0 <= n / rate < 90.0
        for name in ("Singer", "Wedge"):
            out = gone and name == "Singer"
            level = (-104.0 if out else -55.0) + rng.normal(0.0, 1.0)
            found.append(
                Reading(
                    time=at,
                    link="Band",
                    listener=name,
                    rf_a_dbm=level,
                    quality=0.0 if out else 1.0,
                    muted=1 if out else 0,
                    audio_dbfs=-100.0 if out else -24.0,
                )
            )
    return found


def test_one_listener_who_loses_it_is_told_alone_and_by_name() -> None:
    watcher = Watcher(called=str)
    watcher.expect(tuple(expected().values()))
    all_of = readings(150.0)
    found = [change for n in range(0, len(all_of), 100) for change in watcher.add(Batch.of(all_of[n : n + 100]))]
    found += watcher.finish()
    episodes = {change.episode.link: change.episode for change in found if change.kind == "closed"}
    assert set(episodes) == {"Singer of Band"}
    episode = episodes["Singer of Band"]
    assert abs(episode.from_ns - (START.timestamp() + 60.0) * SECOND_NS) < 3 * SECOND_NS
    blamed = {cause for cause, share in episode.causes if share > 0.1}
    assert blamed.isdisjoint({"battery", "switched-off", "intermodulation", "interference"}), episode.causes
    assert "Wedge of Band hears the same transmitter" in episode.do
