"""What is wrong with the setting: a transmitter that was not moved along, one of ours left on a spare, a link that
was never on, and a meter of few steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.watch.second import BEGIN_NS

from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.logs import meters_said
from linkwright.watch.diagnose.watcher import Episode, Watcher
from linkwright.watch.log.record import SECOND_NS, Batch

RATE = 10
PLAN = Expected("Mic", "Morning", (), 520_000, -75.0, -112.0, 20.0)


def batch(link: str, levels: np.ndarray, fine: np.ndarray, from_s: float = 0.0, seed: int = 1) -> Batch:
    """Ten readings a second at these levels (n,) [dBm], whole where `fine`."""
    rng = np.random.default_rng(seed)
    count = levels.size
    a, b = levels + rng.normal(0.0, 1.5, (2, count))
    quality = np.where(fine, 1.0, 0.0)
    values = np.stack([a, b, np.full(count, -30.0), quality, np.full(count, 0.8), 1.0 - quality], axis=1)
    times = BEGIN_NS + np.round((from_s + np.arange(count) / RATE) * 1e9).astype(np.int64)
    return Batch((link,), np.zeros(count, np.int32), times, values.astype(np.float32))


def span(start_s: float, end_s: float) -> tuple[tuple[int, int], ...]:
    return ((BEGIN_NS + round(start_s * SECOND_NS), BEGIN_NS + round(end_s * SECOND_NS)),)


def heard_until(seconds: float, then_s: float) -> tuple[np.ndarray, np.ndarray]:
    levels = np.concatenate([np.full(round(seconds * RATE), -65.0), np.full(round(then_s * RATE), -112.0)])
    return levels, levels > -90.0


def told(watcher: Watcher) -> Episode:
    watcher.finish()
    (found,) = [all_episode for all_episode in watcher.all_episodes() if all_episode.link == "Mic"]
    return found


def test_a_link_that_is_not_heard_from_its_change_of_carrier_on_was_not_set() -> None:
    moved = (replace(PLAN, spans=span(0, 60)), replace(PLAN, call="Noon", spans=span(60, 200), carrier_khz=530_000))
    watcher = Watcher(moved)
    watcher.add(batch("Mic", *heard_until(60.0, 40.0)))
    found = told(watcher)
    assert found.cause == "carrier"
    assert found.alarm
    assert found.because.startswith("Nothing was received of it since its carrier changed")
    assert "carrier" in found.do


def test_so_it_is_where_a_new_plan_moves_it() -> None:
    watcher = Watcher([PLAN])
    levels, fine = heard_until(60.0, 40.0)
    watcher.add(batch("Mic", levels[:600], fine[:600]))
    watcher.expect([replace(PLAN, carrier_khz=530_000)])
    watcher.add(batch("Mic", levels[600:], fine[600:], 60.0))
    assert told(watcher).cause == "carrier"


@pytest.mark.parametrize("carrier_khz", [520_000, 530_000])
def test_one_that_was_heard_since_or_was_not_moved_went_off(carrier_khz: int) -> None:
    moved = (
        replace(PLAN, spans=span(0, 40)),
        replace(PLAN, call="Noon", spans=span(40, 200), carrier_khz=carrier_khz),
    )
    watcher = Watcher(moved)
    watcher.add(batch("Mic", *heard_until(80.0, 40.0)))
    assert told(watcher).cause in ("switched-off", "battery")


def test_one_of_ours_that_is_not_received_and_has_this_carrier_as_a_spare_was_left_on_it() -> None:
    count = 100 * RATE
    levels = np.full(count, -65.0)
    broken = np.arange(count) >= 60 * RATE
    stray = replace(PLAN, link="Boom", carrier_khz=525_000, spares_khz=(520_000, 531_000))
    other = replace(PLAN, link="Host", carrier_khz=527_000)
    found = {}
    for name, spares in (("stray", stray), ("none", replace(stray, spares_khz=(531_000,)))):
        watcher = Watcher([PLAN, spares, other])
        gone, off = heard_until(50.0, 50.0)
        for part in (
            batch("Boom", gone, off, seed=2), batch("Host", np.full(count, -60.0), np.ones(count, bool), seed=3),
            batch("Mic", levels, ~broken),
        ):  # fmt: skip
            watcher.add(part)
        found[name] = told(watcher)
    assert found["stray"].cause == "left-on-spare"
    assert found["stray"].makers == ("Boom",)
    assert "Boom is not received where it should be, and has this carrier as a spare" in found["stray"].because
    assert found["none"].cause == "interference"


def test_a_link_without_a_plan_that_was_never_on_is_no_alarm() -> None:
    watcher = Watcher()
    watcher.add(batch("Mic", *heard_until(0.0, 40.0)))
    found = told(watcher)
    assert not found.alarm
    assert found.because == "Nothing was received of it since the readings began."
    planned = Watcher([PLAN])
    planned.add(batch("Mic", *heard_until(0.0, 40.0)))
    assert told(planned).alarm


def test_a_meter_of_few_steps_is_told_once_for_all_that_are_alike() -> None:
    watcher = Watcher()
    levels = np.repeat([-65.0, -85.0, -75.0], 20 * RATE)
    for name in ("Boom", "Mic"):
        part = batch(name, levels, np.ones(levels.size, bool))
        part.values[:, :2] = np.round(part.values[:, :2] / 10.0) * 10.0
        watcher.add(part)
    watcher.add(batch("Host", levels, np.ones(levels.size, bool)))
    (said,) = meters_said(watcher.seen())
    assert said.startswith("Boom, Mic: the meter shows steps of 10 dB from -")


@pytest.mark.parametrize(("late_s", "says"), [(0.9, "0.9 s after"), (-0.7, "0.7 s before"), (0.2, "")])
def test_a_receiver_that_tells_quality_and_level_apart_in_time_is_told(late_s: float, says: str) -> None:
    rng, falls = np.random.default_rng(3), np.arange(15.0, 150.0, 22.0)
    time_s = np.arange(0.0, 160.0, 1.0 / RATE)
    down = ((time_s[:, None] >= falls) & (time_s[:, None] < falls + 2.0)).any(axis=1)
    levels = np.where(down, -112.0, -62.0) + rng.normal(0.0, 1.5, time_s.size)
    part = batch("Boom", levels, np.ones(levels.size, bool))
    part.values[:, 3] = 1.0 - np.interp(time_s - late_s, time_s, down.astype(float))
    watcher = Watcher()
    watcher.add(part)
    told_ = meters_said(watcher.seen())
    assert told_ == ([f"Boom: the receiver tells the quality {says} the level"] if says else [])
