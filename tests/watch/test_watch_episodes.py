"""Episodes as they are told: the sentence at the top, and the document of `diagnose`."""

from __future__ import annotations

import zoneinfo

from tests.watch.made_readings import NINE_MS

from linkwright.lengths import duration
from linkwright.watch.diagnose.episodes import (
    DiagnosedEpisode,
    answer,
    iso,
    lost_by_cause,
)

LONDON = zoneinfo.ZoneInfo("Europe/London")


def one(link: str, after_s: float, lasted_s: float, cause: str = "body", *, heard: bool = True) -> DiagnosedEpisode:
    begin = NINE_MS + round(1000 * after_s)
    return DiagnosedEpisode(link, begin, begin + round(1000 * lasted_s), cause, 0.9, "both fell", "move it", heard)


def test_the_sentence() -> None:
    assert answer([], 22_800.0, LONDON) == "No link broke up in 6 h 20."
    two = [one("Boom", 5 * 3600 + 32 * 60, 4.0), one("Pilot", 60.0, 0.4, "battery")]
    assert answer(sorted(two, key=lambda e: e.from_ms), 22_800.0, LONDON) == (
        "Two links broke up in 6 h 20: Pilot at 09:01 for 0.4 s, battery empty; "
        "Boom at 14:32 for 4 s, body in the way."
    )
    many = [one("Boom", 60.0 * n, 1.0 + n) for n in range(6)]
    assert answer(many, 3600.0, LONDON).startswith(
        "One link broke up in 1 h 00, 6 times; the longest: Boom at 09:03"
    )
    quiet = [one("Boom", 1.0, 9.0, heard=False)]
    assert (
        answer(quiet, 60.0, LONDON) == "No link broke up in 1 min; once something was amiss that nobody could hear."
    )


def test_lengths_as_they_are_said() -> None:
    said = [duration(s) for s in (0.04, 0.4, 4.0, 12.3, 61.0, 190.0, 1234.0, 22_800.0)]
    assert said == ["0 s", "0.4 s", "4 s", "12 s", "1 min 1 s", "3 min 10 s", "21 min", "6 h 20"]


def test_times_keep_their_offset_and_milliseconds() -> None:
    assert iso(NINE_MS + 123, LONDON) == "2027-05-14T09:00:00.123+01:00"


def test_what_was_lost_by_cause_counts_what_was_heard() -> None:
    some = [
        one("Boom", 1, 2.0),
        one("Boom", 9, 3.0, "range"),
        one("Boom", 20, 2.0),
        one("Boom", 30, 9.0, heard=False),
    ]
    assert lost_by_cause(some, "Boom") == {"body": 4.0, "range": 3.0}
    assert lost_by_cause(some, "Pilot") == {}
