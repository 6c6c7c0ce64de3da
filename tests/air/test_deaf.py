"""A sweep with the antenna off is found and refused; one of a quiet band, or with other settings, is not."""

from __future__ import annotations

import numpy as np
from tests.air.test_measured_air import made, noise, with_signal
from tests.air.test_multiplexes import EIGHT

from linkwright.air.deaf import Known, deaf_among, deaf_reason, known_from
from linkwright.air.judged import JudgedSweep, judge
from linkwright.air.readers import Readout
from linkwright.air.survey import survey

AIR = [(502_200.0, 509_800.0, 24.0), (600_000.0, 600_200.0, 25.0), (640_000.0, 640_200.0, 15.0)]


def looked(bands: list[tuple[float, float, float]], seed: int, floor_db: float = -105.0) -> JudgedSweep:
    return judge(made(noise(seed, 16, (3, 8960), with_signal(bands, floor_db)), path=f"{seed}.csv"))


def test_known_are_the_steady_and_strong() -> None:
    known = known_from(looked([*AIR, (660_000.0, 660_200.0, 6.0)], 1), EIGHT)
    assert [one.name[:6] for one in known] == ["TV cha", "600.09", "640.10"]
    assert [one.from_khz < khz < one.to_khz for one, khz in zip(known, (506_000, 600_100, 640_100), strict=True)]


def test_a_sweep_with_the_antenna_off() -> None:
    heard, deaf = looked(AIR, 1), looked([], 2)
    reasons = deaf_among([heard, deaf], EIGHT)
    assert reasons[0] is None
    assert reasons[1] is not None
    assert reasons[1].startswith("TV channel 5, 600.")
    assert "MHz cannot be heard in it and its floor is unchanged" in reasons[1]


def test_one_that_is_left_is_enough_to_show_that_it_hears() -> None:
    assert deaf_among([looked(AIR, 1), looked(AIR[:1], 2)], EIGHT) == (None, None)


def test_another_gain_is_not_deafness() -> None:
    assert deaf_among([looked(AIR, 1), looked([], 2, floor_db=-120.0)], EIGHT) == (None, None)


def test_what_was_not_looked_at_proves_nothing() -> None:
    part = noise(2, 16, (3, 2000), -105.0)
    elsewhere = judge(made(part, first_khz=650_012.5))
    assert deaf_among([looked(AIR, 1), elsewhere], EIGHT) == (None, None)


def test_known_from_a_list_of_stations() -> None:
    stations = [Known("channel 24", 494_000, 502_000), Known("channel 27", 518_000, 526_000)]
    assert deaf_reason(looked([], 3), stations) is not None
    assert deaf_reason(looked([], 3), stations[:1]) is None, "one may be off the air"
    assert deaf_reason(looked([(494_200.0, 501_800.0, 8.0)], 3), stations) is None


def test_a_deaf_file_does_not_count() -> None:
    heard, deaf = looked(AIR, 1).sweep, looked([], 2).sweep
    found = survey([Readout("1.csv", (heard,)), Readout("2.csv", (deaf,))], EIGHT)
    assert found.refused[0] is None
    assert found.refused[1] is not None
    assert len(found.judged) == 1
    assert found.judged[0].sweep.sweeps == 3
    assert [one.channel for one in found.tv] == ["5"]
    free = np.array([(low <= 600_100 <= high) for low, high in found.clean])
    assert not free.any()
